"""Which readings to doubt, since when, and how wrong they were.

A calibration that finds the probe out of tolerance throws doubt on the readings back to the calibration before.  The
causes in between say how the error came: at once with a step or with heat, bit by bit with a drift.  Draws of the causes
(:mod:`excursions.link.posterior`) carry their uncertainty over time into the band.

References
----------
.. [1] Wagner, Boulger, Oblinger, Smith, "Guidelines and standard procedures for continuous water-quality monitors",
   USGS Techniques and Methods 1-D3 (2006): calibration drift is prorated linearly over the service interval; the
   fallback here when no event gives a better shape.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_HOUR, NS_PER_S
from excursions.link.ageing import Ageing, learn, owner_of
from excursions.link.attribute import Weighed, weigh
from excursions.link.candidates import Cause, causes, usual_level
from excursions.link.correct import hours_beyond
from excursions.link.errors import reading_errors
from excursions.link.intervals import Interval, intervals
from excursions.link.posterior import Posterior, posterior
from excursions.link.priors import HEAT_KINDS, lasting_chance
from excursions.plant import Plant, Point
from excursions.records import Calibration, Doubt, Event, FloatArray, Link, Parameter, Shift
from excursions.report.result import Levels

PRORATION = "linear proration (USGS TM 1-D3)"
CONFIDENCE = 0.9
# The window opens when the chance that the reading was out of tolerance first reaches this.
OPENS_AT = 0.1
_GRID = 160
_EVENLY = 5  # knots besides those of the causes
_ACTED = 0.05  # causes less likely than this get no knots of their own
_OPEN_KINDS = ("step", "drift", "fouling", "over_temperature", "thermal_shock")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """A stretch of one probe's life whose error is asked: what the transmitter used and where the probe began."""

    point: Point
    probe: str
    start: int
    end: int
    shape: models.Form
    names: tuple[str, ...]
    used: dict[str, float]
    began: dict[str, float]
    found: dict[str, float]
    level: float
    temp: float
    open_end: bool = False


def doubt_windows(
    shifts: Sequence[Shift],
    links: Sequence[Link],
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
) -> tuple[Doubt, ...]:
    """Return the windows of readings not to be taken at face value, in order of point and time.

    A closed window for each calibration that found the reading out of tolerance; an open one after the last
    calibration of a probe when an event since then may have moved the reading.

    Parameters
    ----------
    links : sequence of Link
        Used for naming the leading event; the shape over time comes from the same weighing.
    """
    weighed = weigh(shifts, events, plant, levels)
    transmitters = _transmitters(calibrations)
    closed = [_closed(one, transmitters, links, calibrations, levels, plant) for one, _ in weighed]
    ageing = weighed[0][1] if weighed else learn(shifts)
    opened = _open_windows(events, calibrations, transmitters, ageing, levels, plant)
    made = [*(window for window in closed if window), *opened]
    return tuple(sorted(made, key=lambda d: (d.point, d.start, d.probe)))


def _transmitters(calibrations: Sequence[Calibration]) -> dict[str, list[tuple[int, dict[str, Parameter]]]]:
    """What the transmitter used from each calibration on, by owner."""
    made: dict[str, list[tuple[int, dict[str, Parameter]]]] = {}
    for history in histories(calibrations):
        used: dict[str, Parameter] = {}
        owner = history[0].probe or f"at {history[0].point}"
        for calibration in history:
            used = {
                **used,
                **(calibration.as_left or {n: p for n, p in calibration.as_found.items() if n not in used}),
            }
            made.setdefault(owner, []).append((calibration.time, used))
    return made


def _used_at(
    transmitters: Mapping[str, list[tuple[int, dict[str, Parameter]]]], owner: str, when: int
) -> dict[str, Parameter]:
    """Parameters in the transmitter from the calibration at `when` on."""
    rows = [used for time, used in transmitters.get(owner, []) if time <= when]
    return rows[-1] if rows else {}


def _closed(
    weighed: Weighed,
    transmitters: Mapping[str, list[tuple[int, dict[str, Parameter]]]],
    links: Sequence[Link],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
) -> Doubt | None:
    """Window of one interval, when its closing calibration found the reading out of tolerance."""
    first = weighed.interval.shifts[0]
    point = plant.point(first.point)
    if point is None:
        return None
    used = _used_at(transmitters, owner_of(first), first.start)
    span = _span(weighed.interval, used, point, levels, probe=first.probe)
    error = models.reading_error(span.shape, span.level, used=span.used, real=span.found, temp_degc=span.temp)
    if not math.isfinite(error) or abs(error) <= point.tolerance_at(span.level):
        return None
    return _window(
        span,
        weighed.posterior,
        f"found out of tolerance: reading off by {error:+.3g} {point.quantity.unit} at {span.level:.4g}".rstrip(),
    )


