"""The record as a drawing that needs no script: on paper, and until the script has drawn its own."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup, escape

from dashboards.content.found import FoundShift
from dashboards.content.scale import usual_scale
from dashboards.figures.drawing import Box, beyond_words, curve, ends_of, panel_title, with_gaps
from dashboards.figures.marks import marked_events, put_right
from dashboards.figures.ratings import rated_stretches, rating_words
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.plant import Plant
from excursions.records import Doubt, FloatArray, LabSample
from excursions.report.corrected import CorrectedLevel
from excursions.report.result import PointFindings, Trace

SHEET_WIDTH, SHEET_VALUE, SHEET_TEMPERATURE = 900, 190, 110
CLOSE = 5 * NS_PER_DAY  # below this a drawing shows hours and its whole scale
MOST_BAND = 150  # points along one edge of a band
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
    plant: Plant | None = None,
) -> Markup:
    """The record as a drawing for paper, and for the moment before the script has drawn its own.

    `window` is the stretch drawn (all of the record without it), `marked` are instants drawn across it [ns];
    `plant` gives the ratings drawn with the temperature.
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
        if plant is not None and name == "temperature":
            parts.append(_ratings(trace, shown, plant, top, height, reader))
        top += height + SHEET_GAP
    bottom = top - SHEET_GAP
    close = shown.end - shown.start <= CLOSE
    through = (
        bottom if close or (len(panels) == 1 and panels[0][0] == "value") else bottom - _heat_height(panels)
    )
    parts.insert(0, _event_ticks(shown, through, bottom, marked))
    parts.append(_time_ticks(shown, bottom, reader))
    return Markup(
        f'<svg class="sheet" viewBox="0 0 {SHEET_WIDTH} {bottom + SHEET_BOTTOM:.0f}" role="img" aria-label="{escape(words)}">'
        f"{''.join(parts)}</svg>"
    )


def _heat_height(panels: Sequence[tuple[str, int]]) -> float:
    """Room of the temperature and of the gap over it, as far down as the lines of events do not go."""
    return sum(h + SHEET_GAP for name, h in panels if name == "temperature")


def _ratings(
    trace: Trace, findings: PointFindings, plant: Plant, top: float, height: float, reader: Reader
) -> str:
    """Ratings that lie on the temperature's scale as dashed lines, those of the last probe in words beside the title."""
    box = _box(ends_of(reader.level(trace.value, trace.unit)), findings, top, height)
    runs = rated_stretches(findings, plant)

    def y(degc: float) -> float | None:
        level = float(reader.level(np.array([degc]), "degC")[0])
        return float(box.y(np.array([level]))[0]) if box.low <= level <= box.high else None

    lines = ""
    for run in runs:
        left, right = box.x(np.array([run.start, run.end], np.int64)).tolist()
        for at in dict.fromkeys((run.continuous, run.steam)):
            if (height_at := y(at)) is not None:
                lines += f'<path class="heat faint" d="M{left:.1f} {height_at:.1f}H{right:.1f}"/>'
    last = runs[-1]
    if any(y(at) is not None for at in (last.continuous, last.steam)):
        words = rating_words(last.continuous, last.steam, reader, assumed=last.assumed)
        lines += f'<text class="small end" x="{SHEET_WIDTH - 4}" y="{top - 6:.0f}">{escape(words)}</text>'
    return lines


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
    levels = [put_right(findings, doubt, reader) for doubt in doubts]
    bands = [] if whole else [level.value + way * level.band for level in levels for way in (-1, 1)]
    lab = [s for s in samples if findings.start <= s.time <= findings.end]
    rings = [(s.time, float(reader.level(np.array(s.value), trace.unit))) for s in lab]
    bars = [_in_unit(s, trace.unit, reader) for s in found if findings.start <= s.time <= findings.end]
    ends = [end for shift in bars for end in (shift.reading, shift.truth)]
    drawn = (level.value for level in levels)
    seen = np.concatenate([value, *drawn, *bands, [at for _, at in rings], ends])
    box = _box(ends_of(reader.level(np.array(scale), trace.unit) if scale else seen), findings, top, height)
    title = "Temperature" if trace.name == "temperature" else findings.point.quantity.label
    cut = beyond_words(trace.value, ends_of(np.array(scale)), trace.unit, reader) if scale else ""
    title_words = panel_title(title, reader.unit(trace.unit)) + (
        f"; cut off at the edge, goes {cut}" if cut else ""
    )
    shades = "".join(_sheet_shade(doubt, box) for doubt in doubts)
    lines = "".join(
        f'<path class="grid" d="M{SHEET_LEFT} {y:.1f}H{SHEET_WIDTH - 4}"/><text class="end" x="{SHEET_LEFT - 6}" y="{y + 4:.1f}">{escape(text)}</text>'
        for text, y in round_values(box)
    )
    return (
        f'{shades}{lines}<text x="0" y="{top - 6:.0f}">{escape(title_words)}</text>'
        f'<path class="{"heat" if trace.name == "temperature" else "reading"}" d="{curve(trace.time, value, box, budget=1_400, whole=False)}"/>'
        f"{''.join(_corrected_path(level, box) for level in levels)}{_bars(bars, box)}{rings_path(rings, box)}"
    )


