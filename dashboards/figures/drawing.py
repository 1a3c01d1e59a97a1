"""Small vector drawings that need no script: what they share, and the sparklines.

They carry classes, not colours, so that paper, light and dark come from the style sheet.  Every number is
rounded the same way in every run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from dashboards.content.scale import usual_scale
from dashboards.wording import Reader, capital
from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.digits import DEGREE
from excursions.records import Doubt, FloatArray
from excursions.report.result import PointFindings
from excursions.report.thin import thin


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Where a curve is drawn: pixels, time span [ns] and value span."""

    left: float
    top: float
    width: float
    height: float
    start: int
    end: int
    low: float
    high: float

    def x(self, time: TimeArray) -> FloatArray:
        """Horizontal pixels of instants."""
        return self.left + (time - self.start) / max(1, self.end - self.start) * self.width

    def y(self, value: FloatArray) -> FloatArray:
        """Vertical pixels of values, highest on top."""
        return self.top + (self.high - value) / (self.high - self.low) * self.height


def ends_of(value: FloatArray, *, margin: float = 0.06) -> tuple[float, float]:
    """Value span of a curve with a little air; (0, 1) when nothing is finite."""
    finite = value[np.isfinite(value)]
    if not finite.size:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    air = (high - low) * margin or max(abs(high) * 0.01, 0.5)
    return low - air, high + air


def curve(time: TimeArray, value: FloatArray, box: Box, *, budget: int, whole: bool = True) -> str:
    """The path of a curve through about `budget` samples at most, broken where values are missing.

    What lies beyond the box's value span is drawn at its edge.
    """
    kept = thin(time, value, max(4, budget))
    time, value = time[kept], value[kept]
    good = np.isfinite(value)
    x, y = box.x(time), box.y(np.clip(np.where(good, value, box.low), box.low, box.high))
    digits = 0 if whole else 1
    parts: list[str] = []
    pen_down = False
    for px, py, drawn in zip(
        np.round(x, digits).tolist(), np.round(y, digits).tolist(), good.tolist(), strict=True
    ):
        if drawn:
            parts.append(f"{'L' if pen_down else 'M'}{px:g} {py:g}")
        pen_down = drawn
    return "".join(parts)


def with_gaps(time: TimeArray, value: FloatArray, longest: int) -> tuple[TimeArray, FloatArray]:
    """Break a curve wherever samples are further apart than `longest` [ns]."""
    holes = np.flatnonzero(np.diff(time) > longest) + 1
    return np.insert(time, holes, time[holes] - 1), np.insert(value, holes, np.nan)


SPARK_WIDTH, SPARK_HEIGHT = 260, 46
SPARK_AIR = 0.08  # of the span, over and under the curve


def sparkline(
    findings: PointFindings,
    doubts: Sequence[Doubt],
    *,
    window: tuple[int, int],
    since: int | None,
    budget: int,
    reader: Reader,
) -> Markup:
    """The last weeks of a point: hourly level, doubtful stretch shaded, a tick where the trouble began."""
    time, value, unit = _spark_series(findings)
    inside = (time >= window[0]) & (time <= window[1])
    time, value = with_gaps(time[inside], value[inside], 6 * NS_PER_HOUR)
    if not np.isfinite(value).any():
        return Markup('<p class="nothing">No reading in these weeks.</p>')
    span = _spark_span(findings, doubts, value)
    low, high = ends_of(np.array(span), margin=SPARK_AIR)
    box = Box(
        left=0,
        top=2,
        width=SPARK_WIDTH,
        height=SPARK_HEIGHT - 8,
        start=window[0],
        end=window[1],
        low=low,
        high=high,
    )
    shades = "".join(_shade(d, box) for d in doubts if d.end >= window[0])
    tick = _tick(since, box) if since is not None else ""
    finite = value[np.isfinite(value)]
    fine = _fineness(findings, unit, span)
    words = (
        f"{findings.point.quantity.label}, {reader.short(window[0])} to {reader.short(window[1])}: between "
        f"{reader.amount(span[0], unit, fine)} and {reader.amount(span[1], unit, fine)}, "
        f"{f'beyond the scale {beyond}, ' if (beyond := beyond_words(value, (low, high), unit, reader)) else ''}"
        f"last {reader.amount(float(finite[-1]), unit, fine)}"
    )
    return Markup(
        f'<svg class="spark" viewBox="0 0 {SPARK_WIDTH} {SPARK_HEIGHT}" preserveAspectRatio="none" role="img" aria-label="{escape(words)}">'
        f'{shades}<path class="reading" d="{curve(time, value, box, budget=budget)}"/>{tick}</svg>'
    )


