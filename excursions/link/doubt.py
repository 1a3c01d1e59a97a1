"""Which readings to doubt, since when, and how wrong they were.

A calibration that finds the probe out of tolerance throws doubt on the readings back to the calibration before.  The
causes in between say how the error came: at once with a step or with heat, bit by bit with a drift.  Draws of the causes
(:mod:`excursions.link.posterior`) carry their uncertainty over time into the band.  After the last calibration, events
that nobody has verified open a window from what they look like alone.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from excursions.calibrations import models
from excursions.conclusions import Levels
from excursions.digits import written
from excursions.kinds import GRADUAL
from excursions.link.ageing import owner_of
from excursions.link.attribute import Weighed, Weighing, weigh
from excursions.link.grounds import Known, sampled_events, stays_of, with_setting
from excursions.link.in_use import transmitters
from excursions.link.intervals import newest
from excursions.link.pins import Samples
from excursions.link.shape import off_at_first, span_of, window
from excursions.link.unclosed import back_windows, open_windows, sampled_windows, unsaid_windows
from excursions.plant import Plant
from excursions.records import (
    Calibration,
    Doubt,
    Event,
    Shift,
)


def doubt_windows(
    shifts: Sequence[Shift],
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
    samples: Samples | None = None,
    *,
    weighing: Weighing | None = None,
    kept: Collection[str] = (),
    standing: Collection[str] = (),
) -> tuple[Doubt, ...]:
    """Return the windows of readings not to be taken at face value, in order of point and time.

    A closed window for each calibration that found the reading out of tolerance, for each that did not where laboratory
    samples had shown an event to move it before, for each slow change they saw come and be taken back, and before each that says nothing of what it found where an event rather
    moved the reading than not; an open one after the last calibration of a probe when an event
    since then may have moved the reading.

    Parameters
    ----------
    samples : mapping of point to (times, values)
        Laboratory samples in the canonical unit; they pin the error in between.
    weighing : Weighing or None
        What :func:`excursions.link.weigh` gave for the same shifts, events, plant and levels; None does it here.
    kept : collection of str
        Calibrations (ids) whose adjustment was not taken over, as the audit found: the reading went on with what was used before.
    standing : collection of str
        Events (ids) that an adjustment did not visibly put right, as :func:`excursions.link.outcome` found: they open as if it had not been.
    """
    done = weighing or weigh(shifts, events, plant, levels)
    known = Known(
        ageing=done.ageing,
        beliefs=done.beliefs,
        samples=samples or {},
        levels=levels,
        plant=plant,
        transmitters=transmitters(calibrations, plant, kept),
    )
    closed = [
        window
        for one, alone in zip(done.weighed, newest([one.interval for one in done.weighed]), strict=True)
        for window in _closed(one, known if alone else replace(known, samples={}), sampled=alone)
    ]
    # An event between two calibrations that were compared has been looked at.
    looked_at = {
        e.id
        for one in done.weighed
        for e in one.interval.events
        if e.kind not in GRADUAL or e.nearly_over <= one.interval.end
    }
    unseen = [event for event in events if event.id not in looked_at]
    opened = open_windows(unseen, calibrations, known, standing)
    unsaid = unsaid_windows(unseen, calibrations, known, standing)
    told = [*closed, *unsaid, *opened]
    told += sampled_windows(calibrations, shifts, known, {d.point for d in told if d.open_end})
    told += [
        window
        for window in back_windows(events, calibrations, known)
        if not any(d.point == window.point and d.start < window.end and window.start < d.end for d in told)
    ]
    return tuple(sorted(told, key=lambda d: (d.point, d.start, d.probe)))


def _closed(weighed: Weighed, known: Known, *, sampled: bool) -> Iterator[Doubt]:
    """Windows of one interval, one for each place the probe stood at, when its closing calibration found it off.

    sampled : whether what samples say of the time is told with it, once of all intervals with the same end
    """
    interval = weighed.interval
    first = interval.shifts[0]
    setting = known.set_at(owner_of(first), first.start)
    for point, stay in stays_of(first.probe, first.point, (interval.start, interval.end), known.plant):
        span = span_of(
            interval, setting.used, point, known.levels, probe=first.probe, samples=known.samples, stay=stay
        )
        error = models.reading_error(
            span.shape, span.level, used=span.used, real=span.found, temp_degc=span.temp
        )
        tolerance = point.doubted_at(span.level)
        began = off_at_first(span) if setting.stays_off else 0.0
        off = max(abs(error), abs(began)) > tolerance
        shown = sampled_events(interval.events, point) if sampled else ()
        if not math.isfinite(error) or not (off or shown):
            continue
        where = f" at {first.point}" if point.name != first.point else ""
        how, most = ("left", began) if abs(began) > tolerance >= abs(error) else ("found", error)
        how += " out of tolerance" if off else " in tolerance, when samples before it had shown an error"
        reason = f"{how}{where}: reading off by {written(most, signed=True)} {point.quantity.unit} at {written(span.level, 3)} {point.quantity.unit}"
        made = window(span, weighed.posterior, reason.rstrip())
        if made and not off and not made.event:
            made = replace(made, event=shown[0])
        if made:
            yield with_setting(made, span, setting)
