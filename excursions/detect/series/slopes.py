"""Stretches in which a series walks one way more steadily than it ever does otherwise.

Method: the increments between the medians of equal windows, less their own median and in units of their own
robust scatter, are added up over every run of windows.  A run whose sum passes what independent increments
with the same autocorrelation would reach is a walk.  The scatter is that of the many quiet windows, so that
a walk over a third of the record does not set its own bar.

References
----------
.. [1] Maximal-sum segments as in E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100:
   the cumulative sum and its excess over its own minimum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from excursions.detect.series.groups import group_median
from excursions.ranks import NORMAL_MAD, median
from excursions.records import BoolArray, FloatArray

WINDOWS = (24, 48, 96, 192)  # the record is cut into so many
FEWEST_RUN = 3  # windows
LONGEST_SHARE = 0.45  # of the windows; a longer walk is what the series does
KNOWLEDGE = 0.4  # degrees of freedom a window adds to a scatter from a median deviation
MOST = 4  # walks looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A walk from index `lo` to `hi` of the series, and how many so steady chance would show."""

    lo: int
    hi: int
    expected: float


def steady_runs(series: FloatArray, *, at_most: float) -> tuple[Run, ...]:
    """Walks of a series (m,), in order, that do not overlap; `at_most` bounds the chance number of each."""
    every: list[Run] = []
    for count in WINDOWS:
        if series.size < 6 * count:
            break
        edge = np.linspace(0, series.size, count + 1).astype(np.int64)
        middle = group_median(series, edge[:-1], edge[1:])
        for run in _runs(np.diff(middle), at_most / len(WINDOWS)):
            every.append(Run(lo=int(edge[run.lo]), hi=int(edge[run.hi + 1]), expected=run.expected))
    found: list[Run] = []
    for run in sorted(every, key=lambda run: (run.expected, run.lo)):
        if not any(run.lo < other.hi and other.lo < run.hi for other in found):
            found.append(run)
    return tuple(sorted(found, key=lambda run: run.lo))


def _runs(step: FloatArray, at_most: float) -> list[Run]:
    """Runs of increments, best first, each looked for in what the ones before left."""
    step = step - median(step)
    scatter = NORMAL_MAD * median(np.abs(step))
    if scatter <= 0:
        return []
    z = step / scatter
    taken = np.zeros(z.size, dtype=np.bool_)
    found: list[Run] = []
    for _ in range(MOST):
        run = _best(z, taken)
        if run is None or run.expected > at_most:
            break
        taken[run.lo : run.hi] = True
        found.append(run)
    return found


def _best(z: FloatArray, taken: BoolArray) -> Run | None:
    """The run of increments whose sum is least likely."""
    n = z.size
    clipped = np.clip(z, -4.0, 4.0)  # one wild window makes no walk
    total, square, pair, held = (
        np.concatenate([[0.0], np.cumsum(x)])
        for x in (
            np.where(taken, 0.0, clipped),
            clipped**2,
            np.append(clipped[1:] * clipped[:-1], 0.0),
            taken.astype(float),
        )
    )
    sizes = np.arange(FEWEST_RUN, max(int(LONGEST_SHARE * n), FEWEST_RUN) + 1)
    place, summed = np.empty(sizes.size, dtype=np.int64), np.empty(sizes.size)
    for k, size in enumerate(sizes):
        run = np.abs(total[size:] - total[:-size])
        if held[-1]:
            run[held[size:] != held[:-size]] = 0.0
        place[k] = int(np.argmax(run))
        summed[k] = run[place[k]]
    lo, hi = np.maximum(place - 1, 0), np.minimum(place + sizes + 1, n)
    others = n - (hi - lo)
    squares = square[-1] - (square[hi] - square[lo])
    pairs = pair[-1] - (pair[hi] - pair[np.maximum(lo - 1, 0)])
    r = np.clip(pairs / np.maximum(squares, 1e-300) + 1 / np.maximum(others, 1), -0.4, 0.8)
    wide = np.where(others < 8, 1.0, (1 + r) / (1 - r)) * np.maximum(squares / np.maximum(others, 1), 1.0)
    expected = 2 * n * stdtr(KNOWLEDGE * (n - sizes), -summed / np.sqrt(sizes * wide))
    best = int(np.argmin(expected))
    if summed[best] <= 0:
        return None
    return Run(lo=int(place[best]), hi=int(place[best] + sizes[best]), expected=float(expected[best]))
