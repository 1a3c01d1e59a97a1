"""Signals as a plant makes them and records as recorders keep them, with the rule they were kept by.

Every recorder takes a fast signal on an even grid and gives times and values.  ``CASES`` lists the rules; the
test of the recording rules and the benchmark of the confusion table read the same list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, TimeArray
from excursions.records import FloatArray
from tests.builders import coloured, grid, level, on_exception, quantised, swinging_door

Kept = tuple[TimeArray, FloatArray]

# name: level, smallest step of the transmitter's output, slow movement and noise in steps when busyness is 1
MEASURANDS: dict[str, tuple[float, float, float, float]] = {
    "ph": (7.1, 0.01, 20.0, 1.5),
    "redox": (352.0, 1.0, 15.0, 1.0),
    "conductivity": (1213.0, 0.1, 60.0, 6.0),
    "oxygen": (6.2, 0.01, 30.0, 2.0),
    "turbidity": (3.4, 0.001, 80.0, 12.0),
    "temperature": (37.0, 0.1, 25.0, 0.4),
}
BUSY = {"quiet": 0.12, "usual": 1.0, "busy": 4.0}


@dataclass(frozen=True)
class Made:
    """A record with the rule it was kept by (`kind` as the tool names it) and the figures of that rule."""

    name: str
    kind: str
    time: TimeArray
    value: FloatArray
    measurand: str
    interval_s: float = float("nan")
    heartbeat_s: float = float("nan")
    deadband: float = 0.0
    step: float = 0.0


def plant_signal(
    measurand: str, n: int, every_s: float, busy: float, seed: int, *, tau_s: float = 1800.0
) -> FloatArray:
    """Slow movement with a time constant, and white noise; a spiky tail for turbidity; not yet rounded."""
    at, step, slow, noise = MEASURANDS[measurand]
    x = coloured(n, at, slow * step * busy, max(tau_s / every_s, 0.5), seed)
    x = x + level(n, 0.0, noise * step * busy, seed + 1000)
    if measurand == "turbidity":
        rng = np.random.default_rng(seed + 2000)
        x = x + step * 40 * busy * rng.exponential(1.0, n) * (rng.random(n) < 0.01)
    return x


def on_grid(measurand: str, busy: float, seed: int, *, every_s: float, n: int = 6000) -> Kept:
    """Every value of the transmitter, rounded to its smallest step."""
    step = MEASURANDS[measurand][1]
    return grid(n, every_s), quantised(plant_signal(measurand, n, every_s, busy, seed), step)


def jittered(measurand: str, busy: float, seed: int, *, every_s: float, share: float, n: int = 6000) -> Kept:
    """The same with a clock that is late by up to a share of the interval."""
    time, value = on_grid(measurand, busy, seed, every_s=every_s, n=n)
    late = np.random.default_rng(seed + 3000).random(n) * share * every_s
    return time + (late * 1000).astype(np.int64) * (NS_PER_S // 1000), value


def fast(measurand: str, busy: float, seed: int, *, scan_s: float, n: int) -> Kept:
    """The transmitter at the scan interval of a recorder."""
    return on_grid(measurand, busy, seed, every_s=scan_s, n=n)


def averaged(
    measurand: str, busy: float, seed: int, *, of: int, scan_s: float, digits: int = 4, n: int = 3000
) -> Kept:
    """Means of `of` scans, printed with some digits beyond the transmitter's own."""
    step = MEASURANDS[measurand][1]
    _, value = fast(measurand, busy, seed, scan_s=scan_s, n=n * of)
    means = value.reshape(n, of).mean(axis=1)
    return grid(n, of * scan_s), np.round(means, digits + max(0, round(-np.log10(step))))


def interpolated(kept: Kept, every_s: float, printed: int | None = None) -> Kept:
    """What an export on a grid draws from a sparing record."""
    time, value = kept
    at = np.arange(int(time[0]), int(time[-1]), round(every_s * NS_PER_S), dtype=np.int64)
    drawn = np.interp(at.astype(np.float64), time.astype(np.float64), value)
    return at, drawn if printed is None else np.round(drawn, printed)


def repeated(kept: Kept, every_s: float) -> Kept:
    """What an export on a grid gives that repeats the last value instead of drawing a line."""
    time, value = kept
    at = np.arange(int(time[0]), int(time[-1]), round(every_s * NS_PER_S), dtype=np.int64)
    return at, value[np.searchsorted(time, at, side="right") - 1]


def _step(measurand: str) -> float:
    return MEASURANDS[measurand][1]


