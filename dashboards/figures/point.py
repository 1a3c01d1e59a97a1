"""The record of one point on one time axis: reading, temperature, noise, and lanes of what happened.

There is one x axis and several y axes stacked over it, so that nothing can be zoomed apart.  Below the
curves stand lanes, one a kind of event and one a state, each with its name in words at the left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboards.figures.drawing import panel_title
from dashboards.figures.spec import Spec, broken, label, stamp, to_figure
from dashboards.look import axis, base_layout, family
from dashboards.wording import STATE_WORDS, Reader, kind_label
from excursions import clock
from excursions.plant import Plant
from excursions.records import MEASURING, STATES, Calibration, Doubt, Event, FloatArray, LabSample
from excursions.report.result import PointFindings, Trace

if TYPE_CHECKING:
    from dashboards.figures.spec import Figure

LANE_PX = 19
PANEL_PX = {"value": 270, "temperature": 130, "noise": 74}
GAP_PX = 30
AXIS_PX = 46
TOP_PX = 24
MOST_SHADES = 60  # event spans shaded across the curves; the lanes hold all of them
MOST_CORRECTED = 4_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PointMarks:
    """What is drawn beside the traces of a point."""

    calibrations: Sequence[Calibration] = ()
    doubts: Sequence[Doubt] = ()
    samples: Sequence[LabSample] = ()


def point_figure(
    findings: PointFindings,
    plant: Plant | None = None,
    *,
    calibrations: Sequence[Calibration] = (),
    doubts: Sequence[Doubt] = (),
    samples: Sequence[LabSample] = (),
    display_units: str = "degC",
) -> Figure:
    """The record of one point as a plotly figure, for a notebook.

    Parameters
    ----------
    findings : PointFindings
    plant : Plant or None
        Gives zone and heat ratings; without it times are UTC and ratings are those of the point.
    calibrations, doubts, samples : sequences
        Drawn as marks, shaded windows with the corrected level, and rings; those of this point only.
    display_units : str
        ``degC`` or ``degF``.

    Raises
    ------
    UsageError
        If the plant's zone is not a zone of the IANA data base.
    """
    house = plant or Plant(points=(findings.point,))
    reader = Reader(tz=clock.zone(house.zone), temperature=display_units)
    name = findings.point.name
    marks = PointMarks(
        calibrations=[c for c in calibrations if c.point == name],
        doubts=[d for d in doubts if d.point == name],
        samples=[s for s in samples if s.point == name],
    )
    return to_figure(point_spec(findings, house, marks, reader))


def point_spec(findings: PointFindings, plant: Plant, marks: PointMarks, reader: Reader) -> Spec:
    """The record of one point as a figure description."""
    panels = [name for name in PANEL_PX if name in findings.traces]
    lanes = _lanes(findings, marks, reader)
    domains, height = _domains(panels, len(lanes))
    data: list[Spec] = []
    shapes: list[Spec] = []
    notes: list[Spec] = []
    layout = base_layout(height)
    layout["margin"] = {"l": 118, "r": 14, "t": TOP_PX, "b": AXIS_PX}
    for number, name in enumerate(panels, start=1):
        key = "y" if number == 1 else f"y{number}"
        trace = findings.traces[name]
        layout[f"yaxis{'' if number == 1 else number}"] = axis(
            domain=domains[name], fixedrange=True, nticks=5
        )
        data.append(_line(trace, name, key, findings, reader))
        notes.append(_title(name, domains[name][1], findings, reader))
        if name == "value":
            data += _corrections(findings, marks.doubts, key, reader)
            data += _sample_rings(marks.samples, key, findings, reader)
            shapes += _shades(findings, marks, key, reader)
        if name == "temperature":
            more, words = _rating_lines(findings, plant, key, reader)
            shapes += more
            notes += words
    lane_key = f"y{len(panels) + 1}" if panels else "y"
    layout[f"yaxis{len(panels) + 1 if panels else ''}"] = _lane_axis(lanes, domains["lanes"])
    for row, lane in enumerate(lanes):
        data += _lane_traces(lane, len(lanes) - row - 1, lane_key)
    shapes += _calibration_lines(marks.calibrations, reader)
    layout["xaxis"] = _time_axis(findings, lane_key, reader)
    layout["shapes"], layout["annotations"] = shapes, notes
    layout["hovermode"], layout["hoverdistance"], layout["spikedistance"] = "x unified", -1, -1
    layout["hoversubplots"] = "axis"
    return {"data": data, "layout": layout}


def _domains(panels: Sequence[str], lanes: int) -> tuple[dict[str, list[float]], int]:
    """Vertical room of every panel as fractions, and the height of the whole in pixels."""
    sizes = [(name, PANEL_PX[name]) for name in panels] + [("lanes", LANE_PX * max(lanes, 1))]
    room = sum(size for _, size in sizes) + GAP_PX * (len(sizes) - 1)
    top, domains = float(room), {}
    for name, size in sizes:
        domains[name] = [round((top - size) / room, 5), round(top / room, 5)]
        top -= size + GAP_PX
    domains["lanes"][0] = 0.0
    return domains, room + TOP_PX + AXIS_PX


def _line(trace: Trace, name: str, key: str, findings: PointFindings, reader: Reader) -> Spec:
    ink = {"value": "@reading", "temperature": "@heat"}.get(name, "@noise")
    words = {"value": findings.point.quantity.label, "temperature": "temperature"}.get(name, "noise")
    return {
        "type": "scatter", "mode": "lines", "name": words, "meta": name, "yaxis": key, "connectgaps": False,
        "x": reader.wall(trace.time), "y": reader.level(trace.value, trace.unit) if name != "noise" else trace.value,
        "line": {"color": ink, "width": 1.1, "shape": "linear"},
        "hovertemplate": f"{label(words)} %{{y}} {label(reader.unit(trace.unit))}<extra></extra>",
    }  # fmt: skip


def _title(name: str, top: float, findings: PointFindings, reader: Reader) -> Spec:
    unit = reader.unit(findings.traces[name].unit)
    words = {
        "value": findings.point.quantity.label,
        "temperature": "Temperature",
    }.get(name, "Noise, local spread of the reading")
    text = label(panel_title(words, unit))
    return _note(text, x=0, xref="paper", y=top, yref="paper", yanchor="bottom", xanchor="left", ink="@quiet")


def _note(text: str, *, ink: str, size: int = 12, **where: object) -> Spec:
    return {"text": text, "showarrow": False, "font": {"size": size, "color": ink}, **where}


def _corrections(findings: PointFindings, doubts: Sequence[Doubt], key: str, reader: Reader) -> list[Spec]:
    """Corrected hourly level and its band inside every doubt window."""
    data: list[Spec] = []
    levels = findings.levels
    for doubt in doubts:
        inside = (levels.time >= doubt.start) & (levels.time <= doubt.end) & np.isfinite(levels.value)
        if not doubt.knots or not inside.any():
            continue
        time = levels.time[inside][:: max(1, int(inside.sum()) // MOST_CORRECTED)]
        value = levels.value[inside][:: max(1, int(inside.sum()) // MOST_CORRECTED)]
        error, band = error_at(doubt, time)
        if not np.isfinite(error).all():
            continue
        wall, best = reader.wall(time), np.round(value - error, 6)
        common: Spec = {"type": "scatter", "mode": "lines", "yaxis": key, "x": wall}
        data += [
            {**common, "y": np.round(best - band, 6), "name": "corrected, low", "line": {"width": 0}, "hoverinfo": "skip"},
            {**common, "y": np.round(best + band, 6), "name": "corrected, high", "line": {"width": 0},
             "fill": "tonexty", "fillcolor": "@band", "hoverinfo": "skip"},
            {**common, "y": best, "name": "corrected reading, hourly", "meta": "corrected",
             "line": {"color": "@pencil", "width": 1.6, "dash": "4px,3px"},
             "hovertemplate": f"corrected %{{y:.4g}} {label(reader.unit(findings.unit))}<extra></extra>"},
        ]  # fmt: skip
    return data


def error_at(doubt: Doubt, time: np.ndarray) -> tuple[FloatArray, FloatArray]:
    """Error and half width of its band at each instant, linear between the knots."""
    knots = np.array([knot[0] for knot in doubt.knots], dtype=np.float64)
    error = np.interp(time.astype(np.float64), knots, [knot[1] for knot in doubt.knots])
    band = (
        np.interp(time.astype(np.float64), knots[: len(doubt.band)], doubt.band)
        if doubt.band
        else np.zeros(time.size)
    )
    return error, band


def _sample_rings(
    samples: Sequence[LabSample], key: str, findings: PointFindings, reader: Reader
) -> list[Spec]:
    if not samples:
        return []
    return [
        {
            "type": "scatter", "mode": "markers", "name": "laboratory sample", "meta": "samples", "yaxis": key,
            "x": reader.wall(np.array([s.time for s in samples], np.int64)),
            "y": np.array([s.value for s in samples], np.float64),
            "marker": {"symbol": "circle-open", "size": 9, "line": {"width": 2}, "color": "@lab"},
            "hovertemplate": f"laboratory sample %{{y}} {label(reader.unit(findings.unit))}<extra></extra>",
        }
    ]  # fmt: skip


def _shades(findings: PointFindings, marks: PointMarks, key: str, reader: Reader) -> list[Spec]:
    """Doubt windows over the reading, and the edges of events that matter."""
    shapes = []
    for doubt in marks.doubts:
        start, end = reader.wall(np.array([doubt.start, doubt.end], np.int64))
        shapes.append(
            {
                "type": "rect", "x0": stamp(start), "x1": stamp(end), "y0": 0, "y1": 1, "yref": f"{key} domain",
                "fillcolor": "@doubt", "line": {"width": 0}, "layer": "below",
                "label": {"text": "doubtful", "textposition": "top left", "font": {"size": 12, "color": "@quiet"}, "padding": 4},
            }
        )  # fmt: skip
    serious = [e for e in findings.events if e.severity != "note" and e.origin in ("probe", "undecided")]
    for event in sorted(serious, key=lambda e: (e.severity != "act", -e.confidence, e.start))[:MOST_SHADES]:
        start = reader.wall(np.array([event.start], np.int64))[0]
        shapes.append(
            {
                "type": "line", "x0": stamp(start), "x1": stamp(start), "y0": 0, "y1": 1, "yref": "paper",
                "line": {"color": f"@{family(event.kind).ink}", "width": 1.4}, "layer": "below",
            }
        )  # fmt: skip
    return shapes


def _rating_lines(
    findings: PointFindings, plant: Plant, key: str, reader: Reader
) -> tuple[list[Spec], list[Spec]]:
    """Continuous and sterilisation rating, a stretch each for the probes that sat there."""
    changes = sorted(
        {
            findings.start,
            *(row.start for row in plant.installations if row.point == findings.point.name and row.start),
        }
    )
    starts = [t for t in changes if findings.start <= t < findings.end] or [findings.start]
    shapes: list[Spec] = []
    runs: list[tuple[int, int, float, float, bool]] = []
    for start, end in zip(starts, [*starts[1:], findings.end], strict=True):
        ratings = plant.ratings(findings.point, start)
        row = (ratings.continuous_degc, ratings.sterilisation_degc, ratings.assumed)
        if runs and runs[-1][2:] == row:
            runs[-1] = (runs[-1][0], end, *row)
        else:
            runs.append((start, end, *row))
    for start, end, continuous, steam, _ in runs:
        left, right = reader.wall(np.array([start, end], np.int64))
        for level, dash in ((continuous, "2px,4px"), (steam, "9px,4px")):
            shapes.append(
                {
                    "type": "line", "x0": stamp(left), "x1": stamp(right), "yref": key,
                    "y0": float(reader.level(np.array([level]), "degC")[0]),
                    "y1": float(reader.level(np.array([level]), "degC")[0]),
                    "line": {"color": "@heat", "width": 1, "dash": dash}, "layer": "below",
                }
            )  # fmt: skip
    return shapes, _rating_words(runs[-1], key, reader)


def _rating_words(last: tuple[int, int, float, float, bool], key: str, reader: Reader) -> list[Spec]:
    _, _, continuous, steam, assumed = last
    ends = "" if not assumed else ", assumed"
    pairs = [(continuous, f"rated {reader.amount(continuous, 'degC')}{ends}")]
    if steam != continuous:
        pairs.append((steam, f"steam {reader.amount(steam, 'degC')}{ends}"))
    return [
        _note(label(words), ink="@heat", size=11, x=1, xref="paper", xanchor="right", yref=key, yanchor="bottom",
              y=float(reader.level(np.array([level]), "degC")[0]))
        for level, words in pairs
    ]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lane:
    words: str
    ink: str
    spans: list[tuple[object, object]]
    marks: list[object]
    symbol: str
    key: str


def _lanes(findings: PointFindings, marks: PointMarks, reader: Reader) -> list[_Lane]:
    """Kinds of event (worst family first), calibrations, then states other than measuring."""
    kinds: dict[str, list[Event]] = {}
    for event in findings.events:
        kinds.setdefault(event.kind, []).append(event)
    lanes = [
        _lane(
            kind_label(kind),
            family(kind).ink,
            [(e.start, e.end) for e in events],
            "line-ns",
            f"event:{kind}",
            reader,
        )
        for kind, events in sorted(kinds.items(), key=lambda item: (_least(item[1]), item[0]))
    ]
    if marks.calibrations:
        times = [(c.time, c.time) for c in marks.calibrations]
        lanes.append(_lane("calibration", "mark", times, "diamond-tall", "calibration", reader))
    states = findings.states
    for code, name in enumerate(STATES):
        spans = states.spans(code)
        if code != MEASURING and spans.size:
            pairs = [(int(a), int(b)) for a, b in spans]
            lanes.append(_lane(STATE_WORDS[name], "state", pairs, "line-ns", f"state:{name}", reader))
    return lanes


def _least(events: Sequence[Event]) -> int:
    order = {"probe": 0, "undecided": 1, "record": 2, "process": 3, "routine": 4}
    return min(order.get(event.origin, 5) for event in events)


def _lane(
    words: str, ink: str, spans: Sequence[tuple[int, int]], symbol: str, key: str, reader: Reader
) -> _Lane:
    flat = reader.wall(np.array(spans, np.int64).reshape(-1))
    pairs = [(flat[i], flat[i + 1]) for i in range(0, flat.size, 2)]
    return _Lane(
        words=words, ink=f"@{ink}", symbol=symbol, key=key,
        spans=[(stamp(a), stamp(b)) for a, b in pairs if a != b],
        marks=[stamp(a) for a, _ in pairs] if symbol else [],
    )  # fmt: skip


def _lane_traces(lane: _Lane, at: int, key: str) -> list[Spec]:
    x, y = broken(lane.spans, float(at))
    state = lane.key.startswith("state:")
    data: list[Spec] = []
    if x:
        data.append(
            {
                "type": "scatter", "mode": "lines", "name": label(lane.words), "meta": lane.key, "yaxis": key,
                "x": x, "y": y, "line": {"color": lane.ink, "width": 5 if state else 9}, "hoverinfo": "skip",
            }
        )  # fmt: skip
    if lane.marks:
        data.append(
            {
                "type": "scatter", "mode": "markers", "name": label(lane.words), "meta": f"{lane.key}:start",
                "yaxis": key, "x": lane.marks, "y": [float(at)] * len(lane.marks), "hoverinfo": "skip",
                "marker": {
                    "symbol": lane.symbol, "size": 5 if state else 11, "color": lane.ink,
                    "line": {"color": lane.ink, "width": 1 if state else 2},
                },
            }
        )  # fmt: skip
    return data


def _lane_axis(lanes: Sequence[_Lane], domain: list[float]) -> Spec:
    count = len(lanes)
    return axis(
        domain=domain, fixedrange=True, range=[-0.6, max(count, 1) - 0.4], ticks="", showgrid=True,
        tickvals=[count - 1 - row for row in range(count)], ticktext=[label(lane.words, limit=18) for lane in lanes],
    )  # fmt: skip


def _calibration_lines(calibrations: Sequence[Calibration], reader: Reader) -> list[Spec]:
    times = reader.wall(np.array([c.time for c in calibrations], np.int64))
    return [
        {
            "type": "line", "x0": stamp(t), "x1": stamp(t), "y0": 0, "y1": 1, "yref": "paper",
            "line": {"color": "@mark", "width": 1, "dash": "1px,3px"}, "layer": "below",
        }
        for t in times
    ]  # fmt: skip


def _time_axis(findings: PointFindings, anchor: str, reader: Reader) -> Spec:
    ends = reader.wall(np.array([findings.start, max(findings.end, findings.start + 1)], np.int64))
    return axis(
        type="date", anchor=anchor, range=[stamp(ends[0]), stamp(ends[1])], showspikes=True, spikemode="across",
        spikesnap="cursor", spikethickness=1, spikedash="solid", spikecolor="@quiet", hoverformat="%a %-d %b %Y, %H:%M",
        tickformatstops=[
            {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
            {"dtickrange": [60_000, 86_400_000], "value": "%H:%M\n%-d %b"},
            {"dtickrange": [86_400_000, "M1"], "value": "%-d %b"},
            {"dtickrange": ["M1", None], "value": "%b %Y"},
        ],
    )  # fmt: skip
