"""Random fleets for the benchmarks: many points, faults from far below to far above what can be seen.

Every choice is drawn from wide laws that know of no detector; sizes are log-uniform from below the point's own
noise to the largest error its reading can have, so that a table of recall by size has every row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sample_data.simulator.catalogue import CARES, PROBES, PROCESSES, RANGES, RESOLUTIONS, UNITS
from sample_data.simulator.point import SimulatedPoint, simulate_point
from sample_data.simulator.record import Outage, Sampling, TagRows, record
from sample_data.simulator.rows import shift_truths, truth_rows
from sample_data.simulator.spec import Care, Fault, PointSpec, ProbeType, Process, Steam, Swap, Vessel
from sample_data.simulator.streams import stream
from sample_data.simulator.truth import ShiftTruth, TruthRow

MEASURANDS = ("ph", "redox", "conductivity", "oxygen", "oxygen_saturation", "co2", "turbidity")


@dataclass(frozen=True)
class Preset:
    """A way of recording: step of the simulation, the sampling, and the dead band in units of the fast noise."""

    step_s: float
    sampling: Sampling
    deadband: float = 0.0


PRESETS: dict[str, Preset] = {
    "1 s": Preset(1.0, Sampling(interval_s=1.0)),
    "10 s": Preset(10.0, Sampling(interval_s=10.0)),
    "60 s": Preset(30.0, Sampling(interval_s=60.0)),
    "10 min": Preset(30.0, Sampling(interval_s=600.0)),
    "exception": Preset(10.0, Sampling(kind="exception", interval_s=10.0, heartbeat_s=3600.0), 3.0),
    "swinging door": Preset(10.0, Sampling(kind="swinging", interval_s=10.0, heartbeat_s=7200.0), 3.0),
    "interpolated": Preset(10.0, Sampling(kind="interpolated", interval_s=300.0, heartbeat_s=3600.0), 2.0),
    "averages": Preset(30.0, Sampling(kind="averages", interval_s=600.0)),
}


@dataclass(frozen=True)
class FleetPoint:
    """One point of a fleet, not simulated yet."""

    spec: PointSpec
    sampling: Sampling
    outages: tuple[Outage, ...]
    days: float
    step_s: float
    seed: int

    def simulate(self) -> SimulatedPoint:
        """Its signals and truth."""
        return simulate_point(self.spec, seed=self.seed, days=self.days, step_s=self.step_s)

    def export(self, sim: SimulatedPoint) -> dict[str, TagRows]:
        """Its tags as the historian exports them."""
        return record(sim, self.sampling, self.outages, seed=self.seed)

    def truth(self, sim: SimulatedPoint) -> tuple[tuple[TruthRow, ...], tuple[ShiftTruth, ...]]:
        """Events and shifts that are true of it."""
        return truth_rows(sim, self.outages), shift_truths(sim)


def random_fleet(
    seed: int,
    n_points: int,
    days: float,
    preset: str = "60 s",
    *,
    faults_per_year: float = 6.0,
    calibrated: bool = True,
    name: str = "R",
) -> Iterator[FleetPoint]:
    """Points one after another; each depends on `seed` and its own name alone.

    Parameters
    ----------
    preset : str
        Key of :data:`PRESETS`.
    faults_per_year : float
        Mean number of planted faults; 0 gives a sound fleet with all its look-alikes.
    calibrated : bool
        False leaves out calibrations and swaps.
    """
    for number in range(n_points):
        yield random_point(
            seed,
            f"{name}{number:03d}",
            MEASURANDS[number % len(MEASURANDS)],
            days,
            preset,
            faults_per_year,
            calibrated,
        )


def random_point(
    seed: int, name: str, measurand: str, days: float, preset: str, faults_per_year: float, calibrated: bool
) -> FleetPoint:
    """One random point."""
    rng = stream(seed, name, "fleet", preset)
    way = PRESETS[preset]
    probe = _probe(rng, measurand)
    process = _process(rng, measurand)
    vessel = _vessel(rng, name, measurand)
    care = _care(rng, measurand, days, calibrated)
    spec = PointSpec(
        name=name, measurand=measurand, vessel=vessel, process=process, probe=probe, serial=f"{name}-1", care=care,
        range=RANGES[measurand], unit=UNITS[measurand], resolution=RESOLUTIONS[measurand],
        swaps=_swaps(rng, name, days, calibrated),
    )  # fmt: skip
    noise = noise_of(spec)
    interval = way.sampling.interval_s
    faults, outages = _faults(rng, spec, days, faults_per_year, noise, interval)
    band = max(way.deadband * noise[0], spec.resolution) if way.deadband else 0.0
    sampling = replace(way.sampling, deadband=band, temperature_deadband=0.2 if way.deadband else 0.0)
    return FleetPoint(replace(spec, faults=faults), sampling, outages, days, way.step_s, seed)


def noise_of(spec: PointSpec) -> tuple[float, float]:
    """Fast and slow standard deviation of a live reading, in its unit, from what it is made of."""
    level = float(np.mean(spec.process.setpoints))
    scale = level if spec.process.proportional else 1.0
    fast = np.hypot(spec.process.fast_sd, np.hypot(*spec.probe.noise)) * scale
    return float(fast), float(np.hypot(spec.process.slow_sd * scale, fast))


def _log(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _sign(rng: np.random.Generator) -> float:
    return 1.0 if rng.random() < 0.5 else -1.0


def _probe(rng: np.random.Generator, measurand: str) -> ProbeType:
    base = PROBES[measurand]
    loud = _log(rng, 0.5, 2.0)
    return replace(
        base, tau_s=base.tau_s * _log(rng, 0.6, 2.0), noise=(base.noise[0] * loud, base.noise[1] * loud)
    )


def _process(rng: np.random.Generator, measurand: str) -> Process:
    base = PROCESSES[measurand]
    span = max(base.setpoints) - min(base.setpoints)
    batch = rng.random() < 0.25
    return replace(
        base, dwell_days=_log(rng, 1.5, 25.0), tau_s=_log(rng, 300.0, 4000.0), slow_sd=base.slow_sd * _log(rng, 0.4, 2.5),
        slow_tau_s=_log(rng, 1500.0, 15000.0), fast_sd=base.fast_sd * _log(rng, 0.4, 2.5), load_gain=0.3 * span * rng.uniform(-1, 1),
        batch_days=_log(rng, 1.5, 8.0) if batch else 0.0, batch_depth=0.5 * span * rng.uniform(-1, 1) if batch else 0.0,
    )  # fmt: skip


def _vessel(rng: np.random.Generator, name: str, measurand: str) -> Vessel:
    steam = measurand in ("ph", "oxygen_saturation", "conductivity", "redox", "co2") and rng.random() < 0.45
    clean = measurand not in ("oxygen", "turbidity") and rng.random() < 0.4
    low = rng.uniform(5.0, 32.0)
    routines = []
    if steam:
        hottest = PROBES[measurand].sterilisation_degc
        routines.append(
            Steam(
                every_days=_log(rng, 3.0, 21.0),
                first_day=rng.uniform(1, 4),
                hour=rng.uniform(0, 5),
                degc=min(rng.uniform(121.0, 127.0), hottest - 3.0),
                hold_min=rng.uniform(15, 45),
                heating=rng.uniform(2, 8),
                cooling=rng.uniform(1.5, 5),
            )
        )
    if clean:
        top = min(rng.uniform(65.0, 85.0), PROBES[measurand].continuous_degc - 3.0)
        routines.append(
            Steam(
                kind="cip",
                every_days=_log(rng, 2.0, 14.0),
                first_day=rng.uniform(1, 3),
                hour=rng.uniform(15, 21),
                degc=top,
                hold_min=rng.uniform(12, 35),
                heating=rng.uniform(2, 8),
                cooling=rng.uniform(2, 8),
            )
        )
    quiet = rng.random() < 0.4
    return Vessel(
        name=f"vessel of {name}", temperature=(low, low + rng.uniform(0.5, 6.0)), temperature_dwell_days=_log(rng, 4, 40),
        temperature_sd=_log(rng, 0.03, 0.4), ambient_gain=rng.uniform(0.0, 0.5), weekend=rng.uniform(0.05, 0.3) if quiet else 1.0,
        night=rng.uniform(0.5, 1.0), hot_days=(float(rng.uniform(5, 300)),), routines=tuple(routines),
    )  # fmt: skip


def _care(rng: np.random.Generator, measurand: str, days: float, calibrated: bool) -> Care:
    base = CARES[measurand]
    interval = _log(rng, 14.0, 60.0)
    planned = (
        np.cumsum(interval * rng.uniform(0.8, 1.25, int(days / interval) + 3)) if calibrated else np.empty(0)
    )
    planned = np.floor(planned[planned < days - 1])
    fate = rng.random(planned.size)
    hold = [("calibration",), ("calibration", "cip", "sterilisation"), (), ()][int(rng.integers(4))]
    washed = rng.random() < 0.2
    return replace(
        base, calibrate_days=tuple(map(float, planned)), calibrate_hour=rng.uniform(6.0, 13.0), hold=(*hold, "wash") if washed and hold else hold,
        hold_flag=bool(rng.random() < 0.5), wash_every_h=8.0 if washed else 0.0, wash_flag=bool(rng.random() < 0.5),
        copied=tuple(int(k) for k in np.flatnonzero(fate < 0.05) if k), untraced=tuple(int(k) for k in np.flatnonzero((fate >= 0.05) & (fate < 0.10)) if k),
        unlogged=tuple(int(k) for k in np.flatnonzero((fate >= 0.10) & (fate < 0.15)) if k),
        sample_every_days=7.0 if rng.random() < 0.4 else 0.0, sample_sd=2.0 * base.repeatability * _per_raw(measurand),
        clean_days=tuple(map(float, np.arange(7.0, days, 7.0))) if rng.random() < 0.5 else (), restored=rng.uniform(0.6, 0.97),
    )  # fmt: skip


def _per_raw(measurand: str) -> float:
    """About how many reading units a raw unit is worth, for the scatter of laboratory samples."""
    return {"ph": 0.03, "oxygen": 0.15, "oxygen_saturation": 20.0, "co2": 60.0}.get(measurand, 1.0)


def _swaps(rng: np.random.Generator, name: str, days: float, calibrated: bool) -> tuple[Swap, ...]:
    if not calibrated or rng.random() > 0.45 * days / 365.0:
        return ()
    day = float(np.floor(rng.uniform(0.2, 0.9) * days) + rng.uniform(0.3, 0.6))
    return (Swap(day, f"{name}-2", logged=bool(rng.random() < 0.6)),)


FAULT_KINDS = (
    "over_temperature", "thermal_shock", "temperature_fault", "stuck", "glass", "pinned", "noise_growth", "noise_collapse", "periodic",
    "step", "step", "drift", "drift", "fouling", "slow_response", "dropout", "bad_quality", "spikes", "out_of_range", "bridged",
    "unrecorded",
)  # fmt: skip
LOOKALIKES = (
    "lookalike_setpoint_step",
    "lookalike_process_upset",
    "lookalike_quiet_process",
    "lookalike_process_drift",
    "lookalike_hold",
)


def _faults(
    rng: np.random.Generator,
    spec: PointSpec,
    days: float,
    per_year: float,
    noise: tuple[float, float],
    interval: float,
) -> tuple[tuple[Fault, ...], tuple[Outage, ...]]:
    """Faults and look-alikes in slots of their own, so that each can be told from its neighbours."""
    slot = max(days / max(round(days * (per_year + 5.0) / 365.0), 1), 8.0 if days > 16 else days)
    faults: list[Fault] = []
    outages: list[Outage] = []
    share = per_year / (per_year + 5.0)
    for number in range(int(days // slot)):
        start = number * slot + min(rng.uniform(3.0, 12.0), 0.35 * slot)
        room = (number + 1) * slot - start - min(1.5, 0.1 * slot)
        # Without a flag nothing tells a held output from a stuck one, unless a calibration shows beside it.
        looks = [k for k in LOOKALIKES if k != "lookalike_hold" or spec.care.hold_flag]
        names = [k for k in FAULT_KINDS if not (k == "glass" and spec.measurand != "ph")]
        kind = (
            names[int(rng.integers(len(names)))]
            if rng.random() < share
            else looks[int(rng.integers(len(looks)))]
        )
        if kind == "bridged":
            outages.append(
                Outage(start, min(_log(rng, 0.05, 40.0), room * 24), bridged=bool(rng.random() < 0.6))
            )
        else:
            faults.append(_fault(rng, kind, spec, start, room, noise, interval))
    return tuple(faults), tuple(outages)


def _fault(
    rng: np.random.Generator,
    kind: str,
    spec: PointSpec,
    day: float,
    room: float,
    noise: tuple[float, float],
    interval: float,
) -> Fault:
    """One fault of this kind at `day`, no longer than `room` days."""
    fast, slow = noise
    wide = spec.range[1] - spec.range[0]
    # No probe reads less than nothing for long: offsets stay within six tenths of the usual level.
    most = {"ph": 2.5, "redox": 400.0}.get(spec.measurand, 0.6 * min(spec.process.setpoints))
    if kind.startswith("lookalike"):
        return _lookalike(rng, kind, spec, day, room)
    if kind == "over_temperature":
        return Fault(
            kind,
            day,
            _log(rng, 1.0, 40.0) / 1440,
            spec.probe.sterilisation_degc + _log(rng, 0.7, 25.0),
            "steam_out",
            {"heating": _log(rng, 4, 40), "cooling": _log(rng, 2, 10)},
        )
    if kind == "thermal_shock":
        more: dict[str, float] = {"degc": min(85.0, spec.probe.continuous_degc - 4.0)}
        if rng.random() < 0.5:
            more["zero"] = _sign(rng) * slow * _log(rng, 1, 15)
        return Fault(kind, day, size=_log(rng, 8.0, 90.0), more=more)
    if kind in ("stuck", "glass", "pinned", "out_of_range"):
        return _dead(rng, kind, spec, day, room, interval)
    table: dict[str, tuple[float, float, str]] = {
        "temperature_fault": (min(_log(rng, 0.05, 8.0), room), _sign(rng) * _log(rng, 0.4, 25.0), str(rng.choice(["jump", "open", "drift", "flicker"]))),
        "noise_growth": (min(_log(rng, 0.5, 12.0), room), _log(rng, 1.2, 12.0), str(rng.choice(["abrupt", "gradual"]))),
        "noise_collapse": (min(_log(rng, 1.0, 12.0), room), 1 / _log(rng, 1.3, 15.0), str(rng.choice(["abrupt", "gradual"]))),
        "periodic": (min(_log(rng, 0.3, 6.0), room), min(fast * _log(rng, 0.4, 100.0), 0.25 * wide), ""),
        "step": (float("nan"), _sign(rng) * _log(rng, min(0.5 * slow, most), most), ""),
        "drift": (min(_log(rng, 2.0, 30.0), room), _sign(rng) * _log(rng, min(0.7 * slow, most), most), ""),
        "fouling": (min(rng.uniform(20.0, 60.0), room), -_log(rng, min(0.7 * slow, 0.5 * most), 0.5 * most), ""),
        "slow_response": (min(_log(rng, 3.0, 20.0), room), _log(rng, 1.5, 200.0), str(rng.choice(["abrupt", "gradual"]))),
        "dropout": (min(_log(rng, 0.1, 2.0), room), float("nan"), "bouts"),
        "bad_quality": (min(_log(rng, 0.1, 2.0), room), float("nan"), "bouts"),
        "spikes": (min(_log(rng, 0.1, 2.0), room), _sign(rng) * fast * _log(rng, 3.0, 150.0), "bubbles"),
        "unrecorded": (float("nan"), _sign(rng) * min(slow * _log(rng, 1.0, 15.0), most), ""),
    }  # fmt: skip
    length, size, mode = table[kind]
    more = {"period_s": _log(rng, 4.0, 60.0) * max(interval, 15.0)} if kind == "periodic" else {}
    if kind == "step" and rng.random() < 0.3:
        more = {"ramp_s": _log(rng, 60.0, 1800.0)}
    if kind == "spikes":
        more = {"per_hour": _log(rng, 0.5, 10.0), "width_s": max(interval, 20.0)}
    if kind == "fouling":
        more = {"period": 7.0 if spec.care.clean_days else 30.0}
        size = -size if spec.measurand == "turbidity" else size
    return Fault(kind, day, length, size, mode, more)


def _dead(
    rng: np.random.Generator, kind: str, spec: PointSpec, day: float, room: float, interval: float
) -> Fault:
    """Readings that no longer follow: stuck, broken glass, pinned, impossible."""
    if kind == "glass":
        return Fault("stuck", day, mode="glass")
    length = min(_log(rng, 5.0 * max(interval, 20.0) / 86400, 3.0), room)
    if kind == "stuck":
        return Fault(
            "stuck", day, length, mode=str(rng.choice(["frozen", "frozen", "flicker", "slow", "repeat"]))
        )
    if kind == "pinned":
        return Fault("pinned", day, length, mode=str(rng.choice(["high", "low"])))
    span = spec.range[1] - spec.range[0]
    return Fault(
        "out_of_range",
        day,
        length,
        spec.range[1] + 0.3 * span if rng.random() < 0.5 else spec.range[0] - 0.3 * span,
    )


def _lookalike(rng: np.random.Generator, kind: str, spec: PointSpec, day: float, room: float) -> Fault:
    span = max(spec.process.setpoints) - min(spec.process.setpoints)
    given: dict[str, Any] = {
        "lookalike_setpoint_step": (
            min(_log(rng, 0.5, 10.0), room),
            _sign(rng) * span * rng.uniform(0.1, 0.5),
        ),
        "lookalike_process_upset": (min(_log(rng, 0.2, 4.0), room), _log(rng, 2.0, 6.0)),
        "lookalike_quiet_process": (min(_log(rng, 0.2, 3.0), room), 1 / _log(rng, 2.0, 10.0)),
        "lookalike_process_drift": (
            min(_log(rng, 3.0, 15.0), room) / 1.2,
            _sign(rng) * span * rng.uniform(0.2, 0.6),
        ),
        "lookalike_hold": (min(_log(rng, 0.02, 0.6), room), float("nan")),
    }
    length, size = given[kind]
    return Fault(kind, day, length, size)
