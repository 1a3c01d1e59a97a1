"""What is drawn on and behind the curves: corrected level, doubt, samples, ratings, calibrations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dashboards.content.found import FoundShift
from dashboards.figures.drawing import with_gaps
from dashboards.figures.ratings import rated_stretches, rating_words
from dashboards.figures.spec import Spec, label, note, stamp
from dashboards.look import family
from dashboards.wording import Reader
from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.digits import digits_for
from excursions.plant import Plant
from excursions.records import Calibration, Doubt, Event, FloatArray, LabSample
from excursions.report.corrected import CorrectedLevel, corrected_level
from excursions.report.result import PointFindings
from excursions.report.rounded import to_digits, to_uncertainty

MOST_SHADES = 60  # event spans shaded across the curves; the lanes hold all of them
MOST_CORRECTED = 2_500
LONGEST_PAUSE = 6 * NS_PER_HOUR  # hours without a level that are drawn as a break


def corrections(findings: PointFindings, doubts: Sequence[Doubt], key: str, reader: Reader) -> list[Spec]:
    """Corrected hourly level and its band inside every doubt window, broken where hours are missing."""
    data: list[Spec] = []
    for doubt in doubts:
        level = put_right(findings, doubt, reader)
        stride = max(1, -(-level.time.size // MOST_CORRECTED))
        time, value, band = level.time[::stride], level.value[::stride], level.band[::stride]
        pauses = np.flatnonzero(np.diff(time) > max(LONGEST_PAUSE, stride * NS_PER_HOUR)) + 1
        for part in np.split(np.arange(time.size), pauses):
            if part.size:
                data += _corrected(reader.wall(time[part]), value[part], band[part], key, findings, reader)
    return data


def put_right(findings: PointFindings, doubt: Doubt, reader: Reader) -> CorrectedLevel:
    """The corrected level of a doubtful stretch and its band, in the unit shown."""
    level = corrected_level(findings, doubt)
    return replace(
        level,
        value=reader.level(level.value, findings.unit),
        band=reader.apart(level.band, findings.unit),
    )


def _corrected(
    wall: np.ndarray, level: FloatArray, band: FloatArray, key: str, findings: PointFindings, reader: Reader
) -> list[Spec]:
    common: Spec = {"type": "scatter", "mode": "lines", "yaxis": key, "x": wall}
    return [
        {**common, "y": to_uncertainty(level - band, band), "name": "corrected, low", "meta": "band", "line": {"width": 0}, "hoverinfo": "skip"},
        {**common, "y": to_uncertainty(level + band, band), "name": "corrected, high", "meta": "band", "line": {"width": 0},
         "fill": "tonexty", "fillcolor": "@band", "hoverinfo": "skip"},
        {**common, "y": to_uncertainty(level, band), "name": "corrected reading, hourly", "meta": "corrected",
         "line": {"color": "@pencil", "width": 1.6, "dash": "4px,3px"},
         "hovertemplate": f"corrected %{{y}} {label(reader.unit(findings.unit))}<extra></extra>"},
    ]  # fmt: skip


def sample_rings(
    samples: Sequence[LabSample], key: str, findings: PointFindings, reader: Reader
) -> list[Spec]:
    """Laboratory samples as open rings on the axis `key`, in the unit of the point; none without any."""
    if not samples:
        return []
    return [
        {
            "type": "scatter", "mode": "markers", "name": "laboratory sample", "meta": "samples", "yaxis": key,
            "x": reader.wall(np.array([s.time for s in samples], np.int64)),
            "y": reader.level(np.array([s.value for s in samples], np.float64), findings.unit),
            "marker": {"symbol": "circle-open", "size": 9, "line": {"width": 2}, "color": "@lab"},
            "hovertemplate": f"laboratory sample %{{y}} {label(reader.unit(findings.unit))}<extra></extra>",
        }
    ]  # fmt: skip


def shift_bars(found: Sequence[FoundShift], key: str, findings: PointFindings, reader: Reader) -> list[Spec]:
    """A bar at each calibration that found a shift, from where the reading stood to where it should have."""
    unit = label(reader.unit(findings.unit))
    return [
        {
            "type": "scatter", "mode": "lines+markers", "name": "shift found", "meta": "shift", "yaxis": key,
            "x": reader.wall(np.array([shift.time] * 2, np.int64)), "y": reader.level(np.array([shift.reading, shift.truth]), findings.unit),
            "line": {"color": "@mark", "width": 3},
            "marker": {"symbol": "line-ew", "size": 13, "color": "@mark", "line": {"width": 3, "color": "@mark"}},
            "hovertemplate": f"shift found, %{{y:.4~g}} {unit}<extra></extra>",
        }
        for shift in found
    ]  # fmt: skip


def shades(
    findings: PointFindings,
    doubts: Sequence[Doubt],
    key: str,
    reader: Reader,
    clear: tuple[float, float] | None = None,
) -> list[Spec]:
    """Doubt windows over the reading, and the edges of events that matter.

    Edges stay out of the panel between `clear` (fractions of the height), which is that of the temperature: on a
    long record a peak is one upright line, and the edge of the heat or of what followed it would hide it.
    """
    shapes = []
    for doubt in doubts:
        start, end = reader.wall(np.array([doubt.start, doubt.end], np.int64))
        shapes.append(
            {
                "type": "rect", "x0": stamp(start), "x1": stamp(end), "y0": 0, "y1": 1, "yref": f"{key} domain",
                "fillcolor": "@doubt", "line": {"width": 0}, "layer": "below",
            }
        )  # fmt: skip
    for event in marked_events(findings):
        at = stamp(reader.wall(np.array([event.start], np.int64))[0])
        ink = family(event.kind).ink
        parts = [(0.0, 1.0)] if clear is None else [(0.0, clear[0]), (clear[1], 1.0)]
        shapes += [
            {
                "type": "line", "x0": at, "x1": at, "y0": low, "y1": high, "yref": "paper",
                "line": {"color": f"@{ink}", "width": 1.4}, "layer": "below",
            }
            for low, high in parts if high > low
        ]  # fmt: skip
    return shapes


def marked_events(findings: PointFindings) -> list[Event]:
    """Events whose beginning is marked across the curves, worst first: those of the probe, or that may be, worth a look."""
    serious = [e for e in findings.events if e.asks_a_look and e.may_be_probe]
    return sorted(serious, key=lambda e: (e.severity != "act", -e.confidence, e.start))[:MOST_SHADES]


def rating_lines(findings: PointFindings, plant: Plant, key: str, reader: Reader) -> list[Spec]:
    """Continuous and sterilisation rating, a stretch each for the probes that sat there."""
    shapes: list[Spec] = []
    for run in rated_stretches(findings, plant):
        left, right = reader.wall(np.array([run.start, run.end], np.int64))
        for level, dash in ((run.continuous, "2px,4px"), (run.steam, "9px,4px")):
            shapes.append(
                {
                    "type": "line", "x0": stamp(left), "x1": stamp(right), "yref": key,
                    "y0": float(reader.level(np.array([level]), "degC")[0]),
                    "y1": float(reader.level(np.array([level]), "degC")[0]),
                    "line": {"color": "@heat", "width": 1, "dash": dash}, "layer": "below",
                }
            )  # fmt: skip
    return shapes


def rating_note(findings: PointFindings, plant: Plant, top: float, reader: Reader) -> Spec:
    """The ratings of the probe that sits there now, in the line of the panel's title, where no curve runs."""
    last = rated_stretches(findings, plant)[-1]
    words = rating_words(last.continuous, last.steam, reader, assumed=last.assumed)
    return note(label(words), ink="@heat", size=10, x=1, xref="paper", xanchor="right", xshift=2,
                y=top, yref="paper", yanchor="bottom")  # fmt: skip


