"""Oxygen in water and in air: saturation, water vapour, air pressure over altitude.

References
----------
.. [1] Benson and Krause, "The concentration and isotopic fractionation of oxygen dissolved in freshwater and
   seawater in equilibrium with the atmosphere", Limnol. Oceanogr. 29 (1984) 620: volumetric form as used by
   Standard Methods 4500-O.
.. [2] ISO 2533, Standard atmosphere (1975): pressure over altitude below 11 km.
"""

from __future__ import annotations

import math

ATMOSPHERE_KPA = 101.325
OXYGEN_IN_DRY_AIR = 0.2095  # mole fraction (cp; 0.20946 in standard atmospheres)
HPA_PER_KPA = 10.0


def water_vapour_kpa(temp_degc: float) -> float:
    """Saturation pressure of water over fresh water [kPa], as Benson and Krause use it (0 to 40 degC)."""
    kelvin = temp_degc + 273.15
    return ATMOSPHERE_KPA * math.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)


def saturation_mg_l(
    temp_degc: float, *, salinity: float = 0.0, pressure_kpa: float = ATMOSPHERE_KPA
) -> float:
    """Oxygen concentration [mg/L] in water in equilibrium with moist air.

    Parameters
    ----------
    temp_degc : float
        0 to 40 degC (beyond that the equation is an extrapolation).
    salinity : float
        Practical salinity.
    pressure_kpa : float
        Air pressure, absolute, not reduced to sea level.
    """
    kelvin = temp_degc + 273.15
    log_sea_level = (
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.2438e10 / kelvin**3
        - 8.621949e11 / kelvin**4
        - salinity * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2)
    )
    return math.exp(log_sea_level) * _pressure_factor(temp_degc, pressure_kpa / ATMOSPHERE_KPA)


def _pressure_factor(temp_degc: float, atmospheres: float) -> float:
    """Ratio of saturation at a pressure [atm] to saturation at one atmosphere."""
    vapour = water_vapour_kpa(temp_degc) / ATMOSPHERE_KPA
    theta = 0.000975 - 1.426e-5 * temp_degc + 6.436e-8 * temp_degc**2
    here = atmospheres * (1.0 - vapour / atmospheres) * (1.0 - theta * atmospheres)
    return here / ((1.0 - vapour) * (1.0 - theta))


def air_oxygen_hpa(temp_degc: float, *, pressure_kpa: float = ATMOSPHERE_KPA, humidity: float = 1.0) -> float:
    """Partial pressure of oxygen in air [hPa]: 0.2095 (p - RH p_w(T)); humidity from 0 to 1."""
    return HPA_PER_KPA * OXYGEN_IN_DRY_AIR * (pressure_kpa - humidity * water_vapour_kpa(temp_degc))


def air_pressure_kpa(altitude_m: float) -> float:
    """Mean air pressure [kPa] at an altitude, from the standard atmosphere [2]_ (up to 11 km)."""
    return float(ATMOSPHERE_KPA * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def hpa_per_mg_l(temp_degc: float, *, salinity: float = 0.0) -> float:
    """Partial pressure [hPa] that belongs to one mg/L of dissolved oxygen at a temperature."""
    return air_oxygen_hpa(temp_degc) / saturation_mg_l(temp_degc, salinity=salinity)
