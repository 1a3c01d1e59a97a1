"""Which readings to doubt, since when, and how wrong they were.

A calibration that finds the probe out of tolerance throws doubt on the readings back to the calibration before.  The
causes in between say how the error came: at once with a step or with heat, bit by bit with a drift.  Draws of the causes
(:mod:`excursions.link.posterior`) carry their uncertainty over time into the band.  After the last calibration, events
that nobody has verified open a window from what they look like alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from excursions.calibrations import models
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.digits import written
from excursions.link.ageing import Ageing, owner_of
from excursions.link.attribute import Weighed, Weighing, weigh
from excursions.link.beliefs import Beliefs
from excursions.link.candidates import causes
from excursions.link.effects import believed_chance
from excursions.link.intervals import GRADUAL, intervals, is_of
from excursions.link.posterior import posterior, weigh_sets
from excursions.link.shape import OPENS_AT, Samples, span_of, window
from excursions.plant import Plant, Point
from excursions.records import Calibration, Doubt, Event, Link, Parameter, Shift

_OPEN_KINDS = ("step", "drift", "fouling", "over_temperature", "thermal_shock")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Learned:
    """What the plant's record taught of ageing and damage, and the laboratory samples."""

    ageing: Ageing
    beliefs: Beliefs
    samples: Samples


_Transmitters = dict[str, list[tuple[int, dict[str, Parameter]]]]


def doubt_windows(
    shifts: Sequence[Shift],
    links: Sequence[Link],
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
    samples: Samples | None = None,
    *,
    weighing: Weighing | None = None,
) -> tuple[Doubt, ...]:
    """Return the windows of readings not to be taken at face value, in order of point and time.

    A closed window for each calibration that found the reading out of tolerance; an open one after the last
    calibration of a probe when an event since then may have moved the reading.

    Parameters
    ----------
    links : sequence of Link
        Not needed for the arithmetic, which weighs the causes itself; kept so that callers hand over what they show.
    samples : mapping of point to (times, values)
        Laboratory samples in the canonical unit; they pin the error in between.
    weighing : Weighing or None
        What :func:`excursions.link.weigh` gave for the same shifts, events, plant and levels; None does it here.
    """
    done = weighing or weigh(shifts, events, plant, levels)
    transmitters = _transmitters(calibrations, plant)
    weighed = done.weighed
    learned = _Learned(ageing=done.ageing, beliefs=done.beliefs, samples=samples or {})
    closed = [_closed(one, transmitters, learned, levels, plant) for one in weighed]
    # An event between two calibrations that were compared has been looked at.
    looked_at = {
        e.id
        for one in weighed
        for e in one.interval.events
        if e.kind not in GRADUAL or e.end <= one.interval.end
    }
    unseen = [event for event in events if event.id not in looked_at]
    opened = _open_windows(unseen, calibrations, transmitters, learned, levels, plant)
    made = [*(one for one in closed if one), *opened]
    return tuple(sorted(made, key=lambda d: (d.point, d.start, d.probe)))


def _transmitters(calibrations: Sequence[Calibration], plant: Plant) -> _Transmitters:
    """What the transmitter used from each calibration on, by owner."""
    made: _Transmitters = {}
    for history in histories(calibrations, plant):
        used: dict[str, Parameter] = {}
        owner = _owner(history[0], plant)
        for calibration in history:
            used = {
                **used,
                **(calibration.as_left or {n: p for n, p in calibration.as_found.items() if n not in used}),
            }
            made.setdefault(owner, []).append((calibration.time, used))
    return made


def _owner(calibration: Calibration, plant: Plant) -> str:
    probe = calibration.probe or plant.probe_at(calibration.point, calibration.time)
    return probe or f"at {calibration.point}"


def _used_at(transmitters: _Transmitters, owner: str, when: int) -> dict[str, Parameter]:
    """Parameters in the transmitter from the calibration at `when` on."""
    rows = [used for time, used in transmitters.get(owner, []) if time <= when]
    return rows[-1] if rows else {}


def _closed(
    weighed: Weighed,
    transmitters: _Transmitters,
    learned: _Learned,
    levels: Mapping[str, Levels],
    plant: Plant,
) -> Doubt | None:
    """Window of one interval, when its closing calibration found the reading out of tolerance."""
    first = weighed.interval.shifts[0]
    point = plant.point(first.point)
    if point is None:
        return None
    used = _used_at(transmitters, owner_of(first), first.start)
    span = span_of(weighed.interval, used, point, levels, probe=first.probe, samples=learned.samples)
    error = models.reading_error(span.shape, span.level, used=span.used, real=span.found, temp_degc=span.temp)
    if not math.isfinite(error) or abs(error) <= point.tolerance_at(span.level):
        return None
    return window(
        span,
        weighed.posterior,
        f"found out of tolerance: reading off by {written(error, signed=True)} {point.quantity.unit} at {written(span.level, 4)}".rstrip(),
    )


