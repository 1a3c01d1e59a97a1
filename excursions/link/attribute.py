"""Each shift and its possible causes: events of that probe in between, ordinary ageing, something not recorded.

The probability of a link is the chance that this cause contributed most to the shift.  Where heat was followed within
a day by a change of the reading, the heat carries the link and the change is its evidence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.clock import NS_PER_DAY
from excursions.conclusions import Levels
from excursions.digits import DEGREE, number, of_a_move, written
from excursions.kinds import GRADUAL, KINDS, MOVES
from excursions.link.ageing import Ageing, learn
from excursions.link.beliefs import Beliefs, updated
from excursions.link.candidates import Cause, causes
from excursions.link.intervals import Interval, intervals
from excursions.link.lessons import fleet_heat, heat_per_hour
from excursions.link.posterior import (
    AGEING,
    UNRECORDED,
    Posterior,
    posterior,
    seen_in,
    unexplained,
    weigh_sets,
)
from excursions.link.renewed import came_back
from excursions.link.sizes import kicks
from excursions.link.undone import undone
from excursions.measurands import MEASURANDS
from excursions.plant import Plant
from excursions.records import MISJUDGED, SHOWED_IT, Event, FloatArray, Link, Shift

# A shift between calibrations with a likelier-than-this damage in between teaches nothing about ageing.
_DISTURBED = 0.3
_ROUNDS = 3  # of learning how often and how much events damage
_WORTH_A_ROW = 0.0005


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """An interval with its candidate causes and what the shifts say of them."""

    interval: Interval
    causes: tuple[Cause, ...]
    posterior: Posterior


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """All intervals weighed, and what was learned on the way: the work that links and doubt share."""

    weighed: tuple[Weighed, ...]
    ageing: Ageing
    beliefs: Beliefs


def attribute(
    shifts: Sequence[Shift],
    events: Sequence[Event],
    plant: Plant,
    levels: Mapping[str, Levels] | None = None,
    *,
    weighing: Weighing | None = None,
) -> tuple[Link, ...]:
    """Give each shift its candidate causes with probabilities that sum to one.

    Parameters
    ----------
    levels : mapping of point to Levels
        Where the process sat; without it events' own details and usual levels are used.
    weighing : Weighing or None
        What :func:`weigh` gave for the same shifts, events, plant and levels; None does it here.

    Returns
    -------
    tuple of Link
        In the order of the shifts, most probable first.  `predicted` is what the cause alone would have made of
        the parameter, with its standard uncertainty.
    """
    tz = clock.zone(plant.zone)
    by_shift: dict[str, list[Link]] = {}
    done = weighing or weigh(shifts, events, plant, levels or {})
    for weighed in done.weighed:
        for index, shift in enumerate(weighed.interval.shifts):
            by_shift[shift.id] = _links(weighed, index, shift, done, tz)
    return tuple(link for shift in shifts for link in by_shift[shift.id])


def weigh(
    shifts: Sequence[Shift], events: Sequence[Event], plant: Plant, levels: Mapping[str, Levels]
) -> Weighing:
    """Learn ageing and damage from all shifts, and weigh the causes of every interval."""
    spans = intervals(shifts, events)
    found = [causes(span, plant, levels) for span in spans]
    disturbed = {
        s.id
        for span, rows in zip(spans, found, strict=True)
        if _likely(rows) or span.coated or any(s.chosen or came_back(s) for s in span.shifts)
        for s in span.shifts
    }
    ageing = learn(shifts, disturbed=disturbed)
    heat = heat_per_hour(fleet_heat(shifts, events, plant))
    beliefs = Beliefs(heat=heat)
    found = [causes(span, plant, levels, beliefs) for span in spans]
    for _ in range(_ROUNDS):
        weights = [weigh_sets(span, rows, ageing, beliefs) for span, rows in zip(spans, found, strict=True)]
        told = [seen_in(span, rows, w) for span, rows, w in zip(spans, found, weights, strict=True)]
        beliefs = updated(told, beliefs)
        found = [causes(span, plant, levels, beliefs) for span in spans]
    weights = [weigh_sets(span, rows, ageing, beliefs) for span, rows in zip(spans, found, strict=True)]
    alone = [
        unexplained(weight, _since_the_start(span, rows))
        for span, rows, weight in zip(spans, found, weights, strict=True)
    ]
    both = [
        weigh_sets(span, rows, ageing, beliefs, undone=ways) if ways else weight
        for span, rows, weight, ways in zip(spans, found, weights, undone(spans, alone, ageing), strict=True)
    ]
    weighed = tuple(
        Weighed(interval=span, causes=rows, posterior=posterior(rows, span, weight))
        for span, rows, weight in zip(spans, found, both, strict=True)
    )
    return Weighing(weighed=weighed, ageing=ageing, beliefs=beliefs)


_WITH_IT_NS = NS_PER_DAY  # an error that samples show from within a day of a calibration on came with it (cp)


def _since_the_start(span: Interval, rows: Sequence[Cause]) -> list[int]:
    """Causes that are no other explanation than a calibration that was off at the start: an error that samples show since then."""
    return [
        i
        for i, cause in enumerate(rows)
        if cause.event.kind in GRADUAL
        and 0 <= cause.event.start - span.start <= _WITH_IT_NS
        and any(witness.said == SHOWED_IT for witness in cause.event.witnesses)
    ]


def _likely(rows: Sequence[Cause]) -> bool:
    return any(cause.chance > _DISTURBED for cause in rows)


def principal(seen: Posterior, parameter: int) -> FloatArray:
    """Chance that each column of a posterior contributed most to a parameter (k,)."""
    size = np.abs(seen.contribution[:, :, parameter])
    return np.asarray(
        np.bincount(np.argmax(size, axis=1), minlength=size.shape[1]) / size.shape[0], dtype=np.float64
    )


def _links(weighed: Weighed, index: int, shift: Shift, done: Weighing, tz: ZoneInfo) -> list[Link]:
    chances = principal(weighed.posterior, index)
    rows = []
    for column, chance in zip(weighed.posterior.cause, chances, strict=True):
        mean, variance = _predicted(weighed, int(column), index, shift, done)
        rows.append((float(chance), int(column), mean, math.sqrt(variance)))
    kept = [
        row for row in rows if row[0] >= _WORTH_A_ROW or row[1] < 0 or weighed.causes[row[1]].chance >= 0.1
    ]
    total = sum(row[0] for row in kept)
    kept.sort(key=lambda row: (-row[0], row[1] < 0, row[1]))
    return [
        Link(
            shift=shift.id,
            cause=_cause(column, weighed.posterior),
            event=weighed.causes[column].event.id if column >= 0 else "",
            probability=chance / total,
            rank=rank,
            predicted=mean,
            predicted_uncertainty=spread,
            reasons=_reasons(weighed, column, shift, mean, spread, done.ageing, tz),
        )
        for rank, (chance, column, mean, spread) in enumerate(kept, start=1)
    ]


def _cause(column: int, seen: Posterior) -> str:
    """What a column of a posterior stands for."""
    if column == UNRECORDED:
        return MISJUDGED if seen.misjudged else "unrecorded"
    return "ageing" if column == AGEING else "event"


def _predicted(
    weighed: Weighed, column: int, index: int, shift: Shift, done: Weighing
) -> tuple[float, float]:
    """Mean and variance of what a cause alone predicts for a parameter."""
    if column == AGEING:
        return done.ageing.of(shift).over(shift)
    if column == UNRECORDED:
        return 0.0, float(kicks((shift,), done.beliefs)[0] ** 2)
    cause = weighed.causes[column]
    share = [v.chance / cause.chance for v in cause.variants]
    means = [float(v.mean[index]) for v in cause.variants]
    mean = sum(w * m for w, m in zip(share, means, strict=True))
    variance = sum(
        w * (float(v.covariance[index, index]) + (m - mean) ** 2)
        for w, m, v in zip(share, means, cause.variants, strict=True)
    )
    return mean, variance


_SIGNLESS = 0.3  # a predicted change this small beside its spread has no sign worth telling
_DOUBTED = {
    "process": "by the record alone the process did it; weighed in case it was the probe",
    "undecided": "by the record alone it cannot be told whether the probe or the process did it",
    "record": "by the record alone the export made it",
    "routine": "by the record alone it is routine",
}


def _reasons(
    weighed: Weighed, column: int, shift: Shift, mean: float, spread: float, ageing: Ageing, tz: ZoneInfo
) -> tuple[str, ...]:
    """Plain facts for and against one link."""
    if column == UNRECORDED:
        if weighed.posterior.misjudged:
            return (_misjudged(weighed, tz),)
        if shift.coated:
            took = _known(shift.taken_off, shift.uncertainty, shift)
            return (
                f"a coating: the cleaning at the calibration took {took} off again, and no event marks when it began",
            )
        back = "the slope is back at a new probe's: another probe under this number, or a renewal, that nobody entered"
        return (
            *((back,) if any(came_back(s) for s in weighed.interval.shifts) else ()),
            *_steamed(weighed.interval),
            "what changed a probe need not show in the record (a knock, work without an entry)",
        )
    if column == AGEING:
        rate = ageing.of(shift)
        basis = f"learned from {rate.shifts} shifts" if rate.shifts else "assumed, common practice"
        lasted = clock.duration_text((shift.end - shift.start) / 1e9)
        return (f"ordinary ageing and scatter over {lasted} {_would(mean, spread, shift)} ({basis})",)
    cause = weighed.causes[column]
    told = _told(cause.event, shift, tz)
    after = [f"{_told(e, shift, tz)} followed within a day" for e in cause.consequences]
    found = f"{parameter_words(shift)} found {_known(shift.change, shift.uncertainty, shift)} on {day(shift.end, tz)}"
    origin = (
        []
        if cause.event.origin == "probe"
        else [_DOUBTED.get(cause.event.origin, f"by the record alone the {cause.event.origin} did it")]
    )
    return (
        f"{told}, {found}",
        *_turned(cause.consequences, shift),
        *after,
        f"it {_would(mean, spread, shift)}",
        *origin,
    )


_ALIKE = 2.0  # times another: as large, as far as a step and a calibration tell (cp)


def _turned(seen: Sequence[Event], shift: Shift) -> tuple[str, ...]:
    """That what followed heat went against what the calibration found; of one size, the log may count its signs the other way."""
    error = shift.reading_error
    if not shift.significant or not math.isfinite(error):
        return ()
    against = [
        e
        for e in seen
        if e.kind in MOVES and e.may_be_probe and e.size_low * e.size_high > 0 and e.size * error < 0
    ]
    if not against:
        return ()
    moved = max(against, key=lambda e: abs(e.size))
    alike = 1 / _ALIKE <= abs(moved.size / error) <= _ALIKE
    hint = "; they are about as large: see whether the log counts it with the other sign" if alike else ""
    unit = MEASURANDS[shift.measurand].unit
    went = number(moved.size, (moved.size_high - moved.size_low) / 2, signed=True)
    off = number(error, shift.reading_error_uncertainty, signed=True)
    return (
        f"but the reading went by {went} {unit} where what was found makes it {off} {unit} off, the other way{hint}",
    )


def _misjudged(weighed: Weighed, tz: ZoneInfo) -> str:
    """Which calibration was itself off, and what that says of the readings."""
    span, seen = weighed.interval, weighed.posterior
    if seen.began_off >= seen.ended_off:
        return (
            f"takes back what the calibration of {day(span.start, tz)} found and set: that one was off itself (a wrong or spoilt "
            "standard, a slip), and the readings from it on were wrong"
        )
    return (
        f"the next calibration took it back: that of {day(span.end, tz)} was off itself (a wrong or spoilt standard, a slip) rather "
        "than the probe before it; dirt that it was set over, and that was gone by the next, would look the same"
    )


_OFTEN = 3  # sterilisations between two calibrations from which on their sum is worth a word (cp)


def _steamed(interval: Interval) -> tuple[str, ...]:
    """That steam lies in between: each sterilisation is routine by itself, but all of them age a probe."""
    count = sum(event.kind == "sterilisation" for event in interval.events)
    if count < _OFTEN:
        return ()
    return (
        f"{count} normal sterilisations lie in between, each counted as routine: what all of them did together is not known",
    )


_SECONDS = {"h": 3_600.0, "min": 60.0, "s": 1.0}


def _amount(event: Event) -> str:
    """The size of what is no move; a length of time is told as everywhere else."""
    if event.size_unit in _SECONDS:
        return clock.duration_text(event.size * _SECONDS[event.size_unit])
    if event.size_unit == "degC":
        return f"{number(event.size, DEGREE)} °C"
    return (
        f"{written(event.size, 4)} {event.size_unit}"
        if event.size_unit
        else f"{written(event.size, 2)} times the usual"
    )


def _told(event: Event, shift: Shift, tz: ZoneInfo) -> str:
    """``step of -0.42 pH on 30 May``."""
    label = KINDS[event.kind].label if event.kind in KINDS else event.kind
    if event.kind in MOVES:
        half = of_a_move(event.size, (event.size_high - event.size_low) / 2)
        size = (
            f"{number(event.size, half, signed=True)} {event.size_unit or MEASURANDS[shift.measurand].unit}"
        )
        return f"{label} of {size.rstrip()} on {day(event.start, tz)}"
    size = f" ({_amount(event)})" if math.isfinite(event.size) else ""
    return f"{label}{size} on {day(event.start, tz)}"


def parameter_words(shift: Shift) -> str:
    """Name of a parameter as people say it."""
    return shift.parameter.replace("_", " ")


def day(instant: int, tz: ZoneInfo) -> str:
    """``30 May``, in the plant's zone."""
    moment = clock.to_datetime(instant, tz)
    return f"{moment.day} {moment:%b}"


def _would(mean: float, spread: float, shift: Shift) -> str:
    """What a cause does to a parameter: the change it gives, or how far it may move it where the sign is open."""
    if abs(mean) < _SIGNLESS * spread:
        size = f"{number(spread, spread)} {shift.unit}".rstrip()
        return f"may move the {parameter_words(shift)} by some {size} either way"
    return f"would give {_known(mean, spread, shift)}"


def _known(value: float, uncertainty: float, shift: Shift) -> str:
    """A change with its uncertainty and unit."""
    unit = "" if shift.unit == "ratio" else shift.unit
    return (
        f"{number(value, uncertainty, signed=True)} {unit}".rstrip()
        + f" ± {number(uncertainty, uncertainty)}"
    )
