"""Platinum resistance thermometers.

References
----------
.. [1] IEC 60751: R(t) = R0 (1 + A t + B t^2 + C (t - 100) t^3), C only below 0 degC, -200 to 850 degC.
"""

from __future__ import annotations

import math

_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12
_KINDS_OHM = (100.0, 500.0, 1000.0)  # nominal resistances at 0 degC in use (cp)
_RANGE_DEGC = (-200.0, 850.0)
_WORKING_DEGC = (-60.0, 250.0)  # where an analyser's element is ever calibrated (cp)


def resistance_ohm(temp_degc: float, *, at_zero_ohm: float = 100.0) -> float:
    """Resistance [ohm] at a temperature [1]_."""
    cold = _C * (temp_degc - 100.0) * temp_degc**3 if temp_degc < 0 else 0.0
    return at_zero_ohm * (1.0 + _A * temp_degc + _B * temp_degc**2 + cold)


def temperature_degc(ohm: float, *, at_zero_ohm: float = 100.0) -> float:
    """Temperature [degC] of a resistance [1]_; NaN outside -200 to 850 degC."""
    if not resistance_ohm(_RANGE_DEGC[0]) <= 100.0 * ohm / at_zero_ohm <= resistance_ohm(_RANGE_DEGC[1]):
        return math.nan
    share = ohm / at_zero_ohm
    temp = (-_A + math.sqrt(_A**2 - 4.0 * _B * (1.0 - share))) / (2.0 * _B)
    for _ in range(8 if temp < 0 else 0):  # Newton: the cubic term below 0 degC
        slope = _A + 2.0 * _B * temp + _C * (4.0 * temp**3 - 300.0 * temp**2)
        temp -= (resistance_ohm(temp, at_zero_ohm=1.0) - share) / slope
    return temp


def element_ohm(ohm: float) -> float:
    """Nominal resistance at 0 degC of the element that a resistance is of: the smallest for which it is a working temperature."""
    for nominal in _KINDS_OHM:
        temp = temperature_degc(ohm, at_zero_ohm=nominal)
        if _WORKING_DEGC[0] <= temp <= _WORKING_DEGC[1]:
            return nominal
    return math.nan
