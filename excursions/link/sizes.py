"""Between parameters and the reading: how far a damage moves a parameter, and how far a parameter moves the reading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.levels import LOOK_BACK_NS, level_before, level_between
from excursions.conclusions import Levels
from excursions.link.ageing import key_of
from excursions.link.beliefs import UNSEEN, Beliefs
from excursions.link.priors import expected
from excursions.measurands import MEASURANDS
from excursions.plant import Plant
from excursions.records import Event, FloatArray, Shift

_WHOLE = 3.29  # width of a 90 % interval in standard deviations
_STEP_SHARE = 0.1  # a step's size as seen against what remains of it at the calibration (cp)
_DRIFT_SHARE = 0.25  # the same for a drift, which goes on or comes back a little (cp)


def kicks(shifts: Sequence[Shift], beliefs: Beliefs, source: str = UNSEEN) -> FloatArray:
    """Standard deviation of a damage by a source, parameter by parameter."""
    made = []
    for s in shifts:
        row = expected(s.measurand, s.parameter, s.unit)
        made.append(row.kick * row.scale(s.before) * beliefs.kick.get((key_of(s), source), 1.0))
    return np.array(made)


def size_uncertainty(event: Event, plant: Plant) -> float:
    """Standard uncertainty of a change of the reading as a prediction of what a calibration will find."""
    share = _STEP_SHARE if event.kind == "step" else _DRIFT_SHARE
    known = math.isfinite(event.size_low) and math.isfinite(event.size_high)
    seen = abs(event.size_high - event.size_low) / _WHOLE if known else 0.0
    point = plant.point(event.point)
    least = 0.2 * point.tolerance_at(event.details.get("before", 0.0)) if point else 0.0
    return math.sqrt(seen**2 + (share * event.size) ** 2 + least**2)


def level_of(event: Event, shift: Shift, levels: Mapping[str, Levels]) -> tuple[float, float]:
    """Level and temperature where the process sat when an event began; else around the shift; else a usual one."""
    seen, temp = level_before(levels, event.point, event.start, since=event.start - LOOK_BACK_NS)
    if not math.isfinite(seen):
        seen, temp = level_between(levels, event.point, shift.start, shift.end)
    if not math.isfinite(seen):
        seen = usual_level(shift.measurand)
    return event.details.get("before", seen), temp


def usual_level(measurand: str) -> float:
    """A level to reckon with when the record shows none; NaN where there is no telling."""
    return MEASURANDS[measurand].typical


def sensitivity(shifts: Sequence[Shift], level: float, temp: float) -> FloatArray:
    """Change of the reading for a unit change of each parameter (p,), at a level; 0 where it cannot be told."""
    shape = models.form(shifts[0].measurand, {s.parameter: s.unit for s in shifts})
    used = {s.parameter: s.before for s in shifts if s.parameter in shape.units}
    steps = 1e-3 * kicks(shifts, Beliefs())
    slopes = np.zeros(len(shifts))
    if not math.isfinite(level):  # the shift's own level, if the calibration knew one
        return np.array([_own_sensitivity(s) for s in shifts])
    for i, shift in enumerate(shifts):
        if shift.parameter in shape.units and steps[i] > 0:
            real = used | {shift.parameter: shift.before + float(steps[i])}
            slopes[i] = (
                models.indicated(shape, level, used=used, real=real, temp_degc=temp) - level
            ) / steps[i]
    return np.where(np.isfinite(slopes), slopes, 0.0)


def _own_sensitivity(shift: Shift) -> float:
    known = math.isfinite(shift.reading_error) and abs(shift.change) > 1e-12
    return shift.reading_error / shift.change if known else 0.0
