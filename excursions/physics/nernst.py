"""The Nernst factor: how many millivolts an ideal electrode gives for one unit of pH.

References
----------
R and F follow from the defining constants of the SI (BIPM, The International System of Units, 9th edition, 2019), which
are exact; CODATA lists the same.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import NDArray

ZERO_CELSIUS_K = 273.15
AVOGADRO_PER_MOL, BOLTZMANN_J_PER_K, ELEMENTARY_CHARGE_C = 6.02214076e23, 1.380649e-23, 1.602176634e-19
_GAS, _FARADAY = BOLTZMANN_J_PER_K * AVOGADRO_PER_MOL, ELEMENTARY_CHARGE_C * AVOGADRO_PER_MOL
_MV_PER_PH_AND_KELVIN = 1000.0 * np.log(10.0) * _GAS / _FARADAY


@overload
def nernst_slope_mv(temp_degc: float) -> float: ...
@overload
def nernst_slope_mv(temp_degc: NDArray[np.float64]) -> NDArray[np.float64]: ...
def nernst_slope_mv(temp_degc: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
    """Return k(T) = ln(10) R T / F in mV per pH at a temperature in degC; 59.159 at 25 degC."""
    if isinstance(temp_degc, np.ndarray):
        return np.asarray(_MV_PER_PH_AND_KELVIN * (temp_degc + ZERO_CELSIUS_K), dtype=np.float64)
    return float(_MV_PER_PH_AND_KELVIN * (temp_degc + ZERO_CELSIUS_K))
