"""Spikes and impossible readings, in bouts.

A spike is one to three samples away from both neighbours, far beyond the local noise, with the level before
and after the same.  In samples many minutes apart nothing can be called a spike.  A reading outside what
is possible, or outside the transmitter's range by more than a live output ever is, is no measurement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, TimeArray, duration_text
from excursions.detect.evidence.origin import during_work
from excursions.detect.gone.lost_signal import FEWEST as FEWEST_LOST
from excursions.detect.gone.lost_signal import flat_stays, lost_event, lost_levels, stays_at
from excursions.detect.series.bouts import Bout, bouts
from excursions.detect.series.by_the_clock import clock_hours
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import NORMAL_MAD, median, row_median
from excursions.records import MEASURING, BoolArray, Event, FloatArray, IndexArray, Record, Signal
from excursions.runs import runs

WIDEST = 3
NEIGHBOURS = 64
# Median size of the change between two samples to their standard deviation.
CHANGE_TO_NOISE = NORMAL_MAD / 2**0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SpikeSettings:
    """What counts as a spike, as a bout and as impossible."""

    noises: float = 10.0  # white noise passes eight of its standard deviations once in 10**15 samples
    quanta: float = 5.0  # of the resolution; smaller ones are rounding
    tolerances: float = 0.5  # a smaller excursion misleads nobody
    coarsest_s: float = 900.0  # between samples; further apart, one sample is no spike (cp)
    returned: float = 0.3  # the level after a spike differs by less than this share of its height
    bout_s: float = 86_400.0  # spikes that come again within a day are one bout (cp)
    bout_intervals: float = 120.0  # or within so many sampling intervals, where these are long
    fewest: int = 3  # a bout
    lone_tolerances: float = 10.0  # a lone spike is an event when it is this large
    chronic: int = 12  # more bouts than this are one event for the record
    many: int = 10  # so many in a bout are worth a check (cp)
    fast_s: float = 3.0  # (cp) no probe goes there and back in so short a time
    below_range: float = 0.0125  # of the span: 3.8 mA (NAMUR NE 43)
    above_range: float = 0.03125  # of the span: 20.5 mA (NAMUR NE 43)


def detect_spikes(record: Record, settings: SpikeSettings | None = None) -> tuple[Event, ...]:
    """Find bouts of spikes in the measuring state, and impossible readings in any.

    Parameters
    ----------
    record : Record
    settings : SpikeSettings, optional

    Returns
    -------
    tuple of Event
        Kind ``spikes`` (size: largest spike, signed), ``dropout`` (falls to one fixed value; size: hours) and
        ``out_of_range`` (size: reading furthest out).
    """
    settings = settings or SpikeSettings()
    if record.value is None or not len(record.value):
        return ()
    events = _impossible(record, settings)
    survey = survey_of(record)
    if survey is not None and len(survey.live) > 2 * WIDEST + 2 and survey.interval_s <= settings.coarsest_s:
        events += [
            e
            for e in _spiky(record, survey, settings)
            if not any(e.start >= o.start and e.end <= o.end for o in events)
        ]
    return tuple(sorted(events, key=lambda e: (e.start, e.kind, e.end)))


# --- spikes --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spikes:
    """Spikes in time order: first live sample, number of samples, signed height."""

    first: IndexArray
    width: IndexArray
    height: FloatArray

    def take(self, index: IndexArray) -> _Spikes:
        return _Spikes(first=self.first[index], width=self.width[index], height=self.height[index])


def _spiky(record: Record, survey: Survey, settings: SpikeSettings) -> list[Event]:
    live = survey.live
    spikes = _find(record, survey, settings)
    spikes = spikes.take(np.flatnonzero(~during_work(record, live.time[spikes.first])))
    least = _least(record, survey, settings)
    flat = flat_stays(survey, least, longer=WIDEST)[:, 0] if least > 0 else np.empty(0, np.int64)
    flat = flat[~during_work(record, live.time[flat])]
    levels = lost_levels(record, survey, live.value[np.concatenate([spikes.first, flat])])
    events: list[Event] = []
    within_s = max(settings.bout_s, settings.bout_intervals * survey.interval_s)
    end = int(live.time[-1])
    if levels.size:
        stays = stays_at(survey, levels, least)
        lost, _ = bouts(live.time[stays[:, 0]], within_s=within_s, fewest=FEWEST_LOST, end=end)
        events += [lost_event(record, survey, stays[bout.index], bout) for bout in lost]
        beside = np.isin(live.value[spikes.first], levels) | np.isin(live.value[spikes.first - 1], levels)
        spikes = spikes.take(
            np.flatnonzero(~beside)
        )  # a reading between two losses is no spike the other way
    if not spikes.first.size:
        return events
    tolerance = record.point.tolerance_at(float(np.median(survey.blocks.level)))
    large = settings.lone_tolerances * tolerance if tolerance > 0 else math.inf
    found, alone = bouts(live.time[spikes.first], within_s=within_s, fewest=settings.fewest, end=end)
    lone = spikes.take(alone)
    if lone.first.size >= settings.many or (lone.first.size and np.abs(lone.height).max() >= large):
        found.append(Bout(index=alone, goes_on=False))  # lone spikes are told together
    if len(found) > settings.chronic:
        found = [Bout(index=np.arange(spikes.first.size), goes_on=found[-1].goes_on)]
    return events + [_spike_event(record, survey, spikes, bout, large, settings) for bout in found]


def _least(record: Record, survey: Survey, settings: SpikeSettings) -> float:
    """Height from which on an excursion counts, the reading's unit."""
    return max(
        settings.noises * survey.sigma,
        settings.quanta * survey.quantum,
        settings.tolerances * record.point.tolerance_at(median(survey.blocks.level)),
    )


