"""How well a calibration knows what it knows: assumed uncertainties that are no measurand's own.

Those of each measurand stand in its row (``Measurand.assumed``).  All are common practice without a source (cp).
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
