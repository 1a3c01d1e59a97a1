"""Heat on the probe: over-temperature and the family of sterilisations.

Sees every state.  A stretch of heat is one steam cycle, or one stay above the continuous rating outside
steam; a steam cycle is held against the sterilisation rating and its minutes, everything else against the
continuous rating.  A rating that nobody stated is called assumed, and gives way to what the line
habitually does: a habit is no excursion until somebody states that it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_MINUTE
from excursions.detect.cycles import Family, family_of, oddities
from excursions.detect.exposure import Exposure, Stretch, measure
from excursions.records import CLEANING, STEAMING, Event, IndexArray, Record
from excursions.states.element import not_heat
from excursions.states.heat import usual_temperature
from excursions.states.trace import Trace, crossing, join, spells, trace_of


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTemperatureSettings:
    """How heat is judged."""

    join_s: float = 900.0  # chatter around the rating within a quarter of an hour is one stay (cp)
    clear_k: float = 1.0  # a stay ends this far below the rating, so that noise does not split it
    element_k: float = (
        1.0  # platinum element of class B at 130 degC, two wire rounding included (IEC 60751: 0.95 K)
    )
    harmless_k: float = 2.0  # above a stated rating by less than this is worth a note (cp)
    serious_k: float = 10.0  # and by more than this calls for action (cp)
    far_k: float = 20.0  # so far beyond even an assumed rating is beyond any rating of the class (cp)
    serious_dose_h: float = 24.0  # a day at the rating in one stay (cp)
    habit_k: float = 3.0  # an assumed rating gives way to the habit and this much
    chronic_share: float = (
        0.2  # above its rating for more than this share of the time: one event for the record
    )
    chronic_count: int = 100
    longer_minutes: float = 1.2  # a sterilisation this many times longer than rated is too long


def detect_over_temperature(
    record: Record, settings: OverTemperatureSettings | None = None
) -> tuple[Event, ...]:
    """Find every exposure above its rating, and every sterilisation.

    Parameters
    ----------
    record : Record
    settings : OverTemperatureSettings, optional

    Returns
    -------
    tuple of Event
        Kinds ``over_temperature`` and ``sterilisation``; size is the highest sample, size_high what may
        have been between samples.
    """
    settings = settings or OverTemperatureSettings()
    trace = trace_of(record.temperature)
    if trace is None:
        return ()
    usual = usual_temperature(trace)
    cycles = [measure(record, trace, s) for s in _steam_cycles(record, trace)]
    stays = [
        measure(record, trace, s)
        for s in _stays(record, trace, settings, cycles)
        if not not_heat(trace, s.first, s.past, usual.middle)
    ]
    events = _cycle_events(record, cycles, settings)
    events += _stay_events(record, stays, settings, usual.high, float(trace.time[-1] - trace.time[0]))
    return tuple(sorted(events, key=lambda e: (e.start, e.kind, e.end)))


# --- where ---------------------------------------------------------------------------------------


def _steam_cycles(record: Record, trace: Trace) -> list[Stretch]:
    """One stretch a steaming span."""
    states = record.states
    found = []
    for i in np.flatnonzero(states.code == STEAMING):
        start, end = int(states.start[i]), int(states.end[i])
        inside = trace.slice(start, end)
        if inside.stop > inside.start:
            found.append(
                Stretch(
                    first=inside.start,
                    past=inside.stop,
                    start=start,
                    end=end,
                    steaming=True,
                    confidence=float(states.confidence[i]),
                )
            )
    return found


def _stays(
    record: Record, trace: Trace, settings: OverTemperatureSettings, cycles: Sequence[Exposure]
) -> list[Stretch]:
    """Stays above the continuous rating that are no part of a steam cycle or its cooling."""
    limit = _lowest_rating(record)
    ranges = spells(trace, on=np.nextafter(limit, math.inf), off=limit - settings.clear_k)
    ranges = join(ranges, trace.time, settings.join_s)
    ranges = _apart_from(ranges, cycles)
    return [_stay(record, trace, int(first), int(past), limit) for first, past in ranges]


def _lowest_rating(record: Record) -> float:
    """Lowest continuous rating of any probe that sat here."""
    plant, point = record.plant, record.point
    starts = [row.start or 0 for row in plant.installations if row.point == point.name]
    return min(plant.ratings(point, when).continuous_degc for when in [int(record.states.start[0]), *starts])


def _apart_from(ranges: IndexArray, cycles: Sequence[Exposure]) -> IndexArray:
    """Ranges that touch no steam cycle."""
    if not cycles or not ranges.size:
        return ranges
    begins = np.array([c.first for c in cycles])
    ends = np.array([c.past for c in cycles])
    touched = np.searchsorted(begins, ranges[:, 1], side="left") > np.searchsorted(
        ends, ranges[:, 0], side="right"
    )
    return ranges[~touched]


def _stay(record: Record, trace: Trace, first: int, past: int, limit: float) -> Stretch:
    """A stay with its interpolated crossings of the rating."""
    above = first + np.flatnonzero(trace.value[first:past] > limit)
    start = crossing(trace, int(above[0]) - 1, int(above[0]), limit)
    end = crossing(trace, int(above[-1]), int(above[-1]) + 1, limit)
    middle = np.array([(start + end) // 2], dtype=np.int64)
    return Stretch(
        first=int(above[0]),
        past=int(above[-1]) + 1,
        start=start,
        end=max(end, start + 1),
        cleaning=bool(record.states.at(middle)[0] == CLEANING),
    )


# --- steam cycles --------------------------------------------------------------------------------


def _cycle_events(
    record: Record, cycles: Sequence[Exposure], settings: OverTemperatureSettings
) -> list[Event]:
    family = family_of(cycles)
    events = []
    for cycle, odd in zip(cycles, oddities(cycles), strict=True):
        limit = _steam_limit(cycle, family, settings)
        allowed = cycle.ratings.sterilisation_min * settings.longer_minutes
        habit = math.isfinite(family.minutes) and cycle.ratings.assumed
        too_long = cycle.minutes_steam > (max(allowed, 1.5 * family.minutes) if habit else allowed)
        if cycle.peak_degc > limit or too_long:
            events.append(_over(record, cycle, settings, limit, (*_length(cycle, too_long), *odd)))
        else:
            events.append(_sterilisation(record, cycle, family, odd))
    return events


def _steam_limit(cycle: Exposure, family: Family, settings: OverTemperatureSettings) -> float:
    """The sterilisation rating; an assumed one gives way to what the family does."""
    stated = cycle.ratings.sterilisation_degc
    if cycle.ratings.assumed and math.isfinite(family.peak_degc):
        return max(stated, family.peak_degc + settings.habit_k)
    return stated


def _length(cycle: Exposure, too_long: bool) -> tuple[str, ...]:
    if not too_long:
        return ()
    return (f"{cycle.minutes_steam:.0f} min of steam, rated for {cycle.ratings.sterilisation_min:.0f} min",)


def _sterilisation(record: Record, cycle: Exposure, family: Family, odd: tuple[str, ...]) -> Event:
    facts = [f"{cycle.minutes_steam:.0f} min above 110 degC, F0 {cycle.f0_min:.0f} min"]
    if math.isfinite(family.peak_degc):
        facts.append(f"one of {family.count} cycles, usually {family.peak_degc:.1f} degC")
        if cycle.ratings.assumed and cycle.peak_degc > cycle.ratings.sterilisation_degc:
            facts.append(
                f"above the assumed rating of {cycle.ratings.sterilisation_degc:.0f} degC as all of them are:"
                " state the rating in the register"
            )
    return _event(
        record,
        cycle,
        kind="sterilisation",
        origin="routine",
        severity="check" if odd else "note",
        confidence=cycle.confidence,
        evidence=(*odd, *facts),
    )


# --- stays outside steam -------------------------------------------------------------------------


def _stay_events(
    record: Record,
    stays: Sequence[Exposure],
    settings: OverTemperatureSettings,
    usual_high: float,
    covered: float,
) -> list[Event]:
    beyond = [(stay, _stay_limit(stay, stays, settings, usual_high)) for stay in stays]
    beyond = [(stay, limit) for stay, limit in beyond if stay.peak_degc > limit]
    share = sum(stay.minutes_continuous for stay, _ in beyond) * NS_PER_MINUTE / max(covered, 1.0)
    if len(beyond) > settings.chronic_count or (len(beyond) > 1 and share > settings.chronic_share):
        return [_chronic(record, [stay for stay, _ in beyond], settings, share)]
    return [_over(record, stay, settings, limit, ()) for stay, limit in beyond]


def _stay_limit(
    stay: Exposure, stays: Sequence[Exposure], settings: OverTemperatureSettings, usual_high: float
) -> float:
    """The continuous rating; an assumed one gives way to how the process lives and how it is usually cleaned."""
    limit = stay.ratings.continuous_degc
    if not stay.ratings.assumed:
        return limit
    habit = [usual_high]
    if stay.cleaning:
        habit.append(stay.ratings.sterilisation_degc if stay.ratings.sterilisation_degc > limit else limit)
        habit.append(float(np.median([s.peak_degc for s in stays if s.cleaning])))
    return max(limit, max(habit) + settings.habit_k if max(habit) > limit else limit)


def _chronic(
    record: Record, stays: Sequence[Exposure], settings: OverTemperatureSettings, share: float
) -> Event:
    """One event for a point that is above its rating again and again."""
    hottest = max(stays, key=lambda s: s.peak_degc)
    total = {
        name: float(sum(s.details[name] for s in stays))
        for name in (
            "minutes_above_rating_min",
            "minutes_above_continuous_min",
            "minutes_above_sterilisation_min",
        )
    }
    total |= {name: float(sum(s.details[name] for s in stays)) for name in ("f0_min", "dose_h")}
    assumed = " (assumed)" if hottest.ratings.assumed else ""
    event = _event(
        record,
        hottest,
        kind="over_temperature",
        origin="process",
        severity=_severity(hottest, settings, hottest.ratings.continuous_degc),
        confidence=_confidence(hottest, settings, hottest.ratings.continuous_degc),
        evidence=(
            f"above the continuous rating of {hottest.ratings.continuous_degc:.0f} degC{assumed}"
            f" {len(stays)} times, {100 * share:.0f} % of the time",
            f"highest {hottest.peak_degc:.1f} degC",
        ),
    )
    return _spread(event, stays, total)


def _spread(event: Event, stays: Sequence[Exposure], total: dict[str, float]) -> Event:
    from dataclasses import replace

    return replace(
        event,
        start=stays[0].start,
        end=stays[-1].end,
        open_start=stays[0].open_start,
        open_end=stays[-1].open_end,
        details={**event.details, **total, "stretches": float(len(stays))},
    )


# --- judging and wording -------------------------------------------------------------------------


def _over(
    record: Record, seen: Exposure, settings: OverTemperatureSettings, limit: float, more: tuple[str, ...]
) -> Event:
    routine = seen.cleaning and seen.peak_degc <= seen.ratings.sterilisation_degc and not seen.ratings.assumed
    return _event(
        record,
        seen,
        kind="over_temperature",
        origin="routine" if routine else "probe",
        severity=_severity(seen, settings, limit),
        confidence=_confidence(seen, settings, limit) if seen.peak_degc > limit else 0.8,
        evidence=(*_facts(seen, limit), *more),
    )


def _severity(seen: Exposure, settings: OverTemperatureSettings, limit: float) -> str:
    """What it may do to the probe: how far beyond, how long, and whether the probe is made for steam."""
    beyond = seen.peak_degc - limit
    hottest_allowed = seen.ratings.sterilisation_degc
    if seen.ratings.assumed:
        return "act" if seen.peak_degc > hottest_allowed + settings.far_k else "check"
    if seen.steaming:
        return _grade(beyond, settings) if beyond > 0 else "check"
    if hottest_allowed > seen.ratings.continuous_degc and seen.peak_degc <= hottest_allowed:
        brief = seen.minutes_continuous <= seen.ratings.sterilisation_min
        return "note" if brief or beyond <= settings.harmless_k else "check"
    grade = _grade(beyond, settings)
    return "act" if seen.dose_h > settings.serious_dose_h and grade == "check" else grade


def _grade(beyond: float, settings: OverTemperatureSettings) -> str:
    if beyond <= settings.harmless_k:
        return "note"
    return "act" if beyond > settings.serious_k else "check"


def _confidence(seen: Exposure, settings: OverTemperatureSettings, limit: float) -> float:
    """Chance that the medium really was above the limit: element tolerance, samples seen, who set the rating."""
    z = (seen.peak_degc - limit) / settings.element_k
    above = 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))
    few = {1: 0.75, 2: 0.85}.get(seen.samples, 0.97)
    return above * few * (0.85 if seen.ratings.assumed else 1.0)


def _facts(seen: Exposure, limit: float) -> tuple[str, ...]:
    """Short facts in the order a person asks: how hot, how long over what, how fast, how much."""
    ratings = seen.ratings
    named, minutes = (
        ("sterilisation", seen.minutes_sterilisation)
        if seen.steaming
        else ("continuous", seen.minutes_continuous)
    )
    rated = ratings.sterilisation_degc if seen.steaming else ratings.continuous_degc
    hidden = (
        f", between samples up to {seen.hidden_degc:.1f}" if seen.hidden_degc > seen.peak_degc + 0.5 else ""
    )
    facts = [
        f"highest {seen.peak_degc:.1f} degC{hidden}",
        f"{minutes:.0f} min above the {named} rating of {rated:.0f} degC"
        + (" (assumed, stated nowhere)" if ratings.assumed else ""),
    ]
    if limit > rated:
        facts.append(f"this line usually stays below {limit:.0f} degC")
    if not seen.steaming and seen.minutes_sterilisation > 0:
        facts.append(f"{seen.minutes_sterilisation:.0f} min above the sterilisation rating too")
    facts.append(f"heated at {seen.heating_k_per_min:.0f}, cooled at {seen.cooling_k_per_min:.0f} K/min")
    facts.append(f"ageing dose {seen.dose_h:.2g} h at the continuous rating (general rule, Q10 = 2)")
    if math.isfinite(seen.saturation_degc):
        facts.append(f"line pressure: steam of {seen.saturation_degc:.1f} degC at most")
    if seen.samples <= 2:
        facts.append(f"seen in {seen.samples} sample{'s' if seen.samples > 1 else ''} only")
    return tuple(facts)


def _event(
    record: Record,
    seen: Exposure,
    *,
    kind: str,
    origin: str,
    severity: str,
    confidence: float,
    evidence: tuple[str, ...],
) -> Event:
    interval = trace_interval(record)
    return Event(
        point=record.point.name,
        kind=kind,
        start=seen.start,
        end=max(seen.end, seen.start + 1),
        size=seen.peak_degc,
        size_unit="degC",
        size_low=seen.peak_degc,
        size_high=seen.hidden_degc,
        confidence=min(max(confidence, 0.0), 0.99),
        origin=origin,
        severity=severity,
        probe=record.plant.probe_at(record.point.name, seen.start) or "",
        onset_uncertainty_s=interval,
        open_start=seen.open_start,
        open_end=seen.open_end,
        evidence=evidence,
        details={name: figure for name, figure in seen.details.items() if math.isfinite(figure)},
    )


def trace_interval(record: Record) -> float:
    """Usual interval of the temperature [s], 0 when unknown."""
    interval = record.temperature.sampling.interval_s if record.temperature else 0.0
    return interval if math.isfinite(interval) else 0.0
