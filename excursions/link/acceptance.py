"""Between which figures a calibration parameter is accepted, and whose figures they are.

References
----------
.. [1] USP <791> (from USP 39, first supplement): slope 90.0 to 105.0 % of theory, offset at pH 7 within 30 mV.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.calibrations.checks import USP_OFFSET_MV, USP_SLOPE_PERCENT
from excursions.physics.nernst import nernst_slope_mv

# Where a parameter ends its useful life: pH slope by USP <791>; the others common practice without a source.
END_OF_LIFE: dict[tuple[str, str, str], float] = {
    ("ph", "slope", "%"): USP_SLOPE_PERCENT[0],
    ("co2", "slope", "%"): 90.0,
    ("co2_pressure", "slope", "%"): 90.0,
    ("oxygen", "slope", "%"): 70.0,
    ("oxygen_saturation", "slope", "%"): 70.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """Lowest and highest accepted value (NaN: no limit on that side) and where they come from."""

    low: float
    high: float
    source: str


def acceptance(measurand: str, parameter: str, unit: str) -> Acceptance | None:
    """The acceptance limits of one parameter, None where no limit is in use.

    The offset of 30 mV at pH 7 becomes a span of zero points by the theoretical slope at 25 degC.
    """
    if (measurand, parameter, unit) == ("ph", "zero_point", "pH"):
        width = USP_OFFSET_MV / nernst_slope_mv(25.0)
        return Acceptance(
            low=7.0 - width, high=7.0 + width, source=f"USP <791>: within {USP_OFFSET_MV:g} mV at pH 7"
        )
    low = END_OF_LIFE.get((measurand, parameter, unit))
    if low is None:
        return None
    if measurand == "ph":
        return Acceptance(low=low, high=USP_SLOPE_PERCENT[1], source="USP <791>")
    return Acceptance(low=low, high=math.nan, source="common practice, no source")
