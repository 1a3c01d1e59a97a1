"""Figures straight from a scan, for a notebook: everything known of a point, or an explained moment of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dashboards.content.about import gather
from dashboards.explained import window_of
from dashboards.figures.point import marks_of, point_spec
from dashboards.figures.spec import stamp, to_figure
from dashboards.wording import Reader
from excursions import clock
from excursions.report.explanation import Explanation
from excursions.report.result import ScanResult

if TYPE_CHECKING:
    from dashboards.figures.spec import Figure


def record_figure(
    result: ScanResult, point: str, *, answer: Explanation | None = None, display_units: str = "degC"
) -> Figure:
    """The record of a point with its events, doubt, calibrations, samples and related points, as a plotly figure.

    Parameters
    ----------
    result : ScanResult
    point : str
        Name of the point.
    answer : Explanation or None
        Zooms to the moment it explains, and marks it.
    display_units : str
        ``degC`` or ``degF``.

    Raises
    ------
    ValueError
        If the scan holds no such point.
    """
    about = next((a for a in gather(result) if a.findings.point.name == point), None)
    if about is None:
        known = ", ".join(findings.point.name for findings in result.points)
        raise ValueError(f'no point "{point}" in this scan, only {known}')
    reader = Reader(tz=clock.zone(result.plant.zone), temperature=display_units).of(about.findings)
    spec = point_spec(about.findings, about.plant, marks_of(about), reader)
    if answer is not None:
        ends = (*window_of(answer.focus, about.findings), answer.focus.start, answer.focus.end)
        left, right, start, end = (stamp(t) for t in reader.wall(np.array(ends, np.int64)))
        spec["layout"]["xaxis"]["range"] = [left, right]
        spec["layout"]["shapes"].append(
            {"type": "rect", "x0": start, "x1": end, "y0": 0, "y1": 1, "yref": "paper",
             "line": {"color": "@ink", "width": 1.5, "dash": "3px,3px"}}
        )  # fmt: skip
    return to_figure(spec)
