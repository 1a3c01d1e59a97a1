"""How often a record like this one shows something as large by chance: the base of every confidence.

Each detector boils a record down to many *chances* (quiet spells, differences of neighbouring windows, ...)
with a size each.  The record's own bulk says how fast sizes thin out; from that follows the number of
chances as large as a candidate that a record of this length shows with nothing wrong.  Against it stands
how often such a fault happens at all; the two give a probability.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.records import BoolArray, FloatArray

TAIL_SHARE = 0.2  # the upper fifth of the bulk carries the tail fit
FEWEST_IN_TAIL = 6
MOST_IN_TAIL = 200
HEAVIEST = 0.7  # shape above which a tail has no use: everything is possible


def expected_as_large(bulk: FloatArray, size: float) -> float:
    """Expected number of chances of at least `size`, from `bulk` (n,), which leaves the candidate out.

    Above its upper fifth the bulk is taken as generalised Pareto with moment-estimated shape, which is
    exponential for quiet processes and heavier where the record shows it is.  The uncertainty of few
    chances is met by adding one standard error to the scale and by never going below
    one chance in (n + 1) times the extrapolated tail.

    Parameters
    ----------
    bulk : ndarray (n,), any non-negative unit
    size : float, the same unit

    Returns
    -------
    float
        Between 0 and n; n when there is too little to say.

    References
    ----------
    .. [1] J. R. M. Hosking, J. R. Wallis, "Parameter and quantile estimation for the generalized Pareto
       distribution", Technometrics 29 (1987) 339: moment estimators.
    """
    n = bulk.size
    if n < FEWEST_IN_TAIL:
        return float(n)
    ordered = np.sort(bulk)
    k = int(np.clip(round(TAIL_SHARE * n), FEWEST_IN_TAIL, min(MOST_IN_TAIL, n - 1)))
    threshold = float(ordered[n - k - 1])
    if size <= threshold:
        return float(np.count_nonzero(bulk >= size))
    excess = ordered[n - k :] - threshold
    mean, var = float(excess.mean()), float(excess.var(ddof=1))
    if mean <= 0:
        mean, var = max(threshold, 1e-300) * 1e-3, 0.0
    shape = 0.5 * (1 - mean * mean / var) if var > 0 else 0.0
    shape = min(max(shape, 0.0), HEAVIEST)
    scale = mean * (1 - shape) * (1 + 1 / math.sqrt(k))
    ratio = (size - threshold) / scale
    survival = math.exp(-ratio) if shape < 1e-6 else (1 + shape * ratio) ** (-1 / shape)
    return k * survival


def outlying(sizes: FloatArray, *, at_most: float) -> BoolArray:
    """Mark the sizes that the bulk below them does not explain: outward from the middle.

    From the median up, each size is judged by the tail of all smaller ones; the first whose expected number
    is `at_most` is outlying, and so is everything above it.  Going outward keeps several faults of like size
    from hiding one another.

    Returns
    -------
    ndarray (n,), bool
    """
    order = np.argsort(sizes, kind="stable")
    ordered = sizes[order]
    n = sizes.size
    mark = np.zeros(n, dtype=np.bool_)
    jumps = np.flatnonzero(ordered[1:] > ordered[:-1] * 1.2) + 1
    for i in jumps[jumps >= max(n // 2, FEWEST_IN_TAIL)]:
        if expected_as_large(ordered[:i], float(ordered[i])) <= at_most:
            mark[order[i:]] = True
            break
    return mark


def probability(expected: float, prior: float) -> float:
    """Probability that a candidate is the fault: its expected number per record against the chance number."""
    return prior / (prior + expected) if prior + expected > 0 else 0.0