def _in_unit(shift: FoundShift, unit: str, reader: Reader) -> FoundShift:
    reading, truth = reader.level(np.array([shift.reading, shift.truth]), unit).tolist()
    return dataclasses.replace(shift, reading=reading, truth=truth)


def _corrected_path(level: CorrectedLevel, box: Box) -> str:
    if not level.time.size:
        return ""
    time, value = with_gaps(level.time, level.value, 6 * NS_PER_HOUR)
    _, band = with_gaps(level.time, level.band, 6 * NS_PER_HOUR)
    return (
        _band(time, value, band, box)
        + f'<path class="corrected" d="{curve(time, value, box, budget=300, whole=False)}"/>'
    )


def _band(time: TimeArray, value: FloatArray, band: FloatArray, box: Box) -> str:
    """The band of the corrected level as one closed path a stretch: along its upper edge and back along the lower."""
    known = np.isfinite(value) & np.isfinite(band)
    made = []
    for part in np.split(np.arange(time.size), np.flatnonzero(np.diff(known.astype(np.int8))) + 1):
        if part.size < 2 or not known[part[0]]:
            continue
        kept = part[:: max(1, part.size // MOST_BAND)]
        kept = kept if kept[-1] == part[-1] else np.append(kept, part[-1])
        x = box.x(time[kept])
        high, low = (box.y(np.clip(value[kept] + way * band[kept], box.low, box.high)) for way in (1, -1))
        edge = [
            *zip(x.tolist(), high.tolist(), strict=True),
            *zip(x[::-1].tolist(), low[::-1].tolist(), strict=True),
        ]
        made.append("M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in edge) + "Z")
    return f'<path class="band" d="{"".join(made)}"/>' if made else ""


def _bars(found: Sequence[FoundShift], box: Box) -> str:
    """Shifts that a calibration found: upright, with an end at the reading and one where it should have stood."""
    made = []
    for shift in found:
        x = float(box.x(np.array([shift.time]))[0])
        top, bottom = box.y(np.clip(np.array([shift.reading, shift.truth]), box.low, box.high)).tolist()
        made.append(f"M{x - 5:.1f} {top:.1f}h10M{x:.1f} {top:.1f}V{bottom:.1f}M{x - 5:.1f} {bottom:.1f}h10")
    return f'<path class="shift" d="{"".join(made)}"/>' if made else ""


def rings_path(rings: Sequence[tuple[int, float]], box: Box) -> str:
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


def round_values(box: Box) -> list[tuple[str, float]]:
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


def _event_ticks(findings: PointFindings, through: float, bottom: float, marked: Sequence[int]) -> str:
    """Lines where events began, behind the curves.

    They go down to `through`, and stand once more as a tick under `bottom`: on a long record a line across the
    temperature would hide the very peak it points at.
    """
    box = _box((0, 1), findings, 0, 1)
    starts = [*sorted(e.start for e in marked_events(findings)), *marked]
    inside = [t for t in starts if findings.start <= t <= findings.end]
    xs = box.x(np.array(inside, np.int64))
    foot = f"M{{x:.1f}} {bottom:.0f}v5" if through < bottom else ""
    line = f"M{{x:.1f}} 18V{through:.0f}" if through > 18 else ""
    return "".join(f'<path class="began" d="{(line + foot).format(x=x)}"/>' for x in xs.tolist())


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
