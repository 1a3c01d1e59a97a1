"""What the historian and its export make of the signals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.simulator.compress import exception, swinging_door
from sample_data.simulator.grid import DAY_S, NS, FloatArray, IntArray
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.signal import ByteArray
from sample_data.simulator.streams import stream


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How a tag is recorded and exported.

    kind: ``instant`` (a sample every interval), ``exception``, ``swinging``, ``averages``,
    ``interpolated`` (exception record drawn on a grid); deadband: share of the signal's own fast noise
    when below 1e-9 is not given: absolute, signal's unit; heartbeat_s: longest silence;
    duplicates, disorder: share of rows doubled and out of order.
    """

    kind: str = "instant"
    interval_s: float = 60.0
    deadband: float = 0.0
    temperature_deadband: float = 0.1
    heartbeat_s: float = 3600.0
    duplicates: float = 0.0
    disorder: float = 0.0


@dataclass(frozen=True)
class Outage:
    """The whole export misses [day, day + hours); bridged: the export drew a line across it."""

    day: float
    hours: float
    bridged: bool = False


@dataclass(frozen=True)
class TagRows:
    """One exported tag: time ns UTC, value (NaN: none), quality (0 good, 1 uncertain, 2 bad), status word index."""

    tag: str
    unit: str
    time: IntArray
    value: FloatArray
    quality: ByteArray
    status: ByteArray


def quantise(x: FloatArray, resolution: float) -> FloatArray:
    """Round to the resolution of the transmitter's output."""
    return np.round(x / resolution) * resolution if resolution > 0 else x


def record(
    sim: SimulatedPoint, sampling: Sampling, outages: tuple[Outage, ...] = (), *, seed: int = 0
) -> dict[str, TagRows]:
    """Export of a point's signals by role: value, temperature and, where the plant has them, hold and wash.

    Hold and wash flags are recorded on change with the heartbeat.
    """
    spec = sim.spec
    value = quantise(sim.reading, spec.resolution)
    warm = quantise(sim.temperature, spec.temperature_resolution)
    roles = {
        "value": _export(sim, "value", value, spec.unit, sampling, sampling.deadband, outages, seed),
        "temperature": _export(
            sim, "temperature", warm, "degC", sampling, sampling.temperature_deadband, outages, seed
        ),
    }
    flag = Sampling(kind="exception", interval_s=sim.grid.step, deadband=0.5, heartbeat_s=DAY_S)
    for role, given, signal in (
        ("hold", spec.care.hold_flag, sim.hold),
        ("wash", spec.care.wash_flag, sim.wash),
    ):
        if given:
            roles[role] = _export(sim, role, signal.astype(float), "", flag, 0.5, outages, seed)
    return roles


def _export(
    sim: SimulatedPoint,
    role: str,
    x: FloatArray,
    unit: str,
    sampling: Sampling,
    deadband: float,
    outages: tuple[Outage, ...],
    seed: int,
) -> TagRows:
    grid = sim.grid
    own = role == "value"
    gone = sim.missing.copy() if own else np.zeros(x.size, bool)
    bridge = np.zeros(x.size, bool)
    for outage in outages:
        part = grid.slice(outage.day * DAY_S, (outage.day + outage.hours / 24) * DAY_S)
        gone[part] = True
        bridge[part] = outage.bridged
    quality = sim.quality if own else np.zeros(x.size, np.uint8)
    status = sim.status if own else np.zeros(x.size, np.uint8)
    every = max(round(sampling.interval_s / grid.step), 1)
    if sampling.kind == "averages":
        rows = _averages(grid.t, x, gone, quality, every)
        time, value, quality, status = rows[0], rows[1], rows[2], np.zeros(rows[0].size, np.uint8)
    else:
        time, value, quality, status, gone, bridge = (
            a[::every] for a in (grid.t, x, quality, status, gone, bridge)
        )
        if sampling.kind in ("exception", "swinging", "interpolated"):
            rule = swinging_door if sampling.kind == "swinging" else exception
            kept = rule(time, np.where(gone | (quality > 0), np.nan, value), deadband, sampling.heartbeat_s)
        else:
            kept = np.ones(time.size, bool)
        kept &= ~gone
        if sampling.kind == "interpolated":
            value, kept = np.interp(time, time[kept], value[kept]), ~gone | bridge
        elif np.any(bridge & gone):
            line = np.interp(time, time[~gone], value[~gone])
            value = np.where(bridge & gone, line, value)
            kept |= bridge & gone
        time, value, quality, status = time[kept], value[kept], quality[kept], status[kept]
    stamp = grid.start_ns + np.round(time * NS).astype(np.int64)
    rows_out = TagRows("", unit, stamp, value, quality.astype(np.uint8), status.astype(np.uint8))
    return _untidy(rows_out, sampling, stream(seed, sim.spec.name, role, "untidy"))


def _averages(
    t: FloatArray, x: FloatArray, gone: np.ndarray, quality: ByteArray, every: int
) -> tuple[FloatArray, FloatArray, ByteArray]:
    """Means over whole intervals, stamped at the start; an interval without any sample is absent."""
    n = t.size // every * every
    good = ~gone[:n].reshape(-1, every)
    count = good.sum(axis=1)
    total = np.where(good, x[:n].reshape(-1, every), 0.0).sum(axis=1)
    kept = count > 0
    worst = quality[:n].reshape(-1, every).max(axis=1)
    return t[:n:every][kept], total[kept] / count[kept], worst[kept]


def _untidy(rows: TagRows, sampling: Sampling, rng: np.random.Generator) -> TagRows:
    """Rows written twice and rows out of order."""
    n = rows.time.size
    order = np.arange(n)
    if sampling.duplicates > 0:
        order = np.sort(np.concatenate([order, rng.integers(0, n, int(n * sampling.duplicates))]))
    if sampling.disorder > 0:
        swap = rng.integers(0, order.size - 1, int(order.size * sampling.disorder))
        order[swap], order[swap + 1] = order[swap + 1].copy(), order[swap].copy()
    return TagRows(
        rows.tag, rows.unit, rows.time[order], rows.value[order], rows.quality[order], rows.status[order]
    )
