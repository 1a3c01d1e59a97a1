"""Conductivity standards over temperature, and compensation to 25 degC.

References
----------
.. [1] Pratt, Koch, Wu, Berezansky, "Molality-based primary standards of electrolytic conductivity", Pure
   Appl. Chem. 73 (2001) 1783.
.. [2] OIML R 56 (1981), Standard solutions reproducing the conductivity of electrolytes, at 25 degC.
.. [3] IAPWS guideline on the electrolytic conductivity of liquid and dense supercritical water (1990).
Natural waters are compensated with the shape of 0.01 mol/kg KCl over temperature, in the place of the table of
ISO 7888, whose printed figures were not at hand.
"""

from __future__ import annotations

import math

from excursions.physics.tables import look_up

REFERENCE_DEGC = 25.0
LINEAR_PERCENT_PER_K = 2.0  # (cp) usual default for aqueous salts

# Standards by the figure on their label [uS/cm at 25 degC] and the molality whose shape over temperature they
# have.  147, 718, 1408, 12852, 111310: [2]_; 84 and 1413 are usual commercial values (cp).
_STANDARDS: tuple[tuple[float, str], ...] = (
    (84.0, "0.01"),
    (146.9, "0.01"),
    (291.6, "0.01"),
    (718.2, "0.01"),
    (1408.0, "0.01"),
    (1413.0, "0.01"),
    (12824.6, "0.1"),
    (12852.0, "0.1"),
    (12880.0, "0.1"),
    (108620.0, "1.0"),
    (111310.0, "1.0"),
    (111800.0, "1.0"),
)


def kcl_conductivity(molality: float, temp_degc: float) -> float:
    """Conductivity [uS/cm] of 0.01, 0.1 or 1.0 mol/kg KCl from 0 to 50 degC [1]_; NaN outside.

    Raises
    ------
    KeyError
        For a molality the source does not give.
    """
    columns = {0.01: "0.01", 0.1: "0.1", 1.0: "1.0"}
    return look_up("kcl", columns[molality], temp_degc)


def standard_conductivity(nominal: float, temp_degc: float) -> float:
    """Conductivity [uS/cm] at a temperature of the standard whose label says `nominal` at 25 degC.

    The shape over temperature is that of the KCl solution nearest in strength; a standard more than 10 %
    away from every known one is treated as KCl of the nearest strength all the same (salts differ little).
    NaN temperature is taken as 25 degC.
    """
    if not math.isfinite(temp_degc) or nominal <= 0:
        return nominal
    _, molality = min(_STANDARDS, key=lambda row: abs(math.log(row[0] / nominal)))
    shape = look_up("kcl", molality, temp_degc) / look_up("kcl", molality, REFERENCE_DEGC)
    return nominal * shape if math.isfinite(shape) else linear_factor(temp_degc) * nominal


def linear_factor(temp_degc: float, *, percent_per_k: float = LINEAR_PERCENT_PER_K) -> float:
    """Ratio of conductivity at `temp_degc` to that at 25 degC under linear compensation."""
    return 1.0 + percent_per_k / 100.0 * (temp_degc - REFERENCE_DEGC)


def natural_factor(temp_degc: float) -> float:
    """Ratio of conductivity at `temp_degc` to that at 25 degC for natural (dilute salt) water, 0 to 50 degC."""
    return look_up("kcl", "0.01", temp_degc) / look_up("kcl", "0.01", REFERENCE_DEGC)


def pure_water(temp_degc: float) -> float:
    """Conductivity [uS/cm] of pure water [3]_, 0 to 100 degC; 0.055 at 25 degC."""
    return look_up("pure_water", "conductivity", temp_degc)


def to_25(
    kappa: float, temp_degc: float, *, method: str = "linear", percent_per_k: float = LINEAR_PERCENT_PER_K
) -> float:
    """Compensate a conductivity [uS/cm] measured at `temp_degc` to 25 degC.

    Parameters
    ----------
    method : str
        ``linear`` (percent_per_k), ``natural`` (dilute salt water) or ``pure`` (pure water with a trace of
        salt: the water's own part is taken off, the rest compensated as dilute salt, linearly beyond 50 degC,
        and the water's part at 25 degC put back).

    Raises
    ------
    ValueError
        For another method.
    """
    if method == "linear":
        return kappa / linear_factor(temp_degc, percent_per_k=percent_per_k)
    if method == "natural":
        return kappa / natural_factor(temp_degc)
    if method == "pure":
        salt = natural_factor(temp_degc)
        salt = salt if math.isfinite(salt) else linear_factor(temp_degc, percent_per_k=percent_per_k)
        return (kappa - pure_water(temp_degc)) / salt + pure_water(REFERENCE_DEGC)
    raise ValueError(f'method "{method}" is not one of linear, natural, pure')
