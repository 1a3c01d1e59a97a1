"""Small vector drawings that need no script: sparklines, the fleet's calendar, the picture on the print sheet.

They carry classes, not colours, so that paper, light and dark come from the style sheet.  Every number is
rounded the same way in every run.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from dashboards.content.found import FoundShift
from dashboards.content.scale import usual_scale
from dashboards.wording import Reader, capital
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.records import Doubt, FloatArray, LabSample
from excursions.report.corrected import CorrectedLevel, corrected_level
from excursions.report.result import PointFindings, Trace
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
    low, high = ends_of(np.array(_spark_span(findings, doubts, value)), margin=0.08)
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
    shades = "".join(_shade(d, box, SPARK_HEIGHT) for d in doubts if d.end >= window[0])
    tick = _tick(since, box) if since is not None else ""
    finite = value[np.isfinite(value)]
    words = (
        f"{findings.point.quantity.label}, {reader.short(window[0])} to {reader.short(window[1])}: between "
        f"{reader.amount(float(finite.min()), unit)} and {reader.amount(float(finite.max()), unit)}, "
        f"last {reader.amount(float(finite[-1]), unit)}"
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


def _spark_series(findings: PointFindings) -> tuple[TimeArray, FloatArray, str]:
    """Hourly level where there is one, else the trace itself, else the temperature."""
    if np.isfinite(findings.levels.value).any():
        return findings.levels.time, findings.levels.value, findings.unit
    trace = findings.traces.get("value") or findings.traces.get("temperature")
    if trace is None:
        return np.empty(0, np.int64), np.empty(0), ""
    return trace.time, trace.value, trace.unit


def _shade(doubt: Doubt, box: Box, height: float) -> str:
    left = max(0.0, float(box.x(np.array([doubt.start]))[0]))
    right = min(box.left + box.width, float(box.x(np.array([doubt.end]))[0]))
    return (
        f'<path class="doubt" d="M{left:.0f} 0H{right:.0f}V{height:g}H{left:.0f}Z"/>' if right > left else ""
    )


def _tick(since: int, box: Box) -> str:
    at = float(box.x(np.array([since]))[0])
    if at < 0:
        return f'<path class="began" d="M7 {SPARK_HEIGHT - 7}L1 {SPARK_HEIGHT - 4}L7 {SPARK_HEIGHT - 1}"/>'
    return f'<path class="began" d="M{at:.0f} 0V{SPARK_HEIGHT}"/>'


def spark_ends(findings: PointFindings, window: tuple[int, int], reader: Reader) -> tuple[str, str, str]:
    """Highest, lowest and last level of the sparkline, in words."""
    time, value, unit = _spark_series(findings)
    finite = value[(time >= window[0]) & (time <= window[1]) & np.isfinite(value)]
    if not finite.size:
        return "", "", ""
    return (
        reader.amount(float(finite.max()), unit),
        reader.amount(float(finite.min()), ""),
        reader.amount(float(finite[-1]), unit),
    )


def with_unit(words: str, unit: str) -> str:
    """``temperature, °C``; just the words where the unit says the same."""
    return words if not unit or unit == words else f"{words}, {unit}"


def panel_title(words: str, unit: str) -> str:
    """The same at the head of a panel: ``Temperature, °C``."""
    return capital(with_unit(words, unit))


SHEET_WIDTH, SHEET_VALUE, SHEET_TEMPERATURE = 900, 190, 110
CLOSE = 5 * NS_PER_DAY  # below this a drawing shows hours and its whole scale
SHEET_LEFT, SHEET_GAP, SHEET_BOTTOM = 62, 26, 24


def sheet_picture(
    findings: PointFindings,
    doubts: Sequence[Doubt],
    reader: Reader,
    *,
    words: str,
    window: tuple[int, int] | None = None,
    marked: Sequence[int] = (),
    samples: Sequence[LabSample] = (),
    found: Sequence[FoundShift] = (),
) -> Markup:
    """The record as a drawing for paper, and for the moment before the script has drawn its own.

    `window` is the stretch drawn (all of the record without it), `marked` are instants drawn across it [ns].
    """
    shown = findings if window is None else dataclasses.replace(findings, start=window[0], end=window[1])
    panels = [
        (n, h)
        for n, h in (("value", SHEET_VALUE), ("temperature", SHEET_TEMPERATURE))
        if n in findings.traces
    ]
    if not panels:
        return Markup('<p class="nothing">There is no reading to draw.</p>')
    top, parts = 18.0, []
    for name, height in panels:
        trace = findings.traces[name] if window is None else _cut(findings.traces[name], window)
        mine = name == "value"
        parts.append(
            _panel(
                trace,
                shown,
                doubts if mine else (),
                samples if mine else (),
                top,
                height,
                reader,
                found if mine else (),
            )
        )
        top += height + SHEET_GAP
    bottom = top - SHEET_GAP
    parts.append(_event_ticks(shown, bottom, marked))
    parts.append(_time_ticks(shown, bottom, reader))
    return Markup(
        f'<svg class="sheet" viewBox="0 0 {SHEET_WIDTH} {bottom + SHEET_BOTTOM:.0f}" role="img" aria-label="{escape(words)}">'
        f"{''.join(parts)}</svg>"
    )


def _cut(trace: Trace, window: tuple[int, int]) -> Trace:
    """The samples inside a window, and the last one before it and the first one after it."""
    first, last = np.searchsorted(trace.time, window)
    inside = slice(max(int(first) - 1, 0), int(last) + 1)
    return dataclasses.replace(trace, time=trace.time[inside], value=trace.value[inside])


def _box(trace_ends: tuple[float, float], findings: PointFindings, top: float, height: float) -> Box:
    return Box(
        left=SHEET_LEFT, top=top, width=SHEET_WIDTH - SHEET_LEFT - 4, height=height,
        start=findings.start, end=findings.end, low=trace_ends[0], high=trace_ends[1],
    )  # fmt: skip


def _panel(
    trace: Trace,
    findings: PointFindings,
    doubts: Sequence[Doubt],
    samples: Sequence[LabSample],
    top: float,
    height: float,
    reader: Reader,
    found: Sequence[FoundShift],
) -> str:
    value = reader.level(trace.value, trace.unit)
    whole = findings.end - findings.start > CLOSE
    scale = usual_scale(findings, doubts) if trace.name == "value" and whole else None
    levels = [corrected_level(findings, doubt) for doubt in doubts]
    rings = [(s.time, s.value) for s in samples if findings.start <= s.time <= findings.end]
    bars = [shift for shift in found if findings.start <= shift.time <= findings.end]
    ends = [end for shift in bars for end in (shift.reading, shift.truth)]
    seen = np.concatenate([value, *(level.value for level in levels), [value for _, value in rings], ends])
    box = _box(ends_of(np.array(scale) if scale else seen), findings, top, height)
    title = "Temperature" if trace.name == "temperature" else findings.point.quantity.label
    shades = "".join(_sheet_shade(doubt, box) for doubt in doubts)
    lines = "".join(
        f'<path class="grid" d="M{SHEET_LEFT} {y:.1f}H{SHEET_WIDTH - 4}"/><text class="end" x="{SHEET_LEFT - 6}" y="{y + 4:.1f}">{escape(text)}</text>'
        for text, y in _scale(box)
    )
    return (
        f'{shades}{lines}<text x="0" y="{top - 6:.0f}">{escape(panel_title(title, reader.unit(trace.unit)))}</text>'
        f'<path class="{"heat" if trace.name == "temperature" else "reading"}" d="{curve(trace.time, value, box, budget=1_400, whole=False)}"/>'
        f"{''.join(_corrected_path(level, box) for level in levels)}{_bars(bars, box)}{_rings(rings, box)}"
    )


def _corrected_path(level: CorrectedLevel, box: Box) -> str:
    if not level.time.size:
        return ""
    time, value = with_gaps(level.time, level.value, 6 * NS_PER_HOUR)
    return f'<path class="corrected" d="{curve(time, value, box, budget=300, whole=False)}"/>'


def _bars(found: Sequence[FoundShift], box: Box) -> str:
    """Shifts that a calibration found: upright, with an end at the reading and one where it should have stood."""
    made = []
    for shift in found:
        x = float(box.x(np.array([shift.time]))[0])
        top, bottom = box.y(np.clip(np.array([shift.reading, shift.truth]), box.low, box.high)).tolist()
        made.append(f"M{x - 5:.1f} {top:.1f}h10M{x:.1f} {top:.1f}V{bottom:.1f}M{x - 5:.1f} {bottom:.1f}h10")
    return f'<path class="shift" d="{"".join(made)}"/>' if made else ""


def _rings(rings: Sequence[tuple[int, float]], box: Box) -> str:
    """Laboratory samples on the scale; a circle as a path, which keeps its line where the drawing is stretched."""
    made = []
    for time, value in rings:
        if box.low <= value <= box.high:
            x, y = float(box.x(np.array([time]))[0]), float(box.y(np.array([value]))[0])
            made.append(f"M{x - 4:.1f} {y:.1f}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0")
    return f'<path class="ring" d="{"".join(made)}"/>' if made else ""


def _sheet_shade(doubt: Doubt, box: Box) -> str:
    left = max(box.left, float(box.x(np.array([doubt.start]))[0]))
    right = min(box.left + box.width, float(box.x(np.array([doubt.end]))[0]))
    if right <= left:
        return ""
    return f'<path class="doubt" d="M{left:.1f} {box.top:.1f}H{right:.1f}V{box.top + box.height:.1f}H{left:.1f}Z"/>'


def _scale(box: Box) -> list[tuple[str, float]]:
    """Three or four round values on the scale."""
    step = round_step((box.high - box.low) / 3.5)
    first = np.ceil(box.low / step) * step
    values = (
        np.round(np.arange(first, box.high + step * 1e-6, step) / step) * step + 0.0
    )  # no minus before a zero
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    return [(f"{v:.{decimals}f}".replace("-", "−"), float(box.y(np.array([v]))[0])) for v in values]


def round_step(rough: float) -> float:
    """The nearest larger step of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(rough))
    return float(next(power * m for m in (1, 2, 5, 10) if power * m >= rough * 0.999999))


def _event_ticks(findings: PointFindings, bottom: float, marked: Sequence[int]) -> str:
    box = _box((0, 1), findings, 0, 1)
    serious = [e for e in findings.events if e.severity != "note" and e.origin in ("probe", "undecided")][:80]
    starts = [*(e.start for e in serious), *marked]
    inside = [t for t in starts if findings.start <= t <= findings.end]
    xs = box.x(np.array(inside, np.int64))
    return "".join(f'<path class="began" d="M{x:.1f} 18V{bottom:.0f}"/>' for x in xs.tolist())


def _time_ticks(findings: PointFindings, bottom: float, reader: Reader) -> str:
    box = _box((0, 1), findings, 0, 1)
    instants = np.linspace(findings.start, findings.end, 6).astype(np.int64)
    anchors = ["start", *["middle"] * 4, "end"]
    xs = box.x(instants).tolist()
    said = reader.short if findings.end - findings.start < CLOSE else reader.date
    return "".join(
        f'<text x="{x:.1f}" y="{bottom + 18:.0f}" text-anchor="{anchor}">{escape(said(int(t)))}</text>'
        for t, x, anchor in zip(instants, xs, anchors, strict=True)
    )
