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

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from excursions.detect.groups import group_median
from excursions.records import FloatArray

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
    step = step - np.median(step)
    scatter = 1.4826 * float(np.median(np.abs(step)))
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


def _best(z: FloatArray, taken: FloatArray) -> Run | None:
    """The run of increments whose sum is least likely."""
    n = z.size
    clipped = np.clip(z, -4.0, 4.0)  # one wild window makes no walk
    total = np.concatenate([[0.0], np.cumsum(np.where(taken, 0.0, clipped))])
    held = np.concatenate([[0], np.cumsum(taken)])
    best: Run | None = None
    for size in range(FEWEST_RUN, max(int(LONGEST_SHARE * n), FEWEST_RUN) + 1):
        summed = np.where(held[size:] == held[:-size], np.abs(total[size:] - total[:-size]), 0.0)
        i = int(np.argmax(summed))
        rest = np.delete(clipped, np.s_[max(i - 1, 0) : i + size + 1])
        wide = _inflation(rest) * max(float(np.mean(rest * rest)), 1.0)
        t = summed[i] / math.sqrt(size * wide)
        expected = 2 * n * float(student.sf(t, KNOWLEDGE * (n - size)))
        if best is None or expected < best.expected:
            best = Run(lo=i, hi=i + size, expected=expected)
    return best


def _inflation(x: FloatArray) -> float:
    """Long-run over short-run variance of the increments, from their lag-one autocorrelation."""
    if x.size < 8:
        return 1.0
    r = float(x[1:] @ x[:-1] / max(x @ x, 1e-300)) + 1 / x.size
    r = min(max(r, -0.4), 0.8)
    return (1 + r) / (1 - r)
