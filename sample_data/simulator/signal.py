"""What goes wrong between probe and transmitter: stuck, noise, spikes, the temperature element, the line."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter  # type: ignore[import-untyped]

from sample_data.simulator.grid import DAY_S, FloatArray, Grid, lag
from sample_data.simulator.spec import Fault, PointSpec
from sample_data.simulator.streams import stream

BoolArray = NDArray[np.bool_]
ByteArray = NDArray[np.uint8]
GOOD, UNCERTAIN, BAD = 0, 1, 2


@dataclass
class Wire:
    """Arrays the signal faults work on (in place): reading, temperature, rows that never came, quality, status word index."""

    grid: Grid
    reading: FloatArray
    temperature: FloatArray
    missing: BoolArray
    quality: ByteArray
    status: ByteArray


def fast_noise(reading: FloatArray, grid: Grid, before: float, hours: float = 24.0) -> float:
    """Robust standard deviation of one-minute differences over root two, in the hours before `before` [s]."""
    every = max(round(60 / grid.step), 1)
    part = reading[grid.slice(max(before - hours * 3600, 0.0), before)][::every]
    if part.size < 30:
        part = reading[grid.slice(before, before + hours * 3600)][::every]
    moves = np.diff(part)
    moves = moves[np.isfinite(moves)]
    return float(1.4826 * np.median(np.abs(moves)) / np.sqrt(2)) if moves.size else float("nan")


def slow_noise(
    reading: FloatArray, grid: Grid, before: float, *, hours: float = 1.0, days: float = 3.0
) -> float:
    """Robust standard deviation of the differences of `hours`-long means over root two, in the `days` before [s]."""
    part = reading[grid.slice(max(before - days * DAY_S, 0.0), before)]
    every = max(round(hours * 3600 / grid.step), 1)
    whole = part[: part.size // every * every].reshape(-1, every)
    if whole.shape[0] < 3:
        return float("nan")
    moves = np.diff(np.median(whole, axis=1))
    return float(1.4826 * np.median(np.abs(moves)) / np.sqrt(2))


def variable_lag(x: FloatArray, step: float, tau: FloatArray) -> FloatArray:
    """First-order response whose time constant `tau` (n,) moves: constant within steps of ten per cent."""
    grade = np.round(np.log(np.maximum(tau, 1e-3)) / 0.1).astype(np.int64)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(grade)) + 1, [x.size]])
    out = np.empty_like(x)
    last = x[0] if x.size else 0.0
    for first, end in itertools.pairwise(edges):
        keep = float(np.exp(-step / np.exp(0.1 * grade[first])))
        part, _ = lfilter([1.0 - keep], [1.0, -keep], x[first:end], zi=[keep * last])
        out[first:end] = part
        last = part[-1]
    return out


def _span(fault: Fault, grid: Grid) -> slice:
    end = grid.days if np.isnan(fault.days) else fault.day + fault.days
    return grid.slice(fault.day * DAY_S, end * DAY_S)


def _stuck(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    part = _span(fault, wire.grid)
    if fault.mode == "glass" or part.start >= part.stop:
        return
    level = wire.reading[part.start]
    if fault.mode == "flicker":
        wire.reading[part] = level + spec.resolution * rng.integers(-1, 2, part.stop - part.start)
    elif fault.mode == "slow":
        wire.reading[part] = level + 0.05 * (lag(wire.reading[part], wire.grid.step, 6 * 3600) - level)
    elif fault.mode == "repeat":
        block = wire.reading[wire.grid.slice(fault.day * DAY_S - 3600, fault.day * DAY_S)]
        wire.reading[part] = np.resize(block, part.stop - part.start)
    else:
        wire.reading[part] = level


def _pinned(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    wire.reading[_span(fault, wire.grid)] = spec.range[0] if fault.mode == "low" else spec.range[1]


def _noise_growth(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    part = _span(fault, wire.grid)
    n = part.stop - part.start
    base = fast_noise(wire.reading, wire.grid, fault.day * DAY_S)
    course = np.linspace(0, 1, n) if fault.mode == "gradual" else np.ones(n)
    ratio = 1 + (fault.size - 1) * course
    # The ratio is meant at one minute: white noise keeps its size at any slower sampling.
    wire.reading[part] += base * np.sqrt(np.maximum(ratio**2 - 1, 0)) * rng.standard_normal(n)


def _periodic(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    part = _span(fault, wire.grid)
    period = fault.more.get("period_s", 600.0)
    wire.reading[part] += fault.size * np.sin(2 * np.pi * wire.grid.t[part] / period)


def _spikes(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    part = _span(fault, wire.grid)
    n = part.stop - part.start
    count = max(int(fault.more.get("per_hour", 4.0) * n * wire.grid.step / 3600), 3)
    width = max(round(fault.more.get("width_s", 60.0) / wire.grid.step), 1)
    height = fault.size * rng.uniform(0.4, 1.0, count)
    at = rng.integers(0, max(n - width, 1), count)
    for offset in range(width):
        wire.reading[part.start + at + offset] += height


def _out_of_range(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    wire.reading[_span(fault, wire.grid)] = fault.size


def _temperature_fault(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    part = _span(fault, wire.grid)
    n = part.stop - part.start
    if fault.mode == "open":
        wire.temperature[part] = fault.more.get("end", 200.0)
    elif fault.mode == "flicker":
        bursts = np.repeat(rng.random(n // 6 + 1) < 0.25, 6)[:n]
        wire.temperature[part] += np.where(bursts, fault.size, 0.0)
    else:
        wire.temperature[part] += fault.size * (np.linspace(0, 1, n) if fault.mode == "drift" else 1.0)


def _bouts(fault: Fault, grid: Grid, rng: np.random.Generator) -> BoolArray:
    """Samples hit by an on-and-off failure within the fault's span."""
    part = _span(fault, grid)
    hit = np.zeros(grid.t.size, dtype=bool)
    if fault.mode != "bouts":
        hit[part] = True
        return hit
    for start in rng.uniform(fault.day, fault.day + fault.days, int(fault.more.get("count", 12))):
        hit[
            grid.slice(
                start * DAY_S, start * DAY_S + rng.uniform(0.4, 1.6) * fault.more.get("length_s", 600.0)
            )
        ] = True
    return hit


