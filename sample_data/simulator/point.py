"""One point from its description to its signals, and what is true of them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sample_data.simulator import signal as wires
from sample_data.simulator.calibrate import Calibrated, calibrations
from sample_data.simulator.grid import DAY_S, NS, FloatArray, Grid, IntArray, ar1, lag
from sample_data.simulator.physics import MODELS, ProbeModel
from sample_data.simulator.process import medium_temperature, true_process
from sample_data.simulator.schedule import (
    Span,
    calibration_spans,
    heat_faults,
    routine_spans,
    swap_spans,
    wash_spans,
)
from sample_data.simulator.signal import BoolArray, ByteArray, Wire
from sample_data.simulator.spec import PointSpec
from sample_data.simulator.standards import in_air, standard_value
from sample_data.simulator.streams import stream
from sample_data.simulator.wear import (
    Life,
    Scene,
    add_ageing,
    add_faults,
    add_fouling,
    add_heat,
    cleanings,
    lives,
)

_ELEMENT_NOISE_K = 0.015
START_NS = 1_772_409_600 * NS  # 2026-03-02T00:00:00Z, a Monday


@dataclass(frozen=True)
class SimulatedPoint:
    """Everything about one point: what the historian could have recorded, and what is true.

    time (n,) ns UTC; true (n,): what the probe is in; reading, temperature (n,): transmitter's outputs;
    hold, wash (n,) bool; missing (n,) bool: the value never reached the historian; quality (n,) uint8;
    status (n,) uint8: index of a status word that stands in place of the value, 0 none;
    error (n,): systematic error of the live reading, whether or not it is held;
    level (n,): the process's own value.
    """

    spec: PointSpec
    grid: Grid
    true: FloatArray
    level: FloatArray
    reading: FloatArray
    temperature: FloatArray
    true_temperature: FloatArray
    hold: BoolArray
    wash: BoolArray
    missing: BoolArray
    quality: ByteArray
    status: ByteArray
    error: FloatArray
    spans: tuple[Span, ...]
    lives: tuple[Life, ...]
    calibrations: tuple[Calibrated, ...]
    moves: tuple[tuple[float, float], ...]
    sample_time: IntArray = field(default_factory=lambda: np.empty(0, np.int64))
    sample_value: FloatArray = field(default_factory=lambda: np.empty(0))

    @property
    def time(self) -> IntArray:
        """Times in ns UTC."""
        return self.grid.ns


def simulate_point(
    spec: PointSpec, *, seed: int, days: float, step_s: float = 10.0, start_ns: int = START_NS
) -> SimulatedPoint:
    """Simulate one point on a regular grid.

    Parameters
    ----------
    spec : PointSpec
    seed : int
        Of the whole plant; the point's own streams follow from its name.
    days, step_s : float
        Length and step; 10 s resolves washes of 30 s.
    start_ns : int
        First instant, ns UTC.
    """
    grid = Grid.of(start_ns, days, step_s)
    model = MODELS[spec.measurand]
    base = medium_temperature(spec.vessel, grid, seed)
    process = true_process(spec, grid, seed)
    spans = sorted(
        [
            *routine_spans(spec, grid, seed, base),
            *heat_faults(spec, grid, base),
            *wash_spans(spec, grid, seed),
            *calibration_spans(spec, grid, seed),
            *swap_spans(spec),
        ],
        key=lambda s: (s.start, s.kind),
    )
    warm = lag(_medium_heat(spec, grid, base, spans, seed), step_s, spec.probe.element_tau_s)
    medium = _medium_value(spec, grid, process.level, spans, warm)
    probes = _probes(spec, Scene(grid, model, process.level, warm, spans), seed)
    level = float(np.median(process.level))
    entries = calibrations(spec, probes, spans, level, seed)
    wire = _wire(spec, grid, warm, seed)
    clean, error = _read(
        spec, grid, model, medium, process.fast, warm, wire.temperature, probes, entries, spans, seed
    )
    wire.reading[:] = clean
    wires.apply(spec, wire, seed)
    hold, wash = _flags(spec, grid, spans)
    _freeze(wire.reading, hold)
    np.clip(wire.reading, *spec.range, out=wire.reading, where=~_impossible(spec, grid))
    samples = _samples(spec, grid, process.level + process.fast, spans, seed)
    return SimulatedPoint(
        spec, grid, medium + process.fast, process.level, wire.reading, wire.temperature, warm, hold, wash,
        wire.missing, wire.quality, wire.status, error, tuple(spans), tuple(probes), tuple(entries),
        tuple(process.moves), *samples,
    )  # fmt: skip


def _medium_heat(spec: PointSpec, grid: Grid, base: FloatArray, spans: list[Span], seed: int) -> FloatArray:
    """Temperature around the probe: the medium's, the heat of the spans, the bench's during a calibration."""
    around = base.copy()
    rng = stream(seed, spec.name, "bench temperature")
    for fault in spec.faults:
        if fault.kind == "lookalike_process_upset":  # what stirs the value stirs the temperature too
            part = grid.slice(fault.day * DAY_S, (fault.day + fault.days) * DAY_S)
            more = spec.vessel.temperature_sd * fault.size
            around[part] += ar1(
                stream(seed, spec.name, "upset"), part.stop - part.start, grid.step, more, 240.0
            )
    for span in spans:
        part = grid.slice(span.start, span.end)
        if span.heat:
            times, degc = np.array(span.heat).T
            target = np.interp(grid.t[part], times, degc)
            away = (grid.t[part] >= times[0]) & (grid.t[part] < times[-1])
            around[part] = np.where(away, target + 0.12 * rng.standard_normal(target.size), around[part])
        elif span.kind in ("calibration", "swap"):
            bench = span.marks.get("bench", 20.0)
            into = grid.t[part] - span.start
            around[part] = bench + (around[part] - bench) * np.exp(-into / 150.0)
            around[grid.slice(span.end - 240, span.end)] = base[grid.slice(span.end - 240, span.end)]
        elif span.kind == "wash":
            around[part] += 0.4 * (15.0 - around[part])
    return around


def _medium_value(
    spec: PointSpec, grid: Grid, level: FloatArray, spans: list[Span], warm: FloatArray
) -> FloatArray:
    """What the probe is in: the process, or what a routine puts around it."""
    process, care = spec.process, spec.care
    medium = level.copy()
    for span in spans:
        part = grid.slice(span.start, span.end)
        if span.kind in ("sterilisation", "steam_out"):
            medium[part] = np.where(warm[part] > 70, process.in_steam, medium[part])
        elif span.kind == "cip":
            medium[part] = process.in_wash
            if span.heat:
                medium[grid.slice(span.start + 400, span.heat[2][0] + 200)] = process.in_caustic
        elif span.kind == "wash":
            medium[part] = process.in_wash
        elif span.kind == "swap":
            medium[part] = in_air(spec.measurand, level[part], warm[part])
        elif span.kind == "calibration":
            medium[part] = process.in_wash if spec.measurand in ("ph", "redox") else medium[part]
            for name in ("found", "left"):
                for number, nominal in enumerate(care.standards):
                    dip = grid.slice(span.marks[f"{name}{number}"], span.marks[f"{name}{number}_end"])
                    medium[dip] = (
                        standard_value(spec.measurand, nominal, warm[dip]) + span.marks[f"bias{number}"]
                    )
            back = grid.slice(span.end - 200, span.end)
            medium[back] = level[back]
    return medium


def _probes(spec: PointSpec, scene: Scene, seed: int) -> list[Life]:
    probes = lives(spec, scene.grid, seed)
    cleaned = cleanings(spec, scene.spans)
    for life in probes:
        add_ageing(life, spec.probe, seed)
        add_heat(life, spec.probe, scene, seed)
        add_faults(life, spec, scene)
        add_fouling(life, spec, scene, cleaned)
    return probes


def _wire(spec: PointSpec, grid: Grid, warm: FloatArray, seed: int) -> Wire:
    n = grid.t.size
    wire = Wire(
        grid, np.empty(n), warm.copy(), np.zeros(n, bool), np.zeros(n, np.uint8), np.zeros(n, np.uint8)
    )
    wires.element_faults(spec, wire, seed)
    return wire


def _parameters(
    grid: Grid, probes: list[Life], entries: list[Calibrated]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """True (a1, b1) and the transmitter's (a0, b0) at every sample."""
    true_a, true_b = np.empty(grid.t.size), np.empty(grid.t.size)
    for life in probes:
        part = grid.slice(life.start, life.end)
        true_a[part], true_b[part] = life.parameters(grid.t[part])
    used_a, used_b = np.full(grid.t.size, probes[0].a), np.full(grid.t.size, probes[0].b)
    for entry in entries:
        if np.isfinite(entry.adopted_at):
            part = grid.slice(entry.adopted_at, np.inf)
            used_a[part], used_b[part] = entry.left
    return true_a, true_b, used_a, used_b


