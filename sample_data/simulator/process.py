"""What the plant does: throughput, ambient, medium temperature and the true value of the measured quantity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.simulator.grid import DAY_S, FloatArray, Grid, ar1, lag
from sample_data.simulator.spec import PointSpec, Process, Vessel
from sample_data.simulator.streams import stream

_LOCAL_OFFSET_S = 2 * 3600.0
_EPOCH_WEEKDAY = 3  # 1 January 1970 was a Thursday; Monday is 0


def week_time(grid: Grid) -> tuple[FloatArray, FloatArray]:
    """Weekday (0 Monday .. 6) and hour of the local day, to the plant's ear (UTC + 2 h all year)."""
    local = grid.t + grid.start_ns / 1e9 + _LOCAL_OFFSET_S
    return np.floor(local / DAY_S + _EPOCH_WEEKDAY) % 7, (local % DAY_S) / 3600.0


def throughput(vessel: Vessel, grid: Grid) -> FloatArray:
    """Share of full throughput: 1 on working days, `night` at night, `weekend` on Saturday and Sunday."""
    weekday, hour = week_time(grid)
    day = np.where((hour >= 6) & (hour < 22), 1.0, vessel.night)
    return lag(np.where(weekday >= 5, np.minimum(day, vessel.weekend), day), grid.step, 2400.0)


def ambient(vessel: Vessel, grid: Grid, seed: int) -> FloatArray:
    """Ambient temperature [degC]: daily swing, weather of a few days, and the hot days asked for."""
    _, hour = week_time(grid)
    rng = stream(seed, vessel.name, "ambient")
    weather = ar1(rng, grid.t.size, grid.step, 2.0, 2 * DAY_S)
    swing = vessel.ambient_swing * np.cos((hour - 15.0) / 24 * 2 * np.pi)
    air = vessel.ambient + weather + swing
    for day in vessel.hot_days:
        air += vessel.hot_rise * np.exp(-0.5 * ((grid.t / DAY_S - day - 0.54) / 0.14) ** 2)
    return air


def visits(rng: np.random.Generator, days: float, dwell: float) -> FloatArray:
    """Days at which a set-point changes: dwell times between a half and one and a half of `dwell`."""
    count = int(days / dwell * 2) + 3
    return np.cumsum(dwell * rng.uniform(0.5, 1.5, count))


def plateaus(
    rng: np.random.Generator, grid: Grid, levels: tuple[float, ...], dwell: float
) -> tuple[FloatArray, list[tuple[float, float]]]:
    """Piecewise constant set-point and its changes (day, size): never the same level twice in a row."""
    changes = visits(rng, grid.days, dwell)
    changes = changes[changes < grid.days]
    order = [int(rng.integers(len(levels)))]
    for _ in changes:
        order.append(int((order[-1] + rng.integers(1, max(len(levels), 2))) % len(levels)))
    index = np.searchsorted(changes * DAY_S, grid.t, side="right")
    level = np.asarray(levels)[np.asarray(order)]
    moves = [(float(day), float(size)) for day, size in zip(changes, np.diff(level), strict=True) if size]
    return level[index], moves


def medium_temperature(vessel: Vessel, grid: Grid, seed: int) -> FloatArray:
    """Temperature of the medium without any routine heat [degC]."""
    rng = stream(seed, vessel.name, "temperature")
    target, _ = plateaus(rng, grid, vessel.temperature, vessel.temperature_dwell_days)
    base = lag(target, grid.step, vessel.temperature_tau_s)
    air = ambient(vessel, grid, seed) - vessel.ambient
    return base + vessel.ambient_gain * air + ar1(rng, grid.t.size, grid.step, vessel.temperature_sd, 1200.0)


@dataclass(frozen=True)
class TrueProcess:
    """The process as it is: `level` moves slowly, `fast` is what a coating would smooth away.

    moves: set-point changes (day, size) for the truth table.
    """

    level: FloatArray
    fast: FloatArray
    moves: list[tuple[float, float]]


def true_process(spec: PointSpec, grid: Grid, seed: int) -> TrueProcess:
    """True value of the measured quantity while the process runs."""
    process = spec.process
    name = spec.shared_process or spec.name
    load = throughput(spec.vessel, grid)
    target, moves = plateaus(stream(seed, name, "setpoint"), grid, process.setpoints, process.dwell_days)
    target = target + process.load_gain * (load - 1.0) + _batch(process, grid, stream(seed, name, "batch"))
    for fault in spec.faults:
        if fault.kind == "lookalike_setpoint_step":
            target[grid.slice(fault.day * DAY_S, (fault.day + fault.days) * DAY_S)] += fault.size
    level = lag(target, grid.step, process.tau_s)
    busy = np.sqrt(np.clip(load, 0.02, 1.0))
    for fault in spec.faults:
        part = grid.slice(fault.day * DAY_S, (fault.day + fault.days) * DAY_S)
        if fault.kind in ("lookalike_process_upset", "lookalike_quiet_process"):
            busy[part] *= fault.size
        if fault.kind == "lookalike_process_drift":
            ramp = np.interp(
                grid.t, np.array([0, 0.5, 1.0, 1.15]) * fault.days * DAY_S + fault.day * DAY_S, [0, 1, 1, 0]
            )
            level = level + fault.size * ramp
    scale = np.abs(level) if process.proportional else np.ones_like(level)
    slow = ar1(stream(seed, name, "slow"), grid.t.size, grid.step, process.slow_sd, process.slow_tau_s)
    fast = ar1(stream(seed, name, "fast"), grid.t.size, grid.step, process.fast_sd, process.fast_tau_s)
    return TrueProcess(
        np.clip(level + slow * scale * busy, process.low, process.high), fast * scale * busy, moves
    )


def _batch(process: Process, grid: Grid, rng: np.random.Generator) -> FloatArray:
    """A saturating course over each batch, zero when the process is continuous."""
    if process.batch_days <= 0:
        return np.zeros_like(grid.t)
    starts = np.concatenate([[0.0], visits(rng, grid.days, process.batch_days)]) * DAY_S
    depth = process.batch_depth * rng.uniform(0.85, 1.15, starts.size)
    index = np.searchsorted(starts, grid.t, side="right") - 1
    into = (grid.t - starts[index]) / (process.batch_days * DAY_S)
    return depth[index] * (1.0 - np.exp(-3.0 * into))
