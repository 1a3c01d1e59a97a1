"""Redox standards over temperature and the reference electrodes they are stated against.

References
----------
.. [1] Standard Methods for the Examination of Water and Wastewater (1997), 2580: Zobell's solution, Table
   2580:I against the standard hydrogen electrode (SHE); Light's solution 475 mV against Ag/AgCl, 675 mV
   against SHE at 25 degC.  Other tables lie about 2 mV higher: take 5 mV.
"""

from __future__ import annotations

import math

from excursions.physics.tables import look_up

AGCL_VS_SHE_MV = 199.0  # Ag/AgCl in 4 mol/L KCl at 25 degC, handbook value
LIGHT_VS_AGCL_MV = 475.0
LIGHT_VS_SHE_MV = 675.0


def zobell_mv(temp_degc: float) -> float:
    """Zobell's solution against SHE [mV]; the table from 1 to 30 degC, its straight line beyond."""
    printed = look_up("zobell", "potential", temp_degc)
    return printed if math.isfinite(printed) else 428.0 - 2.2 * (temp_degc - 25.0)


def agcl_vs_she_mv(temp_degc: float) -> float:
    """Ag/AgCl (saturated KCl) half cell against SHE [mV]: 199 at 25 degC, -1 mV/K (slope from memory)."""
    return AGCL_VS_SHE_MV - (temp_degc - 25.0)


def zobell_vs_agcl_mv(temp_degc: float) -> float:
    """What a redox probe with an Ag/AgCl reference should show in Zobell's solution [mV]."""
    return zobell_mv(temp_degc) - agcl_vs_she_mv(temp_degc)
