"""The second pass over a long record: slow changes in the medians of its hours, over all its years at once.

A window of the first pass sees five weeks.  What walks more slowly than that shows in the whole alone, and for that a
median an hour says as much as all samples.  The medians come with the findings of the first pass, so nothing is read
again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, TimeArray, duration_text, shared
from excursions.condition import condition
from excursions.detect.catalogue import SLOW, detect, quieted
from excursions.detect.evidence.severity import severity_of
from excursions.detect.limits import walk_limits
from excursions.detect.merge import merge
from excursions.detect.series.survey import surveyed
from excursions.detect.slow.taken_back import taken_back
from excursions.detect.tuning import settings_of
from excursions.digits import written
from excursions.kinds import GRADUAL
from excursions.plant import Plant
from excursions.records import RETURNED, Event, FloatArray, Limit, Record, Signal, TagSeries
from excursions.report.result import Levels, PointFindings

SEEN = 35 * NS_PER_DAY  # a window sees no more
SHOWN = 14 * NS_PER_DAY  # a walk up to this long is better dated by the window that shows it whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Both:
    """Events of both passes and the limits that go with them: all in which a long record differs from its first pass."""

    events: tuple[Event, ...]
    limits: tuple[Limit, ...]

    def of(self, first: PointFindings) -> PointFindings:
        """The findings of the whole record, from those of its first pass."""
        return dataclasses.replace(first, events=self.events, limits=self.limits)


def both_passes(
    found: PointFindings, near: Mapping[str, Levels], plant: Plant, samples: tuple[TimeArray, FloatArray]
) -> Both:
    """Look for the slow changes of the whole record, and put them beside the events of the first pass.

    Parameters
    ----------
    found : PointFindings
        Of the first pass; `levels` hold the medians of its hours.
    near : mapping of neighbour to Levels
        Medians of the neighbours' hours, canonical unit.
    plant : Plant
        What concerns the point.
    samples : (time, value)
        Laboratory samples of the whole record, ns and canonical unit.
    """
    record = surveyed(_by_the_hour(found, near, plant, samples))
    slow = detect(record, settings_of(plant.detectors), detectors=SLOW)
    first = tuple(_whole_size(record, event, found) for event in found.events)
    limits = walk_limits(record)
    return Both(
        events=together(record, first, slow),
        limits=tuple(limits.get(limit.kind, limit) for limit in found.limits),
    )


def together(record: Record, first: Sequence[Event], slow: Sequence[Event]) -> tuple[Event, ...]:
    """Events of both passes, each once.

    A walk that a longer one of the whole record covers is a part of it; one that a window shows whole stands as the
    window dates it; a slow one that some other event explains is that event.
    """
    kept = list(first)
    for event in slow:
        others = [one for one in first if one.kind in GRADUAL and shared(one, event) > 0]
        if event.end - event.start <= SHOWN and others:
            continue
        parts = [one for one in others if shared(one, event) >= 0.5 * (one.end - one.start)]
        rest = [one for one in kept if one not in parts]
        if event.id not in {one.id for one in merge(record, (*rest, event))}:
            continue
        inner = {name for one in parts for name in (one.id, *one.parts)} - {event.id}
        ends = [one.back_at for one in parts if one.back_at is not None]
        back = {RETURNED: (ends[-1] - event.start) / NS_PER_S} if ends else {}
        kept = [
            *rest,
            dataclasses.replace(
                event, parts=tuple(sorted({*event.parts, *inner})), details={**event.details, **back}
            ),
        ]
    ordered = tuple(sorted(kept, key=lambda e: (e.start, e.kind, e.end)))
    return tuple(quieted(event) if event.went_back else event for event in taken_back(ordered))


def _whole_size(record: Record, event: Event, found: PointFindings) -> Event:
    """A walk that went on through several windows, each of which knew its own share alone, with the size of all of it."""
    if event.kind not in GRADUAL or event.end - event.start <= SEEN or "stretches" in event.details:
        return event
    levels = found.levels
    first, last = np.searchsorted(levels.time, [event.start, event.end])
    level = levels.value[first:last][np.isfinite(levels.value[first:last])]
    edge = level.size // 10
    if edge < 1:
        return event
    # Between the middles of the first and the last tenth lie nine tenths of a walk.
    size = float(np.median(level[-edge:]) - np.median(level[:edge])) / 0.9
    off = 1.645 * float(np.std(level[:edge]) + np.std(level[-edge:])) / 2
    days = (event.end - event.start) / NS_PER_DAY
    whole = dataclasses.replace(
        event,
        severity=severity_of(record, float(np.median(level[:edge])), size),
        open_start=event.start < found.start + NS_PER_DAY,
        size=size,
        size_low=size - off,
        size_high=size + off,
        evidence=(f"walked by {written(size)} in {duration_text(days * 86_400)}", *event.evidence[1:]),
        details={**event.details, "rate_per_day": size / days},
    )
    return quieted(whole)


def _by_the_hour(
    found: PointFindings, near: Mapping[str, Levels], plant: Plant, samples: tuple[TimeArray, FloatArray]
) -> Record:
    """The record as a sample an hour: the median, in the middle of the hour."""
    point, levels = found.point, found.levels
    others = {name: _signal(one.time, one.value, "other") for name, one in near.items()}
    return Record(
        point=point,
        plant=plant,
        value=_signal(levels.time, levels.value, point.measurand, found.unit),
        temperature=_signal(levels.time, levels.temperature, "temperature"),
        states=found.states,
        neighbours={name: signal for name, signal in others.items() if signal is not None},
        sample_time=samples[0],
        sample_value=samples[1],
    )


def _signal(hour: TimeArray, median: FloatArray, measurand: str, unit: str = "") -> Signal | None:
    known = np.isfinite(median)
    if not known.any():
        return None
    series = TagSeries(
        tag="",
        time=hour[known] + NS_PER_HOUR // 2,
        value=median[known],
        quality=np.zeros(int(known.sum()), np.uint8),
        unit=unit,
    )
    return condition(series, measurand=measurand, unit=unit).signal
