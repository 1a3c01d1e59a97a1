"""One heat exposure and what the reading did: the temperature seen close, the reading a day before and after."""

from __future__ import annotations

import math

import numpy as np

from dashboards.figures.heat import heat_spec
from dashboards.figures.spec import Spec, label, note, stamp
from dashboards.look import axis, date_axis
from dashboards.wording import Reader
from excursions.clock import NS_PER_DAY
from excursions.plant import Plant
from excursions.records import Event, FloatArray
from excursions.report.exposures import HeatExposure
from excursions.report.result import PointFindings

HEIGHT = 520
AIR = 0.6  # of the span of the levels, so that a step stands in the middle of its panel


def exposure_spec(
    findings: PointFindings, plant: Plant, event: Event, exposure: HeatExposure, reader: Reader
) -> Spec:
    """The temperature against ratings with its hidden-peak band above, the reading with its medians below."""
    spec = heat_spec(findings, plant, event, reader)
    layout, trace = spec["layout"], findings.traces.get("value")
    if trace is None:
        return spec
    start, end = event.start - NS_PER_DAY, event.end + NS_PER_DAY
    left, right, began, over = (
        stamp(t) for t in reader.wall(np.array([start, end, event.start, event.end], np.int64))
    )
    first, last = np.searchsorted(trace.time, [start, end])
    value = reader.level(trace.value[first:last], trace.unit)
    unit = label(reader.unit(trace.unit))
    layout["height"] = HEIGHT
    layout["yaxis"] |= {"domain": [0.56, 1.0]}
    layout["xaxis"] |= {"anchor": "y"}
    layout["xaxis2"] = date_axis(range=[left, right], anchor="y2")
    layout["yaxis2"] = axis(
        domain=[0.0, 0.36], anchor="x2", ticksuffix=f" {unit}", **_scale(findings, start, end, reader)
    )
    layout["shapes"].append(
        {"type": "rect", "x0": began, "x1": over, "y0": 0, "y1": 1, "xref": "x2", "yref": "y2 domain",
         "fillcolor": "@doubt", "line": {"width": 0}, "layer": "below"}
    )  # fmt: skip
    layout["annotations"].append(
        note(
            "The reading; dashed: its level next to the heat", ink="@ink", size=13,
            xref="paper", yref="paper", x=0, y=0.37, xanchor="left", yanchor="bottom",
        )
    )  # fmt: skip
    spec["data"].append(
        {"type": "scatter", "mode": "lines", "name": "reading", "xaxis": "x2", "yaxis": "y2",
         "x": reader.wall(trace.time[first:last]), "y": value, "line": {"color": "@reading", "width": 1.3},
         "hovertemplate": f"%{{x|%-d %b %H:%M}}: %{{y:.4~g}} {unit}<extra></extra>"}
    )  # fmt: skip
    for at, ends in ((exposure.reading_before, (left, began)), (exposure.reading_after, (over, right))):
        if math.isfinite(at):
            shown = float(reader.level(np.array([at]), trace.unit)[0])
            spec["data"].append(
                {"type": "scatter", "mode": "lines", "name": "median", "xaxis": "x2", "yaxis": "y2", "x": list(ends),
                 "y": [shown, shown], "line": {"color": "@pencil", "width": 2, "dash": "dash"},
                 "hovertemplate": f"median %{{y:.4~g}} {unit}<extra></extra>"}
            )  # fmt: skip
    return spec


def _scale(findings: PointFindings, start: int, end: int, reader: Reader) -> Spec:
    """A scale for the levels of the measuring state: cleaning and steam may leave it."""
    levels = findings.levels
    inside: FloatArray = levels.value[(levels.time >= start) & (levels.time < end)]
    seen = reader.level(inside[np.isfinite(inside)], findings.unit)
    if not seen.size:
        return {}
    low, high = float(seen.min()), float(seen.max())
    air = max((high - low) * AIR, abs(high) * 0.005, 1e-6)
    return {"range": [low - air, high + air]}
