"""Calibrations as they happen and as somebody writes them down."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from sample_data.simulator.physics import LOGGED, MODELS, FloatArray, ProbeModel
from sample_data.simulator.schedule import Span
from sample_data.simulator.spec import PointSpec
from sample_data.simulator.standards import figures, solve, standard_value
from sample_data.simulator.streams import stream
from sample_data.simulator.wear import Life


@dataclass(frozen=True)
class Calibrated:
    """One calibration: raw values as found and as left, what was adopted, what the log says, what is true.

    found, left, true_found, true_left: parameters (a, b); adopted_at: seconds, NaN when the transmitter
    kept its old parameters; would_move: by how much the reading moves when what was entered is taken over; traced,
    logged, copied: what happened to the evidence; kept: an adjustment entered that the transmitter did not take over.
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
    would_move: float = 0.0
    kept: bool = False
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


@dataclass(frozen=True)
class _Bench:
    """One session: who, on what, at which temperatures, with the parameters the transmitter came with."""

    spec: PointSpec
    model: ProbeModel
    life: Life
    span: Span
    degc: FloatArray
    old: tuple[float, float]
    rng: np.random.Generator

    @property
    def standards(self) -> FloatArray:
        """Values of the standards at their temperatures, reading's unit."""
        pairs = zip(self.spec.care.standards, self.degc, strict=True)
        return np.array([float(standard_value(self.spec.measurand, s, np.asarray(t))) for s, t in pairs])

    def look(self, which: str) -> _Look:
        """What the probe gives in the standards (``found`` or ``left``), and what the arithmetic makes of it."""
        care, count = self.spec.care, self.degc.size
        marks = self.span.marks
        a, b = self.life.parameters(np.array([marks[f"{which}{k}_end"] - 20 for k in range(count)]))
        bias = np.array([marks[f"bias{k}"] for k in range(count)])
        raw = self.model.forward(self.standards + bias, self.degc, a, b)
        scatter = np.hypot(care.repeatability, care.repeatability_share * raw)
        raw = raw + scatter * self.rng.standard_normal(count)
        raw = np.round(raw, 1 if self.spec.measurand in ("ph", "redox", "co2") else 3)
        return _Look(raw, self.solve(raw, self.old), (float(a[-1]), float(b[-1])))

    def solve(self, raw: FloatArray, old: tuple[float, float]) -> tuple[float, float]:
        """Parameters from raw values."""
        return solve(self.spec.measurand, self.model, self.standards, self.degc, raw, old)


def calibrations(
    spec: PointSpec, probes: list[Life], spans: list[Span], level: float, seed: int
) -> list[Calibrated]:
    """All calibrations of a point in time order, with what the transmitter adopted from each."""
    done: list[Calibrated] = []
    for span in (s for s in spans if s.marks):
        life = next(p for p in probes if p.start <= span.start < p.end)
        done.append(_calibrate(spec, life, span, level, done, seed))
    return done


def _calibrate(
    spec: PointSpec, life: Life, span: Span, level: float, earlier: list[Calibrated], seed: int
) -> Calibrated:
    care, index = spec.care, span.index
    rng = stream(seed, spec.name, "calibration", str(index))
    degc = np.round(span.marks["bench"] + 0.2 * rng.standard_normal(len(care.standards)), 1)
    old = earlier[-1].left if earlier else (life.a, life.b)
    known = next((c.probe for c in reversed(earlier) if c.logged), "")
    bench = _Bench(spec, LOGGED[spec.measurand], life, span, degc, old, rng)
    found, left = bench.look("found"), bench.look("left")
    shown = _error(MODELS[spec.measurand], level, found.parameters, old)
    wanted = abs(shown) > care.adjust_beyond or life.serial != known or _dirty(life, span)
    adjust = wanted and _accepted(left.parameters, old)
    fake = bool(earlier) and index in (*care.copied, *care.untraced)
    entered = _entered(bench, index, earlier) if fake else (degc, found, left)
    taken = adjust and not fake and index not in care.kept
    adopted = span.marks["adjust"] if taken else float("nan")
    return Calibrated(
        time=span.marks["adjust"], found_at=span.marks["clean"] - 60.0, point=spec.name,
        probe=life.serial if life.logged or not known else known,
        measurand=spec.measurand, action="calibration" if adjust or fake else "verification",
        standards=care.standards, temperatures=tuple(map(float, entered[0])),
        raw_found=tuple(map(float, entered[1].raw)), raw_left=tuple(map(float, entered[2].raw)),
        found=entered[1].parameters, left=entered[2].parameters if taken else old,
        true_found=found.true, true_left=left.true, adopted_at=adopted, error_found=shown,
        would_move=-_error(MODELS[spec.measurand], level, entered[2].parameters, old) if adjust or fake else 0.0,
        kept=adjust and not fake and index in care.kept,
        traced=span.kind == "calibration", logged=index not in care.unlogged, copied=fake and index in care.copied,
        comment="workshop" if index in care.bench else "",
        figures_found=figures(spec.measurand, *entered[1].parameters),
        figures_left=figures(spec.measurand, *entered[2].parameters),
    )  # fmt: skip


def _accepted(new: tuple[float, float], old: tuple[float, float]) -> bool:
    """Whether the field instrument takes parameters over: of broken glass, or of a coat that lets nothing through, it does not."""
    return bool(np.isfinite(new).all()) and abs(new[0]) >= LEAST_SLOPE * abs(old[0])


LEAST_SLOPE = 0.2  # of the one before (common practice, no source)


def _dirty(life: Life, span: Span) -> bool:
    """Whether the cleaning between the two looks took dirt off: then an as-left look is owed."""
    around = np.array([span.marks["clean"] - 60.0, span.marks["clean"] + 60.0])
    return any(np.ptp(move.at(around)) > 0 for move in life.moves if move.cause == "fouling")


def _entered(bench: _Bench, index: int, earlier: list[Calibrated]) -> tuple[FloatArray, _Look, _Look]:
    """What somebody wrote who did not measure: last time's figures, or last time's raw values moved a little."""
    last, care = earlier[-1], bench.spec.care
    degc, raw = np.array(last.temperatures), np.array(last.raw_left)
    if index in care.copied:
        same = _Look(raw, last.left, last.true_left)
        return degc, same, same
    made = []
    at_hand = replace(bench, degc=degc)
    for _ in ("found", "left"):
        moved = raw + np.round(0.4 * care.repeatability * bench.rng.standard_normal(raw.size), 1)
        made.append(_Look(moved, at_hand.solve(moved, last.left), last.true_left))
    return degc, made[0], made[1]


def _error(model: ProbeModel, level: float, true: tuple[float, float], used: tuple[float, float]) -> float:
    """Reading error at this level and 25 degC of a probe with parameters `true` read with `used`."""
    one, at = np.array([level]), np.array([25.0])
    raw = model.forward(one, at, np.array([max(true[0], 0.005)]), np.array([true[1]]))
    return float(model.inverse(raw, at, np.array([used[0]]), np.array([used[1]]))[0] - level)
