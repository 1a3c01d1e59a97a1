"""What each kind of event predicts for the next calibration.

Predictions are made in the parameter's unit.  A change seen in the reading (step, drift, fouling) is turned into
a parameter by the shift's own sensitivity, reading error over change, so that the sign rule of each measurand
stands in one place only (``excursions.calibrations``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.records import Event, Shift

ZERO_LIKE = ("zero_point", "offset", "zero")
SLOPE_LIKE = ("slope", "gain", "span", "cell_constant")
SEEN_IN_READING = ("step", "drift", "fouling")

# How often such an event leaves a shift behind, before looking at the figures (cp).
OFTEN = {
    "over_temperature": 0.5,
    "thermal_shock": 0.25,
    "step": 0.8,
    "drift": 0.8,
    "fouling": 0.5,
    "stuck": 0.5,
    "pinned": 0.2,
    "noise_growth": 0.3,
    "noise_collapse": 0.3,
    "slow_response": 0.3,
    "temperature_fault": 0.1,
    "sterilisation": 0.02,
    "spikes": 0.05,
    "out_of_range": 0.2,
}

# Slope lost, share of the slope, per hour of ageing dose above the rating, and its factor of uncertainty (cp).
SLOPE_LOSS_PER_DOSE_H = 0.01
HEAT_SPREAD = 1.0
# Zero move after heat, of unknown sign: multiples of the tolerance of the reading (cp).
HEAT_ZERO_TOLERANCES = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """Expected change of one parameter, its standard uncertainty (both in the parameter's unit), and why."""

    mean: float
    deviation: float
    reason: str


def sensitivity(shift: Shift) -> float:
    """Reading error per unit of change; falls back on the ratio of the uncertainties when nothing changed."""
    if math.isfinite(shift.reading_error) and abs(shift.change) > 1e-12:
        return shift.reading_error / shift.change
    if math.isfinite(shift.reading_error_uncertainty) and shift.uncertainty > 0:
        return shift.reading_error_uncertainty / shift.uncertainty
    return math.nan


def size_deviation(event: Event) -> float:
    """Standard deviation of an event's size from its 90 % interval; a tenth of the size when none is given."""
    width = event.size_high - event.size_low
    return width / (2 * 1.645) if math.isfinite(width) and width > 0 else 0.1 * abs(event.size)


def predict(event: Event, shift: Shift, *, tolerance: float, echo: Event | None = None) -> Prediction | None:
    """What `event` predicts for the parameter of `shift`; None when it says nothing about it.

    Parameters
    ----------
    tolerance : reading error that matters at this point, canonical unit
    echo : a step or drift that followed the heat of `event` and belongs to it
    """
    if event.kind in SEEN_IN_READING:
        return _from_reading(event, shift)
    if event.kind in ("over_temperature", "thermal_shock"):
        return _from_heat(event, shift, tolerance, echo)
    if event.kind in ("stuck", "pinned", "out_of_range") and shift.parameter in SLOPE_LIKE:
        return Prediction(
            mean=-0.6 * abs(shift.before),
            deviation=0.4 * abs(shift.before),
            reason="a dead probe has no slope",
        )
    if event.kind in ("noise_growth", "noise_collapse", "slow_response") and shift.parameter in SLOPE_LIKE:
        return Prediction(
            mean=-0.05 * abs(shift.before),
            deviation=0.06 * abs(shift.before),
            reason="a worn or coated probe loses slope",
        )
    if event.kind in OFTEN:
        return _wide(shift, tolerance, "such an event may move the parameter either way")
    return None


def _from_reading(event: Event, shift: Shift) -> Prediction | None:
    per_unit = sensitivity(shift)
    if not math.isfinite(per_unit) or per_unit == 0 or not math.isfinite(event.size):
        return None
    if shift.parameter == "slope":
        # A jump of the reading is the zero's; a slow change may be the slope's, which share of it is not known.
        share = 0.01 if event.kind == "step" else 0.03
        return Prediction(
            mean=0.0,
            deviation=share * abs(shift.before),
            reason=f"a {event.kind} says little about the slope",
        )
    mean, deviation = event.size / per_unit, size_deviation(event) / abs(per_unit)
    if event.kind == "fouling":
        # What a clean before the calibration took away is no longer found.
        return Prediction(
            mean=0.5 * mean,
            deviation=math.hypot(deviation, 0.5 * abs(mean)),
            reason="what is left of the fouling",
        )
    spread = 0.1 if event.kind == "step" else 0.25
    return Prediction(
        mean=mean,
        deviation=math.hypot(deviation, spread * abs(mean)),
        reason=f"{event.kind} of {event.size:+.3g} {event.size_unit} in the reading",
    )


def _from_heat(event: Event, shift: Shift, tolerance: float, echo: Event | None) -> Prediction | None:
    if shift.parameter in ("slope", "gain", "span"):
        loss = SLOPE_LOSS_PER_DOSE_H * event.details.get("dose_h", 0.0)
        loss = min(max(loss, 0.02), 0.5) * abs(shift.before)
        return Prediction(
            mean=-loss, deviation=HEAT_SPREAD * loss, reason=f"heat to {event.size:.0f} degC costs slope"
        )
    if echo is not None and shift.parameter not in SLOPE_LIKE:
        seen = _from_reading(echo, shift)
        if seen is not None:
            return Prediction(
                mean=seen.mean, deviation=seen.deviation, reason=f"{seen.reason} on return from the heat"
            )
    return _wide(
        shift,
        HEAT_ZERO_TOLERANCES * tolerance,
        f"heat to {event.size:.0f} degC moves the zero by an unknown amount",
    )


def _wide(shift: Shift, reading: float, reason: str) -> Prediction | None:
    per_unit = sensitivity(shift)
    if not math.isfinite(per_unit) or per_unit == 0:
        return Prediction(mean=0.0, deviation=0.05 * abs(shift.before) + 1e-9, reason=reason)
    return Prediction(mean=0.0, deviation=reading / abs(per_unit), reason=reason)
