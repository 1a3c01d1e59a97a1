"""Dropouts, bad quality and bridged stretches: what is missing, in bouts rather than row by row.

A silence the recording rule allows is no dropout, and neither is a late sample or two.  Whose doing a hole is
shows in what else fell silent: when the temperature of the same point is missing too, it was the recording.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_S, TimeArray, duration_text
from excursions.ranks import median, quantile
from excursions.records import BAD, CALIBRATING, CLEANING, HOLD, STEAMING, Event, Record, Signal
from excursions.runs import runs


@dataclass(frozen=True, slots=True, kw_only=True)
class InterruptionSettings:
    """How holes are grouped and graded."""

    bout_s: float = 21_600.0  # holes within six hours are one bout (cp)
    bout_intervals: float = 60.0  # and within this many sample intervals, whichever is more
    chronic: int = 12  # more bouts than this are one event for the record
    shared: float = 0.5  # share of a hole in which the temperature is silent too
    long_s: float = 86_400.0  # a day without data is worth a check
    shortest_bad: int = 3  # fewer bad samples than this in a bout are no event
    signs: float = 0.5  # share of bad stretches with a sign of failure just before
    jump_noises: float = 12.0  # a last reading this far off, in noises of the record


def detect_interruptions(record: Record, settings: InterruptionSettings | None = None) -> tuple[Event, ...]:
    """Find bouts of missing, bad and drawn readings.

    Parameters
    ----------
    record : Record
    settings : InterruptionSettings, optional

    Returns
    -------
    tuple of Event
        Kinds ``dropout``, ``bad_quality`` and ``bridged``; size is the time without a reading [h].
    """
    settings = settings or InterruptionSettings()
    signal = record.value if record.value is not None else record.temperature
    if signal is None or not len(signal):
        return ()
    makers = ((_silent, _dropout), (_marked_bad, _bad), (_drawn, _bridged))
    events = [
        make(record, signal, bout, settings)
        for find, make in makers
        for bout in _bouts(find(record, signal), signal, settings)
    ]
    kept = [e for e in events if e is not None]
    return tuple(sorted(kept, key=lambda e: (e.start, e.kind, e.end)))


# --- where ---------------------------------------------------------------------------------------


def _silent(record: Record, signal: Signal) -> TimeArray:
    """Spans [start, end) of silences longer than the recording rule allows, those at the ends included."""
    sampling, time = signal.sampling, signal.time
    if not math.isfinite(sampling.gap_s) or sampling.kind == "sparse":
        return np.empty((0, 2), dtype=np.int64)
    first, past = _covered(record)
    step = round(min(sampling.interval_s, sampling.gap_s) * NS_PER_S)
    edges = np.concatenate([[min(first, int(time[0])) - step], time, [max(past, int(time[-1]))]])
    at = np.flatnonzero(np.diff(edges) > sampling.gap_s * NS_PER_S)
    return np.column_stack([edges[at] + step, edges[at + 1]])


def _covered(record: Record) -> tuple[int, int]:
    """First and last instant of anything recorded at this point."""
    times = [s.time for s in (record.value, record.temperature) if s is not None and len(s)]
    return min(int(t[0]) for t in times), max(int(t[-1]) for t in times)


def _marked_bad(record: Record, signal: Signal) -> TimeArray:
    """Spans of samples of bad quality or without a number."""
    ranges = runs((signal.quality == BAD) | ~np.isfinite(signal.value))
    step = round(_interval_s(signal) * NS_PER_S)
    ends = np.minimum(signal.time[ranges[:, 1] - 1] + step, np.append(signal.time, 2**62)[ranges[:, 1]])
    return np.column_stack([signal.time[ranges[:, 0]], ends])


def _drawn(record: Record, signal: Signal) -> TimeArray:
    step = round(_interval_s(signal) * NS_PER_S)
    return np.column_stack([signal.time[signal.bridged[:, 0]], signal.time[signal.bridged[:, 1] - 1] + step])


def _interval_s(signal: Signal) -> float:
    interval = signal.sampling.interval_s
    return interval if math.isfinite(interval) else 1.0


def _bouts(spans: TimeArray, signal: Signal, settings: InterruptionSettings) -> list[TimeArray]:
    """Group spans that follow each other closely; all in one when there are very many groups."""
    if not spans.shape[0]:
        return []
    within = max(settings.bout_s, settings.bout_intervals * _interval_s(signal)) * NS_PER_S
    cuts = np.flatnonzero(spans[1:, 0] - spans[:-1, 1] > within) + 1
    bouts = np.split(spans, cuts)
    return [spans] if len(bouts) > settings.chronic else bouts


# --- dropouts ------------------------------------------------------------------------------------


def _dropout(record: Record, signal: Signal, bout: TimeArray, settings: InterruptionSettings) -> Event:
    lost_s = _total_s(bout)
    shared = _silent_share(record.temperature, bout) if record.value is not None else math.nan
    together = math.isfinite(shared) and shared >= settings.shared
    facts = [*_how_often(bout, lost_s), f"samples otherwise come every {_rule(signal)}"]
    if math.isfinite(shared):
        facts.append("the temperature is missing too" if together else "the temperature goes on meanwhile")
    past = _covered(record)[1]
    open_end = bool(bout[-1, 1] >= past and signal.time[-1] < bout[-1, 0])
    return _event(
        record,
        "dropout",
        bout,
        confidence=_sureness(signal),
        origin="record" if together else "undecided",
        severity="check" if open_end or lost_s >= settings.long_s else "note",
        evidence=tuple(facts),
        details={"missing_share": shared} if math.isfinite(shared) else {},
        open_end=open_end,
    )


def _silent_share(signal: Signal | None, bout: TimeArray) -> float:
    """Share of the holes (each counted by its length) in which another signal has no good sample; NaN without one."""
    if signal is None or not len(signal):
        return math.nan
    good = signal.time[np.isfinite(signal.value)]
    lo, hi = np.searchsorted(good, bout[:, 0]), np.searchsorted(good, bout[:, 1])
    length = (bout[:, 1] - bout[:, 0]).astype(np.float64)
    expected = length / NS_PER_S / max(_interval_s(signal), 1e-9)
    tellable = expected >= 2  # a slower signal says nothing about a shorter hole
    if not tellable.any():
        return math.nan
    silent = (hi - lo) <= 0.2 * expected
    return float(np.sum(length[tellable & silent]) / np.sum(length[tellable]))


def _rule(signal: Signal) -> str:
    sampling = signal.sampling
    if math.isfinite(sampling.heartbeat_s):
        return f"{duration_text(sampling.heartbeat_s)} at the latest"
    return duration_text(_interval_s(signal))


# Of a silence where the recorder has a heartbeat; less where it has neither that nor a clock (cp).
HEARTBEAT_SURE = 0.9


def _sureness(signal: Signal) -> float:
    """A clock or a heartbeat makes a silence certain; without either it is only unusual."""
    if signal.sampling.kind in ("grid", "averages", "interpolated"):
        return 0.95
    return HEARTBEAT_SURE if math.isfinite(signal.sampling.heartbeat_s) else 0.6


# --- bad quality ---------------------------------------------------------------------------------


def _bad(record: Record, signal: Signal, bout: TimeArray, settings: InterruptionSettings) -> Event | None:
    lo, hi = np.searchsorted(signal.time, (bout[0, 0], bout[-1, 1]))
    lost = (signal.quality[lo:hi] == BAD) | ~np.isfinite(signal.value[lo:hi])
    count = int(np.count_nonzero(lost))
    if count < settings.shortest_bad:
        return None
    lost_s = _total_s(bout)
    signs = _signs_before(signal, bout, settings)
    shared = _silent_share(record.temperature, bout) if record.value is not None else math.nan
    together = math.isfinite(shared) and shared >= settings.shared
    origin = "undecided"
    facts = [*_how_often(bout, lost_s), f"{count} samples marked bad or without a number"]
    if _routine(record, bout):
        origin = "routine"
        facts.append("during hold, calibration or cleaning")
    elif together:
        origin = "record"
        facts.append("the temperature is missing too")
    elif signs >= settings.signs and bout.shape[0] >= 1:
        origin = "probe"
        facts.append(f"the reading jumped just before in {100 * signs:.0f} % of them")
    open_end = bool(hi == len(signal) and lost.size and lost[-1])
    act = open_end and origin in ("probe", "undecided")
    return _event(
        record,
        "bad_quality",
        bout,
        confidence=0.7 if origin == "probe" else 0.9,
        origin=origin,
        severity="act" if act else "check" if lost_s >= settings.long_s or origin == "probe" else "note",
        evidence=tuple(facts),
        details={"samples_bad": float(count)},
        open_end=open_end,
    )


def _signs_before(signal: Signal, bout: TimeArray, settings: InterruptionSettings) -> float:
    """Share of bad stretches whose last good readings had just jumped away from those before."""
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    value, time = signal.value[good], signal.time[good]
    if value.size < 20:
        return 0.0
    some = np.abs(np.diff(value[:100_000]))
    noise = max(median(some), signal.sampling.resolution, quantile(some, 0.99) / 4, 1e-12)
    at = np.searchsorted(time, bout[:, 0])
    at = at[at >= 6]
    if not at.size:
        return 0.0
    last = value[at[:, None] - np.array([1, 2])]
    before = np.median(value[at[:, None] - np.array([3, 4, 5, 6])], axis=1)
    off = np.abs(last - before[:, None]).max(axis=1)
    return float(np.mean(off > settings.jump_noises * noise))


def _routine(record: Record, bout: TimeArray) -> bool:
    """Whether most of the bad time lies in states in which the probe is not in use."""
    middle = (bout[:, 0] + bout[:, 1]) // 2
    away = np.isin(record.states.at(middle), (HOLD, CALIBRATING, CLEANING, STEAMING))
    return bool(np.mean(away) > 0.5)


# --- bridged -------------------------------------------------------------------------------------


def _bridged(record: Record, signal: Signal, bout: TimeArray, settings: InterruptionSettings) -> Event:
    return _event(
        record,
        "bridged",
        bout,
        confidence=0.9,
        origin="record",
        severity="note",
        evidence=(
            *_how_often(bout, _total_s(bout)),
            "a ruled straight line, which this signal does not do by itself: the export drew it",
        ),
        details={},
        open_end=False,
    )


# --- common --------------------------------------------------------------------------------------


def _total_s(bout: TimeArray) -> float:
    return float((bout[:, 1] - bout[:, 0]).sum()) / NS_PER_S


def _how_often(bout: TimeArray, lost_s: float) -> Sequence[str]:
    if bout.shape[0] == 1:
        return (f"no reading for {duration_text(lost_s)}",)
    longest = float((bout[:, 1] - bout[:, 0]).max()) / NS_PER_S
    return (f"{bout.shape[0]} times, together {duration_text(lost_s)}, the longest {duration_text(longest)}",)


def _event(
    record: Record,
    kind: str,
    bout: TimeArray,
    *,
    confidence: float,
    origin: str,
    severity: str,
    evidence: tuple[str, ...],
    details: dict[str, float],
    open_end: bool,
) -> Event:
    start, hours = int(bout[0, 0]), float((bout[:, 1] - bout[:, 0]).sum()) / NS_PER_HOUR
    return Event(
        point=record.point.name,
        kind=kind,
        start=start,
        end=max(int(bout[-1, 1]), start + 1),
        size=hours,
        size_unit="h",
        confidence=confidence,
        origin=origin,
        severity=severity,
        probe=record.probe_at(start),
        open_end=open_end,
        evidence=evidence,
        details={
            "count": float(bout.shape[0]),
            "longest_h": float((bout[:, 1] - bout[:, 0]).max()) / NS_PER_HOUR,
            **details,
        },
    )
