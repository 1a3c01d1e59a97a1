"""Jumps of a temperature element: an offset that comes in one step, and a wire that makes contact now and then."""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, TimeArray, duration_text
from excursions.detect.element.fault import TemperatureFaultSettings, element_event
from excursions.digits import number, of_a_jump, written
from excursions.ranks import NORMAL_MAD, median, quantile
from excursions.records import MEASURING, NO_DATA, BoolArray, Event, FloatArray, IndexArray, Record, Signal
from excursions.states.trace import Trace, trace_of

MOST_FLICKERS = 20_000  # more large steps than this are how the temperature is recorded
AT_ONCE_S = 60.0  # samples further apart do not show a jump apart from a ramp
RESUMED = 0.3  # of the jump, as for one that jumps back
LEFT = 0.5  # of such a jump: nearer to all of it than to none; weather may have taken the rest back since
UNTOLD = 0.5  # probability of the element where a line may have done it as well (cp)
GOES_ON = 0.2  # of a jump: an element that takes five samples to settle goes on by four fifths


def jumps_of_element(record: Record, trace: Trace, settings: TemperatureFaultSettings) -> list[Event]:
    """Offsets that come in one step while measuring; a step back of like size ends the event."""
    scan_s = _scan_s(record.temperature, trace)
    least = _least_jump(trace, scan_s, settings)
    if not math.isfinite(least):
        return []
    if scan_s > AT_ONCE_S:
        return _outrunning(record, trace, scan_s, least, settings)
    change = np.diff(trace.value)
    near = np.diff(trace.time) <= (trace.gap_s if trace.held else 1.5 * trace.usual_s) * NS_PER_S
    large = np.flatnonzero((np.abs(change) >= least) & near)
    flickers = _flickers(record, trace, large, change, settings)
    at = [int(i) for i in large if not any(e.start <= trace.time[i + 1] <= e.end for e in flickers)]
    if len(at) > 50 * settings.most_jumps:
        return flickers
    clean = [
        i for i in at if _is_clean(trace, i, settings)
    ]  # the way back may come while somebody works there
    at = [i for i in clean if _calm(record, trace, i)]
    at = at[1:] if at and _resumes(trace, at[0], settings) else at
    if len(at) > settings.most_jumps:
        return flickers
    events, used = flickers, set()
    for i in at:
        if i in used:
            continue
        back = next((j for j in clean if j > i and abs(change[i] + change[j]) <= 0.3 * abs(change[i])), None)
        used |= {back} if back is not None else set()
        events.append(_jump_event(record, trace, (i, back), float(change[i]), scan_s))
    return events