def _response(spec: PointSpec, grid: Grid) -> tuple[FloatArray, FloatArray]:
    """Time constant of the probe [s] and the share of the fast process noise that still gets through."""
    tau, share = np.full(grid.t.size, spec.probe.tau_s), np.ones(grid.t.size)
    for fault in spec.faults:
        if fault.kind not in ("slow_response", "noise_collapse"):
            continue
        end = grid.days if np.isnan(fault.days) else fault.day + fault.days
        part = grid.slice(fault.day * DAY_S, end * DAY_S)
        course = (
            np.linspace(0, 1, part.stop - part.start)
            if fault.mode == "gradual"
            else np.ones(part.stop - part.start)
        )
        if fault.kind == "slow_response":
            tau[part] *= fault.size**course
        else:
            share[part] *= fault.size**course
    return tau, share


def _read(
    spec: PointSpec, grid: Grid, model: ProbeModel, medium: FloatArray, fast: FloatArray, warm: FloatArray,
    shown: FloatArray, probes: list[Life], entries: list[Calibrated], spans: list[Span], seed: int,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Reading without signal faults, and its systematic error."""
    a1, b1, a0, b0 = _parameters(grid, probes, entries)
    tau, share = _response(spec, grid)
    running = np.ones(grid.t.size, bool)
    for span in spans:
        running[grid.slice(span.start, span.end)] = False
    lively = np.where(running, fast, 0.0)
    seen = wires.variable_lag(medium + lively * share, grid.step, tau)
    transient = _recovery(spec, grid, spans, seed)
    element = shown + _ELEMENT_NOISE_K * stream(seed, spec.name, "element noise").standard_normal(grid.t.size)
    reading = model.inverse(model.forward(seen, warm, a1, b1), element, a0, b0) + transient
    error = model.inverse(model.forward(medium, warm, a1, b1), shown, a0, b0) - medium + transient
    white, coloured = spec.probe.noise
    scale = np.abs(medium) if spec.process.proportional else 1.0
    rng = stream(seed, spec.name, "probe noise")
    noise = white * rng.standard_normal(grid.t.size) + ar1(
        rng, grid.t.size, grid.step, coloured, spec.probe.noise_tau_s
    )
    shown[:] = element
    return reading + noise * share * scale, error


def _recovery(spec: PointSpec, grid: Grid, spans: list[Span], seed: int) -> FloatArray:
    """Transient after heat and after a calibration, dying away."""
    size, tau = spec.probe.recovery
    transient = np.zeros(grid.t.size)
    rng = stream(seed, spec.name, "recovery")
    for span in spans:
        if span.kind in ("wash", "bench", "swap"):
            continue
        strength = size * rng.normal(0.8, 0.25) * (0.3 if span.kind == "calibration" else 1.0)
        part = grid.slice(span.end - 60, span.end + 6 * tau)
        transient[part] += strength * np.exp(-(grid.t[part] - span.end) / tau)
    return transient


def _flags(spec: PointSpec, grid: Grid, spans: list[Span]) -> tuple[BoolArray, BoolArray]:
    hold, wash = np.zeros(grid.t.size, bool), np.zeros(grid.t.size, bool)
    for span in spans:
        if span.kind in spec.care.hold:
            extra = 120.0 if span.kind == "wash" else 0.0
            hold[grid.slice(span.start - 20, span.end + extra)] = True
        if span.kind == "wash":
            wash[grid.slice(span.start, span.end)] = True
    for fault in spec.faults:
        if fault.kind == "lookalike_hold":
            hold[grid.slice(fault.day * DAY_S, (fault.day + fault.days) * DAY_S)] = True
    return hold, wash


def _freeze(reading: FloatArray, hold: BoolArray) -> None:
    """Keep the last live value for as long as the output is held."""
    index = np.arange(reading.size)
    index[hold] = 0
    reading[:] = reading[np.maximum.accumulate(index)]


def _impossible(spec: PointSpec, grid: Grid) -> BoolArray:
    beyond = np.zeros(grid.t.size, bool)
    for fault in spec.faults:
        if fault.kind == "out_of_range":
            beyond[grid.slice(fault.day * DAY_S, (fault.day + fault.days) * DAY_S)] = True
    return beyond


def _samples(
    spec: PointSpec, grid: Grid, value: FloatArray, spans: list[Span], seed: int
) -> tuple[IntArray, FloatArray]:
    """Laboratory samples at about ten in the morning, none while something is done to the point."""
    every = spec.care.sample_every_days
    if every <= 0:
        return np.empty(0, np.int64), np.empty(0)
    rng = stream(seed, spec.name, "laboratory")
    at = (
        np.arange(0.5, grid.days, every) // 1 * DAY_S
        + 8.2 * 3600
        + rng.uniform(0, 3600, len(np.arange(0.5, grid.days, every)))
    )
    at = at[at < grid.days * DAY_S - 3600]
    free = np.array([not any(s.start - 900 < x < s.end + 3600 for s in spans) for x in at], dtype=bool)
    index = np.searchsorted(grid.t, at)
    result = value[index] + spec.care.sample_sd * rng.standard_normal(at.size)
    stamp = grid.start_ns + (at // 300 * 300 * NS).astype(np.int64)
    return stamp[free], result[free]
