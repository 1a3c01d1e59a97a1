"""How well a calibration knows what it knows: the assumed standard uncertainties, all in one place.

All are common practice without a source (cp) unless said otherwise.  What two calibrations have in common (the
maker's table of a buffer, the probe's own thermometer) cancels in a shift and is left out on purpose; what
differs from one bottle, day and hand to the next is in.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Standard uncertainties of one measurand's calibration.

    raw : repeatability of the raw signal in its unit (``raw_relative``: share of it)
    reading : repeatability of a reading in the canonical unit (``reading_relative``: share of it)
    standard, standard_relative : bottle to bottle, canonical unit and share
    entered : of a figure that was entered without raw values, by parameter, in the parameter's unit;
        a value for ``cell_constant``, ``gain`` and ``slope`` of other units than % is a share.
    """

    raw: float = 0.0
    raw_relative: float = 0.0
    reading: float = 0.0
    reading_relative: float = 0.0
    standard: float = 0.0
    standard_relative: float = 0.0
    entered: dict[str, float]


TEMPERATURE_DEGC = 0.15
TEMPERATURE_UNKNOWN_DEGC = 2.0

_OXYGEN = {"slope": 2.0, "zero": 0.1, "zero_deg": 0.2, "slope_share": 0.02}

ASSUMED: dict[str, Assumed] = {
    "ph": Assumed(raw=0.5, reading=0.01, standard=0.005, entered={"slope": 0.8, "zero_point": 0.02}),
    "co2": Assumed(
        raw=0.7,
        reading_relative=0.03,
        standard=0.01,
        standard_relative=0.01,
        entered={"slope": 1.5, "zero_point": 0.04},
    ),
    "co2_pressure": Assumed(
        raw=0.7,
        reading_relative=0.03,
        standard=0.01,
        standard_relative=0.01,
        entered={"slope": 1.5, "zero_point": 0.04},
    ),
    "redox": Assumed(raw=2.0, reading=2.0, standard=2.0, entered={"offset": 5.0}),
    "temperature": Assumed(raw=0.1, reading=0.1, standard=0.1, entered={"offset": 0.2}),
    "conductivity": Assumed(
        raw_relative=0.003, reading_relative=0.003, standard_relative=0.003, entered={"cell_constant": 0.008}
    ),
    "oxygen": Assumed(
        raw_relative=0.005,
        raw=0.06,
        reading=0.03,
        reading_relative=0.004,
        standard_relative=0.004,
        entered=_OXYGEN,
    ),
    "oxygen_saturation": Assumed(
        raw_relative=0.005,
        raw=0.06,
        reading=0.3,
        reading_relative=0.004,
        standard_relative=0.004,
        entered=_OXYGEN,
    ),
    "turbidity": Assumed(
        raw=0.02,
        raw_relative=0.01,
        reading=0.02,
        reading_relative=0.01,
        standard=0.02,
        standard_relative=0.01,
        entered={"gain": 0.02, "slope": 2.0, "zero": 0.05},
    ),
    "other": Assumed(reading_relative=0.01, standard_relative=0.005, entered={}),
}
OPTICAL_RAW_DEG = 0.05
_ENTERED_SHARE = 0.02


def entered_uncertainty(measurand: str, parameter: str, value: float, unit: str) -> float:
    """Standard uncertainty of a figure entered without raw values, in its own unit."""
    table = ASSUMED[measurand].entered
    if parameter in ("cell_constant", "gain", "span") or (parameter == "slope" and unit != "%"):
        return abs(value) * table.get(parameter if parameter != "slope" else "slope_share", _ENTERED_SHARE)
    if parameter == "zero" and unit == "deg":
        return table.get("zero_deg", 0.2)
    return table.get(parameter, max(_ENTERED_SHARE * abs(value), 1e-6))
