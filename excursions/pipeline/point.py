"""The work on one point: condition -> states -> detect, and the small facts later rooms need.

A pure function of its input, so that it gives the same answer in this process, in a spawned worker and
on another machine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.condition import condition, share_outages
from excursions.condition.signal import with_bridges
from excursions.detect.catalogue import detect
from excursions.detect.heat.tally import heat_tally
from excursions.detect.limits import detection_limits
from excursions.detect.series.groups import group_median
from excursions.detect.series.survey import surveyed
from excursions.detect.tuning import settings_of
from excursions.pipeline.noise import noise_kept
from excursions.plant import Plant, Point
from excursions.records import (
    MEASURING,
    SEVERITY_RANK,
    BoolArray,
    Decision,
    Event,
    FloatArray,
    IndexArray,
    Record,
    Sampling,
    Signal,
    StateLine,
    TagSeries,
)
from excursions.report.result import Levels, PointFindings, Trace
from excursions.report.thin import thin
from excursions.states import recognise

# Plotted samples of a quiet series, two thirds as many for its noise; extremes and events come on top.
TRACE_BUDGET = 6_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Closeup:
    """Where true samples are wanted: spans [ns], and so far [ns] around the begin of every event worth a look."""

    spans: tuple[tuple[int, int], ...] = ()
    around_events: int = 0

    def all_spans(self, events: Sequence[Event]) -> tuple[tuple[int, int], ...]:
        """The spans asked for and those around the events; none of these lasts beyond a begin and twice the distance."""
        far = self.around_events
        worth = [
            e for e in events if far and SEVERITY_RANK[e.severity] >= 1 and e.origin in ("probe", "undecided")
        ]
        return (*self.spans, *((e.start - far, min(e.end, e.start + far) + far) for e in worth))


@dataclass(frozen=True, slots=True, kw_only=True)
class PointInput:
    """What one point's work needs: its tags by role, related points and laboratory samples.

    `plant` holds only what concerns this point (see :func:`plant_around`); `closer` says where the
    plotted series are to keep as many true samples as a page can hold; samples and bridged stretches before
    `counted_from` [ns] are searched but not counted; before `kept_from` (on the hour) neither hourly levels nor
    heat are added up; `limits` says whether anybody will ask what could have been found.
    """

    point: Point
    plant: Plant
    series: Mapping[str, TagSeries]
    neighbours: Mapping[str, tuple[Point, TagSeries]] = field(default_factory=dict)
    sample_time: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    sample_value: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    closer: Closeup = field(default_factory=Closeup)
    trace_budget: int = TRACE_BUDGET
    counted_from: int = -(2**63)
    kept_from: int = -(2**63)
    limits: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PointCounts:
    """Rows of one point's tags: met, dropped as exact repeats, dropped as conflicting repeats."""

    rows: int
    duplicates: int
    conflicts: int


def plant_around(plant: Plant, point: Point) -> Plant:
    """Cut the plant down to this point, its probes and their installations."""
    installations = tuple(row for row in plant.installations if row.point == point.name)
    serials = {row.probe for row in installations}
    return Plant(
        name=plant.name,
        zone=plant.zone,
        air_pressure_kpa=plant.air_pressure_kpa,
        points=(point,),
        probes=tuple(probe for probe in plant.probes if probe.serial in serials),
        installations=installations,
        quality_words=plant.quality_words,
        noted=tuple(row for row in plant.noted if row[0] == point.name),
        cleaned=tuple(row for row in plant.cleaned if row[0] == point.name),
        detectors=plant.detectors,
    )


def signals_beside(given: PointInput) -> dict[str, Signal]:
    """The conditioned readings of the neighbours."""
    return {
        name: condition(
            series, measurand=other.measurand, unit=other.unit, quality_words=given.plant.quality_words
        ).signal
        for name, (other, series) in given.neighbours.items()
    }


def search_whole(
    given: PointInput, beside: dict[str, Signal] | None = None
) -> tuple[PointFindings, PointCounts]:
    """Condition, split into states and search one record as a whole; `beside`: neighbours that are conditioned already."""
    point = given.point
    signals: dict[str, Signal] = {}
    decisions: list[Decision] = []
    rows = duplicates = conflicts = 0
    for role, series in given.series.items():
        done = condition(
            series,
            measurand=point.measurand_of(role),
            unit=point.unit_of(role),
            quality_words=given.plant.quality_words,
        )
        signals[role] = done.signal
        decisions.extend(done.decisions)
        rows += done.rows
        duplicates += done.duplicates
        conflicts += done.conflicts
    signals = share_outages(signals)
    states = recognise(
        point,
        given.plant,
        signals.get("value"),
        signals.get("temperature"),
        signals.get("hold"),
        signals.get("wash"),
    )
    bare = Record(
        point=point,
        plant=given.plant,
        value=signals.get("value"),
        temperature=signals.get("temperature"),
        hold=signals.get("hold"),
        wash=signals.get("wash"),
        pressure=signals.get("pressure"),
        states=states,
        neighbours=signals_beside(given) if beside is None else beside,
        sample_time=given.sample_time,
        sample_value=given.sample_value,
    )
    record = surveyed(bare)  # once for the detectors, their limits and the noise trace
    settings = settings_of(given.plant.detectors)
    events = tuple(sorted(detect(record, settings), key=lambda e: (e.start, e.kind, e.end)))
    return _findings(record, signals, states, events, tuple(decisions), given), PointCounts(
        rows=rows, duplicates=duplicates, conflicts=conflicts
    )


