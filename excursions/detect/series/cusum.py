"""Tabular cumulative sums: what has added up since it last was nothing.

References
----------
.. [1] E. S. Page, "Continuous inspection schemes", Biometrika 41 (1954) 100.
.. [2] NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3, CUSUM control charts.
"""

from __future__ import annotations

import numpy as np

from excursions.records import BoolArray, FloatArray

ALLOWANCE = 0.5  # half of a shift of one standard deviation, the usual choice
DECISION = 5.0  # standard deviations; in control a two-sided chart signals once in 465 values


def upper_cusum(deviation: FloatArray, *, allowance: float = ALLOWANCE) -> FloatArray:
    """One-sided cumulative sum S(t) = max(0, S(t - 1) + deviation(t) - allowance), S before the first is 0.

    Parameters
    ----------
    deviation : ndarray (n,)
        Deviations from the target, in any unit.
    allowance : float
        The same unit.

    Returns
    -------
    ndarray (n,)
        For the lower sum pass the deviations with the other sign.
    """
    total = np.cumsum(deviation - allowance)
    return np.asarray(total - np.minimum(np.minimum.accumulate(total), 0.0))


def signals(
    deviation: FloatArray, *, allowance: float = ALLOWANCE, decision: float = DECISION
) -> tuple[BoolArray, BoolArray]:
    """Where the upper and the lower sum pass the decision interval, each (n,)."""
    upper = upper_cusum(deviation, allowance=allowance) > decision
    return upper, upper_cusum(-deviation, allowance=allowance) > decision


def highest_run(deviation: FloatArray, *, allowance: float = ALLOWANCE) -> tuple[int, int, float]:
    """Run [i, j) that adds up most to one side, and its sum with its sign (0, 0, 0.0 when nothing adds up).

    It begins after the sum was last nothing and ends where the sum is highest.
    """
    best = (0, 0, 0.0)
    for side in (1.0, -1.0):
        sums = upper_cusum(side * deviation, allowance=allowance)
        if not sums.size:
            continue
        top = int(np.argmax(sums))
        if sums[top] > abs(best[2]):
            zero = np.flatnonzero(sums[: top + 1] <= 0.0)
            best = (int(zero[-1]) + 1 if zero.size else 0, top + 1, side * float(sums[top]))
    return best
