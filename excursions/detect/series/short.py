"""Changes of level in short series, where windows side by side are too few to show what is usual.

Method: for every place the difference of the means before and after it, squared, over its variance under
first-order autocorrelated noise; the largest over all places away from the ends is the statistic.  Its
tail probability follows 1.3 sqrt(c) exp(-c/2), which passes through the asymptotic points 7.12, 8.68 and
12.16 for 10, 5 and 1 % (trimming 15 %; the points are from memory, and a test holds the rate under white and
autocorrelated noise against them).  Found changes split the series, and both parts are searched again.

References
----------
.. [1] D. W. K. Andrews, "Tests for parameter instability and structural change with unknown change point",
   Econometrica 61 (1993) 821, corrected 71 (2003) 395.
.. [2] L. Ju. Vostrikova, "Detecting 'disorder' in multidimensional random processes", Soviet Mathematics
   Doklady 24 (1981) 55: binary segmentation.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.detect.series.scan import Change
from excursions.records import FloatArray

LONGEST = 400  # longer series show by themselves what is usual
FEWEST = 24
FEWEST_OF_SIDE = 8
TRIMMING = 0.15
HIGHEST_R = 0.95  # lag-one autocorrelation beyond which nothing can be told from a walk
TAIL = 1.3


def short_changes(level: FloatArray, *, floor: float, least: float) -> tuple[Change, ...]:
    """Changes of level of a short series, in order.

    Parameters
    ----------
    level : ndarray (m,), finite
    floor : float
        Smallest credible scatter, same unit.
    least : float
        Probability under no change below which a change counts.
    """
    if not FEWEST <= level.size <= LONGEST:
        return ()
    return tuple(sorted(_split(level, 0, floor, least), key=lambda change: change.at))


def _split(level: FloatArray, offset: int, floor: float, least: float) -> list[Change]:
    if level.size < FEWEST:
        return []
    at, size, error = strongest(level, floor=floor)
    chance = tail_probability((size / error) ** 2)
    if chance > least:
        return []
    here = Change(
        at=offset + at,
        width=min(at, level.size - at),
        size=size,
        spread=error,
        expected=chance,
    )
    before = _split(level[:at], offset, floor, least / 2)
    return [*before, here, *_split(level[at:], offset + at, floor, least / 2)]


def strongest(level: FloatArray, *, floor: float) -> tuple[int, float, float]:
    """Place, size and standard error of the split with the largest statistic."""
    n = level.size
    edge = max(math.ceil(TRIMMING * n), FEWEST_OF_SIDE)
    at = np.arange(edge, n - edge + 1)
    total = np.cumsum(level - level.mean())
    before = total[at - 1] / at
    after = (total[-1] - total[at - 1]) / (n - at)
    weight = at * (n - at) / n
    best = int(np.argmax((after - before) ** 2 * weight))
    k, size = int(at[best]), float(after[best] - before[best])
    rest = level - level.mean() - np.where(np.arange(n) < k, before[best], after[best])
    variance = max(float(rest @ rest) / (n - 2), floor**2, 1e-300)
    return k, size, math.sqrt(variance * together(rest, most=HIGHEST_R, fitted=2) / weight[best])


def together(rest: FloatArray, *, most: float, fitted: int = 0) -> float:
    """How many values of an autocorrelated series (n,) count as one: (1 + r) / (1 - r) by its first autocorrelation r.

    most : r at most, beyond which nothing can be told from a walk
    fitted : parameters that were fitted and taken off, by which the estimate is low; 0: not allowed for
    """
    squares = float(rest @ rest)
    if squares <= 0:
        return 1.0
    r = float(rest[1:] @ rest[:-1]) / squares
    if fitted:
        r += (fitted + 4 * r) / rest.size
    r = min(max(r, 0.0), most)
    return (1 + r) / (1 - r)


def tail_probability(statistic: float) -> float:
    """Probability of a statistic as large where nothing changes."""
    if statistic <= 1.0:
        return 1.0
    return min(TAIL * math.sqrt(statistic) * math.exp(-min(statistic, 1_400.0) / 2), 1.0)
