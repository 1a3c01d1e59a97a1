"""What each possible cause predicts for the parameters, as normal distributions.

A cause has one or more *variants* (a step that is all zero move; heat that left a step; fouling that was cleaned off
before the calibration).  Variants of one cause exclude one another; different causes may act together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.link.intervals import Interval
from excursions.link.priors import (
    CONSEQUENCE_KINDS,
    CONSEQUENCE_WITHIN_NS,
    HEAT_KINDS,
    expected,
    lasting_chance,
)
from excursions.measurands import MEASURANDS
from excursions.plant import Plant
from excursions.records import Event, FloatArray, Shift
from excursions.report.result import Levels

NS_PER_H = 3_600_000_000_000
_WHOLE = 3.29  # width of a 90 % interval in standard deviations
_STEP_SHARE = 0.1  # a step's size as seen against what remains of it at the calibration (cp)
_DRIFT_SHARE = 0.25  # the same for a drift, which goes on or comes back a little (cp)
# A jump of the reading is nearly always the zero's, a slow change may be the slope's too: share of the slope's kick.
_SLOPE_PART = {"step": 0.3, "drift": 0.6, "fouling": 0.6}
_USUAL_DOSE_H = 20.0  # dose at which heat damage is as wide as the table's kick (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One way a cause may have acted: chance of it, and the effect on the parameters (mean (p,), covariance (p, p)).

    When it acts over time: at `start`, growing until `end` (the same instant for a sudden change).
    """

    chance: float
    mean: FloatArray
    covariance: FloatArray
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A candidate: the leading event, events that are its consequence, and its variants."""

    event: Event
    consequences: tuple[Event, ...]
    variants: tuple[Variant, ...]

    @property
    def chance(self) -> float:
        """Chance before any calibration that it acted."""
        return sum(variant.chance for variant in self.variants)


def grouped(events: Sequence[Event]) -> tuple[tuple[Event, tuple[Event, ...]], ...]:
    """Join changes of the reading that begin within a day after heat to the heat that led to them.

    A normal sterilisation is routine and leads nothing: what begins after it stands for itself.
    """
    heat = [e for e in events if e.kind in HEAT_KINDS and e.kind != "sterilisation" and e.origin != "routine"]
    leader: dict[str, Event] = {}
    for event in events:
        if event.kind not in CONSEQUENCE_KINDS or event.origin == "routine":
            continue
        before = [
            h
            for h in heat
            if h.point == event.point and h.start <= event.start <= h.end + CONSEQUENCE_WITHIN_NS
        ]
        if before:
            leader[event.id] = before[-1]
    return tuple(
        (event, tuple(e for e in events if leader.get(e.id) is event))
        for event in events
        if event.id not in leader
    )


def causes(interval: Interval, plant: Plant, levels: Mapping[str, Levels]) -> tuple[Cause, ...]:
    """Candidates of an interval that may have changed the probe at all, in time order."""
    made = []
    for event, consequences in grouped(interval.events):
        variants = tuple(
            v for v in _variants(event, consequences, interval.shifts, plant, levels) if v.chance > 0
        )
        if variants:
            made.append(Cause(event=event, consequences=consequences, variants=variants))
    return tuple(made)


def _variants(
    event: Event,
    consequences: Sequence[Event],
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
) -> list[Variant]:
    chance = lasting_chance(event)
    wide = kicks(shifts) ** 2
    if event.kind in ("step", "drift", "fouling"):
        return _seen_in_reading(event, chance, wide, shifts, plant, levels)
    size = _heat_size(event) if event.kind in HEAT_KINDS else 1.0
    blind = Variant(
        chance=chance,
        mean=_loss(shifts) * 0.5 * size if event.kind in HEAT_KINDS else np.zeros(len(shifts)),
        covariance=np.diag(wide) * size**2,
        start=event.start,
        end=event.start,
    )
    seen = [
        variant
        for follower in consequences
        if follower.kind in ("step", "drift")
        for variant in _seen_in_reading(
            follower, max(chance, lasting_chance(follower)), wide * max(size, 1.0) ** 2, shifts, plant, levels
        )
    ]
    if not seen:
        return [blind]
    # The reading changed after the heat: that the heat did it is likelier than that it did nothing to be seen.
    certain = max(v.chance for v in seen)
    return [
        *seen[:1],
        Variant(
            chance=blind.chance * (1.0 - certain),
            mean=blind.mean,
            covariance=blind.covariance,
            start=blind.start,
            end=blind.end,
        ),
    ]


def _seen_in_reading(
    event: Event,
    chance: float,
    wide: FloatArray,
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
) -> list[Variant]:
    """A change of the reading of known size: any mixture of parameter moves that adds up to it."""
    wide = wide * _zero_first(shifts, _SLOPE_PART[event.kind]) ** 2
    slopes = sensitivity(shifts, *level_of(event, shifts[0], levels))
    spread = size_uncertainty(event, plant)
    start, end = event.start, event.start if event.kind == "step" else max(event.end, event.start + NS_PER_H)
    total = float(slopes @ (wide * slopes)) + spread**2
    if not math.isfinite(total) or total <= 0 or not math.isfinite(event.size):
        return [
            Variant(chance=chance, mean=np.zeros(len(shifts)), covariance=np.diag(wide), start=start, end=end)
        ]
    gain = wide * slopes / total
    covariance = np.diag(wide) - np.outer(gain, gain) * total
    whole = Variant(chance=chance, mean=gain * event.size, covariance=covariance, start=start, end=end)
    if event.kind != "fouling":
        return [whole]
    # A coating may be gone when the probe is cleaned for the calibration: then nothing is left to find.
    half = 0.5 * chance
    rest = np.diag(wide) * 0.01
    return [
        Variant(chance=half, mean=whole.mean, covariance=covariance, start=start, end=end),
        Variant(chance=half, mean=0.0 * whole.mean, covariance=rest, start=start, end=end),
    ]


def _zero_first(shifts: Sequence[Shift], part: float) -> FloatArray:
    """Factor on each parameter's kick where a zero can take the change instead of the gain."""
    zero_too = len(shifts) > 1 or models.form(shifts[0].measurand, {}).kind == "electrode"
    return np.array([part if zero_too and s.parameter in models.GAIN_NAMES else 1.0 for s in shifts])


