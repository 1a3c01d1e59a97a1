"""Straight walks of a series to its end: where they begin, their slope and its standard error."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY
from excursions.detect.series.shape import BETTER, step_squares
from excursions.detect.series.short import together
from excursions.detect.series.survey import Survey
from excursions.records import FloatArray, IndexArray

FEWEST_BLOCKS = 32
BINS = 96  # points a record is brought down to for the test of a straight walk
STRAIGHT_T = 6.0  # slope over its standard error for a walk over the whole record, or to its end
SHORTEST_SHARE = 4  # of the record that such a walk takes at least: shorter ones are found by their windows
SAME_SLOPE = 0.5  # of a slope: one before it that differs by less is the same
HINGES = 10.0  # places at which it may begin: a tenth of the record apart they are nearly the same


def line_to_end(time: FloatArray, level: FloatArray) -> tuple[int, float, float, float, float] | None:
    """A straight walk of a series to its end, or over all of it, by its slope against autocorrelated scatter.

    Parameters
    ----------
    time, level : ndarray (n,), evenly spaced up to gaps

    Returns
    -------
    begin, size, spread, chance, before : or None where it walks no more than its scatter, or two levels tell it better
        Index at which it begins, change over the walk and its standard error, expected number by chance, level before.
    """
    begin = _hinge(time, level)
    along = np.maximum(time - time[begin], 0.0)
    slope, error = slope_and_error(along, level)
    if not abs(slope) > STRAIGHT_T * error:
        return None
    if step_squares(level).min() < float(
        np.sum((level - np.polyval(np.polyfit(along, level, 1), along)) ** 2)
    ):
        return None  # two levels tell it better: it happened somewhere, not all along
    span = float(along[-1])
    chance = 2 * float(stdtr(8, -abs(slope) / error / 2)) * (HINGES if begin else 1.0)
    return begin, slope * span, error * span, chance, float(level.mean() - slope * along.mean())


def walks_straight(survey: Survey, other: FloatArray, lo: int) -> bool:
    """Whether another signal on the blocks walks straight from block `lo` to the end of the record as well.

    One that went the same way just as fast before, as a season does, has not to do with what began at `lo`.
    """
    slope, error = _slope_between(survey, other, lo, other.size)
    if not abs(slope) > STRAIGHT_T * error:
        return False
    before, error = _slope_between(survey, other, max(2 * lo - other.size, 0), lo)
    return not abs(before - slope) < SAME_SLOPE * abs(slope) or not abs(before) > STRAIGHT_T * error


def _slope_between(survey: Survey, other: FloatArray, lo: int, hi: int) -> tuple[float, float]:
    """Slope a day of a signal (n,) over the blocks [lo, hi), and its standard error; infinite where they are too few."""
    part = other[lo:hi]
    if part.size < FEWEST_BLOCKS or not np.isfinite(part).all():
        return 0.0, math.inf
    first, level = brought_down(part)
    return slope_and_error(survey.blocks.start[lo + first] / NS_PER_DAY, level)


def brought_down(series: FloatArray) -> tuple[IndexArray, FloatArray]:
    """Means of a series (n,) over :data:`BINS` even shares of it, fewer where it is shorter, and where each begins."""
    edge = np.linspace(0, series.size, min(BINS, series.size) + 1).astype(np.int64)
    return edge[:-1], np.add.reduceat(series, edge[:-1]) / np.diff(edge)


def _hinge(time: FloatArray, level: FloatArray) -> int:
    """Where a straight walk to the end of a series (n,) begins; 0 unless a level before it tells clearly more."""
    n = level.size
    places = np.arange(0, n - n // SHORTEST_SHARE)
    along = np.maximum(time - time[places][:, None], 0.0)
    along -= along.mean(axis=1, keepdims=True)
    y = level - level.mean()
    squares = float(y @ y) - (along @ y) ** 2 / np.maximum(np.sum(along * along, axis=1), 1e-300)
    best = int(np.argmin(squares))
    return best if squares[best] < BETTER * squares[0] else 0


def slope_and_error(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope and its standard error under first-order autocorrelated residuals.

    Parameters
    ----------
    x, y : ndarray (n,), evenly spaced up to gaps

    Returns
    -------
    slope, error : unit of y per unit of x; error is infinite below eight points

    References
    ----------
    .. [1] G. V. Bayley, J. M. Hammersley, "The 'effective' number of independent observations in an
       autocorrelated time series", Supplement to the Journal of the Royal Statistical Society 8 (1946) 184:
       the variance grows by (1 + r) / (1 - r), r the lag-one autocorrelation.
    """
    n = x.size
    if n < 8:
        return 0.0, math.inf
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    rest = y - y.mean() - slope * dx
    variance = float(rest @ rest) / (n - 2)
    if variance <= 0:
        return slope, abs(slope) * 1e-9
    return slope, math.sqrt(variance / float(dx @ dx) * together(rest, most=0.98, fitted=1))
