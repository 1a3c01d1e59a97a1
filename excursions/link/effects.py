"""What an event predicts for the parameters, as normal distributions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.swaps import comes_back_fresh
from excursions.clock import NS_PER_HOUR, NS_PER_S
from excursions.conclusions import Levels
from excursions.kinds import DEAD, GRADUAL, HEAT_KINDS
from excursions.link.ageing import key_of
from excursions.link.beliefs import HEAT, OTHER, Beliefs, Family
from excursions.link.priors import lasting_chance
from excursions.link.sizes import kicks, level_of, sensitivity, size_uncertainty
from excursions.measurands import MEASURANDS
from excursions.plant import Plant
from excursions.records import Event, FloatArray, Shift

# Probes differ in what heat does to them, beside the plant's mean (share of it), and some of the table's width stays (cp).
_HEAT_SCATTER, _HEAT_REST = 0.6, 0.2
# What the reading showed of a slow change may be part of it: it went on unseen below the process, or a cleaning in between hid
# some of it.  (weight, as much more or less again as a share of what was seen) (cp).
_PARTLY_SEEN = ((0.8, 0.0), (0.2, 1.0))
_UNEVEN = 0.3  # a gradual event need not grow evenly: of the part that falls outside (cp)
_USUAL_DOSE_H = 20.0  # dose at which heat damage is as wide as the table's kick (cp)
_MOST_CHANCE = 0.98
_HALF_MEAN, _HALF_SPREAD = math.sqrt(2.0 / math.pi), math.sqrt(1.0 - 2.0 / math.pi)  # of half a normal law
_LAW_HOLDS = 0.5
_LEAST_ACTING = 0.3  # heat that acts more seldom teaches too little to divide by (cp)

# A jump of an electrode's reading is nearly always its zero's, a slow change may be the slope's too: (weight, share of
# the slope's kick) (cp).  A linear probe's may be either, and one of them.
_ELECTRODE_WAYS = {
    "step": ((0.9, 0.0), (0.1, 0.6)),
    "drift": ((0.75, 0.0), (0.25, 0.6)),
    "fouling": ((0.75, 0.0), (0.25, 0.6)),
}
SHOWN_BY = ("step", "drift")  # changes of the reading by which damage by heat shows at once
_SHOWN = 0.6  # share of it that does (cp)
# Damage that the reading did not show is mostly small, now and then large and seldom huge: (weight, size against the
# kick) (cp).
_BLIND_WAYS = ((0.65, 0.6), (0.3, 2.0), (0.05, 6.0))
# Damage by who knows what: to all parameters together; else to one of them, each as often (cp).
_ALL_AT_ONCE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One way a cause may have acted: chance of it, and the effect on the parameters (mean (p,), covariance (p, p)).

    When it acts over time: at `start`, growing until `end` (the same instant for a sudden change), both known to `blur` [ns]
    where it grows.
    source : what the size is believed after (see :mod:`excursions.link.beliefs`); empty where the reading told it
    """

    chance: float
    mean: FloatArray
    covariance: FloatArray
    start: int
    end: int
    source: str = ""
    blur: float = 0.0


def variants(
    event: Event,
    consequences: Sequence[Event],
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
    beliefs: Beliefs,
) -> tuple[Variant, ...]:
    """The ways an event may have changed the probe; none when it is of a kind that does not."""
    chance = believed_chance(event, beliefs, consequences)
    if chance <= 0:
        return ()
    source = HEAT if event.kind in HEAT_KINDS else OTHER
    kick = kicks(shifts, beliefs, source)
    if event.kind in _ELECTRODE_WAYS:
        return tuple(_seen(event, chance, kick, shifts, plant, levels))
    size = _heat_size(event) if event.kind in HEAT_KINDS else 1.0
    mean = (
        -0.5 * size * np.where(_falls(shifts), kick, 0.0) if event.kind in HEAT_KINDS else np.zeros(kick.size)
    )
    kick = size * kick
    seen = [
        variant
        for follower in [e for e in consequences if e.kind in SHOWN_BY][:1]
        for variant in _seen_heat(
            follower,
            chance,
            mean,
            kick,
            shifts,
            plant,
            levels,
        )
    ]
    if event.kind in DEAD:
        half = 0.5 * chance
        # What has no slope to lose is not found dead by a calibration: an offset that is anywhere tells no dead probe.
        lost = (
            (_dead(event, half, kick, shifts),)
            if any(s.parameter in models.GAIN_NAMES for s in shifts)
            else ()
        )
        return (*lost, *blind(half, mean, kick, (event.start, event.start), source))
    left = chance * (1.0 - sum(v.chance for v in seen))
    # The regression averages over all heat, whether a change followed or not.
    acting = min(lasting_chance(event) * chance / table_chance(event, consequences), _MOST_CHANCE)
    by_dose = _by_dose(event, left, acting, shifts, beliefs, mean, kick)
    left -= sum(v.chance for v in by_dose)
    return (*seen, *by_dose, *blind(left, mean, kick, (event.start, event.start), source))