def _dropout(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    wire.missing |= _bouts(fault, wire.grid, rng)


def _bad_quality(fault: Fault, spec: PointSpec, wire: Wire, rng: np.random.Generator) -> None:
    hit = _bouts(fault, wire.grid, rng)
    wire.quality[hit] = BAD
    wire.status[hit] = int(fault.more.get("word", 0))


SIGNAL_FAULTS: dict[str, Callable[[Fault, PointSpec, Wire, np.random.Generator], Any]] = {
    "noise_growth": _noise_growth,
    "periodic": _periodic,
    "spikes": _spikes,
    "stuck": _stuck,
    "pinned": _pinned,
    "out_of_range": _out_of_range,
    "dropout": _dropout,
    "bad_quality": _bad_quality,
}


def apply(spec: PointSpec, wire: Wire, seed: int) -> None:
    """Apply every fault of the value's path in the order of the table: a stuck value hides noise, an outage hides all."""
    for kind, action in SIGNAL_FAULTS.items():
        for fault in spec.faults:
            if fault.kind == kind:
                action(fault, spec, wire, stream(seed, spec.name, kind, f"{fault.day:.5f}"))


def element_faults(spec: PointSpec, wire: Wire, seed: int) -> None:
    """Faults of the temperature element; they enter the reading through the compensation."""
    for fault in spec.faults:
        if fault.kind == "temperature_fault":
            _temperature_fault(fault, spec, wire, stream(seed, spec.name, "element", f"{fault.day:.5f}"))
