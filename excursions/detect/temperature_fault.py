"""Faults of the temperature element: wild or open circuit, frozen, jumped.  What heat could do is left to heat.

A wrong temperature spoils a compensated reading without a sign in the reading itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, TimeArray, duration_text
from excursions.detect.element_creep import creeping
from excursions.detect.element_lag import lagging
from excursions.detect.survey import heat_of
from excursions.detect.tails import expected_as_large, outlying
from excursions.ranks import median, quantile
from excursions.records import (
    CALIBRATING,
    MEASURING,
    NO_DATA,
    BoolArray,
    Event,
    FloatArray,
    IndexArray,
    Record,
    Signal,
)
from excursions.states.element import WILD_K, failing
from excursions.states.heat import Usual
from excursions.states.trace import Trace, between, split_at_gaps, trace_of
from excursions.states.walk import ROOM_DEGC

LASTING = 2  # days; a fault that long shifts the fixed points itself
AS_LONG = 0.3  # of a standstill, from which on another one is its habit
GOES_ON = 0.2  # of a jump: an element that takes five samples to settle goes on by four fifths
MOST_FLICKERS = 20_000  # more large steps than this are how the temperature is recorded


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureFaultSettings:
    """When a temperature is called wrong."""

    wild_k: float = WILD_K  # away from the usual band by this much, without heat that explains it (cp)
    bout_s: float = 86_400.0  # wild stretches within a day are one bout
    chronic: int = 20  # more bouts than this are one event for the record
    frozen_s: float = 7_200.0  # a process may well stand still for less (cp)
    frozen_samples: int = 30  # and fewer equal samples prove nothing
    frozen_chance: float = 0.01  # expected number of such stretches by chance
    moves: int = 10  # changes of the reading meanwhile that show that the rest is alive
    jump_k: float = 5.0  # (cp) in one step, where samples are at most ten seconds apart
    jump_slow_k: float = 6.0  # and at most a minute apart; further apart a jump is no evidence
    jump_spreads: float = 12.0  # a jump is so many times the usual change from sample to sample
    jump_window: int = 10  # samples before and after that must stand still enough to see it
    most_jumps: int = 3  # more are the process
    fewest_flickers: int = 6  # jumps there and back: three times
    lasting_s: float = 600.0  # a bout this long is one to act on (cp)


def detect_temperature_fault(
    record: Record, settings: TemperatureFaultSettings | None = None
) -> tuple[Event, ...]:
    """Find stretches in which the temperature signal is not the temperature.

    Parameters
    ----------
    record : Record
    settings : TemperatureFaultSettings, optional

    Returns
    -------
    tuple of Event
        Kind ``temperature_fault``; size is the jump of the temperature reading [K].
    """
    settings = settings or TemperatureFaultSettings()
    heat = heat_of(record)
    if heat is None or len(heat.trace) < 3:
        return ()
    trace, usual = heat.trace, heat.usual
    found = _wild(record, trace, usual, settings)
    seen = [(e.start, e.end) for e in found]
    frozen = [e for e in _frozen(record, trace, settings) if not _within(e, seen)]
    found += frozen
    for jump in _jumps(record, trace, settings):  # the way into a standstill and out of it is part of it
        if not _within(jump, seen) and not any(e.start <= jump.start <= e.end for e in frozen):
            found.append(jump)
    found += creeping(record, trace) if not any(e.end - e.start > LASTING * NS_PER_DAY for e in found) else ()
    found += [event for event in lagging(record) if not _within(event, [(e.start, e.end) for e in found])]
    return tuple(sorted(found, key=lambda e: (e.start, e.end)))


def _within(event: Event, spans: Sequence[tuple[int, int]]) -> bool:
    """Whether an event overlaps one of the spans, or begins where one ends: the way back is part of the fault."""
    return any(event.start <= end and start < event.end for start, end in spans)


# --- wild, open, short ---------------------------------------------------------------------------


def _wild(record: Record, trace: Trace, usual: Usual, settings: TemperatureFaultSettings) -> list[Event]:
    ranges = failing(trace, low=usual.low, middle=usual.middle, high=usual.high, away_k=settings.wild_k)
    ranges = ranges[[not _out_of_the_line(record, trace, int(a), int(b)) for a, b in ranges]]
    if not ranges.size:
        return []
    edges = trace.time[ranges[1:, 0]] - trace.time[ranges[:-1, 1] - 1]
    starts = np.append(0, np.flatnonzero(edges > settings.bout_s * NS_PER_S) + 1)
    bouts = np.split(ranges, starts[1:])
    if len(bouts) > settings.chronic:
        bouts = [ranges]
    return [_wild_event(record, trace, bout, usual, settings) for bout in bouts]


def _out_of_the_line(record: Record, trace: Trace, first: int, past: int) -> bool:
    """Whether a stretch is a probe at room temperature while it is calibrated: then nothing is wrong with its element."""
    there = float(np.median(trace.value[first:past]))
    calibrating = record.states.at(trace.time[first:past]) == CALIBRATING
    return ROOM_DEGC[0] <= there <= ROOM_DEGC[1] and bool(np.mean(calibrating) > 0.5)


def _wild_event(
    record: Record, trace: Trace, bout: IndexArray, usual: Usual, settings: TemperatureFaultSettings
) -> Event:
    first, past = int(bout[0, 0]), int(bout[-1, 1])
    lasted = float(sum(_until(trace, int(b)) - trace.time[a] for a, b in bout)) / NS_PER_S
    inside = np.concatenate([trace.value[a:b] for a, b in bout])
    furthest = float(inside[np.argmax(np.abs(inside - usual.middle))])
    flat = all(np.ptp(trace.value[a:b]) <= trace.resolution for a, b in bout) and inside.size > len(bout) + 2
    facts = [
        f"{furthest:.1f} degC, where the process is at {usual.middle:.1f} degC",
        f"{len(bout)} times, together {duration_text(lasted)}"
        if len(bout) > 1
        else f"for {duration_text(lasted)}",
        "there and back in one step: no heat does that"
        if not flat
        else "constant meanwhile, as an open or shorted circuit",
    ]
    return _event(
        record,
        trace,
        (int(trace.time[first]), _until(trace, past)),
        size=furthest - usual.middle,
        confidence=0.95 if flat or inside.size > 3 else 0.85,
        severity="act" if lasted >= settings.lasting_s else "check" if len(bout) > 2 else "note",
        evidence=tuple(facts),
        details={"stretches": float(len(bout)), "minutes_wrong_min": lasted / 60},
        ends=(first == 0, past == len(trace)),
    )


def _until(trace: Trace, past: int) -> int:
    """Instant of the first sample after a stretch, or the end of the record."""
    return int(trace.time[past]) if past < len(trace) else int(trace.time[-1]) + 1


# --- frozen --------------------------------------------------------------------------------------


def _frozen(record: Record, trace: Trace, settings: TemperatureFaultSettings) -> list[Event]:
    """Stretches of one and the same value that this temperature hardly shows by itself, while the reading lives."""
    if record.value is None:
        return []
    ranges = runs_of_equals(trace)
    if not _any_long(trace, ranges, settings):
        return []
    ranges = split_at_gaps(ranges, trace)
    lasted = (trace.time[ranges[:, 1] - 1] - trace.time[ranges[:, 0]]) / NS_PER_S + trace.interval_s
    suspect = outlying(lasted, at_most=settings.frozen_chance)
    count = ranges[:, 1] - ranges[:, 0]
    suspect &= (lasted >= settings.frozen_s) & (count >= settings.frozen_samples)
    events = []
    for i in np.flatnonzero(suspect):
        first, past = int(ranges[i, 0]), int(ranges[i, 1])
        start, end = int(trace.time[first]), _until(trace, past)
        if _changes(record.value, start, end) < settings.moves or _rests_here(trace, ranges, lasted, int(i)):
            continue
        chance = expected_as_large(lasted[~suspect], float(lasted[i]))
        sides = trace.value[max(first - 1, 0) : past + 1]
        jump = float(np.max(np.abs(sides - trace.value[first])))
        events.append(
            _event(
                record,
                trace,
                (start, end),
                size=jump,
                confidence=0.9 / (1.0 + 10.0 * chance),
                severity="check",
                evidence=(
                    f"exactly {trace.value[first]:g} degC for {duration_text(float(lasted[i]))}"
                    f" in {past - first} samples",
                    f"the longest stretch without a change elsewhere is {duration_text(float(lasted[~suspect].max()))}",
                    "the reading moves meanwhile",
                ),
                details={
                    "minutes_wrong_min": float(lasted[i]) / 60,
                    "stood_at_degc": float(trace.value[first]),
                },
                ends=(first == 0, past == len(trace)),
            )
        )
    return events


def _rests_here(trace: Trace, ranges: IndexArray, lasted: FloatArray, i: int) -> bool:
    """Whether the temperature stood as long (a third of it) at this very level another time: it rests there."""
    same = np.abs(trace.value[ranges[:, 0]] - trace.value[ranges[i, 0]]) <= 1.5 * trace.resolution
    same[i] = False
    return bool((lasted[same] >= AS_LONG * lasted[i]).any())


def _any_long(trace: Trace, ranges: IndexArray, settings: TemperatureFaultSettings) -> bool:
    """Whether any run is long enough to be looked at; gaps only make them shorter."""
    many = ranges[ranges[:, 1] - ranges[:, 0] >= settings.frozen_samples]
    if not many.size:
        return False
    lasted = (trace.time[many[:, 1] - 1] - trace.time[many[:, 0]]) / NS_PER_S + trace.interval_s
    return bool((lasted >= settings.frozen_s).any())


def runs_of_equals(trace: Trace) -> IndexArray:
    """Index ranges of samples that all have the same value, shape (k, 2)."""
    return between(np.flatnonzero(trace.value[1:] != trace.value[:-1]) + 1, len(trace))


def _changes(signal: Signal, start: int, end: int) -> int:
    """How often a signal changes its value in [start, end)."""
    lo, hi = np.searchsorted(signal.time, (start, end))
    value = signal.value[lo:hi]
    return int(np.count_nonzero(np.diff(value[np.isfinite(value)])))


# --- jumped --------------------------------------------------------------------------------------


def _jumps(record: Record, trace: Trace, settings: TemperatureFaultSettings) -> list[Event]:
    """Offsets that come in one step while measuring; a step back of like size ends the event."""
    scan_s = _scan_s(record.temperature, trace)
    least = _least_jump(trace, scan_s, settings)
    if not math.isfinite(least):
        return []
    change = np.diff(trace.value)
    near = np.diff(trace.time) <= (trace.gap_s if trace.held else 1.5 * trace.usual_s) * NS_PER_S
    large = np.flatnonzero((np.abs(change) >= least) & near)
    flickers = _flickers(record, trace, large, change, settings)
    at = [int(i) for i in large if not any(e.start <= trace.time[i + 1] <= e.end for e in flickers)]
    if len(at) > 50 * settings.most_jumps:
        return flickers
    at = [i for i in at if _is_clean(trace, i, settings) and _calm(record, trace, i)]
    if len(at) > settings.most_jumps:
        return flickers
    events, used = flickers, set()
    for number, i in enumerate(at):
        if i in used:
            continue
        back = next((j for j in at[number + 1 :] if abs(change[i] + change[j]) <= 0.3 * abs(change[i])), None)
        used |= {back} if back is not None else set()
        events.append(_jump_event(record, trace, (i, back), float(change[i]), scan_s))
    return events


def _flickers(
    record: Record, trace: Trace, at: IndexArray, change: FloatArray, settings: TemperatureFaultSettings
) -> list[Event]:
    """Bouts of jumps there and back by the same amount: a loose wire; no medium changes that way again and again."""
    if not settings.fewest_flickers <= at.size <= MOST_FLICKERS:
        return []
    at = at[np.isin(record.states.at(trace.time[at + 1]), (MEASURING, NO_DATA))]
    late = trace.time[at[1:]] - trace.time[at[:-1]] > settings.bout_s * NS_PER_S / 4
    events = []
    for part in np.split(at, np.flatnonzero(late) + 1):
        if part.size < settings.fewest_flickers:
            continue
        jump = change[part]
        size = float(np.median(np.abs(jump)))
        alike = np.abs(np.abs(jump) - size) <= 0.3 * size
        turned = np.mean(np.diff(np.sign(jump)) != 0)
        if alike.mean() > 0.8 and turned > 0.9 and np.mean(_at_once(change, part)) > 0.8:
            events.append(_flicker_event(record, trace, part, size * float(np.sign(jump[0]))))
    return events


def _at_once(change: FloatArray, at: IndexArray) -> BoolArray:
    """Whether a jump does not go on in the next sample: what a medium does takes the time of the element."""
    after = np.append(change, 0.0)[at + 1]
    return np.asarray(after * np.sign(change[at]) <= GOES_ON * np.abs(change[at]))


def _flicker_event(record: Record, trace: Trace, part: IndexArray, size: float) -> Event:
    start, end = int(trace.time[part[0] + 1]), int(trace.time[part[-1] + 1])
    return _event(
        record,
        trace,
        (start, end),
        size=size,
        confidence=0.9,
        severity="check",
        evidence=(
            f"jumped {part.size} times there and back by {abs(size):.1f} K within {duration_text((end - start) / NS_PER_S)}",
            "each time from one sample to the next: a loose wire or a wet plug, no medium does that",
        ),
        details={"jumps": float(part.size)},
        ends=(False, False),
    )


def least_lasting_jump(signal: Signal, settings: TemperatureFaultSettings) -> float:
    """Smallest lasting jump of the element [K] that is found while the temperature is as restless as it usually is."""
    trace = trace_of(signal)
    if trace is None:
        return math.inf
    least = _least_jump(trace, _scan_s(signal, trace), settings)
    if not math.isfinite(least) or len(trace) < 4 * settings.jump_window:
        return settings.wild_k
    spans = np.lib.stride_tricks.sliding_window_view(trace.value, settings.jump_window)
    scatter = quantile(np.ptp(spans[:: max(1, len(spans) // 20_000)], axis=1), 0.9)
    return max(1.1 * least, 5.0 * scatter)


def _scan_s(signal: Signal | None, trace: Trace) -> float:
    """Time in which a change between two samples must have come [s].

    Recorded on exception, the last value stood, within the dead band, until one scan before the next sample; of a line
    that a swinging door drew nobody knows.
    """
    if signal is None or not trace.held:
        return trace.interval_s
    told = signal.sampling.kind == "exception" and signal.sampling.shortest_s > 0
    return signal.sampling.shortest_s if told else math.inf


def _least_jump(trace: Trace, scan_s: float, settings: TemperatureFaultSettings) -> float:
    """Smallest step that stands out [K]; infinite where scans are too far apart to tell a step from a ramp."""
    if scan_s > 60.0:
        return math.inf
    spread = trace.once("usual step", lambda: _usual_step(trace))
    base = settings.jump_k if scan_s <= 10.0 else settings.jump_slow_k
    return max(base, settings.jump_spreads * max(spread, trace.resolution / 2))


def _usual_step(trace: Trace) -> float:
    some = np.diff(trace.value[:200_000])
    return 1.4826 * median(np.abs(some)) if some.size else 0.0


def _is_clean(trace: Trace, i: int, settings: TemperatureFaultSettings) -> bool:
    """Whether the whole change is in this one step, with nothing on its way before or after, and stays.

    An element in a probe shaft follows with a time constant of tens of seconds, so that a change of the medium
    shows in several samples a minute apart, or in very many closer ones.
    """
    n = settings.jump_window
    before, after = trace.value[max(i + 1 - n, 0) : i + 1], trace.value[i + 1 : i + 1 + n]
    later = trace.value[i + 1 : i + 1 + 3 * n]
    if min(before.size, after.size) < n:
        return False
    step = float(trace.value[i + 1] - trace.value[i])
    if max(float(np.ptp(before)), float(np.ptp(after))) > 0.25 * abs(step):
        return False
    level = median(before)
    whole = median(after) - level
    stayed = abs(median(later) - level) >= 0.8 * abs(step)
    return bool(abs(step) >= 0.93 * abs(whole) and step * whole > 0 and stayed)


def _calm(record: Record, trace: Trace, i: int) -> bool:
    """Whether the point is measuring around a step."""
    around: TimeArray = trace.time[[max(i - 1, 0), i, i + 1, min(i + 2, len(trace) - 1)]]
    return bool(np.isin(record.states.at(around), (MEASURING, NO_DATA)).all())


def _jump_event(
    record: Record, trace: Trace, at: tuple[int, int | None], size: float, scan_s: float
) -> Event:
    i, back = at
    end = int(trace.time[back + 1]) if back is not None else int(trace.time[-1]) + 1
    start = int(trace.time[i + 1])
    facts = [f"jumped by {size:+.1f} K from one sample to the next, {scan_s:g} s apart"]
    facts.append(
        f"jumped back after {duration_text((end - start) / NS_PER_S)}"
        if back is not None
        else "did not come back in this record"
    )
    return _event(
        record,
        trace,
        (start, end),
        size=size,
        confidence=0.75 if back is not None else 0.6,
        severity="check",
        evidence=tuple(facts),
        details={"minutes_wrong_min": (end - start) / NS_PER_HOUR * 60},
        ends=(False, back is None),
    )


def _event(
    record: Record,
    trace: Trace,
    span: tuple[int, int],
    *,
    size: float,
    confidence: float,
    severity: str,
    evidence: tuple[str, ...],
    details: dict[str, float],
    ends: tuple[bool, bool],
) -> Event:
    return Event(
        point=record.point.name,
        kind="temperature_fault",
        start=span[0],
        end=max(span[1], span[0] + 1),
        size=size,
        size_unit="K",
        confidence=confidence,
        origin="probe",
        severity=severity,
        probe=record.plant.probe_at(record.point.name, span[0]) or "",
        onset_uncertainty_s=trace.interval_s,
        open_start=ends[0],
        open_end=ends[1],
        evidence=evidence,
        details=details,
    )