def _span(
    interval: Interval,
    used: Mapping[str, Parameter],
    point: Point,
    levels: Mapping[str, Levels],
    *,
    probe: str,
    open_end: bool = False,
) -> _Span:
    shifts = interval.shifts
    level, temp = level_before(levels, point.name, interval.end, since=interval.start)
    names = tuple(s.parameter for s in shifts)
    units = {s.parameter: s.unit for s in shifts}
    return _Span(
        point=point,
        probe=probe,
        start=interval.start,
        end=interval.end,
        shape=models.form(shifts[0].measurand, units),
        names=names,
        used={s.parameter: s.before for s in shifts}
        | {n: p.value for n, p in used.items() if n in names and p.unit == units[n]},
        began={s.parameter: s.before for s in shifts},
        found={s.parameter: s.after for s in shifts},
        level=level if math.isfinite(level) else usual_level(shifts[0].measurand),
        temp=temp,
        open_end=open_end,
    )


def _window(span: _Span, seen: Posterior, reason: str) -> Doubt | None:
    """Shape of the error over time from draws, cut to where the reading may have been out of tolerance."""
    grid = np.linspace(0.0, float(span.end - span.start), _GRID)
    errors = _errors(span, seen, grid)
    tolerance = span.point.tolerance_at(span.level)
    outside = np.mean(np.abs(errors) > tolerance, axis=0)
    doubtful = np.flatnonzero(outside >= OPENS_AT)
    if doubtful.size == 0:
        return None
    knots = _knots(span, seen)
    start = _opening(span, seen, knots, tolerance)
    lead = _lead(span, seen)
    inside = np.unique(np.concatenate([[float(start - span.start)], knots[knots >= start - span.start]]))
    drawn = _errors(span, seen, inside)
    middle = np.median(drawn, axis=0)
    if lead is None and not span.open_end:
        middle = _prorated(span, inside)
    half = np.quantile(np.abs(drawn - middle), CONFIDENCE, axis=0)
    line = tuple((span.start + int(t), float(e)) for t, e in zip(inside, middle, strict=True))
    return Doubt(
        point=span.point.name,
        probe=span.probe,
        start=start,
        end=span.end,
        open_end=span.open_end,
        knots=line,
        band=tuple(float(h) for h in half),
        basis=_basis(lead),
        hours_out_of_tolerance=hours_beyond(line, tolerance),
        event=lead.event.id if lead else "",
        reasons=(reason, *_shape_reason(lead)),
    )


def _prorated(span: _Span, at: FloatArray) -> FloatArray:
    """Error spread evenly from what it was at the start to what was found at the end [1]_."""
    first, last = (
        models.reading_error(span.shape, span.level, used=span.used, real=real, temp_degc=span.temp)
        for real in (span.began, span.found)
    )
    return first + (last - first) * at / float(span.end - span.start)


def _errors(span: _Span, seen: Posterior, at: FloatArray) -> FloatArray:
    """Reading errors (n draws, t instants); `at` in ns after the start of the span."""
    begin, finish = seen.when[:, :, 0] - span.start, seen.when[:, :, 1] - span.start
    length = np.maximum(finish - begin, 1.0)
    share = np.clip((at[None, None, :] - begin[:, :, None]) / length[:, :, None], 0.0, 1.0)
    share = np.where((finish <= begin)[:, :, None], at[None, None, :] >= begin[:, :, None], share)
    moved = np.einsum("nkp,nkt->ntp", seen.contribution, share)
    real = {name: span.began[name] + moved[:, :, i] for i, name in enumerate(span.names)}
    return reading_errors(span.shape, span.level, used=span.used, real=real, temp_degc=span.temp)


def _knots(span: _Span, seen: Posterior) -> FloatArray:
    """Instants (ns after the start) where the error bends: ends, causes that may have acted, and a few between."""
    length = float(span.end - span.start)
    knots = [*np.linspace(0.0, length, _EVENLY + 2)]
    for column, cause in enumerate(seen.causes):
        if seen.acted[column] < _ACTED:
            continue
        for variant in cause.variants:
            begin, finish = float(variant.start - span.start), float(variant.end - span.start)
            knots += [begin - NS_PER_S, begin] if finish <= begin else [begin, 0.5 * (begin + finish), finish]
    return np.unique(np.clip(np.round(knots), 0.0, length))


