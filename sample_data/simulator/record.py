"""What the historian and its export make of the signals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_data.simulator.compress import exception, swinging_door
from sample_data.simulator.grid import DAY_S, NS, FloatArray, IntArray
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.signal import BoolArray, ByteArray
from sample_data.simulator.streams import stream


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How a tag is recorded and exported.

    kind: ``instant`` (a sample every interval), ``exception``, ``swinging``, ``averages``,
    ``interpolated`` (exception record drawn on a grid); deadband, temperature_deadband: in the signal's
    unit (half width of the door when swinging); heartbeat_s: longest silence; duplicates, disorder: share
    of rows doubled and out of order.
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


@dataclass(frozen=True)
class _Offered:
    """What the historian was offered: seconds, values, quality, status, rows that never came, rows to be bridged."""

    t: FloatArray
    x: FloatArray
    quality: ByteArray
    status: ByteArray
    gone: BoolArray
    bridge: BoolArray

    def every(self, count: int) -> _Offered:
        """Every count-th instant."""
        return _Offered(
            *(getattr(self, name)[::count] for name in ("t", "x", "quality", "status", "gone", "bridge"))
        )

    def rows(self, keep: BoolArray, value: FloatArray) -> _Rows:
        """The kept rows, with these values."""
        return _Rows(self.t[keep], value[keep], self.quality[keep], self.status[keep])


@dataclass(frozen=True)
class _Rows:
    t: FloatArray
    value: FloatArray
    quality: ByteArray
    status: ByteArray


def _offered(sim: SimulatedPoint, role: str, x: FloatArray, outages: tuple[Outage, ...]) -> _Offered:
    own = role == "value"
    gone = sim.missing.copy() if own else np.zeros(x.size, bool)
    bridge = np.zeros(x.size, bool)
    for outage in outages:
        part = sim.grid.slice(outage.day * DAY_S, (outage.day + outage.hours / 24) * DAY_S)
        gone[part] = True
        bridge[part] = outage.bridged
    good = np.zeros(x.size, np.uint8)
    return _Offered(sim.grid.t, x, sim.quality if own else good, sim.status if own else good, gone, bridge)


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
    offered = _offered(sim, role, x, outages)
    every = max(round(sampling.interval_s / sim.grid.step), 1)
    if sampling.kind == "averages":
        rows = _averages(offered, every)
    elif sampling.kind == "interpolated":
        rows = _interpolated(offered, sampling, deadband, every)
    else:
        rows = _kept(offered.every(every), sampling, deadband)
    stamp = sim.grid.start_ns + np.round(rows.t * NS).astype(np.int64)
    table = TagRows("", unit, stamp, rows.value, rows.quality, rows.status)
    return _untidy(table, sampling, stream(seed, sim.spec.name, role, "untidy"))


def _rule(offered: _Offered, sampling: Sampling, deadband: float) -> BoolArray:
    """Rows the recorder keeps; bad quality and outages are states of their own."""
    if sampling.kind == "instant":
        return ~offered.gone
    shown = np.where(offered.gone | (offered.quality > 0), np.nan, offered.x)
    rule = swinging_door if sampling.kind == "swinging" else exception
    return rule(offered.t, shown, deadband, sampling.heartbeat_s) & ~offered.gone


def _kept(offered: _Offered, sampling: Sampling, deadband: float) -> _Rows:
    keep = _rule(offered, sampling, deadband)
    drawn = offered.bridge & offered.gone
    if not np.any(drawn):
        return offered.rows(keep, offered.x)
    value = np.where(
        drawn, np.interp(offered.t, offered.t[~offered.gone], offered.x[~offered.gone]), offered.x
    )
    return offered.rows(keep | drawn, value)


def _interpolated(offered: _Offered, sampling: Sampling, deadband: float, every: int) -> _Rows:
    """An exception record at the full rate, drawn as straight lines on the export's grid."""
    keep = _rule(offered, sampling, deadband)
    grid = offered.every(every)
    value = np.interp(grid.t, offered.t[keep], offered.x[keep])
    return grid.rows(~grid.gone | grid.bridge, value)


def _averages(offered: _Offered, every: int) -> _Rows:
    """Means over whole intervals, stamped at the start; an interval without any sample is absent."""
    n = offered.t.size // every * every
    good = ~offered.gone[:n].reshape(-1, every)
    count = good.sum(axis=1)
    keep = count > 0
    total = np.where(good, offered.x[:n].reshape(-1, every), 0.0).sum(axis=1)
    worst = offered.quality[:n].reshape(-1, every).max(axis=1)
    return _Rows(
        offered.t[:n:every][keep], total[keep] / count[keep], worst[keep], np.zeros(int(keep.sum()), np.uint8)
    )


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
