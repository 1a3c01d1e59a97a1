"""The record of one point on one time axis: reading, temperature, noise, and lanes of what happened.

There is one x axis and several y axes stacked over it, so that nothing can be zoomed apart.  Below the
curves stand lanes, one a kind of event and one a state, each with its name in words at the left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboards.content.about import About
from dashboards.content.found import found_shifts
from dashboards.figures.drawing import panel_title, with_unit
from dashboards.figures.lanes import lane_axis, lane_traces, lanes_of, state_ribbon
from dashboards.figures.marks import (
    alongside,
    beside,
    calibration_lines,
    corrections,
    rating_lines,
    rating_note,
    related_strip,
    sample_rings,
    shades,
    shift_bars,
)
from dashboards.figures.spec import Spec, label, note, stamp, to_figure
from dashboards.look import axis, base_layout, date_axis
from dashboards.wording import Reader
from excursions import clock
from excursions.plant import Plant
from excursions.records import Calibration, Doubt, LabSample, Shift
from excursions.report.result import PointFindings, Trace
from excursions.report.rounded import to_digits

if TYPE_CHECKING:
    from dashboards.figures.spec import Figure

LANE_PX = 19
PANEL_PX = {"value": 270, "temperature": 130, "noise": 74}
NOISE_DIGITS = 2  # a spread is not known better
RELATED_PX = 62
GAP_PX = 30
AXIS_PX = 46
TOP_PX = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class PointMarks:
    """What is drawn beside the traces of a point."""

    calibrations: Sequence[Calibration] = ()
    doubts: Sequence[Doubt] = ()
    samples: Sequence[LabSample] = ()
    neighbours: Sequence[PointFindings] = ()
    related: Sequence[PointFindings] = ()
    shifts: Sequence[Shift] = ()


def marks_of(about: About) -> PointMarks:
    """All that is known of a point, to be drawn."""
    return PointMarks(
        calibrations=about.calibrations,
        doubts=about.doubts,
        samples=about.samples,
        neighbours=about.neighbours,
        related=about.related,
        shifts=about.shifts,
    )


def point_figure(
    findings: PointFindings,
    plant: Plant | None = None,
    *,
    calibrations: Sequence[Calibration] = (),
    doubts: Sequence[Doubt] = (),
    samples: Sequence[LabSample] = (),
    neighbours: Sequence[PointFindings] = (),
    shifts: Sequence[Shift] = (),
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
    shifts : sequence of Shift
        Drawn as bars at the calibrations that found them.
    neighbours : sequence of PointFindings
        Related points: their hourly level is drawn faintly beside the reading where the unit is the same, else
        in a strip below it.
    display_units : str
        ``degC`` or ``degF``.

    Raises
    ------
    UsageError
        If the plant's zone is not a zone of the IANA data base.
    """
    house = plant or Plant(points=(findings.point,))
    reader = Reader(tz=clock.zone(house.zone), temperature=display_units).of(findings)
    name = findings.point.name
    marks = PointMarks(
        calibrations=[c for c in calibrations if c.point == name],
        doubts=[d for d in doubts if d.point == name],
        samples=[s for s in samples if s.point == name],
        neighbours=[other for other in neighbours if other.unit == findings.unit],
        related=[other for other in neighbours if other.unit != findings.unit],
        shifts=[shift for shift in shifts if shift.point == name],
    )
    return to_figure(point_spec(findings, house, marks, reader))


