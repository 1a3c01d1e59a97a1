"""The one table of measurands: a file each, from which units, limits, words, standards and ageing follow everywhere.

To add a measurand, write its file beside the others and add its row to :data:`MEASURANDS`.  A way of calibrating of
its own goes to ``excursions/calibrations/models.py``.
"""

from __future__ import annotations

from excursions.measurands.co2 import CO2, CO2_PRESSURE
from excursions.measurands.conductivity import CONDUCTIVITY
from excursions.measurands.other import OTHER
from excursions.measurands.oxygen import OXYGEN, OXYGEN_SATURATION
from excursions.measurands.ph import PH
from excursions.measurands.redox import REDOX
from excursions.measurands.row import Accepted, Assumed, Expected, Measurand, Window
from excursions.measurands.temperature import TEMPERATURE
from excursions.measurands.turbidity import TURBIDITY

__all__ = [
    "MEASURANDS",
    "Accepted",
    "Assumed",
    "Expected",
    "Measurand",
    "Window",
    "measurand",
    "to_canonical",
]

MEASURANDS: dict[str, Measurand] = {
    row.key: row
    for row in (
        PH,
        REDOX,
        CONDUCTIVITY,
        OXYGEN,
        OXYGEN_SATURATION,
        CO2,
        CO2_PRESSURE,
        TURBIDITY,
        TEMPERATURE,
        OTHER,
    )
}


def measurand(key: str) -> Measurand:
    """Return the measurand with this key; ``KeyError`` if there is none."""
    return MEASURANDS[key]


def to_canonical(key: str, unit: str) -> tuple[float, float] | None:
    """Return (factor, offset) that takes `unit` to the canonical unit, or None when the unit is unknown."""
    row = MEASURANDS[key]
    spelt = " ".join(unit.split()).lower()
    if spelt == row.unit.lower() or key == "other":
        return (1.0, 0.0)
    return row.aliases.get(spelt)
