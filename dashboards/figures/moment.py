"""The days around the start of the trouble, as a small drawing beside the answer."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from dashboards.content.scale import usual_scale
from dashboards.figures.drawing import Box, beyond_words, curve, ends_of
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.kinds import having
from excursions.records import (
    CALIBRATING,
    CLEANING,
    RECOVERING,
    STEAMING,
    WASHING,
    Doubt,
    FloatArray,
    StateLine,
)
from excursions.report.result import PointFindings, Trace

WIDTH, HEIGHT, LEFT, BOTTOM = 380, 190, 44, 22
TOP, CUT_TOP = 6, 18  # where the panel begins; lower where a line of words stands over it
LEAST_SAMPLES = 8
TELLING_K = 12.0  # a swing of the temperature worth drawing beside the reading
CREEPING = having("slow to see")
# Half spans that are tried: the closest look that still shows enough of the reading on both sides.
HALVES = (12 * NS_PER_HOUR, 2 * NS_PER_DAY, 4 * NS_PER_DAY, 14 * NS_PER_DAY, 60 * NS_PER_DAY)
# States in which the reading is not that of the process.
UNLIKE = (CALIBRATING, WASHING, CLEANING, STEAMING, RECOVERING)
CREPT = HALVES[3]  # what left the tolerance by and by is not seen in a day


@dataclass(frozen=True, slots=True, kw_only=True)
class Began:
    """The drawing, its span in words and in wall-clock ms, whether the temperature is on it, and whether readings of a
    cleaning, of steam or of a calibration are left out."""

    picture: Markup
    span: tuple[str, str]
    ends: tuple[int, int]
    with_heat: bool
    left_out: bool


def moment_drawing(
    findings: PointFindings, doubts: Sequence[Doubt], since: int | None, reader: Reader
) -> Began | None:
    """The drawing; None without a start or with too few readings around it."""
    whole = findings.traces.get("value")
    if since is None or whole is None:
        return None
    trace = _measured(whole, findings.states)
    guessed = any(doubt.about and doubt.start == since for doubt in doubts)
    half = max(_half_span(trace.time, trace.value, since, findings), _slow(findings, since))
    half = max(half, CREPT) if guessed else half
    when = f"about {reader.day_month(since)}" if guessed else reader.short(since)
    start, end = max(findings.start, reader.away(since, -half)), min(findings.end, reader.away(since, half))
    inside = (trace.time >= start) & (trace.time <= end)
    if np.isfinite(trace.value[inside]).sum() < 2:
        trace = whole  # better what was read in a cleaning than nothing
        if np.isfinite(trace.value[inside]).sum() < 2:
            return None
    low, high = ends_of(_on_scale(trace.value[inside], usual_scale(findings, doubts)), margin=0.1)
    cut = beyond_words(trace.value[inside], (low, high), trace.unit, reader)
    top = CUT_TOP if cut else TOP
    box = Box(
        left=LEFT,
        top=top,
        width=WIDTH - LEFT - 2,
        height=HEIGHT - BOTTOM - top,
        start=start,
        end=end,
        low=low,
        high=high,
    )
    line = curve(trace.time[inside], trace.value[inside], box, budget=700, whole=False)
    heat = _heat(findings, box)
    at = float(box.x(np.array([since]))[0])
    words = f"{findings.point.quantity.label} from {reader.moment(start)} to {reader.moment(end)}; the trouble began {when}"
    told = (
        f'<text class="small end" x="{WIDTH}" y="12">cut off at the edge, goes {escape(cut)}</text>'
        if cut
        else ""
    )
    words += f"; cut off at the edge of the scale, goes {cut}" if cut else ""
    drawing = (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(words)}">{_scale(box, trace.unit, reader)}'
        f'<text class="small end" x="{LEFT - 5}" y="12">{escape(reader.unit(trace.unit))}</text>'
        f'<path class="began" d="M{at:.1f} {top}V{HEIGHT - BOTTOM}"/>{told}'
        f'<path class="heat faint" d="{heat}"/><path class="reading" d="{line}"/>{_dates(start, end, when, at, reader)}</svg>'
    )
    wall = reader.wall_ms(np.array([start, end], np.int64)).tolist()
    return Began(
        picture=Markup(drawing),
        span=(reader.short(start), reader.short(end)),
        ends=(wall[0], wall[1]),
        with_heat=bool(heat),
        left_out=bool((np.isfinite(whole.value) & ~np.isfinite(trace.value))[inside].any()),
    )


def _measured(trace: Trace, states: StateLine) -> Trace:
    """The reading without what a cleaning, steam or a calibration made of it: their peaks would fill the picture."""
    value = trace.value.copy()
    for code in UNLIKE:
        for start, end in states.spans(code):
            first, last = np.searchsorted(trace.time, (start, end))
            value[first:last] = np.nan
    return dataclasses.replace(trace, value=value)


def _on_scale(value: FloatArray, scale: tuple[float, float] | None) -> FloatArray:
    """Readings on the usual scale; all of them where there is none or nothing is left."""
    if scale is None:
        return value
    kept = value[(value >= scale[0]) & (value <= scale[1])]
    return kept if np.isfinite(kept).any() else value


def _slow(findings: PointFindings, since: int) -> int:
    """What crept in needs a longer look: half a span that shows most of it."""
    creeping = [
        event.end - event.start
        for event in findings.events
        if event.start == since and event.kind in CREEPING
    ]
    return min(HALVES[-1], int(max(creeping, default=0) * 0.7))


def _half_span(time: TimeArray, value: FloatArray, since: int, findings: PointFindings) -> int:
    for half in HALVES:
        near = time[(time >= since - half) & (time <= since + half) & np.isfinite(value)]
        before, after = int((near < since).sum()), int((near >= since).sum())
        if min(before, after) >= LEAST_SAMPLES * 5 or (before + after >= 200 and half >= 2 * NS_PER_DAY):
            return half
    return max(HALVES[-1], findings.end - findings.start)


def _heat(findings: PointFindings, box: Box) -> str:
    """The temperature on a scale of its own: its shape beside the reading, no figures."""
    trace = findings.traces.get("temperature")
    if trace is None:
        return ""
    inside = (trace.time >= box.start) & (trace.time <= box.end)
    if np.isfinite(trace.value[inside]).sum() < 2:
        return ""
    low, high = ends_of(trace.value[inside], margin=0.1)
    if high - low < TELLING_K:
        return ""  # its small changes, drawn as high as the panel, would look like an answer
    own = dataclasses.replace(box, low=low, high=high)
    return curve(trace.time[inside], trace.value[inside], own, budget=400, whole=False)


def _scale(box: Box, unit: str, reader: Reader) -> str:
    low, high = box.low, box.high
    ends = [(low + (high - low) * part) for part in (0.12, 0.88)]
    return "".join(
        f'<path class="grid" d="M{LEFT} {y:.1f}H{WIDTH}"/><text class="end" x="{LEFT - 5}" y="{y + 4:.1f}">{escape(reader.figure(v, unit, (high - low) / 8))}</text>'
        for v in ends
        for y in [float(box.y(np.array([v]))[0])]
    )


def _dates(start: int, end: int, when: str, at: float, reader: Reader) -> str:
    middle = f'<text x="{at:.1f}" y="{HEIGHT - 5}" text-anchor="middle" class="strong">{escape(when)}</text>'
    left = (
        f'<text x="{LEFT}" y="{HEIGHT - 5}">{escape(reader.day_month(start))}</text>'
        if at > LEFT + 120
        else ""
    )
    right = (
        f'<text class="end" x="{WIDTH}" y="{HEIGHT - 5}">{escape(reader.day_month(end))}</text>'
        if at < WIDTH - 120
        else ""
    )
    return left + middle + right