def _spark_span(findings: PointFindings, doubts: Sequence[Doubt], value: FloatArray) -> tuple[float, float]:
    """The usual scale where there is one, cut to what these weeks show of it."""
    scale = usual_scale(findings, doubts)
    finite = value[np.isfinite(value)]
    inside = finite[(finite >= scale[0]) & (finite <= scale[1])] if scale else finite
    ends = inside if inside.size else finite
    return float(ends.min()), float(ends.max())


def _fineness(findings: PointFindings, unit: str, ends: tuple[float, float]) -> float:
    """To what the ends and the last level are written, so that all have the same decimals."""
    if unit != findings.unit:
        return DEGREE  # the temperature stands in for a reading that is not there
    return findings.point.fine_at(max(abs(end) for end in ends))


def _spark_series(findings: PointFindings) -> tuple[TimeArray, FloatArray, str]:
    """Hourly level where there is one, else the trace itself, else the temperature."""
    if np.isfinite(findings.levels.value).any():
        return findings.levels.time, findings.levels.value, findings.unit
    trace = findings.traces.get("value") or findings.traces.get("temperature")
    if trace is None:
        return np.empty(0, np.int64), np.empty(0), ""
    return trace.time, trace.value, trace.unit


def _shade(doubt: Doubt, box: Box) -> str:
    left = max(0.0, float(box.x(np.array([doubt.start]))[0]))
    right = min(box.left + box.width, float(box.x(np.array([doubt.end]))[0]))
    return (
        f'<path class="doubt" d="M{left:.0f} 0H{right:.0f}V{SPARK_HEIGHT:g}H{left:.0f}Z"/>'
        if right > left
        else ""
    )


def _tick(since: int, box: Box) -> str:
    at = float(box.x(np.array([since]))[0])
    if at < 0:
        return f'<path class="began" d="M7 {SPARK_HEIGHT - 7}L1 {SPARK_HEIGHT - 4}L7 {SPARK_HEIGHT - 1}"/>'
    return f'<path class="began" d="M{at:.0f} 0V{SPARK_HEIGHT}"/>'


@dataclass(frozen=True, slots=True, kw_only=True)
class SparkEnds:
    """What stands under a sparkline: the ends of what it shows, the last level, how far it goes beyond."""

    high: str
    low: str
    last: str
    beyond: str


def spark_ends(
    findings: PointFindings, doubts: Sequence[Doubt], window: tuple[int, int], reader: Reader
) -> SparkEnds | None:
    """Words for the scale on which the sparkline is drawn and for what is cut off; None where nothing is drawn."""
    time, value, unit = _spark_series(findings)
    finite = value[(time >= window[0]) & (time <= window[1]) & np.isfinite(value)]
    if not finite.size:
        return None
    low, high = _spark_span(findings, doubts, finite)
    fine = _fineness(findings, unit, (low, high))
    return SparkEnds(
        high=reader.amount(high, unit, fine),
        low=reader.figure(low, unit, fine),
        last=reader.amount(float(finite[-1]), unit, fine),
        beyond=beyond_words(finite, ends_of(np.array((low, high)), margin=SPARK_AIR), unit, reader),
    )


def beyond_words(value: FloatArray, scale: tuple[float, float], unit: str, reader: Reader) -> str:
    """How far a curve goes beyond a scale, in words (``up to 100 NTU``); empty where it stays on it."""
    finite = value[np.isfinite(value)]
    if not finite.size:
        return ""
    low, high = float(finite.min()), float(finite.max())
    told = [f"down to {reader.amount(low, unit)}"] if low < scale[0] else []
    return " and ".join([*told, *([f"up to {reader.amount(high, unit)}"] if high > scale[1] else [])])


def with_unit(words: str, unit: str) -> str:
    """``temperature, °C``; just the words where the unit says the same."""
    return words if not unit or unit == words else f"{words}, {unit}"


def panel_title(words: str, unit: str) -> str:
    """The same at the head of a panel: ``Temperature, °C``."""
    return capital(with_unit(words, unit))