def _outrunning(
    record: Record, trace: Trace, scan_s: float, least: float, settings: TemperatureFaultSettings
) -> list[Event]:
    """The one jump for good between samples far apart that nothing else of the record comes near.

    A line may be given another temperature in as long, though never before or since: who it was stays undecided.
    """
    change = np.diff(trace.value)
    near = np.diff(trace.time) <= 1.5 * trace.usual_s * NS_PER_S
    i = int(np.argmax(np.where(near, np.abs(change), 0.0)))
    others = np.delete(np.abs(change), i)
    if not abs(change[i]) >= max(least, settings.jump_outruns * float(others.max(initial=0.0))):
        return []
    if not (near[i] and _lasts(trace, i, settings) and _calm(record, trace, i)) or _resumes(
        trace, i, settings
    ):
        return []
    return [_jump_event(record, trace, (i, None), float(change[i]), scan_s, others=float(others.max()))]


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
    return element_event(
        record,
        trace,
        (start, end),
        size=size,
        confidence=0.9,
        severity="check",
        evidence=(
            f"jumped {part.size} times there and back by {number(abs(size), of_a_jump(size))} K within {duration_text((end - start) / NS_PER_S)}",
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
    scan_s = _scan_s(signal, trace)
    least = _least_jump(trace, scan_s, settings)
    if len(trace) < 4 * settings.jump_window or not math.isfinite(scan_s):
        return settings.wild_k
    if scan_s > AT_ONCE_S:
        usual = float(
            np.abs(np.diff(trace.value)).max()
        )  # one of them may be on its way back at the same moment
        return min(max(least, settings.jump_outruns * usual) + usual, settings.wild_k)
    spans = np.lib.stride_tricks.sliding_window_view(trace.value, settings.jump_window)
    some = np.ascontiguousarray(spans[:: max(1, len(spans) // 20_000)].T)  # compared sample beside sample
    scatter = quantile(some.max(axis=0) - some.min(axis=0), 0.9)
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
    """Smallest step that stands out [K]; infinite where nobody knows how far apart scans were."""
    if not math.isfinite(scan_s):
        return math.inf
    spread = trace.once("usual step", lambda: _usual_step(trace))
    base = settings.jump_k if scan_s <= 10.0 else settings.jump_slow_k
    return max(base, settings.jump_spreads * max(spread, trace.resolution / 2))


def _usual_step(trace: Trace) -> float:
    some = np.diff(trace.value[:200_000])
    return NORMAL_MAD * median(np.abs(some)) if some.size else 0.0


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


def _lasts(trace: Trace, i: int, settings: TemperatureFaultSettings) -> bool:
    """Whether the temperature is still away on the day after sample `i`, and on the last day of the record."""
    day = max(settings.jump_window, round(NS_PER_DAY / NS_PER_S / trace.interval_s))
    before, after = trace.value[max(i + 1 - day, 0) : i + 1], trace.value[i + 1 :]
    if min(before.size, after.size) < settings.jump_window:
        return False
    level, step = median(before), float(trace.value[i + 1] - trace.value[i])
    away = (median(after[:day]) - level, median(after[-day:]) - level)
    return all(share * step > 0 and abs(share) >= LEFT * abs(step) for share in away)


def _resumes(trace: Trace, i: int, settings: TemperatureFaultSettings) -> bool:
    """Whether a jump leads to where the temperature mostly was before: a line that stood cold and is started again."""
    after = median(trace.value[i + 1 : i + 1 + settings.jump_window])
    step = float(trace.value[i + 1] - trace.value[i])
    return abs(after - median(trace.value[: i + 1])) <= RESUMED * abs(step)


def _calm(record: Record, trace: Trace, i: int) -> bool:
    """Whether the point is measuring around a step."""
    around: TimeArray = trace.time[[max(i - 1, 0), i, i + 1, min(i + 2, len(trace) - 1)]]
    return {int(code) for code in record.states.at(around)} <= {MEASURING, NO_DATA}


def _jump_event(
    record: Record,
    trace: Trace,
    at: tuple[int, int | None],
    size: float,
    scan_s: float,
    others: float = math.nan,
) -> Event:
    """An offset; `others`: the largest other change of a record whose samples are too far apart to tell a jump from a ramp."""
    i, back = at
    end = int(trace.time[back + 1]) if back is not None else int(trace.time[-1]) + 1
    start = int(trace.time[i + 1])
    facts = [
        f"jumped by {number(size, of_a_jump(size), signed=True)} K from one sample to the next, {scan_s:g} s apart"
    ]
    facts.append(
        f"jumped back after {duration_text((end - start) / NS_PER_S)}"
        if back is not None
        else "did not come back in this record"
    )
    told = not math.isfinite(others)
    if not told:
        facts.append(f"nothing else moved it by more than {written(others, 2)} K between samples")
    return element_event(
        record,
        trace,
        (start, end),
        size=size,
        confidence=UNTOLD if not told else 0.75 if back is not None else 0.6,
        origin="probe" if told else "undecided",
        severity="check",
        evidence=tuple(facts),
        details={"minutes_wrong_min": (end - start) / NS_PER_HOUR * 60},
        ends=(False, back is None),
    )