def _find(record: Record, survey: Survey, settings: SpikeSettings) -> _Spikes:
    """All spikes, each counted once at its narrowest width."""
    value, fresh = survey.live.value, survey.live.fresh
    least = _least(record, survey, settings)
    starts = np.flatnonzero(np.abs(np.diff(value)) > least) + 1 if least > 0 else np.empty(0, np.int64)
    found: list[tuple[IndexArray, int, FloatArray]] = []
    for width in range(1, WIDEST + 1):
        first = starts[(starts >= 1) & (starts + width < value.size)]
        first = first[~_broken(fresh, first, width)]
        height = _height(value, first, width)
        large = np.abs(height) > least  # few are, and only those need to know the noise around them
        first, height = first[large], height[large]
        good = np.abs(height) > settings.noises * _local_noise(record, survey, first)
        good &= np.abs(value[first + width] - value[first - 1]) < settings.returned * np.abs(height)
        good &= _brief(record, survey, first, width)
        found.append((first[good], width, height[good]))
    every = _Spikes(
        first=np.concatenate([f for f, _, _ in found]),
        width=np.concatenate([np.full(f.size, w, dtype=np.int64) for f, w, _ in found]),
        height=np.concatenate([h for _, _, h in found]),
    )
    spikes = every.take(np.lexsort((every.width, every.first)))
    return spikes.take(_apart(spikes))


def _broken(fresh: BoolArray, first: IndexArray, width: int) -> BoolArray:
    """Whether a gap or another state lies between the sample before and the sample after."""
    return np.asarray(np.any([fresh[first + k] for k in range(width + 1)], axis=0))


def _height(value: FloatArray, first: IndexArray, width: int) -> FloatArray:
    """Signed distance of the spike's lowest sample (upward) or highest (downward) from the nearer edge; else 0."""
    inner = np.array([value[first + k] for k in range(width)])
    edges = np.array([value[first - 1], value[first + width]])
    up = inner.min(axis=0) - edges.max(axis=0)
    down = edges.min(axis=0) - inner.max(axis=0)
    return np.asarray(np.where(up > 0, up, np.where(down > 0, -down, 0.0)))


