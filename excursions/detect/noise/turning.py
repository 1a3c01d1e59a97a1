"""How sharply a reading turns where a loop turns it round: the response of a probe in a process that cycles all the time.

Where a loop doses on and off, what is measured goes up and down in nearly straight lines.  Behind a first-order lag tau
the reading follows each line by tau late and rounds the corner.  With r the pace, the reading a time h to either side of
its turning point lies below it, on average of the two sides, by

    D(h) = r h (1 - u ln 2 + u/2 exp(-1/u)),   u = tau / h,

which follows from the step response of a lag (own derivation; it holds for h > tau ln 2).  D(h) / D(2h) does not depend on
the pace, is one half for a probe without lag, and falls with tau; so tau is read from it.  What mixes in front of the probe
rounds the corner as well: tau is that of both together, and only its growth says something.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.survey import Survey
from excursions.ranks import median
from excursions.records import FloatArray, IndexArray

NEAR, FAR = 8, 4  # share of a cycle to either side of the turning point: h and 2h
MOST_CYCLES = 2_000  # looked at, evenly thinned
LAGS = np.concatenate([[0.0], np.geomspace(1e-3, 1 / np.log(2), 400)])  # u up to where the formula holds


def sharpness(lag: FloatArray) -> FloatArray:
    """D(h) / D(2h) for lags in units of h; falls from one half."""
    lag = np.maximum(lag, 1e-9)
    near = 1 - lag * np.log(2) + lag / 2 * np.exp(-1 / lag)
    far = 2 - lag * np.log(2) + lag / 2 * np.exp(-2 / lag)
    return np.asarray(near / far)


def lag_of(near: float, far: float) -> float:
    """Lag in units of h from D(h) and D(2h); the longest that the formula holds for where it is longer."""
    if not far > 0:
        return 0.0
    every = sharpness(LAGS)
    return float(np.interp(-near / far, -every, LAGS))


def turns(
    survey: Survey, start: IndexArray, length: FloatArray, group: IndexArray
) -> tuple[FloatArray, FloatArray]:
    """Time constants [s] of groups of cycles at their upper and their lower turning points.

    Parameters
    ----------
    start : ndarray (k,)
        Instants [ns] at which cycles begin, half way up.
    length : ndarray (k,)
        Their lengths [s].
    group : ndarray (g + 1,)
        Where the groups begin in `start`, and the end of the last.

    Returns
    -------
    upper, lower : ndarray (g,)
        NaN where no cycle of a group can be told.
    """
    found = np.full((2, group.size - 1), np.nan)
    usual = median(length)
    h = usual / NEAR
    for g, (lo, hi) in enumerate(pairwise(group.tolist())):
        step = max(1, (hi - lo) * (group.size - 1) // MOST_CYCLES)
        for side, way in enumerate((1.0, -1.0)):
            drops = [
                drop
                for k in range(lo, hi, step)
                if (drop := _drops(survey, int(start[k]), float(length[k]), h, way)) is not None
            ]
            if drops:
                near, far = (median(np.array(x)) for x in zip(*drops, strict=True))
                found[side, g] = lag_of(near, far) * h
    return found[0], found[1]


def _drops(survey: Survey, start: int, length: float, h: float, way: float) -> tuple[float, float] | None:
    """How far the reading lies below its turning point h and 2h away, mean of both sides; None where samples are missing."""
    time, value = survey.live.time, survey.live.value
    lo, hi = np.searchsorted(time, [start, start + int(length * NS_PER_S)])
    if hi - lo < FAR:
        return None
    place = lo + int(np.argmax(way * value[lo:hi]))
    around = int(time[place]) + (np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) * h * NS_PER_S).astype(np.int64)
    if around[0] < time[0] or around[-1] > time[-1]:
        return None
    first, last = np.searchsorted(time, [around[0], around[-1]])
    if last - first < FAR or bool(survey.live.fresh[first + 1 : last].any()):
        return None
    at = np.interp(around, time[first - 1 : last + 2], way * value[first - 1 : last + 2])
    return float(at[2] - (at[1] + at[3]) / 2), float(at[2] - (at[0] + at[4]) / 2)
