"""Doubt about an exchange of probes that nobody logged: how wrong both probes were with the figures set for the old one.

From the exchange to the next calibration the transmitter read the new probe with the old one's parameters: what that
calibration found gives the error.  The step of the reading at the exchange is the difference of both errors, so that it
tells how wrong the old probe was at its end.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from excursions.calibrations import Exchange, models
from excursions.calibrations.levels import level_before
from excursions.conclusions import Levels
from excursions.digits import written
from excursions.link.attribute import Weighing
from excursions.link.candidates import Cause, causes
from excursions.link.intervals import Interval, is_of
from excursions.link.pins import Samples
from excursions.link.posterior import DRAWS, Posterior, posterior, weigh_sets
from excursions.link.shape import span_of, window
from excursions.link.sizes import sensitivity
from excursions.plant import Plant, Point
from excursions.records import PRORATION, Doubt, Event, Parameter, Shift

_SEED = 20_060_104  # any number; fixed so that the same input gives the same output
_NAMED, _STEPPED = "another probe, not logged", "the reading stepped when another probe was put in"
_WHOLE = 3.29  # width of a 90 % interval in standard deviations


def exchange_doubts(
    exchanges: Sequence[Exchange],
    events: Sequence[Event],
    levels: Mapping[str, Levels],
    plant: Plant,
    weighing: Weighing,
    samples: Samples | None = None,
) -> Iterator[Doubt]:
    """Windows before and after each exchange that a step of the reading dates, where the reading was out of tolerance."""
    for one in exchanges:
        point = plant.point(one.point)
        if point is None or one.step is None:
            continue
        new = _read_with(one, point)
        if not new:
            continue
        error, spread = _error_of(new, point, levels, one.step)
        if one.named and abs(one.step.size) < abs(error - one.step.size):
            # It brought its own figures along: the old probe need not have been as wrong then.
            error, spread = 0.0, _spread(one.step)
            yield from _old_one(one, point, error, spread, events, levels, plant, weighing, samples or {})
            continue
        words = f"off by {written(error, 2, signed=True)} {point.quantity.unit}".rstrip()
        yield from _window(
            new, _put_in(one.step, new), one.step.id, levels, plant, samples or {},
            f"another probe, read with what was set for the one before: {words}",
        )  # fmt: skip
        yield from _old_one(one, point, error, spread, events, levels, plant, weighing, samples or {})


def told_once(doubts: Sequence[Doubt], exchanged: Sequence[Doubt]) -> tuple[Doubt, ...]:
    """All windows, but for those from the step at an exchange alone: its own window has what the next calibration found as well."""
    shown = {(d.event, d.probe) for d in exchanged if d.event and d.basis == _NAMED}
    return (*(d for d in doubts if (d.event, d.probe) not in shown), *exchanged)


def _old_one(
    one: Exchange,
    point: Point,
    error: float,
    spread: float,
    events: Sequence[Event],
    levels: Mapping[str, Levels],
    plant: Plant,
    weighing: Weighing,
    samples: Samples,
) -> Iterator[Doubt]:
    """The window before an exchange, from the new probe's error right after it (with its standard uncertainty) and the step."""
    if one.step is None:
        return
    old = _until_exchange(one, point, levels, error - one.step.size, math.hypot(spread, _spread(one.step)))
    if old is None:
        return
    words = f"{written(one.step.size, 2, signed=True)} {point.quantity.unit}".rstrip()
    found = "in order" if one.named and error == 0.0 else "off"
    yield from _window(
        (old,), _inferred(one, old, events, levels, plant, weighing), "", levels, plant, samples,
        f"the reading stepped by {words} when another probe was put in, which was found {found} later",
    )  # fmt: skip


def _put_in(step: Event, shifts: tuple[Shift, ...]) -> Posterior:
    """All at once at the exchange: parameters as found later, each with its uncertainty."""
    normals = np.random.default_rng(_SEED).standard_normal((DRAWS, len(shifts)))
    change = np.array([s.change for s in shifts]) + normals * np.array([s.uncertainty for s in shifts])
    when = np.full((DRAWS, 1, 2), float(step.start))
    return Posterior(
        causes=(Cause(event=step, consequences=(), variants=()),),
        cause=np.array([0], dtype=np.int64),
        contribution=change[:, None, :],
        began=np.zeros((DRAWS, len(shifts))),
        when=when,
        acted=np.ones(1),
        observed=True,
    )


