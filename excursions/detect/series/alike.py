"""Whether two signals go together, and whether one shows the moves of the process as large as the other."""

from __future__ import annotations

import math

import numpy as np

from excursions.ranks import median, quantile
from excursions.records import FloatArray

STEPS = 500  # changes over so much of a record are what a gain is told from
FEWEST_KNOWN = 20  # blocks
LAGS = 20  # of a part: over so long a reading moves with the process
PARTS = 4  # of a record; a probe that fails shows in one of them at least what it did before
AS_LARGE = (0.5, 2.0)  # times as large as the other: a process between two points makes them differ by more


def shows_as_large(level: FloatArray, other: FloatArray) -> bool:
    """Whether two signals (m,) of one unit show the moves of the process about as large, at least in some quarter of the record.

    What is ten times as large before a filter, a membrane or an exchanger as behind it goes along with it, and is no second
    probe of the same medium: what lies between them makes them walk apart.
    """
    known = np.isfinite(level) & np.isfinite(other)
    level, other = level[known], other[known]
    parts = PARTS if level.size >= PARTS * FEWEST_KNOWN else 1
    ratios = [
        _times(*both) for both in zip(np.array_split(level, parts), np.array_split(other, parts), strict=True)
    ]
    return any(AS_LARGE[0] <= ratio <= AS_LARGE[1] for ratio in ratios)


def _times(level: FloatArray, other: FloatArray) -> float:
    """How many times as large one shows the moves as the other, by the root mean squares of what they move over a twentieth;
    1 where neither moves.

    The large moves count, which are the process's; noise and lag make a regression's slope too small, and leave this as it is.
    """
    lag = max(level.size // LAGS, 1)
    if level.size <= lag:
        return 1.0
    mine, theirs = (float(np.sqrt(np.mean((x[lag:] - x[:-lag]) ** 2))) for x in (level, other))
    if mine == theirs:
        return 1.0
    return mine / theirs if theirs else math.inf


def related(level: FloatArray, other: FloatArray) -> bool:
    """Whether two signals usually go together: rank correlation of their levels or of their changes."""
    both = np.flatnonzero(np.isfinite(other))
    if both.size < FEWEST_KNOWN:
        return False
    both = both[:: max(1, both.size // 4_000)]
    a, b = level[both], other[both]
    return max(_rank_correlation(a, b), _rank_correlation(np.diff(a), np.diff(b))) > 0.5


def _rank_correlation(a: FloatArray, b: FloatArray) -> float:
    ranks = [np.argsort(np.argsort(x, kind="stable"), kind="stable").astype(float) for x in (a, b)]
    return abs(float(np.corrcoef(ranks[0], ranks[1])[0, 1])) if a.size > 2 else 0.0


def gain(level: FloatArray, other: FloatArray) -> float:
    """How far one of two signals goes for the other: the geometric mean of what either way gives.

    The median ratio of the larger changes of one is too small by what that one's own noise makes of them, and the other
    way round it is too small as well; the share of both in their mean cancels where they are as noisy as each other.
    Geometric mean functional regression, as of W. E. Ricker, Journal of the Fisheries Research Board of Canada 30 (1973)
    409 (source from memory).
    """
    step = max(1, level.size // STEPS)
    dy, dx = level[step:] - level[:-step], other[step:] - other[:-step]
    there, back = _one_way(dy, dx), _one_way(dx, dy)
    if there * back <= 0:  # one of them did not move, or they go against each other one way only
        return there
    return math.copysign(math.sqrt(there / back), there)


def _one_way(dy: FloatArray, dx: FloatArray) -> float:
    """Median ratio of changes where those below the line are large; one where none is."""
    large = (np.abs(dx) >= quantile(np.abs(dx), 0.7)) & (dx != 0)
    return median(dy[large] / dx[large]) if large.any() else 1.0
