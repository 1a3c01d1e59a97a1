"""The daily or weekly round of a signal: what comes back at the same hour is no event."""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY
from excursions.ranks import quantiles
from excursions.records import FloatArray, IndexArray

FEWEST_ROUNDS = 4
CELLS_PER_DAY = 48
WORTH = 0.9  # a pattern must take away a tenth of the spread in rounds it was not made from


def without_round(start: IndexArray, level: FloatArray, *, width: int) -> FloatArray:
    """Take the daily (else weekly) pattern out of a series, where there is one.

    The pattern is the median over days (weeks) of the deviation from the day's (week's) own running mean;
    it is used only when it foretells days (weeks) that it was not made from.

    Parameters
    ----------
    start : ndarray (m,), ns
    level : ndarray (m,), finite
    width : int, ns; spacing of the series

    Returns
    -------
    ndarray (m,)
        The series less its pattern, or the series itself.
    """
    for period in (NS_PER_DAY, 7 * NS_PER_DAY):
        if width * 8 > min(period, NS_PER_DAY) or int(start[-1]) - int(start[0]) < FEWEST_ROUNDS * period:
            continue
        pattern = _pattern(start, level, period, max(1, period // width))
        if pattern is not None:
            return level - pattern
    return level


def _pattern(start: IndexArray, level: FloatArray, period: int, per_period: int) -> FloatArray | None:
    """The pattern (m,) at each block, or None when it foretells nothing."""
    cells = int(min(CELLS_PER_DAY * (period // NS_PER_DAY), per_period))
    cell = (start % period) * cells // period
    turn = start // period - start[0] // period
    away = level - running_mean(level, per_period)
    even = turn % 2 == 0
    for made, held in ((even, ~even), (~even, even)):
        shape = _typical(away[made], cell[made], turn[made], cells)
        rest = away[held] - shape[cell[held]]
        if not _spread(rest) < WORTH * _spread(away[held]):
            return None
    return _typical(away, cell, turn, cells)[cell]


def _typical(away: FloatArray, cell: IndexArray, turn: IndexArray, cells: int) -> FloatArray:
    """Median over rounds of the mean deviation in each cell, 0 where never seen."""
    shape = (int(turn.max()) + 1, cells)
    total = np.bincount(turn * cells + cell, weights=away, minlength=shape[0] * cells).reshape(shape)
    count = np.bincount(turn * cells + cell, minlength=shape[0] * cells).reshape(shape)
    each = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    seen = count.any(axis=0)
    out = np.zeros(cells)
    ordered = np.sort(each[:, seen], axis=0)  # NaN last
    held, column = np.count_nonzero(count[:, seen], axis=0), np.arange(ordered.shape[1])
    out[seen] = (ordered[(held - 1) // 2, column] + ordered[held // 2, column]) / 2
    return out


def _spread(x: FloatArray) -> float:
    if not x.size:
        return 0.0
    low, high = quantiles(x, (0.1, 0.9))
    return high - low


def running_mean(x: FloatArray, window: int) -> FloatArray:
    """Centred mean over `window` entries, over fewer towards the ends."""
    total = np.concatenate([[0.0], np.cumsum(x - x.mean())])
    at = np.arange(x.size)
    half = window // 2
    lo, hi = np.maximum(at - half, 0), np.minimum(at + half + 1, x.size)
    return np.asarray((total[hi] - total[lo]) / (hi - lo) + x.mean())
