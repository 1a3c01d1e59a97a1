"""How often a record like this one shows something as large by chance: the base of every confidence.

Each detector boils a record down to many *chances* (quiet spells, differences of neighbouring windows, ...)
with a size each.  The record's own bulk says how fast sizes thin out; from that follows the number of
chances as large as a candidate that a record of this length shows with nothing wrong.  Against it stands
how often such a fault happens at all; the two give a probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.ranks import MARGIN, PROBES, SHORT
from excursions.records import BoolArray, FloatArray

TAIL_SHARE = 0.2  # the upper fifth of the bulk carries the tail fit
FEWEST_IN_TAIL = 6
MOST_IN_TAIL = 200
HEAVIEST = 0.8  # shape above which a tail has no use: everything is possible
MOST_OUTLYING = 30  # more than this many are the habit of a signal, not faults
OUTLYING_SHARE = 0.1
# The largest sizes that a tail below the outermost outliers, or one of these, rests on.
TOP = MOST_IN_TAIL + MOST_OUTLYING + 1
ENDLESS = 1e9
JUMP = 1.2  # an outlier stands off from the next smaller by a fifth at least


def expected_as_large(bulk: FloatArray, size: float) -> float:
    """Expected number of chances of at least `size`: :func:`expected_each` of a single size."""
    return tail_of(top_in_order(bulk)).expected(size)


def expected_each(bulk: FloatArray, sizes: FloatArray) -> FloatArray:
    """Expected number of chances of at least each of `sizes` (k,), from `bulk` (n,), which leaves them out.

    Above its upper fifth (at most 200 chances) the bulk is taken as generalised Pareto, fitted by
    probability-weighted moments: exponential for quiet processes, heavier where the record shows it is.
    One standard error is added to the scale, so that few chances claim less.

    Parameters
    ----------
    bulk : ndarray (n,), any non-negative unit
    sizes : ndarray (k,), the same unit

    Returns
    -------
    ndarray (k,)
        Between 0 and n; n when there is too little to say.

    References
    ----------
    .. [1] J. R. M. Hosking, J. R. Wallis, "Parameter and quantile estimation for the generalized Pareto
       distribution", Technometrics 29 (1987) 339, probability-weighted moments.
    """
    if not sizes.size:
        return np.empty(0)
    tail = tail_of(top_in_order(bulk))
    return np.array([tail.expected(float(size)) for size in sizes])


def size_of(bulk: FloatArray, expected: float) -> float:
    """Size that the tail of the bulk (n,) leaves this expected number of chances; inf where it never gets there."""
    tail = tail_of(top_in_order(bulk))
    low = float(tail.bulk[-1]) if tail.bulk.size else 0.0
    high = 2 * low + 1e-12
    while tail.expected(high) > expected:
        high *= 2
        if high > ENDLESS * (low + 1e-12):
            return math.inf
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if tail.expected(middle) > expected else (low, middle)
    return high


@dataclass(frozen=True, slots=True)
class Tail:
    """The fitted upper tail of a bulk (n,) whose top is in order: its `count` largest lie above `threshold`.

    mean : of their excesses; count 0 where the bulk is too small to have a tail
    """

    bulk: FloatArray
    count: int
    threshold: float
    mean: float
    shape: float
    scale: float

    def expected(self, size: float) -> float:
        """Expected number of chances of at least `size`."""
        n = self.bulk.size
        if not self.count:
            return float(n)
        if size <= self.threshold:
            return float(n - np.count_nonzero(self.bulk < size))
        if self.mean <= 0:
            return 0.0 if self.threshold > 0 and size > 2 * self.threshold else 1.0
        ratio = (size - self.threshold) / self.scale
        survival = math.exp(-ratio) if self.shape < 1e-6 else (1 + self.shape * ratio) ** (-1 / self.shape)
        return self.count * survival


def top_in_order(sizes: FloatArray) -> FloatArray:
    """The sizes (n,), those in order that a tail or an outlier can rest on: the largest, at the end.

    A thousand probes tell about where these begin, so that the rest is not put in order for nothing.
    """
    if sizes.size <= SHORT:
        return np.sort(sizes)
    probes = np.sort(sizes[:: -(-sizes.size // PROBES)])
    high = sizes >= probes[-(probes.size * TOP // sizes.size + MARGIN)]
    if np.count_nonzero(high) < TOP:
        return np.sort(sizes)
    return np.concatenate([sizes[~high], np.sort(sizes[high])])


def tail_of(ordered: FloatArray) -> Tail:
    """Fit the tail once, for as many sizes as are asked about; `ordered` (n,) as of :func:`top_in_order`, or less its end."""
    n = ordered.size
    if n <= FEWEST_IN_TAIL:
        return Tail(ordered, 0, 0.0, 0.0, 0.0, 0.0)
    k = int(min(max(round(TAIL_SHARE * n), FEWEST_IN_TAIL), MOST_IN_TAIL, n - 1))
    threshold = float(ordered[n - k - 1])
    excess = ordered[n - k :] - threshold
    mean = float(excess.sum()) / k
    if mean <= 0:
        return Tail(ordered, k, threshold, mean, 0.0, 0.0)
    weighted = _weighted(excess)
    shape = 2 - mean / (mean - 2 * weighted) if mean > 2 * weighted else 0.0
    shape = min(max(shape, 0.0), HEAVIEST)
    return Tail(ordered, k, threshold, mean, shape, mean * (1 - shape) * (1 + 1 / math.sqrt(k)))


def _weighted(excess: FloatArray) -> float:
    """Second probability-weighted moment of ordered excesses."""
    k = excess.size
    return float(excess @ (k - 0.65 - np.arange(k))) / (k * k)


def outlying(sizes: FloatArray, *, at_most: float) -> BoolArray:
    """Mark the sizes that the bulk below them does not explain, at most 30 and at most a tenth of them.

    From below, each size is judged by the tail of all smaller ones; the first whose expected number
    is `at_most` is outlying, and so is everything above it.  Going outward keeps several faults of like size
    from hiding one another.

    Returns
    -------
    ndarray (n,), bool
    """
    ordered = top_in_order(sizes)
    first = _first_outlying(ordered, at_most)
    return np.asarray(sizes >= ordered[first]) if first < sizes.size else np.zeros(sizes.size, dtype=np.bool_)


def unsuspected(sizes: FloatArray, *, at_most: float) -> FloatArray:
    """The sizes that are not :func:`outlying`, as :func:`tail_of` wants them."""
    ordered = top_in_order(sizes)
    return ordered[: _first_outlying(ordered, at_most)]


def _first_outlying(ordered: FloatArray, at_most: float) -> int:
    n = ordered.size
    from_rank = n - min(max(round(OUTLYING_SHARE * n), 3), MOST_OUTLYING)
    for i in range(max(from_rank, FEWEST_IN_TAIL), n):
        if ordered[i] > JUMP * ordered[i - 1] and tail_of(ordered[:i]).expected(float(ordered[i])) <= at_most:
            return i
    return n
