"""Calibrations as they happen and as somebody writes them down."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sample_data.simulator.physics import FloatArray, ProbeModel
from sample_data.simulator.schedule import Span
from sample_data.simulator.spec import PointSpec
from sample_data.simulator.standards import figures, solve, standard_value
from sample_data.simulator.streams import stream
from sample_data.simulator.wear import Life


@dataclass(frozen=True)
class Calibrated:
    """One calibration: raw values as found and as left, what was adopted, what the log says, what is true.

    found, left, true_found, true_left: parameters (a, b); adopted_at: seconds, NaN when the transmitter
    kept its old parameters; traced, logged, copied: what happened to the evidence.
    """

    time: float
    found_at: float
    point: str
    probe: str
    measurand: str
    action: str
    standards: tuple[float, ...]
    temperatures: tuple[float, ...]
    raw_found: tuple[float, ...]
    raw_left: tuple[float, ...]
    found: tuple[float, float]
    left: tuple[float, float]
    true_found: tuple[float, float]
    true_left: tuple[float, float]
    adopted_at: float
    error_found: float
    traced: bool = True
    logged: bool = True
    copied: bool = False
    comment: str = ""
    figures_found: dict[str, float] = field(default_factory=dict)
    figures_left: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class _Look:
    raw: FloatArray
    parameters: tuple[float, float]
    true: tuple[float, float]


def _look(
    spec: PointSpec,
    model: ProbeModel,
    life: Life,
    span: Span,
    which: str,
    t: FloatArray,
    bias: FloatArray,
    old: tuple[float, float],
    rng: np.random.Generator,
) -> _Look:
    """What the probe gives in the standards, and what the arithmetic makes of it."""
    count = len(spec.care.standards)
    times = np.array([span.marks[f"{which}{k}_end"] - 20 for k in range(count)])
    a, b = life.parameters(times)
    x = np.array(
        [
            float(standard_value(spec.measurand, s, np.asarray(t[k])))
            for k, s in enumerate(spec.care.standards)
        ]
    )
    raw = model.forward(x + bias, t, a, b) + spec.care.repeatability * rng.standard_normal(count)
    raw = np.round(raw, 1 if spec.measurand in ("ph", "redox", "co2") else 3)
    return _Look(raw, solve(spec.measurand, model, x, t, raw, old), (float(a[-1]), float(b[-1])))


def calibrations(
    spec: PointSpec, model: ProbeModel, probes: list[Life], spans: list[Span], level: float, seed: int
) -> list[Calibrated]:
    """All calibrations of a point in time order, with what the transmitter adopted from each."""
    done: list[Calibrated] = []
    for span in (s for s in spans if s.marks):
        life = next(p for p in probes if p.start <= span.start < p.end)
        done.append(_calibrate(spec, model, life, span, level, done, seed))
    return done


def _calibrate(
    spec: PointSpec,
    model: ProbeModel,
    life: Life,
    span: Span,
    level: float,
    earlier: list[Calibrated],
    seed: int,
) -> Calibrated:
    care, index = spec.care, span.index
    rng = stream(seed, spec.name, "calibration", str(index))
    count = len(care.standards)
    bench = np.round(21.5 + 1.2 * rng.standard_normal() + 0.2 * rng.standard_normal(count), 1)
    bias = care.standard_tolerance * rng.standard_normal(count)
    old = earlier[-1].left if earlier else (life.a, life.b)
    known = next((c.probe for c in reversed(earlier) if c.logged), "")
    found = _look(spec, model, life, span, "found", bench, bias, old, rng)
    left = _look(spec, model, life, span, "left", bench, bias, old, rng)
    shown = _error(model, level, 25.0, found.parameters, old)
    adjust = abs(shown) > care.adjust_beyond or life.serial != known
    fake = index in care.copied or index in care.untraced
    raw_found, raw_left = found.raw, left.raw
    parameters = (found.parameters, left.parameters)
    if fake and earlier:
        last = earlier[-1]
        raw_found, raw_left = np.array(last.raw_left), np.array(last.raw_left)
        parameters = (last.left, last.left)
        bench = np.array(last.temperatures)
        if index in care.untraced:
            raw_found, raw_left, parameters = _invented(spec, model, bench, last, rng)
    adopted = span.marks["adjust"] if adjust and not fake else float("nan")
    comment = "workshop" if index in care.bench else ""
    return Calibrated(
        time=span.marks["adjust"], found_at=span.marks["clean"] - 60.0, point=spec.name, probe=life.serial if life.logged or not known else known,
        measurand=spec.measurand, action="calibration" if adjust or fake else "verification",
        standards=care.standards, temperatures=tuple(map(float, bench)),
        raw_found=tuple(map(float, raw_found)), raw_left=tuple(map(float, raw_left)),
        found=parameters[0], left=parameters[1] if adjust and not fake else old,
        true_found=found.true, true_left=left.true, adopted_at=adopted, error_found=shown,
        traced=span.kind == "calibration", logged=index not in care.unlogged, copied=index in care.copied,
        comment=comment, figures_found=figures(spec.measurand, *parameters[0]),
        figures_left=figures(spec.measurand, *parameters[1]),
    )  # fmt: skip


def _invented(
    spec: PointSpec, model: ProbeModel, bench: FloatArray, last: Calibrated, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, tuple[tuple[float, float], tuple[float, float]]]:
    """Plausible figures of a calibration nobody did: last time's raw values, moved a little."""
    raws = [
        np.array(last.raw_left) + np.round(0.4 * spec.care.repeatability * rng.standard_normal(len(bench)), 1)
        for _ in "fl"
    ]
    x = np.array(
        [
            float(standard_value(spec.measurand, s, np.asarray(bench[k])))
            for k, s in enumerate(spec.care.standards)
        ]
    )
    both = [solve(spec.measurand, model, x, bench, raw, last.left) for raw in raws]
    return raws[0], raws[1], (both[0], both[1])


def _error(
    model: ProbeModel, level: float, t: float, true: tuple[float, float], used: tuple[float, float]
) -> float:
    one = np.array([level])
    at = np.array([t])
    raw = model.forward(one, at, np.array([max(true[0], 0.005)]), np.array([true[1]]))
    return float(model.inverse(raw, at, np.array([used[0]]), np.array([used[1]]))[0] - level)