def _opening(span: _Span, seen: Posterior, knots: FloatArray, tolerance: float) -> int:
    """First instant at which the chance of being out of tolerance reaches `OPENS_AT`."""
    grid = np.unique(np.concatenate([np.linspace(0.0, float(span.end - span.start), _GRID), knots]))
    outside = np.mean(np.abs(_errors(span, seen, grid)) > tolerance, axis=0)
    return span.start + int(grid[int(np.argmax(outside >= OPENS_AT))])


def _lead(span: _Span, seen: Posterior) -> Cause | None:
    """The event that contributes most to the error at the end, unless ageing or the unrecorded does."""
    end = np.array([float(span.end - span.start)])
    base = replace(seen, contribution=np.zeros_like(seen.contribution))
    none = np.abs(_errors(span, base, end))[:, 0]
    weight = np.zeros(seen.cause.size)
    for column in range(seen.cause.size):
        alone = np.zeros_like(seen.contribution)
        alone[:, column] = seen.contribution[:, column]
        weight[column] = np.mean(
            np.abs(np.abs(_errors(span, replace(seen, contribution=alone), end))[:, 0] - none)
        )
    best = int(np.argmax(weight))
    return seen.causes[best] if best < len(seen.causes) and seen.acted[best] >= 0.5 else None


def _basis(lead: Cause | None) -> str:
    if lead is None:
        return PRORATION
    if lead.event.kind in HEAT_KINDS:
        return "heat"
    return (
        "step"
        if lead.event.kind in ("step",)
        else "drift"
        if lead.event.kind in ("drift", "fouling")
        else lead.event.kind
    )


def _shape_reason(lead: Cause | None) -> tuple[str, ...]:
    if lead is None:
        return ("no event in between explains it: error spread evenly from the calibration before",)
    return (f"shape over time taken from the {lead.event.kind.replace('_', ' ')} in between",)


def _open_windows(
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    transmitters: Mapping[str, list[tuple[int, dict[str, Parameter]]]],
    ageing: Ageing,
    levels: Mapping[str, Levels],
    plant: Plant,
) -> list[Doubt]:
    """Windows after the last calibration of each probe, from the events since then alone."""
    last: dict[str, Calibration] = {}
    for calibration in sorted(calibrations, key=lambda c: c.time):
        last[calibration.probe or f"at {calibration.point}"] = calibration
    since: dict[tuple[str, str], list[Event]] = {}
    for event in events:
        owner = event.probe or f"at {event.point}"
        verified = owner in last and last[owner].time >= event.start
        if (
            event.kind in _OPEN_KINDS
            and event.origin in ("probe", "undecided")
            and lasting_chance(event) >= OPENS_AT
            and not verified
        ):
            since.setdefault((owner, event.point), []).append(event)
    windows = []
    for (owner, name), rows in sorted(since.items()):
        point = plant.point(name)
        if point is not None:
            windows.append(
                _open_one(point, owner, rows, last.get(owner), transmitters, ageing, levels, plant)
            )
    return [window for window in windows if window]


def _open_one(
    point: Point,
    owner: str,
    events: Sequence[Event],
    last: Calibration | None,
    transmitters: Mapping[str, list[tuple[int, dict[str, Parameter]]]],
    ageing: Ageing,
    levels: Mapping[str, Levels],
    plant: Plant,
) -> Doubt | None:
    line = levels.get(point.name)
    known = int(line.time[-1]) + NS_PER_HOUR if line is not None and line.time.size else 0
    end = max(known, *(max(e.end, e.start + NS_PER_HOUR) for e in events))
    start = last.time if last else min(e.start for e in events) - NS_PER_HOUR
    used = _used_at(transmitters, owner, start) if last else {}
    state = last.as_left or last.as_found if last else {}
    shifts = _blank_shifts(point, events[0].probe, state, start, end)
    if not shifts:
        return None
    interval = intervals(shifts, events)[0]
    found = causes(interval, plant, levels)
    seen = posterior(interval, found, ageing, observed=False)
    span = _span(interval, used, point, levels, probe=events[0].probe, open_end=True)
    return _window(span, seen, "not verified by a calibration yet: error judged from the events alone")


def _blank_shifts(
    point: Point, probe: str, state: Mapping[str, Parameter], start: int, end: int
) -> list[Shift]:
    """Shifts that nobody has found yet: parameters as left, change unknown."""
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
            uncertainty=0.0,
            p_value=1.0,
            significant=False,
        )
        for name, value in values.items()
    ]
