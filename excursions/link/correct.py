"""Corrected readings, beside the original and never over it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.records import Doubt, FloatArray


def corrected(time: TimeArray, value: FloatArray, doubt: Doubt | Sequence[Doubt]) -> FloatArray:
    """Return readings less the estimated error inside the windows; a new array, same unit, unchanged elsewhere.

    Parameters
    ----------
    time : ndarray, shape (n,), int64 ns
    value : ndarray, shape (n,), canonical unit; NaN stays NaN
    doubt : Doubt or sequence of Doubt
        Windows of this point; where two overlap the later in the sequence wins.
    """
    result = np.array(value, dtype=np.float64, copy=True)
    for window in (doubt,) if isinstance(doubt, Doubt) else doubt:
        if window.knots:
            inside = (time >= window.start) & (time < window.end)
            result[inside] = value[inside] - error_at(time[inside], window)
    return result


def error_at(time: TimeArray, doubt: Doubt) -> FloatArray:
    """Estimated error (reading minus truth) at instants, canonical unit; 0 outside the window."""
    return _through(doubt, time, [error for _, error in doubt.knots])


def band_at(time: TimeArray, doubt: Doubt) -> FloatArray:
    """Half width of the 90 % band at instants, canonical unit; 0 outside the window, where nothing is claimed."""
    return _through(doubt, time, list(doubt.band))


def hours_beyond(knots: Sequence[tuple[int, float]], tolerance: float) -> float:
    """Hours during which a piecewise-linear error lies beyond the tolerance, on either side."""
    return sum(
        (t1 - t0) / NS_PER_HOUR * _share_beyond(e0, e1, tolerance) for (t0, e0), (t1, e1) in pairwise(knots)
    )


def _share_beyond(e0: float, e1: float, tolerance: float) -> float:
    low, high = min(e0, e1), max(e0, e1)
    if high == low:
        return float(abs(high) > tolerance)
    above = max(0.0, high - max(low, tolerance))
    below = max(0.0, min(high, -tolerance) - low)
    return (above + below) / (high - low)


def _through(doubt: Doubt, time: TimeArray, values: Sequence[float]) -> FloatArray:
    if not doubt.knots:
        return np.zeros(time.shape)
    # Differences from the first knot: nanoseconds since 1970 do not fit a float exactly.
    origin = doubt.knots[0][0]
    at = np.array([when - origin for when, _ in doubt.knots], dtype=np.float64)
    through = np.interp((time - origin).astype(np.float64), at, np.asarray(values, dtype=np.float64))
    return np.where((time >= doubt.start) & (time < doubt.end), through, 0.0)
