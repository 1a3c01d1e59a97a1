"""The fleet's days: one line a family of events, a stroke a day, its height the number of events.

Words are HTML beside the drawing and only strokes are stretched, so that it stays readable on a narrow
screen and on paper.
"""

from __future__ import annotations

import math

from markupsafe import Markup, escape

from dashboards.content.overview import Overview
from dashboards.wording import counted
from excursions.clock import NS_PER_DAY, to_datetime

ROW = 30
KEYS = "Left and right go from day to day with events, Enter shows its points."
MOST_MONTHS = 9
BUSIEST = 6  # days with most events that are told in words
LAST_LABEL = 0.95  # of the width: month names beyond would run off the edge


def calendar_drawing(overview: Overview) -> Markup:
    """Strokes by day and family; a day's column is a target for the pointer (``data-day``)."""
    days = overview.last_day - overview.first_day + 1
    if not overview.calendar or days < 1:
        return Markup('<p class="nothing">No event worth a look, so there is nothing to lay out by day.</p>')
    most = max(max(counts) for _, _, counts in overview.calendar)
    rows = "".join(_row(words, ink, counts, most) for words, ink, counts in overview.calendar)
    targets = "".join(_target(overview, day) for day in range(days))
    months = _months(overview, days)
    grid = "".join(f'<path class="grid" d="M{day} 0V1"/>' for day, *_ in months)
    names = "".join(
        f'<span style="left:{100 * day / days:.2f}%">{escape(name)}{f" <i>{year}</i>" if year else ""}</span>'
        for day, name, year in months
    )
    return Markup(
        f'<div class="calendar" role="group" tabindex="0" aria-label="{escape(overview.calendar_words)} {KEYS}">{rows}'
        f'<div class="cal-months">{names}</div>'
        f'<svg class="targets" viewBox="0 0 {days} 1" preserveAspectRatio="none" aria-hidden="true">{grid}{targets}</svg></div>'
        '<p class="cal-said screen" role="status" aria-live="polite"></p>'
    )


def _row(words: str, ink: str, counts: tuple[int, ...], most: int) -> str:
    strokes = "".join(
        f"M{day + 0.5:g} {ROW}v-{4 + (ROW - 6) * math.sqrt(count / most):.1f}"
        for day, count in enumerate(counts)
        if count
    )
    width = 7 if len(counts) <= 130 else 4 if len(counts) <= 260 else 2
    return (
        f'<span class="cal-words">{escape(words)} <b>{sum(counts)}</b></span>'
        f'<svg class="cal-strokes" viewBox="0 0 {len(counts)} {ROW}" preserveAspectRatio="none" aria-hidden="true">'
        f'<path class="ink-{ink}" style="stroke-width:{width}" d="{strokes}"/></svg>'
    )


def _target(overview: Overview, day: int) -> str:
    counts = [(words, counts[day]) for words, _, counts in overview.calendar if counts[day]]
    if not counts:
        return ""
    told = ", ".join(f"{words} {count}" for words, count in counts)
    return (
        f'<rect data-day="{overview.first_day + day}" x="{day}" y="0" width="1" height="1">'
        f"<title>{escape(f'{_date(overview.first_day + day)}: {told}')}</title></rect>"
    )


def _months(overview: Overview, days: int) -> list[tuple[int, str, str]]:
    """(day of the record, name, year where it begins) of the first days of months, thinned when there are many."""
    starts = [
        (day, moment)
        for day in range(days)
        for moment in [to_datetime((overview.first_day + day) * NS_PER_DAY)]
        if moment.day == 1 and day < days * LAST_LABEL
    ]
    if not starts or starts[0][0] > days * 0.12:
        starts.insert(0, (0, to_datetime(overview.first_day * NS_PER_DAY)))
    every = math.ceil(len(starts) / MOST_MONTHS)
    return [
        (day, moment.strftime("%b"), moment.strftime("%Y") if number == 0 or moment.month == 1 else "")
        for number, (day, moment) in enumerate(starts[::every])
    ]


def _date(day: int) -> str:
    return to_datetime(day * NS_PER_DAY).strftime("%-d %b %Y")


def busiest_days(overview: Overview) -> tuple[tuple[int, str, str], ...]:
    """(day number, date, how many) of the days with most events: the calendar for people without a pointer."""
    totals: dict[int, int] = {}
    for _, _, counts in overview.calendar:
        for day, count in enumerate(counts):
            if count:
                totals[overview.first_day + day] = totals.get(overview.first_day + day, 0) + count
    best = sorted(totals.items(), key=lambda item: (-item[1], -item[0]))[:BUSIEST]
    return tuple((day, _date(day), counted(count, "event")) for day, count in best)
