"""Saturated steam: which pressure goes with which temperature.

References
----------
IAPWS R7-97(2012), "Revised Release on the IAPWS Industrial Formulation 1997 for the Thermodynamic
Properties of Water and Steam", section 8 (region 4), equations 29b to 31 and Table 34.  Valid from
273.15 K to the critical point (647.096 K, 22.064 MPa); NaN is returned outside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

KELVIN = 273.15
KPA_PER_MPA = 1000.0
T_MIN_K, T_CRITICAL_K = 273.15, 647.096
P_MIN_MPA, P_CRITICAL_MPA = 0.000611213, 22.064

# Table 34, n1 to n10
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def saturation_pressure_kpa(t_degc: ArrayLike) -> NDArray[np.float64]:
    """Absolute pressure [kPa] at which water boils at `t_degc` [degC] (equation 30); NaN out of range."""
    kelvin = np.asarray(t_degc, dtype=np.float64) + KELVIN
    inside = (kelvin >= T_MIN_K) & (kelvin <= T_CRITICAL_K)
    t = np.where(inside, kelvin, np.nan)
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    theta = t + n9 / (t - n10)
    a = theta**2 + n1 * theta + n2
    b = n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    return np.asarray((2 * c / (-b + np.sqrt(b**2 - 4 * a * c))) ** 4 * KPA_PER_MPA)


def saturation_temperature_degc(p_kpa: ArrayLike) -> NDArray[np.float64]:
    """Temperature [degC] at which water boils under `p_kpa` absolute [kPa] (equation 31); NaN out of range."""
    mpa = np.asarray(p_kpa, dtype=np.float64) / KPA_PER_MPA
    inside = (mpa >= P_MIN_MPA) & (mpa <= P_CRITICAL_MPA)
    beta = np.where(inside, mpa, np.nan) ** 0.25
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    return np.asarray((n10 + d - np.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2 - KELVIN)