def point_spec(
    findings: PointFindings,
    plant: Plant,
    marks: PointMarks,
    reader: Reader,
    *,
    near: tuple[int, int] | None = None,
) -> Spec:
    """The record of one point as a figure description; with `near` [ns] only lanes that hold something in that stretch."""
    # A noise that few samples do not give has no panel: an empty one would have a scale that means nothing.
    held = {name for name, t in findings.traces.items() if name != "noise" or np.isfinite(t.value).any()}
    panels = [name for name in PANEL_PX if name in held]
    lanes = lanes_of(findings, plant, marks.calibrations, reader)
    if near is not None:
        first, last = reader.wall(np.array(near, np.int64))
        lanes = [lane for lane in lanes if np.any((lane.start <= last) & (lane.end >= first))]
    others = alongside(marks.related, findings)
    domains, height = _domains(panels, len(others), len(lanes))
    data: list[Spec] = []
    shapes: list[Spec] = []
    notes: list[Spec] = []
    layout = base_layout(height)
    layout["margin"] = {"l": 136, "r": 14, "t": TOP_PX, "b": AXIS_PX}
    for number, name in enumerate(panels, start=1):
        key = _key(number)
        trace = findings.traces[name]
        layout[_axis(number)] = axis(domain=domains[name], fixedrange=True, nticks=5)
        if name == "value":
            data += beside(findings, marks.neighbours, key, reader)
        data.append(_line(trace, name, key, findings, reader))
        notes.append(_title(name, domains[name][1], findings, reader))
        if name == "value":
            data += corrections(findings, marks.doubts, key, reader)
            data += sample_rings(marks.samples, key, findings, reader)
            data += shift_bars(found_shifts(findings, marks.shifts), key, findings, reader)
            shapes += shades(findings, marks.doubts, key, reader, _clear(domains))
        if name == "temperature":
            shapes += rating_lines(findings, plant, key, reader)
            notes.append(rating_note(findings, plant, domains[name][1], reader))
    for number, other in enumerate(others, start=len(panels) + 1):
        place = domains[f"related {number - len(panels)}"]
        layout[_axis(number)] = axis(domain=place, fixedrange=True, nticks=3)
        data.append(related_strip(other, findings, _key(number), reader))
        notes.append(_strip_title(other, place[1], reader))
    below = len(panels) + len(others) + bool(lanes)
    lane_key = _key(below)  # without lanes the lowest panel carries the dates
    if lanes:
        layout[_axis(below)] = lane_axis(lanes, domains["lanes"])
        shapes += state_ribbon(lanes, lane_key)
    for row, lane in enumerate(lanes):
        data += lane_traces(lane, len(lanes) - row - 1, lane_key)
    shapes += calibration_lines(marks.calibrations, reader)
    layout["xaxis"] = _time_axis(findings, lane_key, reader)
    layout["shapes"], layout["annotations"] = shapes, notes
    layout["hovermode"], layout["hoverdistance"], layout["spikedistance"] = "x unified", -1, -1
    layout["hoversubplots"] = "axis"
    return {"data": data, "layout": layout}


def _clear(domains: dict[str, list[float]]) -> tuple[float, float] | None:
    """Where the temperature stands, as fractions of the height; None without one."""
    low, high = domains.get("temperature", (0.0, 0.0))
    return (low, high) if high > low else None


def _key(number: int) -> str:
    """What plotly calls the n-th vertical axis in a trace."""
    return "y" if number == 1 else f"y{number}"


def _axis(number: int) -> str:
    """What plotly calls the n-th vertical axis in the layout."""
    return "yaxis" if number == 1 else f"yaxis{number}"


def _domains(panels: Sequence[str], related: int, lanes: int) -> tuple[dict[str, list[float]], int]:
    """Vertical room of every panel as fractions, and the height of the whole in pixels."""
    sizes = [(name, PANEL_PX[name]) for name in panels]
    sizes += [(f"related {n}", RELATED_PX) for n in range(1, related + 1)]
    sizes += [("lanes", LANE_PX * lanes)] if lanes else []
    room = sum(size for _, size in sizes) + GAP_PX * (len(sizes) - 1)
    top, domains = float(room), {}
    for name, size in sizes:
        domains[name] = [round((top - size) / room, 5), round(top / room, 5)]
        top -= size + GAP_PX
    domains[sizes[-1][0]][0] = 0.0
    return domains, room + TOP_PX + AXIS_PX


FEW = 12  # samples that are marked one by one
LEAST_SPAN_NS = 10 * clock.NS_PER_MINUTE  # of the time axis: less has no labels of its own


def _line(trace: Trace, name: str, key: str, findings: PointFindings, reader: Reader) -> Spec:
    value = trace.value
    ink = {"value": "@reading", "temperature": "@heat"}.get(name, "@noise")
    words = {"value": findings.point.quantity.label, "temperature": "temperature"}.get(name, "noise")
    mode = "lines" if value.size > FEW else "lines+markers"  # one sample alone makes no line
    return {
        "type": "scatter", "mode": mode, "name": words, "meta": name, "yaxis": key, "connectgaps": False,
        "cliponaxis": mode == "lines", "x": reader.wall(trace.time), "y": reader.level(value, trace.unit) if name != "noise" else to_digits(reader.apart(value, trace.unit), NOISE_DIGITS),
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
    return note(text, x=0, xref="paper", y=top, yref="paper", yanchor="bottom", xanchor="left", ink="@quiet")


def _strip_title(other: PointFindings, top: float, reader: Reader) -> Spec:
    words = f"Related: {other.point.name}, {with_unit(other.point.quantity.label, reader.of(other).unit(other.unit))}"
    return note(
        label(words), x=0, xref="paper", y=top, yref="paper", yanchor="bottom", xanchor="left", ink="@quiet"
    )


def _time_axis(findings: PointFindings, anchor: str, reader: Reader) -> Spec:
    short = max(LEAST_SPAN_NS - (findings.end - findings.start), 0) // 2
    ends = reader.wall(np.array([findings.start - short, findings.end + short], np.int64))
    return date_axis(
        anchor=anchor, range=[stamp(ends[0]), stamp(ends[1])], showspikes=True, spikemode="across",
        spikesnap="cursor", spikethickness=1, spikedash="solid", spikecolor="@quiet", hoverformat="%a %-d %b %Y, %H:%M",
    )  # fmt: skip
