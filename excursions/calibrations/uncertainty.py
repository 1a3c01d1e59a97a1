"""How well a calibration knows what it knows: the assumed standard uncertainties, all in one place.

All are common practice without a source (cp) unless said otherwise.  What two calibrations have in common (the
maker's table of a buffer, the probe's own thermometer) cancels in a shift and is left out on purpose; what
differs from one bottle, day and hand to the next is in.
"""

from __future__ import annotations

from excursions.measurands import MEASURANDS

TEMPERATURE_DEGC = 0.15
TEMPERATURE_UNKNOWN_DEGC = 2.0

OPTICAL_RAW_DEG = 0.05
_ENTERED_SHARE = 0.02


def entered_uncertainty(measurand: str, parameter: str, value: float, unit: str) -> float:
    """Standard uncertainty of a figure entered without raw values, in its own unit."""
    table = MEASURANDS[measurand].assumed.entered
    if parameter in ("cell_constant", "gain", "span") or (parameter == "slope" and unit != "%"):
        return abs(value) * table.get(parameter if parameter != "slope" else "slope_share", _ENTERED_SHARE)
    if parameter == "zero" and unit == "deg":
        return table.get("zero_deg", 0.2)
    return table.get(parameter, max(_ENTERED_SHARE * abs(value), 1e-6))
