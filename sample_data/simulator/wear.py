"""How a probe's true parameters move: age, steam, dose, steps, drift, dirt.

Every cause is kept apart as a `Move`, so that the truth of a calibration shift can be told by cause.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sample_data.simulator.grid import DAY_S, FloatArray, Grid
from sample_data.simulator.physics import ProbeModel
from sample_data.simulator.schedule import Span
from sample_data.simulator.spec import Fault, PointSpec, ProbeType
from sample_data.simulator.streams import stream

_EDGE_S = 1e-3
Q10 = 2.0


@dataclass(frozen=True)
class Move:
    """One cause's part in one parameter (``a`` or ``b``): piecewise linear through knots (s, change)."""

    cause: str
    parameter: str
    times: FloatArray
    values: FloatArray
    fault: Fault | None = None

    def at(self, t: FloatArray) -> FloatArray:
        """Change at times `t` [s]; zero before the first knot, the last value after the last."""
        return np.interp(t, self.times, self.values, left=0.0)

    @staticmethod
    def step(
        cause: str, parameter: str, at: float, size: float, ramp_s: float = 0.0, fault: Fault | None = None
    ) -> Move:
        """A move of `size` at `at`, over `ramp_s`."""
        return Move(
            cause,
            parameter,
            np.array([at - _EDGE_S, at + max(ramp_s, _EDGE_S)]),
            np.array([0.0, size]),
            fault,
        )


@dataclass(frozen=True)
class Scene:
    """What a probe lives through: the clock, its principle, the process's level, its own temperature, and what is done to it."""

    grid: Grid
    model: ProbeModel
    level: FloatArray
    warm: FloatArray
    spans: list[Span]

    def around(self, start: float, end: float) -> tuple[float, float]:
        """Median level and temperature in [start, end)."""
        here = self.grid.slice(start, end)
        return float(np.median(self.level[here])), float(np.median(self.warm[here]))


