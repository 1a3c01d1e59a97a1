"""Where the arrays found of many points lie until their pages are written: in an unnamed file, not in memory.

What else is found of a point is small.  Its series, levels, states and tallies are some hundred kilobytes to a megabyte,
which thousands of points turn into gigabytes.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from excursions.pipeline.point import PointCounts
from excursions.read.exports.gather.spill import Spill, let_go
from excursions.report.result import PointFindings

Found = tuple[PointFindings, PointCounts]
T = TypeVar("T")

KEPT = 64  # points whose arrays stay in memory


class Shelf:
    """Takes findings as they come; the arrays of all but the first points become read-only views of a file."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept, self._spill = kept, Spill()

    def __call__(self, found: Found) -> Found:
        """The same findings."""
        if self._kept > 0:
            self._kept -= 1
            return found
        findings = found[0]
        return replace(
            findings,
            traces={name: self._put(trace) for name, trace in findings.traces.items()},
            levels=self._put(findings.levels),
            states=self._put(findings.states),
            heat=self._put(findings.heat),
            noise_beside=self._put(findings.noise_beside),
        ), found[1]

    def _put(self, held: T) -> T:
        """A record with all its arrays on the shelf: one left out would keep what it was read from in memory."""
        of: Any = held  # Any: a dataclass, of which kind does not matter
        values = {one.name: getattr(of, one.name) for one in fields(of)}
        arrays = {name: self._view(value) for name, value in values.items() if isinstance(value, np.ndarray)}
        let_go(*arrays.values())
        shelved: T = replace(of, **arrays)
        return shelved

    def _view(self, array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        if not array.size:  # a copy, because an empty array too may be a view of a large one
            return array.copy()
        return self._spill.view(self._spill.store([array])).reshape(array.shape)
