"""The level of a doubtful stretch put right: beside the record, never over it; screen and paper take it from here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.kinds import UNUSABLE
from excursions.link import band_at, error_at
from excursions.records import BoolArray, Doubt, FloatArray
from excursions.report.result import PointFindings


def hours_in(doubt: Doubt, time: TimeArray) -> BoolArray:
    """Hours of a level that lie wholly in a doubtful stretch: one that the calibration cuts holds right readings too."""
    return np.asarray((time >= doubt.start) & (time + NS_PER_HOUR <= doubt.end))


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedLevel:
    """Hours of a doubtful stretch [ns], the level in them less its error, and the half width of its band, in the unit of the point."""

    time: TimeArray
    value: FloatArray
    band: FloatArray


def corrected_level(findings: PointFindings, doubt: Doubt) -> CorrectedLevel:
    """The level of a doubtful stretch put right, an estimate.

    No hour of it where no error is known, nor where the reading follows nothing: what is pinned stays wrong however moved.
    """
    levels = findings.levels
    kept = hours_in(doubt, levels.time) & (levels.time >= findings.start) & (levels.time <= findings.end)
    kept &= np.isfinite(levels.value) & bool(doubt.knots)
    kept &= ~in_vain(findings, levels.time, NS_PER_HOUR)
    time = levels.time[kept]
    value = levels.value[kept] - error_at(time, doubt)
    known = np.isfinite(value)
    return CorrectedLevel(time=time[known], value=value[known], band=band_at(time, doubt)[known])


def in_vain(findings: PointFindings, time: TimeArray, length: int = 1) -> BoolArray:
    """Which spans of so many ns touch an event in which the reading follows nothing, so that no correction helps."""
    touched = np.zeros(time.size, dtype=np.bool_)
    for event in findings.events:
        if event.kind in UNUSABLE:
            touched |= (time + length > event.start) & (time < event.end)
    return touched


def error_then(doubts: Sequence[Doubt], instant: int) -> float:
    """Estimated error of the reading at an instant, canonical unit; NaN outside every window that knows one."""
    inside = [doubt for doubt in doubts if doubt.start <= instant < doubt.end and doubt.knots]
    return float(error_at(np.array([instant], np.int64), inside[-1])[0]) if inside else math.nan