@dataclass
class Life:
    """One probe at the point from `start` to `end` (s): fresh parameters and everything that moved them."""

    serial: str
    start: float
    end: float
    a: float
    b: float
    logged: bool = True
    moves: list[Move] = field(default_factory=list)
    doses: list[tuple[float, float]] = field(default_factory=list)

    def parameters(self, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        """True (a, b) at times `t`."""
        total = {"a": np.full(t.shape, self.a), "b": np.full(t.shape, self.b)}
        for move in self.moves:
            total[move.parameter] += move.at(t)
        return np.maximum(total["a"], 0.005), total["b"]

    def now(self, at: float) -> tuple[float, float]:
        """True (a, b) at one time."""
        a, b = self.parameters(np.array([at]))
        return float(a[0]), float(b[0])


def lives(spec: PointSpec, grid: Grid, seed: int) -> list[Life]:
    """The probes of a point one after another, fresh."""
    ends = [swap.day * DAY_S for swap in spec.swaps] + [grid.days * DAY_S]
    serials = [spec.serial] + [swap.serial for swap in spec.swaps]
    logged = [True] + [swap.logged for swap in spec.swaps]
    starts = [0.0, *ends[:-1]]
    found = []
    for serial, start, end, known in zip(serials, starts, ends, logged, strict=True):
        rng = stream(seed, serial, "fresh")
        kind = spec.probe
        a = kind.fresh_a[0] + kind.fresh_a[1] * rng.standard_normal()
        b = kind.fresh_b[0] + kind.fresh_b[1] * rng.standard_normal()
        found.append(Life(serial, start, end, float(a), float(b), known))
    return found


def add_ageing(life: Life, kind: ProbeType, seed: int) -> None:
    """Ordinary ageing by the day, each probe at its own pace."""
    pace = float(stream(seed, life.serial, "pace").lognormal(0.0, 0.35))
    span = np.array([life.start, life.end])
    days = (life.end - life.start) / DAY_S
    for parameter, rate in zip("ab", kind.per_day, strict=True):
        scale = life.a if parameter == "a" else 1.0
        if rate:
            life.moves.append(Move("ageing", parameter, span, np.array([0.0, rate * pace * days * scale])))


def dose_hours(temperature: FloatArray, step: float, rating: float) -> float:
    """Hours above `rating`, each weighed with Q10^((T - rating)/10)."""
    hot = temperature[temperature > rating]
    return float(np.sum(Q10 ** ((hot - rating) / 10.0)) * step / 3600.0)


def add_heat(life: Life, kind: ProbeType, scene: Scene, seed: int) -> None:
    """Damage by steam cycles and by dose above the sterilisation rating."""
    pace = float(stream(seed, life.serial, "heat pace").lognormal(0.0, 0.25))
    for span in scene.spans:
        if not span.heat or not life.start <= span.start < life.end:
            continue
        part = scene.warm[scene.grid.slice(span.start, span.end + 600)]
        dose = dose_hours(part, scene.grid.step, kind.sterilisation_degc)
        at = 0.5 * (span.heat[1][0] + span.heat[2][0])
        if dose > 0:
            life.doses.append((span.start, dose))
            _damage(life, kind, at, dose, pace, span, seed)
        if span.kind == "sterilisation":
            life.moves.append(Move.step("sterilisation", "a", at, kind.per_steam[0] * pace * life.a))
            life.moves.append(Move.step("sterilisation", "b", at, kind.per_steam[1] * pace))


def _damage(life: Life, kind: ProbeType, at: float, dose: float, pace: float, span: Span, seed: int) -> None:
    """Slope lost in proportion to the dose; zero moved either way by about the root of the dose."""
    rng = stream(seed, life.serial, "damage", f"{span.start:.0f}")
    sign = 1.0 if rng.random() < 0.5 else -1.0
    if span.fault is not None and "sign" in span.fault.more:
        sign = span.fault.more["sign"]
    cause = "over_temperature"
    loss = max(kind.per_dose_h[0] * dose * pace, -0.6) * life.a
    move = sign * kind.per_dose_h[1] * float(np.sqrt(dose)) * float(rng.lognormal(0.0, 0.4))
    life.moves.append(Move.step(cause, "a", at, loss, fault=span.fault))
    life.moves.append(Move.step(cause, "b", at, move, fault=span.fault))


def add_faults(life: Life, spec: PointSpec, scene: Scene) -> None:
    """Steps, drifts, broken glass and shocks that move the true parameters."""
    for fault in spec.faults:
        at = fault.day * DAY_S
        if fault.kind == "unrecorded":  # knocked on the bench: nothing shows before the calibration
            at = next((s.start + 60.0 for s in scene.spans if s.marks and s.start >= at), np.inf)
        if life.start <= at < life.end:
            _add_fault(life, fault, at, scene)


def _add_fault(life: Life, fault: Fault, at: float, scene: Scene) -> None:
    a, b = life.now(at)
    size, ramp_s = fault.size, fault.more.get("ramp_s", 0.0)
    if fault.kind == "drift":
        ramp_s = fault.days * DAY_S
    elif fault.kind == "stuck" and fault.mode == "glass":
        life.moves.append(Move.step("stuck", "a", at, 0.012 - a, 40.0, fault))
        life.moves.append(Move.step("stuck", "b", at, 7.0 - b, 40.0, fault))
        return
    elif fault.kind == "thermal_shock" and "zero" in fault.more:
        size, at = fault.more["zero"], at + 900.0
    elif fault.kind not in ("step", "unrecorded"):
        return
    x, t = scene.around(fault.day * DAY_S, fault.day * DAY_S + 3600)
    _offset(life, scene.model.offset_move(size, x, t, a, b), fault, at, ramp_s)


def _offset(life: Life, move: tuple[float, float], fault: Fault, at: float, ramp_s: float) -> None:
    for parameter, size in zip("ab", move, strict=True):
        if size:
            life.moves.append(Move.step(fault.kind, parameter, at, size, ramp_s, fault))


def cleanings(spec: PointSpec, spans: list[Span]) -> list[float]:
    """Times at which dirt is taken off: planned cleanings, calibrations, hot cleaning of the vessel."""
    times = [day * DAY_S + 9.4 * 3600 for day in spec.care.clean_days]
    times += [span.marks["clean"] for span in spans if span.kind == "calibration"]
    times += [span.end for span in spans if span.kind == "cip"]
    return sorted(times)


def add_fouling(life: Life, spec: PointSpec, scene: Scene, cleaned: list[float]) -> None:
    """Dirt: `size` reading units grow over `period` days; each cleaning takes off its share."""
    for fault in spec.faults:
        if fault.kind != "fouling" or not life.start <= fault.day * DAY_S < life.end:
            continue
        start, end = fault.day * DAY_S, min((fault.day + fault.days) * DAY_S, life.end)
        x, t = scene.around(start, end)
        full = scene.model.offset_move(fault.size, x, t, *life.now(start))
        period = fault.more.get("period", 7.0) * DAY_S
        times, layer = fouling_layer(start, end, period, cleaned, spec.care.restored)
        for parameter, size in zip("ab", full, strict=True):
            if size:
                life.moves.append(Move("fouling", parameter, times, layer * size, fault))


def fouling_layer(
    start: float, end: float, period: float, cleaned: list[float], restored: float
) -> tuple[FloatArray, FloatArray]:
    """Knots of the dirt layer (1 = full): grows between cleanings, falls by `restored` at each, stays after `end`."""
    times, layer, now, last = [start], [0.0], 0.0, start
    for at in [*(c for c in cleaned if c > start), np.inf]:
        if last < end <= at:
            now += (end - last) / period
            times.append(end)
            layer.append(now)
        elif at < end:
            now += (at - last) / period
        if np.isfinite(at):
            times += [at + _EDGE_S, at + 2 * _EDGE_S]
            layer += [now, now * (1.0 - restored)]
            now, last = layer[-1], at
    return np.array(times), np.array(layer)
