"""Slow changes between two places of a plant of which one stands still while the other goes on.

A tank or a train that is shut off keeps what it has; the other one goes on with the plant, and the two walk apart though both
probes are right.  A process that rests at both is another thing: there a probe that walks is the only one that moves.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from excursions.detect.series.alike import gain
from excursions.detect.series.survey import Survey
from excursions.ranks import median
from excursions.records import FloatArray

SHORT = 8  # blocks over which a reading that goes on moves, and a slow walk hardly does
STANDS, AWAKE = 0.25, 2.0  # of its usual range over as long; times that of the one that stands
# Of the walk: centres of windows of half of it, which lie in the stay if three quarters of it do.
LONG_ENOUGH = 0.3


def one_stood(survey: Survey, neighbour: str, lo: int, hi: int) -> bool:
    """Whether, over most of the blocks [lo, hi), this reading or its neighbour stood still while the other went on."""
    level, other = survey.blocks.level, survey.neighbours[neighbour]
    if not np.isfinite(other).all() or hi - lo < 2 * SHORT:
        return False
    scaled = gain(level, other) * other
    return _stood(scaled, level, lo, hi) or _stood(level, scaled, lo, hi)


def _stood(one: FloatArray, other: FloatArray, lo: int, hi: int) -> bool:
    """Whether the first of two series (m,), in one unit, stood still over most of [lo, hi) while the other went on."""
    ranges = _ranges(one, (hi - lo) // 2)
    still = np.flatnonzero(ranges[lo:hi] < STANDS * median(ranges)) + lo
    if still.size < LONG_ENOUGH * (hi - lo):
        return False
    return median(_ranges(other, SHORT)[still]) > AWAKE * median(_ranges(one, SHORT)[still])


def _ranges(x: FloatArray, width: int) -> FloatArray:
    """Range of a series (m,) within so many blocks about each."""
    return np.asarray(maximum_filter1d(x, width) - minimum_filter1d(x, width))