def _exception(m: str, b: float, s: int, scan_s: float, band: float, beat_s: float) -> Kept:
    time, value = fast(m, b, s, scan_s=scan_s, n=24_000)
    return on_exception(time, value, band * _step(m), beat_s)


def _door(m: str, b: float, s: int, scan_s: float, band: float, beat_s: float) -> Kept:
    time, value = fast(m, b, s, scan_s=scan_s, n=24_000)
    return swinging_door(time, value, band * _step(m), beat_s)


def _mixed(m: str, b: float, s: int) -> Kept:
    """Recorded on exception at first, then on a grid: somebody changed the recorder."""
    time, value = _exception(m, b, s, 10.0, 3.0, 3600.0)
    then, late = on_grid(m, b, s + 1, every_s=60.0, n=2500)
    return np.concatenate([time, then - then[0] + time[-1] + 60 * NS_PER_S]), np.concatenate([value, late])


NONE = float("nan")
Maker = Callable[[str, float, int], Kept]
RULES: tuple[tuple[str, str, Maker, float, float, float], ...] = (
    # name, kind, maker, interval [s], heartbeat [s], dead band in steps
    ("grid 1 s", "grid", lambda m, b, s: on_grid(m, b, s, every_s=1.0), 1.0, NONE, 0),
    ("grid 10 s", "grid", lambda m, b, s: on_grid(m, b, s, every_s=10.0), 10.0, NONE, 0),
    ("grid 60 s", "grid", lambda m, b, s: on_grid(m, b, s, every_s=60.0), 60.0, NONE, 0),
    ("grid 10 min", "grid", lambda m, b, s: on_grid(m, b, s, every_s=600.0, n=3000), 600.0, NONE, 0),
    ("jitter 5 %", "grid", lambda m, b, s: jittered(m, b, s, every_s=60.0, share=0.05), 60.0, NONE, 0),
    ("jitter 30 %", "grid", lambda m, b, s: jittered(m, b, s, every_s=60.0, share=0.3), 60.0, NONE, 0),
    ("exception 10 s, beat 10 min", "exception", lambda m, b, s: _exception(m, b, s, 10.0, 2.0, 600.0), NONE, 600.0, 2),
    ("exception 1 s, beat 1 h", "exception", lambda m, b, s: _exception(m, b, s, 1.0, 5.0, 3600.0), NONE, 3600.0, 5),
    ("exception 10 s, no beat", "exception", lambda m, b, s: _exception(m, b, s, 10.0, 3.0, 1e9), NONE, NONE, 3),
    ("swinging 10 s, beat 1 h", "swinging", lambda m, b, s: _door(m, b, s, 10.0, 2.0, 3600.0), NONE, 3600.0, 2),
    ("swinging 10 s, beat 8 h", "swinging", lambda m, b, s: _door(m, b, s, 10.0, 4.0, 28_800.0), NONE, 28_800.0, 4),
    ("interpolated 60 s of exception", "interpolated", lambda m, b, s: interpolated(_exception(m, b, s, 10.0, 4.0, 3600.0), 60.0), 60.0, NONE, 0),
    ("interpolated 5 min of door", "interpolated", lambda m, b, s: interpolated(_door(m, b, s, 10.0, 4.0, 28_800.0), 300.0), 300.0, NONE, 0),
    ("interpolated 60 s, printed", "interpolated", lambda m, b, s: interpolated(_exception(m, b, s, 10.0, 4.0, 3600.0), 60.0, 4), 60.0, NONE, 0),
    ("averages 60 s", "averages", lambda m, b, s: averaged(m, b, s, of=6, scan_s=10.0), 60.0, NONE, 0),
    ("averages 10 min", "averages", lambda m, b, s: averaged(m, b, s, of=60, scan_s=10.0, n=1500), 600.0, NONE, 0),
    ("repeated 60 s of exception", "interpolated", lambda m, b, s: repeated(_exception(m, b, s, 10.0, 4.0, 3600.0), 60.0), 60.0, NONE, 0),
    ("mixed", "mixed", _mixed, NONE, NONE, 0),
)  # fmt: skip


def cases(seeds: range) -> Iterator[tuple[str, Made]]:
    """Every rule over every measurand, quiet to busy; the first text says how busy."""
    for name, kind, maker, interval, beat, band in RULES:
        for measurand in MEASURANDS:
            for busy, size in BUSY.items():
                for seed in seeds:
                    time, value = maker(measurand, size, seed)
                    step = _step(measurand)
                    yield busy, Made(name, kind, time, value, measurand, interval, beat, band * step, step)
