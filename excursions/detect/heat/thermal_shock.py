"""Thermal shock: heated or cooled faster than glass and membranes like, and faster than this line usually does.

Coarse samples average a rate away: what is found is a lower bound, and nothing found at samples of
many minutes means that nothing can be said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.survey import heat_of
from excursions.digits import written
from excursions.ranks import median
from excursions.records import Event, FloatArray, IndexArray, Record
from excursions.runs import runs
from excursions.states.element import FASTEST_K_PER_S, failing
from excursions.states.heat import Usual
from excursions.states.trace import Trace


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermalShockSettings:
    """What counts as a shock."""

    rate_k_per_min: float = 40.0  # (cp) quenching or live steam; ordinary sterilisations stay below 10 to 30
    cycle_k_per_min: float = 1.5  # ordinary heating and cooling is faster than this (cp)
    swing_k: float = 40.0  # (cp) a smaller change cracks nothing, however fast
    hard_swing_k: float = 60.0  # (cp) from here on worth a check of the probe
    unusual_k_per_min: float = 30.0  # (cp) fast enough when this line is never nearly as fast otherwise
    times_usual: float = 3.0  # and so many times as fast as the usual change of this line (cp)
    known: int = 5  # other swings that must be known to say what is usual
    habit: int = 3  # so many others nearly as fast make it this line's habit
    nearly: float = 2.0 / 3.0  # share of the rate from which another swing counts as nearly as fast
    window_s: float = 60.0  # the rate is that over this time; a faster one is not told from a wild sample
    settle_s: float = 300.0  # the new temperature must stand this long; a wild sample does not
    lowest_degc: float = -10.0  # below, it is no temperature of a process in water (cp)


def detect_thermal_shock(record: Record, settings: ThermalShockSettings | None = None) -> tuple[Event, ...]:
    """Find swings of the temperature that are too fast for a probe.

    Parameters
    ----------
    record : Record
    settings : ThermalShockSettings, optional

    Returns
    -------
    tuple of Event
        Kind ``thermal_shock``; size is the fastest change over a minute [K/min].
    """
    settings = settings or ThermalShockSettings()
    heat = heat_of(record)
    if heat is None or len(heat.trace) < 3:
        return ()
    trace, usual = heat.trace, heat.usual
    found = (_swing(trace, int(first), int(past), settings) for first, past in _fast(trace, settings))
    wrong = failing(trace, low=usual.low, middle=usual.middle, high=usual.high)
    swings = [
        swing
        for swing in found
        if swing is not None
        and not _meets(wrong, swing.first, swing.last)
        and _stands(trace, swing, usual, settings)
    ]
    events = []
    for swing in swings:
        others = np.array([abs(s.rate) for s in swings if s is not swing and s.rate * swing.rate > 0])
        if _too_fast(abs(swing.rate), others, settings):
            events.append(_event(record, trace, swing, settings, others))
    return tuple(events)


def _meets(ranges: IndexArray, first: int, last: int) -> bool:
    """Whether samples `first` to `last` touch one of the index ranges."""
    return bool(ranges.size and ((ranges[:, 0] <= last) & (ranges[:, 1] > first)).any())


def _too_fast(rate: float, others: FloatArray, settings: ThermalShockSettings) -> bool:
    """Against the absolute limit unless it is a habit, and against what this line usually does."""
    habit = np.count_nonzero(others >= settings.nearly * rate) >= settings.habit
    if rate >= settings.rate_k_per_min:
        return not habit
    usual = float(np.max(others)) if others.size >= settings.known else np.inf
    return rate >= settings.unusual_k_per_min and rate > settings.times_usual * usual


@dataclass(frozen=True, slots=True, kw_only=True)
class _Swing:
    """A fast change from sample `first` to `last`: `rate` [K/min], from and to [degC]."""

    first: int
    last: int
    rate: float
    before: float
    after: float


def _fast(trace: Trace, settings: ThermalShockSettings) -> IndexArray:
    """Stretches of samples in which the temperature heats or cools as in a cycle or faster."""
    lag = max(1, round(settings.window_s / max(trace.interval_s, 1e-3)))
    if len(trace) <= lag:
        return np.empty((0, 2), dtype=np.int64)
    signed = trace.value[lag:] - trace.value[:-lag]
    limit = settings.cycle_k_per_min * max(settings.window_s, trace.interval_s) / 60.0
    hits = np.concatenate([runs(signed >= limit), runs(signed <= -limit)])
    hits = hits[np.argsort(hits[:, 0], kind="stable")]
    hits[:, 1] += lag
    large = np.array([np.ptp(trace.value[a:b]) >= settings.swing_k for a, b in hits], dtype=np.bool_)
    return hits[large]


def _swing(trace: Trace, first: int, past: int, settings: ThermalShockSettings) -> _Swing | None:
    """The swing in a stretch, None when it is too small or no element follows that fast."""
    time, value = trace.time[first:past], trace.value[first:past]
    here = np.arange(1, time.size)
    back = np.searchsorted(time, time[1:] - round(settings.window_s * NS_PER_S), side="right") - 1
    back = np.clip(back, 0, here - 1)
    lasted = (time[here] - time[back]) / NS_PER_S
    change = value[here] - value[back]
    rate = np.where(
        lasted <= trace.gap_s + settings.window_s, change / np.maximum(lasted, settings.window_s), 0.0
    )
    top = int(np.argmax(np.abs(rate)))
    low, high = _ends(value, back[top], here[top])
    single = np.abs(np.diff(value[low : high + 1])) / (np.diff(time[low : high + 1]) / NS_PER_S)
    swing = _Swing(
        first=first + low,
        last=first + high,
        rate=float(rate[top]) * 60.0,
        before=float(value[low]),
        after=float(value[high]),
    )
    if abs(swing.after - swing.before) < settings.swing_k or single.max() > FASTEST_K_PER_S:
        return None
    return swing


def _ends(value: FloatArray, low: int, high: int) -> tuple[int, int]:
    """Widen a fast change to where the temperature turns."""
    sign = np.sign(value[high] - value[low])
    steps = np.sign(np.diff(value)) != sign
    before, after = np.flatnonzero(steps[:low]), np.flatnonzero(steps[high:])
    return (int(before[-1]) + 1 if before.size else 0), (
        high + int(after[0]) if after.size else value.size - 1
    )


def _stands(trace: Trace, swing: _Swing, usual: Usual, settings: ThermalShockSettings) -> bool:
    """Whether the temperature was and stays near its ends, alive: no wild sample, no open circuit."""
    reach = round(settings.settle_s * NS_PER_S)
    before = trace.value[trace.slice(int(trace.time[swing.first]) - reach, int(trace.time[swing.first]) + 1)]
    after = trace.value[trace.slice(int(trace.time[swing.last]), int(trace.time[swing.last]) + reach)]
    if min(before.size, after.size) < 2 or min(swing.before, swing.after) < settings.lowest_degc:
        return False
    half = 0.5 * abs(swing.after - swing.before)
    stood = abs(median(before) - swing.before) < half and abs(median(after) - swing.after) < half
    dead = any(
        side.size > 2 and np.ptp(side) == 0.0 and not usual.low - half <= side[0] <= usual.high + half
        for side in (before, after)
    )
    return bool(stood and not dead)


def _event(
    record: Record, trace: Trace, swing: _Swing, settings: ThermalShockSettings, others: FloatArray
) -> Event:
    change = swing.after - swing.before
    start, end = int(trace.time[swing.first]), int(trace.time[swing.last])
    at_least = "at least " if trace.interval_s >= settings.window_s / 2 else ""
    facts = [
        f"{'heated' if change > 0 else 'cooled'} from {swing.before:.0f} °C to {swing.after:.0f} °C,"
        f" {at_least}{abs(swing.rate):.0f} K in a minute"
    ]
    near = int(np.count_nonzero(others >= settings.nearly * abs(swing.rate)))
    if others.size:
        facts.append(f"the next fastest of {others.size} others: {written(others.max(), 2)} K in a minute")
    return Event(
        point=record.point.name,
        kind="thermal_shock",
        start=start,
        end=max(end, start + 1),
        size=abs(swing.rate),
        size_unit="K/min",
        size_low=abs(swing.rate),
        size_high=float("nan") if at_least else abs(swing.rate),
        confidence=0.8 - 0.1 * near,
        severity="check" if abs(change) >= settings.hard_swing_k else "note",
        probe=record.probe_at(start),
        onset_uncertainty_s=trace.interval_s,
        evidence=tuple(facts),
        details={
            "before_degc": swing.before,
            "after_degc": swing.after,
            ("heating_rate_k_per_min" if change > 0 else "cooling_rate_k_per_min"): abs(swing.rate),
        },
    )
