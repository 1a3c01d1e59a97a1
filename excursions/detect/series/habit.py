"""When something that happens now and then became a habit: short troubles that come from one day on, each too short to be an event.

Method: the blocks in which it happened are counted over equal shares of the record; the square roots of the counts, whose
scatter hardly depends on how many they are [1]_, are searched for a change of level under autocorrelated noise
(:mod:`excursions.detect.series.short`), so that what comes in clusters, with batches or the weather, sets its own bar.  The first
of them is where two Poisson rates explain the moments best.  Where moments are about as few as the shares, their scatter
says little: there the stretch of shares is sought that holds it in nearly all of them while hardly any other does, by
the ratio of binomial likelihoods [2]_.

References
----------
.. [1] F. J. Anscombe, "The transformation of Poisson, binomial and negative-binomial data", Biometrika 35 (1948) 246:
   the root of count plus 3/8, of standard deviation one half.
.. [2] J. I. Naus, "The distribution of the size of the maximum cluster of points on a line", Journal of the American
   Statistical Association 60 (1965) 532: the scan statistic; M. Kulldorff, "A spatial scan statistic", Communications
   in Statistics 26 (1997) 1481: its likelihood ratio over windows of any length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import xlogy

from excursions.detect.series.short import HIGHEST_R, short_changes, tail_probability, together
from excursions.records import BoolArray, FloatArray, IndexArray

SHARES = 64  # of a record
FEWEST = 6  # moments of a habit
OFTENER = 4.0  # times as often as before
UNLIKELY = 1e-3
FEW = 2  # moments a share
ROOT_SCATTER = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """Moments [first, last) of a habit, how often they come a block before it and during it, and whether the record ends in it."""

    first: int
    last: int
    before: float
    now: float
    goes_on: bool


def habit_of(at: IndexArray, blocks: int) -> Habit | None:
    """The habit that moments make from one of them on; None where they come as often all along.

    Parameters
    ----------
    at : ndarray (k,), ordered
        Blocks in which it happened.
    blocks : int
        Blocks of the record.
    """
    if at.size < FEWEST or blocks < 2 * SHARES:
        return None
    edge = np.linspace(0, blocks, SHARES + 1).astype(np.int64)
    count = np.diff(np.searchsorted(at, edge))
    changes = short_changes(np.sqrt(count + 0.375), floor=ROOT_SCATTER, least=UNLIKELY)
    for k, change in enumerate(changes):
        if change.size <= 0:
            continue
        until = next((other.at for other in changes[k + 1 :] if other.size < 0), SHARES)
        last = int(np.searchsorted(at, edge[until]))
        lo, hi = (
            int(np.searchsorted(at, edge[min(max(place, 0), SHARES)]))
            for place in (change.at - 2, change.at + 2)
        )
        first = _first(at, lo, max(hi, lo + 1), int(edge[until]))
        before = first / max(int(at[first]), 1)
        now = (last - first) / max(int(edge[until]) - int(at[first]), 1)
        if last - first >= FEWEST and now >= OFTENER * before:
            return Habit(first=first, last=last, before=before, now=now, goes_on=until == SHARES)
    return _densest(at, edge, count > 0)


def _densest(at: IndexArray, edge: IndexArray, held: BoolArray) -> Habit | None:
    """The stretch of shares that holds moments in far more of them than the others do; None without one."""
    total = np.concatenate([[0], np.cumsum(held)])
    lo, hi = np.triu_indices(SHARES + 1, FEWEST)
    inside, length = total[hi] - total[lo], hi - lo
    outside, rest = total[-1] - inside, SHARES - length
    ratio = _binomial(inside, length) + _binomial(outside, rest) - _binomial(total[-1:], np.array([SHARES]))
    ratio[(inside < FEWEST) | (inside * rest < OFTENER * outside * length) | (lo == 0)] = 0.0
    best = int(np.argmax(ratio))
    told = np.where((np.arange(SHARES) >= lo[best]) & (np.arange(SHARES) < hi[best]), 1.0, 0.0)
    told = inside[best] / length[best] * told + outside[best] / max(rest[best], 1) * (1 - told)
    if (
        SHARES * tail_probability(2 * float(ratio[best]) / together(held - told, most=HIGHEST_R, fitted=2))
        > UNLIKELY
    ):
        return None
    first, last = (int(k) for k in np.searchsorted(at, edge[[lo[best], hi[best]]]))
    if last - first > FEW * int(inside[best]):
        return None  # they come in swarms, whose own scatter is known
    pause = int(np.diff(at[first:last]).max())
    begin, end = int(at[first]), int(edge[hi[best]])
    return Habit(
        first=first,
        last=last,
        before=first / max(begin, 1),
        now=(last - first) / max(end - begin, 1),
        goes_on=int(edge[-1]) - int(at[last - 1]) <= pause,  # no longer silent than it was in between
    )


def _binomial(count: IndexArray, of: IndexArray) -> FloatArray:
    """Logarithm of the largest likelihood of `count` among `of`."""
    share = count / np.maximum(of, 1)
    return np.asarray(xlogy(count, share) + xlogy(of - count, 1 - share))


def _first(at: IndexArray, lo: int, hi: int, end: int) -> int:
    """The moment of at[lo:hi] from which on another Poisson rate up to block `end` explains them best."""
    every = np.arange(lo, min(hi, at.size))
    when = at[every].astype(np.float64)
    later = np.searchsorted(at, end) - every
    gain = _likelihood(every, np.maximum(when, 1.0)) + _likelihood(later, np.maximum(end - when, 1.0))
    return int(every[np.argmax(gain)])


def _likelihood(count: IndexArray, length: FloatArray) -> FloatArray:
    return np.where(count > 0, count * np.log(np.maximum(count, 1) / length), 0.0)