def _dead(event: Event, chance: float, kick: FloatArray, shifts: Sequence[Shift]) -> Variant:
    """Broken glass, an open circuit: no slope is left, and the zero may be anywhere."""
    size = np.array([abs(s.before) for s in shifts])
    gains = np.array([s.parameter in models.GAIN_NAMES for s in shifts])
    return Variant(
        chance=chance,
        mean=np.where(gains, -0.9 * size, 0.0),
        covariance=np.diag(np.where(gains, 0.15 * size, 3.0 * kick) ** 2),
        start=event.start,
        end=event.start,
    )


def family_of(event: Event, consequences: Sequence[Event]) -> Family:
    """Events that are alike in how often they leave damage."""
    return event.kind, event.origin, any(e.kind in SHOWN_BY for e in consequences)


def table_chance(event: Event, consequences: Sequence[Event]) -> float:
    """Chance by the table that an event left lasting change, given whether a change of the reading followed.

    Damage by heat shows in the reading at once in `_SHOWN` of the cases.  Heat that nothing followed did damage with
    the chance p (1 - shown) / (1 - p shown).
    """
    chance = lasting_chance(event)
    if event.kind not in HEAT_KINDS:
        return chance
    if any(e.kind in SHOWN_BY for e in consequences):
        return max(chance, *(lasting_chance(e) for e in consequences if e.kind in SHOWN_BY))
    return chance * (1.0 - _SHOWN) / (1.0 - chance * _SHOWN)


def believed_chance(event: Event, beliefs: Beliefs, consequences: Sequence[Event] = ()) -> float:
    """Chance that an event left lasting change, by table and by what the plant's record taught."""
    factor = beliefs.chance.get(family_of(event, consequences), 1.0)
    return min(table_chance(event, consequences) * factor, _MOST_CHANCE)


def blind(
    chance: float, mean: FloatArray, kick: FloatArray, when: tuple[int, int], source: str
) -> tuple[Variant, ...]:
    """Damage of unknown size between two instants: mostly small, now and then large."""
    return tuple(
        Variant(
            chance=chance * share * weight,
            mean=size * part * mean,
            covariance=np.diag((size * part * kick) ** 2),
            start=when[0],
            end=when[1],
            source=source,
        )
        for share, part in _struck(kick.size, source)
        for weight, size in _BLIND_WAYS
    )


def _struck(parameters: int, source: str) -> list[tuple[float, FloatArray]]:
    """(weight, which parameters (p,)): heat ages the whole probe; anything else may spoil one parameter and spare the rest."""
    together = [(1.0, np.ones(parameters))]
    if source == HEAT or parameters == 1:
        return together
    alone = (1.0 - _ALL_AT_ONCE) / parameters
    return [(_ALL_AT_ONCE, np.ones(parameters)), *((alone, row) for row in np.eye(parameters))]


def _seen(
    event: Event,
    chance: float,
    kick: FloatArray,
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
) -> list[Variant]:
    """A change of the reading of known size: parameter moves that add up to it."""
    made = [
        _conditioned(
            event, chance * weight * often, *_one_sided(part * kick, shifts), shifts, plant, levels, more
        )
        for weight, part in _ways(event.kind, shifts)
        for often, more in (_PARTLY_SEEN if event.kind in GRADUAL else ((1.0, 0.0),))
    ]
    if event.kind != "fouling":
        return made
    # A coating may be gone when the probe is cleaned for the calibration: then nothing is left to find.
    gone = Variant(
        chance=0.5 * chance,
        mean=np.zeros(kick.size),
        covariance=np.diag((0.02 * kick) ** 2),
        start=event.start,
        end=event.end,
        blur=_blur(event),
    )
    return [*(_halved(variant) for variant in made), gone]