def _open_windows(
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    transmitters: _Transmitters,
    learned: _Learned,
    levels: Mapping[str, Levels],
    plant: Plant,
) -> list[Doubt]:
    """Windows after the last calibration of each probe, from the events since then alone."""
    real = sorted((c for c in calibrations if not c.copied), key=lambda c: c.time)
    since: dict[tuple[str, str], list[Event]] = {}
    for event in events:
        may = event.kind in _OPEN_KINDS and event.origin in ("probe", "undecided")
        chance = believed_chance(event, learned.beliefs)
        if may and chance >= OPENS_AT and _unverified(event, real):
            since.setdefault((event.point, event.probe), []).append(event)
    seen = {id(_last(rows[0], real, math.inf)) for rows in since.values()}
    windows = []
    for (name, _), rows in sorted(since.items()):
        point = plant.point(name)
        # A quantity that is no probe's (a flow, a level) has no parameters whose error could be judged.
        if point is not None and point.measurand != "other":
            last = _last(rows[0], real, math.inf)
            windows.append(_open_one(point, rows, last, transmitters, learned, levels, plant))
    for history in histories(real, plant):
        point = plant.point(history[-1].point)
        # A verification that found an error and left it stands open even if nothing happened since.
        if point is not None and history[-1].action == "verification" and id(history[-1]) not in seen:
            windows.append(_open_one(point, (), history[-1], transmitters, learned, levels, plant))
    return [one for one in windows if one]


def _unverified(event: Event, calibrations: Sequence[Calibration]) -> bool:
    """Whether no calibration has looked at an event, or a gradual one went on after the last that did."""
    last = _last(event, calibrations, math.inf)
    return last is None or last.time < event.start or (event.kind in GRADUAL and last.time < event.end)


def _last(event: Event, calibrations: Sequence[Calibration], before: float) -> Calibration | None:
    """Last calibration of an event's probe up to an instant, of calibrations in time order."""
    mine = [c for c in calibrations if c.time <= before and is_of(event, c.probe, c.point)]
    return mine[-1] if mine else None


def _removed(point: str, when: int, plant: Plant) -> int | None:
    """When the probe that sat at a point at an instant was taken out, if the register says so."""
    for row in plant.installations:
        here = row.point == point and (row.start is None or row.start <= when)
        if here and row.end is not None and when < row.end:
            return row.end
    return None


def _open_one(
    point: Point,
    events: Sequence[Event],
    last: Calibration | None,
    transmitters: _Transmitters,
    learned: _Learned,
    levels: Mapping[str, Levels],
    plant: Plant,
) -> Doubt | None:
    line = levels.get(point.name)
    known = int(line.time[-1]) + NS_PER_HOUR if line is not None and line.time.size else 0
    end = max([known, *(max(e.end, e.start + NS_PER_HOUR) for e in events)])
    start = last.time if last else min(e.start for e in events) - NS_PER_HOUR
    removed = _removed(point.name, start, plant)
    end = min(end, removed) if removed is not None else end
    probe = events[0].probe if events else last.probe if last else ""
    used = _used_at(transmitters, _owner(last, plant), start) if last else {}
    shifts = _blank_shifts(point, probe, (last.as_left or last.as_found) if last else {}, start, end)
    if not shifts or end <= start:
        return None
    interval = intervals(shifts, events)[0]
    found = causes(interval, plant, levels, learned.beliefs)
    seen = posterior(
        found, interval, weigh_sets(interval, found, learned.ageing, learned.beliefs, observed=False)
    )
    span = span_of(
        interval, used, point, levels, probe=probe, samples=learned.samples, open_end=removed is None
    )
    if events:
        return window(span, seen, "not verified by a calibration: error judged from the events alone")
    error = models.reading_error(span.shape, span.level, used=span.used, real=span.began, temp_degc=span.temp)
    if not abs(error) > point.tolerance_at(span.level):
        return None
    return window(
        span,
        seen,
        f"verified, found off by {written(error, signed=True)} {point.quantity.unit} and not adjusted",
    )


def _blank_shifts(
    point: Point, probe: str, state: Mapping[str, Parameter], start: int, end: int
) -> list[Shift]:
    """Shifts that nobody has found yet: parameters as left, change unknown, as uncertain as the start at both ends."""
    shape = models.form(point.measurand, {n: p.unit for n, p in state.items()})
    values = models.filled(shape, {n: p.value for n, p in state.items() if n in shape.units})
    return [
        Shift(
            probe=probe,
            point=point.name,
            measurand=point.measurand,
            parameter=name,
            unit=shape.units[name],
            start=start,
            end=end,
            before=value,
            after=value,
            uncertainty=math.sqrt(2.0) * state[name].uncertainty if name in state else 0.0,
            p_value=1.0,
            significant=False,
        )
        for name, value in values.items()
    ]