def kicks(shifts: Sequence[Shift]) -> FloatArray:
    """Standard deviation of a damage, parameter by parameter."""
    rows = [(expected(s.measurand, s.parameter, s.unit), s) for s in shifts]
    return np.array([row.kick * row.scale(s.before) for row, s in rows])


def _loss(shifts: Sequence[Shift]) -> FloatArray:
    """Direction of heat damage: a gain falls, a zero may go either way."""
    size = kicks(shifts)
    falls = np.array(
        [
            s.parameter in ("slope", "gain", "span") or (s.parameter == "zero" and s.unit == "deg")
            for s in shifts
        ]
    )
    return np.where(falls, -size, 0.0)


def _heat_size(event: Event) -> float:
    """Size of heat damage against the table's kick: grows slowly with the dose above rating."""
    dose = event.details.get("dose_h", math.nan)
    if not math.isfinite(dose) or dose <= 0:
        return 1.0
    return min(max(math.sqrt(dose / _USUAL_DOSE_H), 0.3), 2.0)


def size_uncertainty(event: Event, plant: Plant) -> float:
    """Standard uncertainty of a change of the reading as a prediction of what a calibration will find."""
    share = _STEP_SHARE if event.kind == "step" else _DRIFT_SHARE
    known = math.isfinite(event.size_low) and math.isfinite(event.size_high)
    seen = abs(event.size_high - event.size_low) / _WHOLE if known else 0.0
    point = plant.point(event.point)
    least = 0.2 * point.tolerance_at(event.details.get("before", 0.0)) if point else 0.0
    return math.sqrt(seen**2 + (share * event.size) ** 2 + least**2)


def level_of(event: Event, shift: Shift, levels: Mapping[str, Levels]) -> tuple[float, float]:
    """Level and temperature where the process sat when an event began; usual ones where unknown."""
    _, temp = level_before(levels, event.point, event.start, since=shift.start)
    level = event.details.get("before", math.nan)
    if not math.isfinite(level):
        level, _ = level_before(levels, event.point, event.start, since=shift.start)
    return (level if math.isfinite(level) else usual_level(shift.measurand)), temp


def usual_level(measurand: str) -> float:
    """A level to reckon with when the record shows none: pH 7, else the middle of a low usual range."""
    if measurand == "ph":
        return 7.0
    low, high = MEASURANDS[measurand].usual
    return 0.3 * (low + high) if math.isfinite(low) and math.isfinite(high) else math.nan


def sensitivity(shifts: Sequence[Shift], level: float, temp: float) -> FloatArray:
    """Change of the reading for a unit change of each parameter (p,), at a level; 0 where it cannot be told."""
    shape = models.form(shifts[0].measurand, {s.parameter: s.unit for s in shifts})
    used = {s.parameter: s.before for s in shifts if s.parameter in shape.units}
    slopes = np.zeros(len(shifts))
    for i, shift in enumerate(shifts):
        if shift.parameter not in shape.units:
            continue
        step = 1e-3 * (
            expected(shift.measurand, shift.parameter, shift.unit).kick
            * (abs(shift.before) if expected(shift.measurand, shift.parameter, shift.unit).share else 1.0)
            or 1.0
        )
        moved = models.indicated(
            shape, level, used=used, real=used | {shift.parameter: shift.before + step}, temp_degc=temp
        )
        slopes[i] = (moved - level) / step
    return np.where(np.isfinite(slopes), slopes, 0.0)
