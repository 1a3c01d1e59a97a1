"""The Nernst factor: how many millivolts an ideal electrode gives for one unit of pH.

References
----------
CODATA values of R and F through ``scipy.constants``.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import NDArray
from scipy import constants

ZERO_CELSIUS_K = constants.zero_Celsius
_MV_PER_PH_AND_KELVIN = 1000.0 * np.log(10.0) * constants.R / constants.value("Faraday constant")


@overload
def nernst_slope_mv(temp_degc: float) -> float: ...
@overload
def nernst_slope_mv(temp_degc: NDArray[np.float64]) -> NDArray[np.float64]: ...
def nernst_slope_mv(temp_degc: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
    """Return k(T) = ln(10) R T / F in mV per pH at a temperature in degC; 59.159 at 25 degC."""
    if isinstance(temp_degc, np.ndarray):
        return np.asarray(_MV_PER_PH_AND_KELVIN * (temp_degc + ZERO_CELSIUS_K), dtype=np.float64)
    return float(_MV_PER_PH_AND_KELVIN * (temp_degc + ZERO_CELSIUS_K))
