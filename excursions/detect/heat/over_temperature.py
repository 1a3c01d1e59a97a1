"""Heat on the probe: over-temperature and the family of sterilisations.

Sees every state.  A stretch of heat is one steam cycle, or one stay above the continuous rating outside
steam; a steam cycle is held against the sterilisation rating and its minutes, everything else against the
continuous rating.  A rating that nobody stated is called assumed, and gives way to what the line
habitually does: a habit is no excursion until somebody states that it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE, TimeArray
from excursions.detect.heat.cycles import Family, family_of, hotter, oddities
from excursions.detect.heat.exposure import Exposure, Stretch, measure
from excursions.detect.heat.judgement import (
    OverTemperatureSettings,
    confidence_of,
    few_samples,
    heat_event,
    over,
    severity_of,
)
from excursions.detect.series.survey import heat_of
from excursions.records import CLEANING, STEAMING, BoolArray, Event, IndexArray, Record
from excursions.states.element import heat_alone
from excursions.states.heat import STEAM_ON_DEGC
from excursions.states.trace import Trace, crossing, join, spells

# A cycle this much longer than the usual one is odd even where all outlast the rating (cp).
HABIT_LONGER = 1.5
HABIT_CONFIDENCE = 0.95  # minutes above 110 degC against a stated figure: only the rating may be wrong
ADDED_UP = (
    "minutes_above_rating_min",
    "minutes_above_continuous_min",
    "minutes_above_sterilisation_min",
    "f0_min",
    "dose_h",
)


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
    heat = heat_of(record)
    if heat is None:
        return ()
    trace, usual = heat.trace, heat.usual
    cycles = [measure(record, trace, s) for s in _steam_cycles(record, trace)]
    stays = [measure(record, trace, s) for s in _stays(record, trace, settings, cycles, usual.middle)]
    events = _cycle_events(record, trace, cycles, settings)
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
    record: Record,
    trace: Trace,
    settings: OverTemperatureSettings,
    cycles: Sequence[Exposure],
    usual: float,
) -> list[Stretch]:
    """Stays above the continuous rating that are no part of a steam cycle or its cooling."""
    limit = _lowest_rating(record)
    ranges = spells(trace, on=np.nextafter(limit, math.inf), off=limit - settings.clear_k)
    ranges = join(heat_alone(ranges, trace, usual), trace.time, settings.join_s)
    ranges = _apart_from(ranges, cycles)
    stays = [_stay(trace, int(first), int(past), limit) for first, past in ranges]
    spans, usual_heat, fact = _cleanings(record, trace)
    found = []
    for stay in stays:
        middle = (stay.start + stay.end) // 2
        within = (spans[:, 0] <= middle) & (middle < spans[:, 1])
        odd = fact if np.any(within & ~usual_heat) else ()
        found.append(replace(stay, cleaning=bool(np.any(within & usual_heat)), odd=odd))
    return found


def _cleanings(record: Record, trace: Trace) -> tuple[TimeArray, BoolArray, tuple[str, ...]]:
    """Spans of the hot cleanings (ns, shape (k, 2)), which of them are as hot as cleanings are, and how hot that is, as a fact.

    What is the odd, hotter one of a family, or at the heat of steam, is held against the rating as the process is.
    """
    spans = record.states.spans(CLEANING)
    inside = [trace.value[trace.slice(int(start), int(end))] for start, end in spans]
    peaks = np.array([seen.max() if seen.size else math.nan for seen in inside], dtype=np.float64)
    odd, fact = hotter(peaks)
    return spans, (peaks < STEAM_ON_DEGC) & ~odd, fact


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


def _stay(trace: Trace, first: int, past: int, limit: float) -> Stretch:
    """A stay with its interpolated crossings of the rating."""
    above = first + np.flatnonzero(trace.value[first:past] > limit)
    start = crossing(trace, int(above[0]) - 1, int(above[0]), limit)
    end = crossing(trace, int(above[-1]), int(above[-1]) + 1, limit)
    return Stretch(first=int(above[0]), past=int(above[-1]) + 1, start=start, end=max(end, start + 1))


# --- steam cycles --------------------------------------------------------------------------------


def _cycle_events(
    record: Record, trace: Trace, cycles: Sequence[Exposure], settings: OverTemperatureSettings
) -> list[Event]:
    family = family_of(cycles)
    events = []
    habit = [cycle.ratings.sterilisation_min < cycle.minutes_steam for cycle in cycles]
    usual = sum(habit) > 1 and 2 * sum(habit) > len(cycles)
    stated = [cycle for cycle in cycles if not cycle.ratings.assumed]
    if usual and any(cycle.minutes_steam > _allowed(cycle, settings) for cycle in stated):
        events.append(
            _always_long(record, [c for c, long in zip(cycles, habit, strict=True) if long], len(cycles))
        )
    minutes = float(np.median([cycle.minutes_steam for cycle in cycles])) if cycles else math.nan
    for cycle, odd in zip(cycles, oddities(cycles), strict=True):
        limit = _steam_limit(cycle, family, settings)
        allowed = _allowed(cycle, settings)
        known = usual or (math.isfinite(family.peak_degc) and cycle.ratings.assumed)
        too_long = cycle.minutes_steam > (max(allowed, HABIT_LONGER * minutes) if known else allowed)
        if cycle.peak_degc > limit or too_long:
            span = _beyond(trace, cycle) if cycle.peak_degc > limit else None
            facts = (*_length(cycle, too_long), *odd)
            events.append(over(record, cycle, settings, limit, facts, span=span))
        else:
            events.append(_sterilisation(record, cycle, family, odd))
    return events


def _allowed(cycle: Exposure, settings: OverTemperatureSettings) -> float:
    """Minutes of steam that the rating allows, with some slack."""
    return cycle.ratings.sterilisation_min * settings.longer_minutes


def _always_long(record: Record, cycles: Sequence[Exposure], count: int) -> Event:
    """One event for a line whose every sterilisation outlasts the stated rating: it is the recipe, said once."""
    longest = max(cycles, key=lambda cycle: cycle.minutes_steam)
    usual = float(np.median([cycle.minutes_steam for cycle in cycles]))
    event = heat_event(
        record,
        longest,
        kind="over_temperature",
        origin="process",
        severity="check",
        confidence=HABIT_CONFIDENCE,
        evidence=(
            f"{len(cycles)} of {count} sterilisations last longer than the {longest.ratings.sterilisation_min:.0f} min"
            f" the probe is rated for: usually {usual:.0f} min, at most {longest.minutes_steam:.0f} min",
            "it is the way this line is sterilised: change the recipe, the probe or the rating in the register",
        ),
    )
    return _spread(event, cycles, _totals(cycles))


def _beyond(trace: Trace, cycle: Exposure) -> tuple[int, int]:
    """First and last crossing of the sterilisation rating in a cycle (ns)."""
    limit = cycle.ratings.sterilisation_degc
    above = cycle.first + np.flatnonzero(trace.value[cycle.first : cycle.past] > limit)
    start = crossing(trace, int(above[0]) - 1, int(above[0]), limit)
    return start, crossing(trace, int(above[-1]), int(above[-1]) + 1, limit)


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
    facts = [f"{cycle.minutes_steam:.0f} min above 110 °C, F0 {cycle.f0_min:.0f} min"]
    if math.isfinite(family.peak_degc):
        facts.append(f"one of {family.count} cycles, usually {family.peak_degc:.0f} °C")
        if cycle.ratings.assumed and cycle.peak_degc > cycle.ratings.sterilisation_degc:
            facts.append(
                f"above the assumed rating of {cycle.ratings.sterilisation_degc:.0f} °C as all of them are:"
                " state the rating in the register"
            )
    return heat_event(
        record,
        cycle,
        kind="sterilisation",
        origin="routine",
        severity="check" if odd else "note",
        confidence=cycle.confidence * few_samples(cycle),
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
    beyond = [
        (stay, limit)
        for stay, limit in beyond
        if stay.peak_degc > limit and confidence_of(stay, settings, limit) >= settings.least_confidence
    ]
    share = sum(stay.minutes_continuous for stay, _ in beyond) * NS_PER_MINUTE / max(covered, 1.0)
    if len(beyond) > settings.chronic_count or (len(beyond) > 1 and share > settings.chronic_share):
        return [_chronic(record, [stay for stay, _ in beyond], settings, share)]
    return [over(record, stay, settings, limit, stay.odd) for stay, limit in beyond]


def _stay_limit(
    stay: Exposure, stays: Sequence[Exposure], settings: OverTemperatureSettings, usual_high: float
) -> float:
    """The continuous rating; an assumed one gives way to how the process lives and how it is usually cleaned."""
    limit = stay.ratings.continuous_degc
    if not stay.ratings.assumed:
        return limit
    habit = [usual_high]
    if stay.cleaning:  # hot cleaning is what a probe that stands steam is made for
        habit.append(stay.ratings.sterilisation_degc - settings.habit_k)
    alike = [s.peak_degc for s in stays if abs(s.peak_degc - stay.peak_degc) <= settings.habit_k]
    if len(alike) >= settings.habit_count:
        habit.append(float(np.median(alike)))
    return max(limit, max(habit) + settings.habit_k if max(habit) > limit else limit)


def _chronic(
    record: Record, stays: Sequence[Exposure], settings: OverTemperatureSettings, share: float
) -> Event:
    """One event for a point that is above its rating again and again."""
    hottest = max(stays, key=lambda s: s.peak_degc)
    assumed = " (assumed)" if hottest.ratings.assumed else ""
    event = heat_event(
        record,
        hottest,
        kind="over_temperature",
        origin="process",
        severity=severity_of(hottest, settings, hottest.ratings.continuous_degc),
        confidence=confidence_of(hottest, settings, hottest.ratings.continuous_degc),
        evidence=(
            f"above the continuous rating of {hottest.ratings.continuous_degc:.0f} °C{assumed}"
            f" {len(stays)} times, {100 * share:.0f} % of the time",
            f"highest {hottest.peak_degc:.0f} °C",
        ),
    )
    return _spread(event, stays, _totals(stays))


def _totals(stays: Sequence[Exposure]) -> dict[str, float]:
    """Sums over several stretches of what adds up."""
    return {name: float(sum(s.details[name] for s in stays)) for name in ADDED_UP}


def _spread(event: Event, stays: Sequence[Exposure], total: dict[str, float]) -> Event:
    return replace(
        event,
        start=stays[0].start,
        end=stays[-1].end,
        open_start=stays[0].open_start,
        open_end=stays[-1].open_end,
        details={**event.details, **total, "stretches": float(len(stays))},
    )
