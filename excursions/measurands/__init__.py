"""The one table of measurands: a file each, from which units, limits, words, standards and ageing follow everywhere.

To add a measurand, write its file beside the others and add its row to :data:`MEASURANDS`.  A way of calibrating of
its own goes to ``excursions/calibrations/models.py``.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

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
    "converted",
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


_Number = TypeVar("_Number", float, NDArray[np.float64])
_NEARLY = 1e-9


def converted(value: _Number, scale: tuple[float, float]) -> _Number:
    """A number or numbers (n,) by (factor, offset); a thousandth is divided by a thousand, which leaves 7020 at 7.02 to the last digit."""
    factor, offset = scale
    whole = round(1.0 / factor) if factor else 0
    moved = value / whole if whole > 1 and abs(whole * factor - 1.0) < _NEARLY else value * factor
    return moved + offset if offset else moved
