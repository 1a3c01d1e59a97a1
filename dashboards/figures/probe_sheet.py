"""The life of one probe as a drawing that needs no script: on paper, and until the script has drawn its own.

The same panels as the figure has: where it sat, the heat of each day, the dose so far, slope and zero between their limits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from markupsafe import Markup, escape

from dashboards.figures.drawing import Box, curve, ends_of
from dashboards.figures.probe_life import (
    MOST_TRACKS,
    Days,
    Found,
    days_of,
    heat_title,
    ratings_of,
    track_title,
)
from dashboards.figures.sheet import rings_path, round_values
from dashboards.wording import Reader
from excursions.clock import TimeArray
from excursions.records import FloatArray
from excursions.report.lives import ProbeLife
from excursions.report.tracks import Track

WIDTH, LEFT, RIGHT = 1000, 110, 8
LANE, HEAT, PANEL, GAP, FOOT = 24, 110, 66, 30, 28
BUDGET = 800  # points of one curve
Ends = tuple[int, int]


def life_picture(life: ProbeLife, found: Found, reader: Reader, ends: Ends, words: str) -> Markup:
    """All panels under one another, over the span of the record [ns]; `words` say what is drawn to who cannot see it."""
    days = days_of(life, found)
    parts, top = _lanes(life, ends), 14.0 + LANE * max(len(life.points), 1)
    for panel in _panels(life, days, reader):
        top += GAP
        parts.append(panel.drawn(top, ends))
        top += panel.height
    box = _box((0.0, 1.0), ends, 0.0, 1.0)
    for instant, anchor in ((ends[0], "start"), (ends[1], "end")):
        x = float(box.x(np.array([instant], np.int64))[0])
        parts.append(
            f'<text class="{anchor}" x="{x:.0f}" y="{top + 20:.0f}">{escape(reader.date(instant))}</text>'
        )
    return Markup(
        f'<svg class="sheet life" viewBox="0 0 {WIDTH} {top + FOOT:.0f}" role="img" aria-label="{escape(words)}">{"".join(parts)}</svg>'
    )


class _Panel:
    """One quantity over time: a title, its lines with their classes, rings and dots, and limits across."""

    def __init__(self, title: str, height: int, lines: Sequence[tuple[str, TimeArray, FloatArray]]) -> None:
        self.title, self.height, self.lines = title, height, lines
        self.open: list[tuple[int, float]] = []
        self.limits: list[tuple[str, float]] = []
        self.from_zero = False

    def drawn(self, top: float, ends: Ends) -> str:
        values = np.concatenate(
            [
                *(value for _, _, value in self.lines),
                [at for _, at in (*self.open, *self.limits)],
                [0.0] * self.from_zero,
            ]
        )
        box = _box(ends_of(values), ends, top, self.height)
        grid = "".join(
            f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}"/><text class="end" x="{LEFT - 8}" y="{y + 4:.1f}">{escape(text)}</text>'
            for text, y in round_values(box)
        )
        across = "".join(
            f'<path class="{ink} faint" d="M{LEFT} {y:.0f}H{WIDTH - RIGHT}"/>'
            for ink, y in ((ink, float(box.y(np.array([at]))[0])) for ink, at in self.limits)
        )
        drawn = "".join(
            f'<path class="{ink}" d="{curve(time, value, box, budget=BUDGET)}"/>'
            for ink, time, value in self.lines
        )
        return f'{grid}<text x="{LEFT}" y="{top - 8:.0f}">{escape(self.title)}</text>{across}{drawn}{rings_path(self.open, box)}'


def _panels(life: ProbeLife, days: Days, reader: Reader) -> Iterator[_Panel]:
    if days.warm:
        heat = _Panel(heat_title(life, reader), HEAT, [("heat", days.time, reader.level(days.peak, "degC"))])
        heat.limits = [("heat", float(reader.level(np.array(degc), "degC"))) for degc in ratings_of(life)]
        yield heat
    if days.aged:
        dose = _Panel(
            "Ageing dose so far, hours at the continuous rating", PANEL, [("dose", days.time, days.dose)]
        )
        dose.from_zero = True
        yield dose
    for track in life.tracks[:MOST_TRACKS]:
        yield _of_track(track, reader)


def _of_track(track: Track, reader: Reader) -> _Panel:
    """As left as a line, as found as rings, limits across."""

    def shown(value: float) -> float:
        return float(reader.apart(np.array(value), track.unit))

    left = [p for p in track.points if p.phase == "as left"]
    title = f"{track_title(track, reader.unit(track.unit))}; rings as found, line as left"
    line = np.array([p.time for p in left], np.int64), np.array([shown(p.value) for p in left], np.float64)
    panel = _Panel(title, PANEL, [("mark", *line)])
    panel.open = [(p.time, shown(p.value)) for p in track.points if p.phase == "as found"]
    if track.limits:
        panel.limits = [
            ("mark", shown(at)) for at in (track.limits.low, track.limits.high) if math.isfinite(at)
        ]
    return panel


def _lanes(life: ProbeLife, ends: Ends) -> list[str]:
    """Stays as thick lines, a lane a point, with an upright mark at each calibration."""
    box, parts = _box((0.0, 1.0), ends, 0.0, 1.0), []
    for lane, point in enumerate(life.points):
        y = 16 + LANE * lane
        parts.append(f'<text class="end" x="{LEFT - 8}" y="{y + 4}">{escape(point[:14])}</text>')
        for stay in (stay for stay in life.stays if stay.point == point):
            x0, x1 = box.x(np.array([stay.start, stay.end], np.int64)).tolist()
            parts.append(f'<path class="stay" d="M{x0:.0f} {y}H{x1:.0f}"/>')
        at = box.x(np.array([c.time for c in life.calibrations if c.point == point], np.int64)).tolist()
        parts += [f'<path class="shift" d="M{x:.0f} {y - 8}v16"/>' for x in at if LEFT <= x <= WIDTH - RIGHT]
    return parts


def _box(scale: tuple[float, float], ends: Ends, top: float, height: float) -> Box:
    return Box(
        left=LEFT, top=top, width=WIDTH - LEFT - RIGHT, height=height,
        start=ends[0], end=max(ends[1], ends[0] + 1), low=scale[0], high=scale[1],
    )  # fmt: skip