def calibration_lines(calibrations: Sequence[Calibration], reader: Reader) -> list[Spec]:
    """A dotted line over the whole height for each calibration."""
    times = reader.wall(np.array([c.time for c in calibrations], np.int64))
    return [
        {
            "type": "line", "x0": stamp(t), "x1": stamp(t), "y0": 0, "y1": 1, "yref": "paper",
            "line": {"color": "@mark", "width": 1, "dash": "1px,3px"}, "layer": "below",
        }
        for t in times
    ]  # fmt: skip


def alongside(others: Sequence[PointFindings], findings: PointFindings) -> list[PointFindings]:
    """Those of other points that have a level while this one was recorded."""
    return [other for other in others if np.isfinite(_while(other, findings)[1]).any()]


def related_strip(other: PointFindings, findings: PointFindings, key: str, reader: Reader) -> Spec:
    """Hourly level of a related point in another unit, in a strip of its own."""
    time, value = with_gaps(*_while(other, findings), LONGEST_PAUSE)
    reader = reader.of(other)
    unit = label(reader.unit(other.unit))
    return {
        "type": "scatter", "mode": "lines", "name": label(other.point.name), "meta": "related", "yaxis": key,
        "x": reader.wall(time), "y": reader.level(as_fine(value, other), other.unit), "connectgaps": False,
        "line": {"color": "@state", "width": 1.1},
        "hovertemplate": f"{label(other.point.name)} %{{y}} {unit}<extra></extra>",
    }  # fmt: skip


def as_fine(level: FloatArray, findings: PointFindings) -> FloatArray:
    """Levels with as many decimals as the record of their point has; four digits where that is not known."""
    sampling = findings.sampling.get("value")
    step = sampling.resolution if sampling is not None else 0.0
    return np.round(level, digits_for(step)) if step > 0 else to_digits(level, 4)


def _while(other: PointFindings, findings: PointFindings) -> tuple[TimeArray, FloatArray]:
    """Hours and levels of another point inside the record of this one."""
    inside = (other.levels.time >= findings.start) & (other.levels.time <= findings.end)
    return other.levels.time[inside], other.levels.value[inside]


def beside(
    findings: PointFindings, neighbours: Sequence[PointFindings], key: str, reader: Reader
) -> list[Spec]:
    """Hourly level of related points in the same unit, faint, for comparison."""
    data: list[Spec] = []
    for other in alongside(neighbours, findings):
        if other.unit != findings.unit:
            continue
        time, value = with_gaps(*_while(other, findings), LONGEST_PAUSE)
        data.append(
            {
                "type": "scatter", "mode": "lines", "name": label(other.point.name), "meta": "beside", "yaxis": key,
                "x": reader.wall(time), "y": reader.level(as_fine(value, other), other.unit), "connectgaps": False,
                "line": {"color": "@state", "width": 1}, "opacity": 0.75,
                "hovertemplate": f"{label(other.point.name)} %{{y}} {label(reader.unit(other.unit))}<extra></extra>",
            }
        )  # fmt: skip
    return data
