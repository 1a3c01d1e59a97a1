"""Where the process sat: the level and temperature that decide what a parameter shift does to the reading."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from excursions.clock import NS_PER_DAY
from excursions.conclusions import Levels

# The level "before the later calibration" is the median of the last days that have readings (cp).
LOOK_BACK_NS = 3 * NS_PER_DAY


def level_before(levels: Mapping[str, Levels], point: str, when: int, *, since: int) -> tuple[float, float]:
    """Median reading and temperature of the last days before `when`, not before `since`; NaN where unknown.

    Looks three days back first, then over the whole span.
    """
    line = levels.get(point)
    if line is None or line.time.size == 0:
        return math.nan, math.nan
    for start in (max(since, when - LOOK_BACK_NS), since):
        value, temp = level_between(levels, point, start, when)
        if math.isfinite(value):
            return value, temp
    return math.nan, math.nan


def level_between(levels: Mapping[str, Levels], point: str, start: int, end: int) -> tuple[float, float]:
    """Median reading and temperature in [start, end); NaN where unknown."""
    line = levels.get(point)
    if line is None:
        return math.nan, math.nan
    inside = (line.time >= start) & (line.time < end)
    return _median(line.value[inside]), _median(
        line.temperature[inside]
    ) if line.temperature.size == line.time.size else math.nan


def _median(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan
