"""One heat exposure seen close: the temperature against the ratings, and what the sampling could hide."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from dashboards.figures.ratings import rating_words
from dashboards.figures.spec import Spec, label, note, stamp, to_figure
from dashboards.look import axis, base_layout, date_axis
from dashboards.wording import Reader, kind_label, size_words
from excursions import clock
from excursions.kinds import HEAT_KINDS
from excursions.plant import Plant
from excursions.records import Event
from excursions.report.result import PointFindings

if TYPE_CHECKING:
    from dashboards.figures.spec import Figure

MARGIN = 0.6  # of the exposure's length, drawn before and after it
LEAST_BAND_K = 2.0  # a thinner band cannot be seen; the title says what could hide
LEAST_MARGIN_NS = 15 * clock.NS_PER_MINUTE


def heat_figure(
    findings: PointFindings,
    plant: Plant | None = None,
    *,
    event: Event | None = None,
    display_units: str = "degC",
) -> Figure:
    """One heat exposure as a plotly figure, for a notebook.

    Parameters
    ----------
    findings : PointFindings
    plant : Plant or None
        Gives zone and heat ratings.
    event : Event or None
        The exposure; without it the hottest one of the point.
    display_units : str
        ``degC`` or ``degF``.

    Raises
    ------
    ValueError
        If the point has no temperature, or no heat exposure when `event` is not given.
    """
    house = plant or Plant(points=(findings.point,))
    chosen = event or hottest(findings)
    if chosen is None or "temperature" not in findings.traces:
        raise ValueError(f"{findings.point.name} has no heat exposure to draw")
    reader = Reader(tz=clock.zone(house.zone), temperature=display_units)
    return to_figure(heat_spec(findings, house, chosen, reader))


def hottest(findings: PointFindings) -> Event | None:
    """The exposure with the highest temperature; an over-temperature before a sterilisation of equal peak."""
    heat = [
        e for e in findings.events if e.kind in HEAT_KINDS and e.size_unit == "degC" and math.isfinite(e.size)
    ]
    return max(heat, key=lambda e: (e.size, e.kind == "over_temperature", -e.start), default=None)


def heat_spec(findings: PointFindings, plant: Plant, event: Event, reader: Reader) -> Spec:
    """One heat exposure as a figure description."""
    trace = findings.traces["temperature"]
    margin = max(LEAST_MARGIN_NS, int((event.end - event.start) * MARGIN))
    edges = np.searchsorted(trace.time, [event.start - margin, event.end + margin])
    inside = slice(max(int(edges[0]) - 1, 0), int(edges[1]) + 1)  # with the samples just outside
    ends = reader.wall(np.array([event.start, event.end, event.start - margin, event.end + margin], np.int64))
    start, end, left, right = (stamp(t) for t in ends)
    layout = base_layout(340)
    layout["margin"] = {"l": 56, "r": 14, "t": 50, "b": 46}
    layout["xaxis"] = date_axis(range=[left, right])
    layout["yaxis"] = axis(ticksuffix=f" {label(reader.unit('degC'))}")
    layout["hovermode"] = "x"
    layout["title"] = {
        "text": f'{label(f"Highest sample: {size_words(event, reader)}")}<br><span style="font-size:12px">'
        f"{label(_rated(findings, plant, event, reader))}</span>",
        "x": 0,
        "xref": "paper",
        "font": {"size": 13},
    }
    band, band_words = _hidden_peak(event, start, end, reader)
    layout["shapes"] = [
        {"type": "rect", "x0": start, "x1": end, "y0": 0, "y1": 1, "yref": "y domain", "fillcolor": "@doubt",
         "line": {"width": 0}, "layer": "below"},
        *band,
        *_limits(findings, plant, event, (left, right), reader),
    ]  # fmt: skip
    shade = note(
        label(kind_label(event.kind)), ink="@quiet", x=start, y=0, yref="y domain", xanchor="left", yanchor="bottom"
    )  # fmt: skip
    layout["annotations"] = [*band_words, shade]
    line: Spec = {
        "type": "scatter", "mode": "lines+markers", "name": "temperature", "x": reader.wall(trace.time[inside]),
        "y": reader.level(trace.value[inside], trace.unit), "line": {"color": "@heat", "width": 1.6},
        "marker": {"size": 4, "color": "@heat"}, "hovertemplate": f"%{{y:.1f}} {label(reader.unit('degC'))}<extra></extra>",
    }  # fmt: skip
    return {"data": [line], "layout": layout}


def _hidden_peak(event: Event, start: str, end: str, reader: Reader) -> tuple[list[Spec], list[Spec]]:
    """The band between the highest sample and the highest value the sampling could have hidden, and its words."""
    if not (math.isfinite(event.size_high) and event.size_high - event.size >= LEAST_BAND_K):
        return [], []
    low, high = (float(v) for v in reader.level(np.array([event.size, event.size_high]), "degC"))
    band: Spec = {
        "type": "rect", "x0": start, "x1": end, "y0": low, "y1": high, "fillcolor": "@band", "line": {"width": 0},
    }  # fmt: skip
    words = note(
        "the true peak lies in this band", ink="@quiet", x=start, y=high, xanchor="left", yanchor="bottom"
    )
    return [band], [words]


def _rated(findings: PointFindings, plant: Plant, event: Event, reader: Reader) -> str:
    at = plant.ratings(findings.point, event.start)
    return rating_words(at.continuous_degc, at.sterilisation_degc, reader, assumed=at.assumed)


def _limits(
    findings: PointFindings, plant: Plant, event: Event, ends: tuple[str, str], reader: Reader
) -> list[Spec]:
    """Both ratings as lines."""
    ratings = plant.ratings(findings.point, event.start)
    return [
        {"type": "line", "x0": ends[0], "x1": ends[1], "y0": at, "y1": at,
         "line": {"color": "@heat", "width": 1, "dash": "6px,4px"}}
        for level in (ratings.continuous_degc, ratings.sterilisation_degc)
        for at in [float(reader.level(np.array([level]), "degC")[0])]
    ]  # fmt: skip
