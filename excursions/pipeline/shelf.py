"""Where plotted series of many points lie until their pages are written: in an unnamed file, not in memory.

What else is found of a point is small.  Its series are some hundred kilobytes, which thousands of points turn into
gigabytes.
"""

from __future__ import annotations

from dataclasses import replace

from excursions.pipeline.point import PointCounts
from excursions.read.exports.spill import Spill, let_go
from excursions.report.result import PointFindings, Trace

Found = tuple[PointFindings, PointCounts]

KEPT = 64  # points whose series stay in memory


class Shelf:
    """Takes findings as they come; the series of all but the first points become read-only views of a file."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept, self._spill = kept, Spill()

    def __call__(self, found: Found) -> Found:
        """The same findings."""
        if self._kept > 0:
            self._kept -= 1
            return found
        return replace(found[0], traces={name: self._put(t) for name, t in found[0].traces.items()}), found[1]

    def _put(self, trace: Trace) -> Trace:
        time = self._spill.view(self._spill.store([trace.time]))
        value = self._spill.view(self._spill.store([trace.value]))
        let_go(time, value)
        return replace(trace, time=time, value=value)