def _inferred(
    one: Exchange,
    old: Shift,
    events: Sequence[Event],
    levels: Mapping[str, Levels],
    plant: Plant,
    weighing: Weighing,
) -> Posterior:
    """What may have moved the old probe's zero, from the events between its last calibration and the exchange."""
    mine = (e for e in events if is_of(e, one.old, one.point) and e is not one.step)
    between = tuple(e for e in mine if old.start < e.start < old.end)
    interval = Interval(shifts=(old,), events=between)
    found = causes(interval, plant, levels, weighing.beliefs)
    return posterior(found, interval, weigh_sets(interval, found, weighing.ageing, weighing.beliefs))


def _read_with(one: Exchange, point: Point) -> tuple[Shift, ...]:
    """What the new probe's parameters were found to differ by from those set for the old one."""
    used = one.before.as_left or one.before.as_found
    return tuple(
        _shift(one.new, point, name, (one.at, one.after.time), replace(used[name], uncertainty=0.0), found)
        for name, found in one.after.as_found.items()
        if name in used and used[name].unit == found.unit and found.basis != "relative"
    )


def _until_exchange(
    one: Exchange, point: Point, levels: Mapping[str, Levels], error: float, spread: float
) -> Shift | None:
    """What the old probe's zero (or only) parameter must have moved by to read `error` too high at the exchange."""
    used = one.before.as_left or one.before.as_found
    name = next((n for n in used if n not in models.GAIN_NAMES), "")
    if not name:
        return None
    set_to = replace(used[name], uncertainty=0.0)
    blank = _shift(one.old, point, name, (one.before.time, one.at), set_to, set_to)
    level, temp = level_before(levels, point.name, one.at, since=one.before.time)
    slope = float(sensitivity((blank,), level, temp)[0])
    if slope == 0.0 or not math.isfinite(slope * error):
        return None
    found = replace(set_to, value=set_to.value + error / slope, uncertainty=abs(spread / slope))
    return _shift(one.old, point, name, (one.before.time, one.at), used[name], found)


def _shift(
    probe: str, point: Point, name: str, span: tuple[int, int], before: Parameter, after: Parameter
) -> Shift:
    spread = math.hypot(before.uncertainty, after.uncertainty)
    return Shift(
        probe=probe, point=point.name, measurand=point.measurand, parameter=name, unit=after.unit,
        start=span[0], end=span[1], before=before.value, after=after.value, uncertainty=spread,
        p_value=0.0, significant=True,
    )  # fmt: skip


def _error_of(
    shifts: Sequence[Shift], point: Point, levels: Mapping[str, Levels], step: Event
) -> tuple[float, float]:
    """Reading error at the level after the exchange, and its standard uncertainty."""
    level, temp = level_before(levels, point.name, shifts[0].end, since=step.start)
    shape = models.form(point.measurand, {s.parameter: s.unit for s in shifts})
    used, real = {s.parameter: s.before for s in shifts}, {s.parameter: s.after for s in shifts}
    error = models.reading_error(shape, level, used=used, real=real, temp_degc=temp)
    slopes = sensitivity(shifts, level, temp)
    return error, math.hypot(*(k * s.uncertainty for k, s in zip(slopes.tolist(), shifts, strict=True)))


def _spread(step: Event) -> float:
    known = math.isfinite(step.size_high - step.size_low)
    return (step.size_high - step.size_low) / _WHOLE if known else 0.1 * abs(step.size)


def _window(
    shifts: tuple[Shift, ...],
    seen: Posterior,
    named: str,
    levels: Mapping[str, Levels],
    plant: Plant,
    samples: Samples,
    reason: str,
) -> Iterator[Doubt]:
    """The window of one probe's stretch, from its shifts and what made them; `named` is the event it is shown by."""
    point = plant.point(shifts[0].point)
    if point is None:
        return
    interval = Interval(shifts=shifts, events=())
    span = span_of(interval, {}, point, levels, probe=shifts[0].probe, samples=samples)
    error = models.reading_error(span.shape, span.level, used=span.used, real=span.found, temp_degc=span.temp)
    if not abs(error) > point.doubted_at(span.level):
        return
    made = window(span, seen, reason)
    if made is not None and (named or made.basis == PRORATION):
        made = replace(made, event=named, basis=_NAMED if named else _STEPPED)
    if made is not None:
        yield made
