"""Faults of the temperature element: wild or open circuit, frozen, jumped.  What heat could do is left to heat.

A wrong temperature spoils a compensated reading without a sign in the reading itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.element.creep import creeping
from excursions.detect.element.fault import TemperatureFaultSettings, element_event
from excursions.detect.element.jumps import jumps_of_element
from excursions.detect.element.lag import lagging
from excursions.detect.series.survey import heat_of
from excursions.detect.series.tails import expected_as_large, outlying
from excursions.digits import JUMP_K, number
from excursions.records import (
    CALIBRATING,
    Event,
    FloatArray,
    IndexArray,
    Record,
    Signal,
)
from excursions.states.element import failing
from excursions.states.heat import Usual
from excursions.states.trace import Trace, between, split_at_gaps
from excursions.states.walk import ROOM_DEGC

LASTING = 2  # days; a fault that long shifts the fixed points itself
AS_LONG = 0.3  # of a standstill, from which on another one is its habit


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
    for jump in jumps_of_element(
        record, trace, settings
    ):  # the way into a standstill and out of it is part of it
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
        f"{furthest:.0f} °C, where the process is at {usual.middle:.0f} °C",
        f"{len(bout)} times, together {duration_text(lasted)}"
        if len(bout) > 1
        else f"for {duration_text(lasted)}",
        "there and back in one step: no heat does that"
        if not flat
        else "constant meanwhile, as an open or shorted circuit",
    ]
    return element_event(
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
            element_event(
                record,
                trace,
                (start, end),
                size=jump,
                confidence=0.9 / (1.0 + 10.0 * chance),
                severity="check",
                evidence=(
                    f"stood at {number(float(trace.value[first]), JUMP_K)} °C without a change for {duration_text(float(lasted[i]))}"
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
