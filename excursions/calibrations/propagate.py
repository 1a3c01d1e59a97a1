"""Standard uncertainties carried through a function by its local slopes (GUM, first order).

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.1.2.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from excursions.records import FloatArray

_STEP = 0.1  # of a standard uncertainty: small against curvature, large against rounding


def propagate(
    function: Callable[[FloatArray], FloatArray], at: FloatArray, uncertainty: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the function's value and the covariance of its results.

    Parameters
    ----------
    function : callable
        Takes shape (n,), gives shape (m,).
    at, uncertainty : ndarray, shape (n,)
        Inputs and their independent standard uncertainties, in the inputs' units; zero means exact.

    Returns
    -------
    value : ndarray, shape (m,)
    covariance : ndarray, shape (m, m)
    """
    value = function(at)
    slopes = np.zeros((value.size, at.size))
    for index in np.flatnonzero(uncertainty > 0):
        step = np.zeros_like(at)
        step[index] = _STEP * uncertainty[index]
        slopes[:, index] = (function(at + step) - function(at - step)) / (2.0 * step[index])
    return value, (slopes * uncertainty**2) @ slopes.T