def _local_noise(record: Record, survey: Survey, first: IndexArray) -> FloatArray:
    """Noise around each sample from the median change of its neighbourhood, which a spike in four does not move.

    Recorded on change, a quiet reading leaves next to no samples, and in a bout of spikes nearly all are theirs: there the
    scatter around the value that was held for most of the time counts where it is less.
    """
    value = survey.live.value
    half = min(NEIGHBOURS // 2, (value.size - 1) // 2)
    centre = np.clip(first, half, value.size - 1 - half)
    sampling = record.value.sampling if record.value is not None else None
    stood = None
    if sampling is not None and sampling.kind == "exception":
        longest = sampling.gap_s if math.isfinite(sampling.gap_s) else math.inf
        stood = np.minimum(np.diff(survey.live.time, append=survey.live.time[-1:]) / NS_PER_S, longest)
    out = np.empty(first.size)
    for part in np.array_split(np.arange(first.size), 1 + first.size // 20_000):
        near = centre[part][:, None] + np.arange(-half, half + 1)
        around = value[near]
        out[part] = row_median(np.abs(np.diff(around, axis=1))) * CHANGE_TO_NOISE
        if stood is not None:
            held = _held_median(around, stood[near])
            scatter = _held_median(np.abs(around - held[:, None]), stood[near]) * NORMAL_MAD
            out[part] = np.minimum(out[part], scatter)
    return out


def _held_median(value: FloatArray, stood: FloatArray) -> FloatArray:
    """Of each row the value that was passed for half of the time: value (n, k), how long each stood (n, k) [s]."""
    if not len(value):
        return np.empty(0)
    order = np.argsort(value, axis=1, kind="stable")
    passed = np.cumsum(np.take_along_axis(stood, order, axis=1), axis=1)
    at = np.argmax(passed >= passed[:, -1:] / 2, axis=1)
    return np.asarray(np.take_along_axis(value, np.take_along_axis(order, at[:, None], axis=1), axis=1)[:, 0])


def _brief(record: Record, survey: Survey, first: IndexArray, width: int) -> BoolArray:
    """Whether a candidate in a thinned record is short; on a clock the number of samples says it.

    Recorded on change, a jump is seen at the scan it happens in, so the stay must be brief.  Corners of a
    swinging-door record all look like spikes; only samples in quick succession are one.
    """
    kind = record.value.sampling.kind if record.value is not None else "grid"
    time = survey.live.time
    if kind == "exception":
        stay = (time[first + width] - time[first]) / NS_PER_S
        return np.asarray(stay <= max(WIDEST * survey.interval_s, 60.0))
    if kind != "swinging" or not first.size:
        return np.ones(first.size, dtype=np.bool_)
    steps = np.diff(time)
    quick = float(np.quantile(steps[:: max(1, steps.size // 100_000)], 0.1))
    return np.asarray(time[first + width] - time[first - 1] <= 2 * (width + 1) * quick)


def _apart(spikes: _Spikes) -> IndexArray:
    """Positions, in time order, of spikes that stand on no other: narrow ones first.

    The samples between two spikes look like a spike the other way; their edges give them away.
    """
    keep: list[int] = []
    taken: set[int] = set()
    for i in np.lexsort((spikes.first, spikes.width)):
        first, width = int(spikes.first[i]), int(spikes.width[i])
        if taken.isdisjoint(range(first - 1, first + width + 1)):
            keep.append(int(i))
            taken.update(range(first, first + width))
    return np.array(sorted(keep), dtype=np.int64)


def _spike_event(
    record: Record, survey: Survey, spikes: _Spikes, seen: Bout, large: float, settings: SpikeSettings
) -> Event:
    time, bout = survey.live.time, spikes.take(seen.index)
    start, end = int(time[bout.first[0]]), int(time[bout.first[-1] + bout.width[-1]])
    largest = float(bout.height[np.argmax(np.abs(bout.height))])
    count = int(bout.first.size)
    up = int(np.count_nonzero(bout.height > 0))
    unit = record.unit
    facts = [
        f"{count} spike{'s' if count > 1 else ''} in {duration_text((end - start) / NS_PER_S)}, {up} up and {count - up} down",
        f"largest {written(largest, signed=True)} {unit}, noise here {written(float(np.median(_local_noise(record, survey, bout.first))), 2)}",
    ]
    origin, confidence, reasons = _whose(record, survey, bout, settings)
    serious = count >= settings.many or (count > 1 and abs(largest) >= large)
    return Event(
        point=record.point.name,
        kind="spikes",
        start=start,
        end=max(end, start + 1),
        size=largest,
        size_unit=unit,
        confidence=confidence,
        origin=origin,
        severity="check" if serious and origin == "probe" else "note",
        probe=record.probe_at(start),
        onset_uncertainty_s=survey.interval_s,
        open_end=serious and seen.goes_on,
        evidence=(*facts, *reasons, *(("still coming when the record ends",) if seen.goes_on else ())),
        details={"count": float(count), "share_of_samples": float(bout.width.sum()) / len(survey.live)},
    )


def _whose(
    record: Record, survey: Survey, bout: _Spikes, settings: SpikeSettings
) -> tuple[str, float, tuple[str, ...]]:
    """Origin, confidence and reasons: bubbles and particles spike optical and conductivity probes as cables do."""
    time = survey.live.time
    lasted = float(np.median(time[bout.first + bout.width] - time[bout.first - 1])) / NS_PER_S
    if _with_temperature(record, time[bout.first]) > 0.5:
        return "process", 0.7, ("the temperature jumps at the same moments",)
    hours = clock_hours(time[bout.first], survey.interval_s)
    if hours is not None:
        words = "at the same minutes of the hour" if hours == 1 else f"at the same time within {hours} h"
        return "routine", 0.9, (f"always {words}: a clock does that, as of an automatic wash",)
    electrode = record.point.quantity.electrode
    if electrode and lasted <= settings.fast_s:
        return "probe", 0.9, (f"there and back in {written(lasted, 2)} s: no electrode answers that fast",)
    if electrode:
        return "probe", 0.75, ("an electrode of high resistance: cable, plug and moisture come first",)
    return "undecided", 0.85, ("bubbles or particles in the medium look the same as a loose connection",)


def _with_temperature(record: Record, at: TimeArray) -> float:
    """Share of the spikes at which the temperature does something unusual too; 0 without a temperature."""
    signal = record.temperature
    if signal is None or len(signal) < 20:
        return 0.0
    change = np.abs(np.diff(signal.value))
    some = change[:100_000]
    usual = float(np.nanquantile(some, 0.99)) if np.isfinite(some).any() else math.inf
    near = np.clip(np.searchsorted(signal.time, at), 1, len(signal) - 1)
    moved = np.maximum(change[near - 1], change[np.minimum(near, change.size - 1)])
    return float(np.mean(moved > max(2 * usual, signal.sampling.resolution)))


# --- impossible readings -------------------------------------------------------------------------


def _impossible(record: Record, settings: SpikeSettings) -> list[Event]:
    signal = record.value
    if signal is None:
        return []
    low, high = _limits(record, settings)
    ranges = runs((signal.value < low) | (signal.value > high))
    if not ranges.size:
        return []
    within = max(settings.bout_s, settings.bout_intervals * _finite(signal.sampling.interval_s)) * NS_PER_S
    cuts = np.flatnonzero(signal.time[ranges[1:, 0]] - signal.time[ranges[:-1, 1] - 1] > within) + 1
    bouts = np.split(ranges, cuts)
    bouts = [ranges] if len(bouts) > settings.chronic else bouts
    return [_impossible_event(record, signal, bout, (low, high)) for bout in bouts]


def _finite(interval_s: float) -> float:
    return interval_s if math.isfinite(interval_s) else 0.0


def _limits(record: Record, settings: SpikeSettings) -> tuple[float, float]:
    """Widest readings that can be measurements: physics, and the live range of the transmitter's output."""
    low, high = record.point.quantity.physical
    if record.point.range is not None:
        bottom, top = record.point.range
        low = max(low, bottom - settings.below_range * (top - bottom))
        high = min(high, top + settings.above_range * (top - bottom))
    return low, high


def _impossible_event(record: Record, signal: Signal, bout: IndexArray, limits: tuple[float, float]) -> Event:
    low, high = limits
    inside = np.concatenate([signal.value[a:b] for a, b in bout])
    out = np.maximum(low - inside, inside - high)
    furthest = float(inside[np.argmax(out)])
    first, past = int(bout[0, 0]), int(bout[-1, 1])
    start = int(signal.time[first])
    end = int(signal.time[past]) if past < len(signal) else int(signal.time[-1]) + 1
    live = float(np.mean(record.states.at(signal.time[bout[:, 0]]) == MEASURING)) >= 0.5
    open_end = past == len(signal)
    times = f"{inside.size} sample{'s' if inside.size > 1 else ''}, {len(bout)} time{'s' if len(bout) > 1 else ''}"
    return Event(
        point=record.point.name,
        kind="out_of_range",
        start=start,
        end=max(end, start + 1),
        size=furthest,
        size_unit=signal.unit,
        confidence=0.95 if inside.size > 2 else 0.8,
        origin="probe" if live else "undecided",
        severity="act" if open_end and live else "check" if inside.size > 2 else "note",
        probe=record.probe_at(start),
        open_start=first == 0,
        open_end=open_end,
        evidence=(
            f"{times} outside {written(low, 6)} to {written(high, 6)} {signal.unit}, which a measurement cannot leave",
            f"furthest out {written(furthest, 6)} {signal.unit}",
            *(() if live else ("while the point was not measuring",)),
        ),
        details={"samples": float(inside.size), "stretches": float(len(bout))},
    )