def _findings(
    record: Record,
    signals: Mapping[str, Signal],
    states: StateLine,
    events: tuple[Event, ...],
    decisions: tuple[Decision, ...],
    given: PointInput,
) -> PointFindings:
    times = [signal.time for signal in signals.values() if len(signal)]
    own = {role: int(np.searchsorted(one.time, given.counted_from)) for role, one in signals.items()}
    # An hour on either side: the page zooms there, and a line from afar would draw a ramp that never was.
    around = [[e.start - NS_PER_HOUR, e.end + NS_PER_HOUR] for e in events]
    keep = np.array(around, dtype=np.int64).reshape(-1, 2)
    traces = {
        role: _trace(role, signals[role], keep, given, given.closer.all_spans(events))
        for role in ("value", "temperature")
        if role in signals and len(signals[role])
    }
    noise, noise_beside = noise_kept(
        record, events, budget=given.trace_budget * 2 // 3, counted_from=given.counted_from
    )
    if noise is not None:
        traces["noise"] = noise
    return PointFindings(
        point=record.point,
        start=min((int(t[0]) for t in times), default=0),
        end=max((int(t[-1]) for t in times), default=0),
        samples=sum(len(one) - own[role] for role, one in signals.items()),
        events=events,
        states=states,
        sampling={role: _own_bridges(one, own[role]) for role, one in signals.items()},
        traces=traces,
        levels=hourly_levels(record, since=given.kept_from),
        decisions=decisions,
        limits=tuple(detection_limits(record, settings_of(given.plant.detectors)).values())
        if given.limits
        else (),
        heat=heat_tally(record, since=given.kept_from),
        noise_beside=noise_beside,
        exported_unit=_exported_unit(given),
    )


def _exported_unit(given: PointInput) -> str:
    """Unit of the reading as the register states it, else as its file does."""
    series = given.series.get("value")
    return given.point.unit or (series.unit if series is not None else "")


def _own_bridges(signal: Signal, first: int) -> Sampling:
    """How a signal was recorded, with the bridged stretches that begin at sample `first` or later."""
    if not first:
        return signal.sampling
    own = signal.bridged[signal.bridged[:, 0] >= first]
    return with_bridges(replace(signal.sampling, bridged=0, bridged_longest_s=0.0), signal.time, own)


def _trace(
    role: str, signal: Signal, keep: TimeArray, given: PointInput, closer: Sequence[tuple[int, int]]
) -> Trace:
    """Thin one signal and break its line where data are missing; a closer look keeps every sample it can."""
    index = thin(signal.time, signal.value, given.trace_budget, keep)
    for start, end in closer:
        first, last = np.searchsorted(signal.time, [start, end])
        near = thin(signal.time[first:last], signal.value[first:last], TRACE_BUDGET) + first
        index = np.union1d(index, near)
    time, value = signal.time[index], signal.value[index]
    cuts = signal.time[signal.segments[1:, 0]] if signal.segments.shape[0] > 1 else np.empty(0, np.int64)
    at = np.searchsorted(time, cuts)
    return Trace(
        name=role,
        unit=signal.unit,
        time=np.insert(time, at, cuts - 1),
        value=np.insert(value, at, np.nan),
        samples=len(signal) - int(np.searchsorted(signal.time, given.counted_from)),
    )


def hourly_levels(record: Record, *, since: int = -(2**63)) -> Levels:
    """Median value and temperature of every hour of the measuring state (hours without any are left out).

    `since`: an hour [ns]; earlier ones are left out too.
    """
    known = {
        "value": _hourly(record.value, record.states, since),
        "temperature": _hourly(record.temperature, record.states, since),
    }
    hours = np.union1d(known["value"][0], known["temperature"][0])
    levels = {name: np.full(hours.size, np.nan) for name in known}
    for name, (hour, median) in known.items():
        levels[name][np.searchsorted(hours, hour)] = median
    return Levels(time=hours * NS_PER_HOUR, **levels)


def _hourly(signal: Signal | None, states: StateLine, since: int) -> tuple[IndexArray, FloatArray]:
    """Hours with a finite sample in the measuring state, and the median of each."""
    if signal is None or not len(signal):
        return np.empty(0, np.int64), np.empty(0, np.float64)
    own = slice(int(np.searchsorted(signal.time, since)), None)
    time, value = signal.time[own], signal.value[own]
    return _medians(time, value, states.mask(time, MEASURING) & np.isfinite(value))


def hourly_medians(signal: Signal) -> tuple[TimeArray, FloatArray]:
    """Begins [ns] of the hours with a finite sample, in whatever state, and the median of each."""
    hours, medians = _medians(signal.time, signal.value, np.isfinite(signal.value))
    return hours * NS_PER_HOUR, medians


def _medians(time: TimeArray, value: FloatArray, good: BoolArray) -> tuple[IndexArray, FloatArray]:
    if not good.all():
        time, value = time[good], value[good]
    if not time.size:
        return np.empty(0, np.int64), np.empty(0, np.float64)
    starts = np.arange(time[0] // NS_PER_HOUR, time[-1] // NS_PER_HOUR + 2)
    edges = np.searchsorted(time, starts * NS_PER_HOUR)
    held = np.flatnonzero(np.diff(edges))
    return starts[held], group_median(value, edges[held], edges[held + 1])
