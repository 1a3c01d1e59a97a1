"""Calibration parameters as entered, taken to the names and units the house calculates with."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from excursions.digits import written
from excursions.physics.nernst import nernst_slope_mv

SECOND_SLOPE = "second_slope"  # of alkaline buffers, beside that of acid ones
_FULL_SLOPE_MV = float(nernst_slope_mv(25.0))
_LEAST_ZERO, _MOST_ZERO = 4.0, 10.0  # pH: a zero point lies here, an offset of a reading far below
_CURRENTS = ("na", "ua", "pa")
_PRESSURE_KPA = {
    "hpa": 0.1,
    "mbar": 0.1,
    "kpa": 1.0,
    "bar": 100.0,
    "mmhg": 0.133322387415,
    "torr": 0.133322387415,
    "pa": 0.001,
    "atm": 101.325,
}
PRESSURE_UNITS = _PRESSURE_KPA.keys()


def unit_of_column(
    figure: str, unit: str, values: Sequence[float], *, electrode: bool = True
) -> tuple[str, str]:
    """Unit of a column of figures, and why when the header does not say.

    electrode : whether they are of pH electrodes, by what stands beside them

    Slopes are told apart by size: a pH probe gives 50 to 61 mV per pH, 0.8 to 1.05 as a ratio, 80 to 105 %.
    A zero between pH 4 and 10 is a zero point, beyond that a potential in mV.  An offset is a potential, unless it is
    of a pH electrode and all of them are near pH 7, where potentials seldom stand together: then they are zero points.
    """
    if not values:
        return unit, ""
    middle = statistics.median(abs(value) for value in values)
    if figure == "slope":
        if middle <= 1.3 and unit in ("", "%"):
            return "ratio", f"a median of {written(middle)} is a ratio, not per cent"
        if not unit and 45.0 <= middle <= 62.0:
            return "mv/ph", f"a median of {written(middle)} is a slope in mV/pH"
        return (unit, "") if unit else ("%", f"a median of {written(middle)} is a slope in per cent")
    if figure == "zero_point" and not unit:
        if _LEAST_ZERO <= middle <= _MOST_ZERO:
            return "ph", f"a median of {written(middle)} is a zero point in pH"
        if max(abs(value) for value in values) > 14.0:
            return "mv", f"values up to {written(max(abs(v) for v in values))} are a potential in mV"
        return "", "nothing states a unit; taken as a zero in the unit of the reading"
    if figure == "offset" and not unit and electrode and all(6.0 <= value <= 8.0 for value in values):
        return "ph", f"all of them are near pH 7, the median is {written(middle)}: zero points in pH"
    return unit, ""


def figure_of(figure: str, value: float, unit: str) -> tuple[str, float]:
    """Name and value of a parameter: slope in %, zero_point in pH, offset in mV, cell_constant in 1/cm.

    A unit that cannot be taken there stays in the name (``slope [na]``), so that nothing is mistaken for it.
    """
    if figure.endswith("slope"):
        name, percent = _slope(value, unit)
        return name.replace("slope", figure), percent
    if figure == "zero_point":
        if unit == "ph" and _LEAST_ZERO <= value <= _MOST_ZERO:
            return "zero_point", value
        return (
            ("offset", value)
            if unit == "mv"
            else ("zero", value)
            if unit not in _CURRENTS
            else (f"zero [{unit}]", value)
        )
    if figure == "offset" and unit == "ph" and _LEAST_ZERO <= value <= _MOST_ZERO:
        return "zero_point", value
    if figure == "offset":
        return ("offset", value) if unit in ("", "mv", "degc", "°c", "c") else (f"offset [{unit}]", value)
    if figure == "cell_constant":
        return "cell_constant", value / 100.0 if unit in ("1/m", "m-1", "/m") else value
    if figure == "gain" and unit.startswith("%"):
        return "gain", value / 100.0
    return figure, value


def _slope(value: float, unit: str) -> tuple[str, float]:
    if unit == "ratio":
        return "slope", 100.0 * value
    if unit.startswith("mv"):
        return "slope", 100.0 * abs(value) / _FULL_SLOPE_MV
    return ("slope", value) if unit.startswith("%") or not unit else (f"slope [{unit}]", value)


def air_pressure_kpa(value: float, unit: str) -> float:
    """Air pressure in kPa; without a unit told by its size, NaN when it is no air pressure at all."""
    for factor in (
        (_PRESSURE_KPA.get(unit),) if unit in _PRESSURE_KPA else (1.0, 0.1, 0.133322387415, 101.325)
    ):
        if factor and 40.0 <= value * factor <= 130.0:
            return value * factor
    return math.nan


def altitude_m(value: float, unit: str) -> float:
    """Height above the sea in metres; NaN when nobody calibrates there."""
    metres = value * 0.3048 if unit == "ft" else value
    return metres if -500.0 <= metres <= 6000.0 else math.nan


def salinity_of(value: float) -> float:
    """Practical salinity (g/kg and ppt are as good as the same); 0 for what no water has that oxygen is measured in."""
    return value if 0.0 <= value <= 45.0 else 0.0


def degc(value: float, unit: str) -> float:
    """Temperature in degC."""
    return (value - 32.0) / 1.8 if unit in ("degf", "°f", "f") else value
