"""The fleet's days: one line a family of events, a stroke a day, its height the number of events."""

from __future__ import annotations

import math

from markupsafe import Markup, escape

from dashboards.content.overview import Overview
from dashboards.wording import counted
from excursions.clock import NS_PER_DAY, to_datetime

ROW, WIDTH, LEFT = 34, 1_080, 118


def calendar_drawing(overview: Overview) -> Markup:
    """Strokes by day and family; a day's column is a target for the pointer (``data-day``)."""
    days = overview.last_day - overview.first_day + 1
    if not overview.calendar or days < 1:
        return Markup('<p class="nothing">No event worth a look, so there is nothing to lay out by day.</p>')
    step = (WIDTH - LEFT) / days
    height = ROW * len(overview.calendar) + 26
    most = max(max(counts) for _, _, counts in overview.calendar)
    rows = "".join(
        _row(number, words, ink, counts, step, most)
        for number, (words, ink, counts) in enumerate(overview.calendar)
    )
    targets = "".join(_target(overview, day, step, height) for day in range(days))
    return Markup(
        f'<svg class="calendar" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(overview.calendar_words)}">'
        f'{_months(overview, step, height)}{rows}<g class="targets">{targets}</g></svg>'
    )


def _row(number: int, words: str, ink: str, counts: tuple[int, ...], step: float, most: int) -> str:
    base = ROW * (number + 1)
    strokes = "".join(
        f"M{LEFT + (day + 0.5) * step:.1f} {base}v-{4 + (ROW - 9) * math.sqrt(count / most):.1f}"
        for day, count in enumerate(counts)
        if count
    )
    width = max(1.5, min(step * 0.7, 7))
    return (
        f'<path class="grid" d="M{LEFT} {base}H{WIDTH}"/><text x="0" y="{base - 3}">{escape(words)}</text>'
        f'<path class="ink-{ink}" style="stroke-width:{width:.1f}" d="{strokes}"/>'
    )


def _target(overview: Overview, day: int, step: float, height: int) -> str:
    counts = [(words, counts[day]) for words, _, counts in overview.calendar if counts[day]]
    if not counts:
        return ""
    when = _date(overview.first_day + day)
    told = ", ".join(f"{words} {count}" for words, count in counts)
    return (
        f'<rect data-day="{overview.first_day + day}" x="{LEFT + day * step:.1f}" y="0" width="{max(step, 3):.1f}" height="{height - 22}">'
        f"<title>{escape(f'{when}: {told}')}</title></rect>"
    )


def _months(overview: Overview, step: float, height: int) -> str:
    """Month names under the first day of each month, thinned when there are many."""
    starts = [
        (day, to_datetime((overview.first_day + day) * NS_PER_DAY))
        for day in range(overview.last_day - overview.first_day + 1)
        if day == 0 or to_datetime((overview.first_day + day) * NS_PER_DAY).day == 1
    ]
    if len(starts) > 1 and (starts[1][0] - starts[0][0]) * step < 64:
        starts = starts[1:]
    every = max(1, math.ceil(len(starts) * 64 / (WIDTH - LEFT)))
    return "".join(
        f'<path class="grid" d="M{LEFT + day * step:.1f} 0V{height - 22}"/>'
        f'<text x="{LEFT + day * step:.1f}" y="{height - 6}">{moment.strftime("%b %Y" if day == 0 or moment.month == 1 else "%b")}</text>'
        for day, moment in starts[::every]
    )


def _date(day: int) -> str:
    return to_datetime(day * NS_PER_DAY).strftime("%-d %b %Y")


def busiest_days(overview: Overview, *, most: int = 5) -> tuple[tuple[int, str, str], ...]:
    """(day number, date, how many) of the days with most events: the calendar for people without a pointer."""
    totals: dict[int, int] = {}
    for _, _, counts in overview.calendar:
        for day, count in enumerate(counts):
            if count:
                totals[overview.first_day + day] = totals.get(overview.first_day + day, 0) + count
    best = sorted(totals.items(), key=lambda item: (-item[1], item[0]))[:most]
    return tuple((day, _date(day), counted(count, "event")) for day, count in best)
