"""Medians and quantiles: numpy's own values, without what numpy spends on small arrays and on steps that are all alike.

A record is asked for them some thousand times.  Short arrays are sorted, which costs a tenth of the general function's
way.  In long ones a thousand probes say about where the rank lies; counting shows on which side of that it is, and only
what stands near it is put in order.  Times between samples are nearly all one value, and then counting is all there is to
do.

References
----------
.. [1] R. W. Floyd, R. L. Rivest, "Expected time bounds for selection", Communications of the ACM 18 (1975) 165.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[Any]  # float64 or int64

SHORT = 2_048  # values that are sorted as they are
PROBES = 1_024  # values that say where the rank lies
NORMAL_MAD = 1.4826  # median absolute deviation of a normal law to its standard deviation
MARGIN = 50  # ranks of the probes to either side: three of their standard deviations at the middle


def median(value: Numbers) -> float:
    """Median of values (n,), NaN where one of them is or where there are none."""
    size = value.size
    if not size:
        return float("nan")
    lower, upper = _beside(value, (size - 1) // 2, size // 2)
    return lower if size % 2 else (lower + upper) / 2


def scatter_of(value: Numbers) -> float:
    """Standard deviation of values (n,) by their median absolute deviation, as a normal law has both; few wild ones do not count."""
    return NORMAL_MAD * median(np.abs(value - median(value)))


def quantile(value: Numbers, share: float) -> float:
    """Quantile of values (n,), n > 0, drawn linearly between the two beside it; NaN where a value is."""
    place = share * (value.size - 1)
    first = min(int(place), value.size - 1)
    return _between(*_beside(value, first, min(first + 1, value.size - 1)), place - first)


def quantiles(value: Numbers, shares: Sequence[float]) -> tuple[float, ...]:
    """Several quantiles of values (n,), n > 0."""
    if value.size > SHORT:
        return tuple(quantile(value, share) for share in shares)
    ordered = np.sort(value)
    return tuple(_of_ordered(ordered, share) for share in shares)


def many_quantiles(value: Numbers, shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Many quantiles (..., k) of short series (..., n) of finite values, n > 0."""
    ordered, last = np.sort(value, axis=-1), value.shape[-1] - 1
    place = shares * last
    before = np.floor(place).astype(np.int64)
    low, high = ordered[..., before], ordered[..., np.minimum(before + 1, last)]
    share, rise = place - before, high - low
    return np.asarray(np.where(share >= 0.5, high - rise * (1 - share), low + rise * share))


def _of_ordered(ordered: Numbers, share: float) -> float:
    """Quantile of values (n,), n > 0, that stand in order, NaN last."""
    if ordered[-1] != ordered[-1]:
        return float("nan")
    place = share * (ordered.size - 1)
    first = min(int(place), ordered.size - 1)
    following = min(first + 1, ordered.size - 1)
    return _between(float(ordered[first]), float(ordered[following]), place - first)


def at_rank(value: Numbers, rank: int) -> float:
    """The value that stands at this rank when all (n,), n > rank, are in order; NaN where a value is."""
    return _beside(value, rank, rank)[0]


def row_median(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of each row of finite values (m, n), NaN where n is 0."""
    ordered, size = np.sort(rows, axis=1), rows.shape[1]
    if not size:
        return np.full(rows.shape[0], np.nan)
    if size % 2:
        return ordered[:, size // 2].copy()
    return np.asarray((ordered[:, size // 2 - 1] + ordered[:, size // 2]) / 2)


def known_row_median(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of the values of each row (m, n) that are no NaN; NaN where none is."""
    if not rows.size:
        return np.full(rows.shape[0], np.nan)
    ordered, known = np.sort(rows, axis=1), np.count_nonzero(rows == rows, axis=1)
    row = np.arange(rows.shape[0])
    lower, upper = (
        ordered[row, np.maximum(known - 1, 0) // 2],
        ordered[row, np.minimum(known // 2, rows.shape[1] - 1)],
    )
    return np.asarray((lower + upper) / 2)


def _between(lower: float, upper: float, share: float) -> float:
    """On the line from one to the other, from the nearer end, as numpy rounds it."""
    way = upper - lower
    return upper - way * (1 - share) if share >= 0.5 else lower + way * share


def _beside(value: Numbers, first: int, last: int) -> tuple[float, float]:
    """The values that stand at two ranks side by side (or one) when all are in order; NaN where a value is."""
    if value.size <= SHORT:
        ordered = np.sort(value)
        if ordered[-1] != ordered[-1]:
            return float("nan"), float("nan")
        return float(ordered[first]), float(ordered[last])
    if (highest := value.max()) != highest:
        return float("nan"), float("nan")
    found = _bracketed(value, first, last)
    if found is None:
        parted = np.partition(value, (first, last))
        found = float(parted[first]), float(parted[last])
    return found


def _bracketed(value: Numbers, first: int, last: int) -> tuple[float, float] | None:
    """The same by counting around the probe that stands where the ranks should; None where that does not find both."""
    probes = np.sort(value[:: -(-value.size // PROBES)])
    place = first * probes.size // value.size
    guess = probes[place]
    below = np.count_nonzero(value < guess)
    upto = below + np.count_nonzero(value == guess)
    if below <= first and last < upto:
        return float(guess), float(guess)
    if last < below:
        low = probes[max(place - MARGIN, 0)]
        inside = value[(value >= low) & (value < guess)]
        below -= inside.size
    elif first >= upto:
        inside = value[(value > guess) & (value <= probes[min(place + MARGIN, probes.size - 1)])]
        below = upto
    else:
        return None
    if below > first or below + inside.size <= last:
        return None
    inside.partition((first - below, last - below))
    return float(inside[first - below]), float(inside[last - below])