def _one_sided(kick: FloatArray, shifts: Sequence[Shift]) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of a damage of this size: half of a normal law where damage only lowers a parameter."""
    only = np.array([comes_back_fresh(s.measurand, s.parameter, s.unit) is not None for s in shifts])
    electrode = models.form(shifts[0].measurand, {}).kind == "electrode"
    half = only & electrode
    return np.where(half, -_HALF_MEAN * kick, 0.0), np.where(half, _HALF_SPREAD * kick, kick)


def _seen_heat(
    event: Event,
    chance: float,
    mean: FloatArray,
    kick: FloatArray,
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
) -> list[Variant]:
    """Heat that the reading showed: any mixture of slope loss and zero move that adds up to what was seen."""
    return [
        _conditioned(event, chance * weight, size * mean, size * kick, shifts, plant, levels)
        for weight, size in _BLIND_WAYS
    ]


def _halved(variant: Variant) -> Variant:
    return replace(variant, chance=0.5 * variant.chance)


def _blur(event: Event) -> float:
    """How well the ends of what grows are known [ns]: the reading was off before anybody could see that it walks."""
    return event.onset_uncertainty_s * NS_PER_S if event.kind in GRADUAL else 0.0


def _ways(kind: str, shifts: Sequence[Shift]) -> list[tuple[float, FloatArray]]:
    """(weight, factor on each parameter's kick): which parameters take a change of the reading."""
    gains = np.array([s.parameter in models.GAIN_NAMES for s in shifts])
    if models.form(shifts[0].measurand, {}).kind == "electrode":
        return [(weight, np.where(gains, part, 1.0)) for weight, part in _ELECTRODE_WAYS[kind]]
    if gains.any() and not gains.all():
        share = MEASURANDS[shifts[0].measurand].gain_share
        return [(share, np.where(gains, 1.0, 0.0)), (1.0 - share, np.where(gains, 0.0, 1.0))]
    return [(1.0, np.ones(len(shifts)))]


def _conditioned(
    event: Event,
    chance: float,
    mean: FloatArray,
    kick: FloatArray,
    shifts: Sequence[Shift],
    plant: Plant,
    levels: Mapping[str, Levels],
    more: float = 0.0,
) -> Variant:
    """Normal effect conditioned on the size seen in the reading, to which as much as a share `more` of it may be added."""
    slopes = sensitivity(shifts, *level_of(event, shifts[0], levels))
    start, end, share = _part(event, shifts[0])
    spread = math.hypot(size_uncertainty(event, plant), _UNEVEN * (1.0 - share) * event.size)
    covariance = np.diag(kick**2)
    usual = math.sqrt(float(slopes @ covariance @ slopes))
    if usual > 0 and math.isfinite(event.size):
        # What was seen is no smaller for being unusual: the table's kick bounds only what nobody saw.
        covariance = covariance * max(1.0, abs(share * event.size) / usual) ** 2
    total = float(slopes @ covariance @ slopes) + spread**2
    if math.isfinite(event.size) and math.isfinite(total) and total > 0:
        gain = covariance @ slopes / total
        mean = mean + gain * (share * event.size - float(slopes @ mean))
        covariance = covariance + np.outer(gain, gain) * ((more * share * event.size) ** 2 - total)
    return Variant(chance=chance, mean=mean, covariance=covariance, start=start, end=end, blur=_blur(event))


def _part(event: Event, shift: Shift) -> tuple[int, int, float]:
    """Start and end of an event's action between two calibrations, and the share of it that falls there."""
    if event.kind == "step":
        return event.start, event.start, 1.0
    end = max(event.end, event.start + NS_PER_HOUR)
    begin, finish = max(event.start, shift.start), min(end, shift.end)
    return begin, max(finish, begin), (finish - begin) / (end - event.start)


def _falls(shifts: Sequence[Shift]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Parameters that heat lowers; others may go either way."""
    return np.array(
        [s.parameter in models.GAIN_NAMES or (s.parameter == "zero" and s.unit == "deg") for s in shifts]
    )


def _by_dose(
    event: Event,
    left: float,
    chance: float,
    shifts: Sequence[Shift],
    beliefs: Beliefs,
    mean: FloatArray,
    kick: FloatArray,
) -> tuple[Variant, ...]:
    """Heat damage as the plant's record taught it for an hour of dose; none where it taught nothing.

    The regression averages over heat that did damage and heat that did none; the damage of heat that acted is that
    mean over the chance of acting.  That damage grows with the dose at all is a law that may not hold in this plant, so
    it has half of the weight and the table's guess keeps the other half: little is lost where it fails.
    """
    dose = event.details.get("dose_h", math.nan)
    learned = [i for i, s in enumerate(shifts) if key_of(s) in beliefs.heat]
    if event.kind != "over_temperature" or not learned or not dose > 0:
        return ()
    mean, kick = mean.copy(), kick.copy()
    hours = dose / max(chance, _LEAST_ACTING)
    for i in learned:
        per_hour, error = beliefs.heat[key_of(shifts[i])]
        mean[i] = per_hour * hours
        kick[i] = math.sqrt(
            (_HEAT_SCATTER * mean[i]) ** 2 + (error * hours) ** 2 + (_HEAT_REST * kick[i]) ** 2
        )
    return (
        Variant(
            chance=_LAW_HOLDS * left,
            mean=mean,
            covariance=np.diag(kick**2),
            start=event.start,
            end=event.start,
        ),
    )


def _heat_size(event: Event) -> float:
    """Size of heat damage against the table's kick: grows slowly with the dose above rating."""
    dose = event.details.get("dose_h", math.nan)
    if not math.isfinite(dose) or dose <= 0:
        return 1.0
    return min(max(math.sqrt(dose / _USUAL_DOSE_H), 0.3), 2.0)
