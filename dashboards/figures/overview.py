"""All points on one time axis: when each was in trouble, worst point on top."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dashboards.content.entry import in_trouble
from dashboards.content.overview import record_span
from dashboards.figures.spec import Spec, broken, label, stamp, to_figure
from dashboards.look import FAMILIES, axis, base_layout, date_axis, family
from dashboards.wording import Reader
from excursions import clock
from excursions.report.result import PointFindings, ScanResult

if TYPE_CHECKING:
    from dashboards.figures.spec import Figure

ROW_PX, LANE_PX = 22, 10  # a row, and what each family of events has of it at least
SPREAD = 0.8  # of a row, over which its lanes stand
MOST_POINTS = 60


def overview_figure(
    result: ScanResult, *, display_units: str = "degC", most_points: int = MOST_POINTS
) -> Figure:
    """Events worth a look of the worst points on one time axis, for a notebook.

    Parameters
    ----------
    result : ScanResult
    display_units : str
        ``degC`` or ``degF``, for the sentences shown on hover.
    most_points : int
        How many points, worst first.
    """
    reader = Reader(tz=clock.zone(result.plant.zone), temperature=display_units)
    return to_figure(overview_spec(result, reader, most_points=most_points))


def overview_spec(result: ScanResult, reader: Reader, *, most_points: int = MOST_POINTS) -> Spec:
    """The fleet's time line as a figure description: a row a point, in it a lane a family of events.

    The row is the nearest whole height; lanes stand beside it, so that what began together is seen together.
    """
    found = {findings.point.name: findings for findings in result.points}
    rows = [found[v.point] for v in result.verdicts if v.point in found][:most_points]
    first, last = record_span(result)
    start, end = reader.wall(np.array([first, last], np.int64))
    lanes = [_lanes(findings) for findings in rows]
    row_px = max([ROW_PX, *(LANE_PX * len(of_row) for of_row in lanes)])
    layout = base_layout(row_px * max(len(rows), 1) + 112)
    layout["margin"] = {"l": 150, "r": 12, "t": 42, "b": 46}
    layout["showlegend"] = True  # says which ink is which family
    layout["legend"] = {
        "orientation": "h", "x": 0, "y": 1, "yanchor": "bottom", "itemclick": False, "itemdoubleclick": False,
    }  # fmt: skip
    layout["hovermode"] = "closest"
    layout["xaxis"] = date_axis(range=[stamp(start), stamp(end)])
    layout["yaxis"] = axis(
        fixedrange=True, ticks="", range=[-0.6, max(len(rows), 1) - 0.4],
        tickvals=list(range(len(rows))), ticktext=[label(f.point.name, limit=22) for f in reversed(rows)],
    )  # fmt: skip
    return {"data": _traces(rows, reader), "layout": layout}


def _lanes(findings: PointFindings) -> dict[str, float]:
    """How far above its row each family of a point stands, by the family's key: the first on top."""
    there = {family(event.kind).key for event in findings.events if in_trouble(event)}
    keys = [group.key for group in FAMILIES if group.key in there]
    return {key: SPREAD * ((len(keys) - 1) / 2 - n) / len(keys) for n, key in enumerate(keys)}


def _traces(rows: list[PointFindings], reader: Reader) -> list[Spec]:
    data: list[Spec] = []
    for group in FAMILIES:
        spans: list[tuple[object, object]] = []
        marks: list[object] = []
        at_marks: list[float] = []
        words: list[str] = []
        heights: list[float | None] = []
        for row, findings in enumerate(reversed(rows)):
            at = row + _lanes(findings).get(group.key, 0.0)
            events = [e for e in findings.events if in_trouble(e) and family(e.kind) is group]
            flat = reader.wall(np.array([[e.start, e.end] for e in events], np.int64).reshape(-1))
            for number, event in enumerate(events):
                spans.append((stamp(flat[2 * number]), stamp(flat[2 * number + 1])))
                heights += [at, at, None]
                marks.append(stamp(flat[2 * number]))
                at_marks.append(at)
                words.append(label(reader.of(findings).event(event), limit=160))
        if marks:
            data += _family_traces(group.label, f"@{group.ink}", spans, heights, marks, at_marks, words)
    return data


def _family_traces(
    name: str,
    ink: str,
    spans: list[tuple[object, object]],
    heights: list[float | None],
    marks: list[object],
    at_marks: list[float],
    words: list[str],
) -> list[Spec]:
    x, _ = broken(spans, 0.0)
    return [
        {"type": "scatter", "mode": "lines", "name": name, "x": x, "y": heights, "hoverinfo": "skip",
         "line": {"color": ink, "width": 5}, "opacity": 0.55, "showlegend": False},
        {"type": "scatter", "mode": "markers", "name": name, "x": marks, "y": at_marks, "text": words,
         "hovertemplate": "%{text}<extra></extra>",
         "marker": {"symbol": "line-ns", "size": 7, "line": {"color": ink, "width": 3}}},
    ]  # fmt: skip
