"""Raw values of an electrode that run the wrong way: two of them exchanged between their buffers, or their sign turned.

No electrode has a negative slope, so such values stand for what was meant or for nothing.
"""

from __future__ import annotations

from dataclasses import replace

from excursions.calibrations import models
from excursions.calibrations.parameters import Determined, determine
from excursions.calibrations.standards import Resolved
from excursions.physics.nernst import nernst_slope_mv

# What a worn but working electrode still has (cp): outside nobody can say what was meant.
_SLOPE_PERCENT, _OFFSET_MV = (75.0, 108.0), 60.0


def set_right(
    seen: Resolved, found: Determined, kept: models.State, phase: str
) -> tuple[Determined, tuple[str, ...]]:
    """Parameters, with a remark where the raw values run the wrong way; none where nobody can say what was meant."""
    slope = found.parameters.get("slope")
    if seen.form.kind != "electrode" or slope is None or slope.value >= 0:
        return found, ()
    meant = (
        (replace(seen, raw=seen.raw[::-1].copy()), "taken as exchanged between the two standards"),
        (replace(seen, raw=-seen.raw), "taken with their sign turned round"),
    )
    for other, words in meant[seen.raw.size != 2 :]:
        again = determine(other, kept)
        if _works(seen.form.measurand, again):
            return again, (f"{phase}: raw values run the wrong way, {words}",)
    return Determined(parameters={}), (f"{phase}: raw values run the wrong way and are not used",)


def _works(measurand: str, found: Determined) -> bool:
    """Whether these are the parameters of an electrode in use."""
    slope, zero = found.parameters.get("slope"), found.parameters.get("zero_point")
    if slope is None or zero is None or not _SLOPE_PERCENT[0] <= slope.value <= _SLOPE_PERCENT[1]:
        return False
    offset = nernst_slope_mv(models.ROOM_DEGC) * (zero.value - 7.0)
    return measurand != "ph" or abs(offset) <= _OFFSET_MV
