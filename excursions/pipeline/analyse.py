"""The work on one point, as the crew and the cluster call it: a record as a whole, or a long one in windows."""

from __future__ import annotations

from excursions.pipeline.point import PointCounts, PointInput, search_whole
from excursions.pipeline.windows import analyse_long, is_long
from excursions.report.result import PointFindings


def analyse_point(given: PointInput) -> tuple[PointFindings, PointCounts]:
    """Condition, split into states and search one point; a long record in windows (see ``windows.py``).

    Returns
    -------
    findings, counts
        Findings small enough to send between processes, and what became of the rows.
    """
    if is_long(sum(int(series.time.size) for series in given.series.values())):
        found = analyse_long(given)
        if found is not None:
            return found
    return search_whole(given)
