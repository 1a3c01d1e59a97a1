"""Simple fleets of probes with a known truth: parameters over time, calibrations as written, events as seen.

No signals: the events are what a detector would report, with errors of its own.  Sizes and rates are drawn from other
laws than the tool assumes (uniform, log-normal, exponential instead of normal), so that the tool is not marked by
its own assumptions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.models import Form
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.conclusions import Levels
from excursions.plant import Plant, Point
from excursions.records import CalibrationEntry, Event, StandardReading

DAYS = 240
FIRST = 1_750_000_000 * 1_000_000_000  # any instant


@dataclass(frozen=True)
class Kind:
    """One kind of probe: its standards and raw noise, the level it works at, how it ages, how big damage is."""

    measurand: str
    units: dict[str, str]
    start: dict[str, float]
    standards: tuple[tuple[float, str, str], ...]  # value, unit, label
    raw_unit: str
    noise: tuple[float, ...]  # of raw values, by standard; in air as a share
    bottle: tuple[
        float, ...
    ]  # of the standards from one calibration to the next: pH, mV, or share of the value
    level: tuple[float, float]
    ageing: dict[str, tuple[float, float]]  # a month: mean, spread between probes
    steps: tuple[float, float]  # size of a step of the reading, smallest and largest (log-uniform)


KINDS = (
    Kind("ph", {"slope": "%", "zero_point": "pH"}, {"slope": 98.5, "zero_point": 7.0}, ((7.0, "pH", ""), (4.01, "pH", "")), "mV",
         (0.6, 0.6), (0.005, 0.005), (5.0, 8.5), {"slope": (-0.35, 0.2), "zero_point": (0.004, 0.008)}, (0.06, 1.0)),
    Kind("oxygen", {"slope": "nA/hPa", "zero": "nA"}, {"slope": 0.3, "zero": 0.1}, ((math.nan, "", "air"), (0.0, "mg/L", "zero")), "nA",
         (0.006, 0.03), (0.004, 0.0), (1.5, 8.0), {"slope": (-0.002, 0.001), "zero": (0.0, 0.005)}, (0.2, 3.0)),
    Kind("redox", {"offset": "mV"}, {"offset": 0.0}, ((220.0, "mV", ""),), "mV", (3.0,), (2.0,), (-200.0, 500.0), {"offset": (-0.3, 0.6)}, (8.0, 120.0)),
    Kind("conductivity", {"cell_constant": "1/cm"}, {"cell_constant": 1.0}, ((1413.0, "uS/cm", ""),), "uS",
         (6.0,), (0.002,), (300.0, 3000.0), {"cell_constant": (0.0005, 0.001)}, (0.02, 0.4)),
    Kind("turbidity", {"gain": "", "zero": "NTU"}, {"gain": 1.0, "zero": 0.0}, ((0.0, "NTU", "zero"), (20.0, "NTU", "")), "NTU",
         (0.02, 0.2), (0.0, 0.01), (2.0, 60.0), {"gain": (-0.004, 0.003), "zero": (0.01, 0.01)}, (0.3, 4.0)),
)  # fmt: skip


@dataclass
class Piece:
    """One contribution to a parameter's path: `size` reached between `start` and `end` (ns), from `cause`."""

    cause: str
    parameter: str
    size: float
    start: int
    end: int


@dataclass
class Life:
    """One simulated probe."""

    kind: Kind
    name: str
    level: float
    pieces: list[Piece] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    entries: list[CalibrationEntry] = field(default_factory=list)
    calibrated: list[int] = field(default_factory=list)
    swapped_at: int | None = None
    fresh: dict[str, float] = field(default_factory=dict)
    used: list[tuple[int, dict[str, float]]] = field(default_factory=list)

    @property
    def form(self) -> Form:
        return models.form(self.kind.measurand, self.kind.units)

    def parameters(self, when: int) -> dict[str, float]:
        """True parameters at an instant."""
        if self.swapped_at is not None and when >= self.swapped_at:
            return dict(self.fresh)
        state = dict(self.kind.start)
        for piece in self.pieces:
            state[piece.parameter] += piece.size * _share(piece, when)
        return state

    def contributions(self, parameter: str, start: int, end: int) -> dict[str, float]:
        """What each cause did to a parameter between two instants."""
        made: dict[str, float] = {}
        for piece in self.pieces:
            if piece.parameter == parameter:
                made[piece.cause] = made.get(piece.cause, 0.0) + piece.size * (
                    _share(piece, end) - _share(piece, start)
                )
        return made

    def error(self, when: int) -> float:
        """True reading error at the level the process shows."""
        used = [state for time, state in self.used if time <= when][-1]
        return models.reading_error(
            self.form, self.level, used=used, real=self.parameters(when), temp_degc=25.0
        )


def _share(piece: Piece, when: int) -> float:
    if when < piece.start:
        return 0.0
    return min((when - piece.start) / (piece.end - piece.start), 1.0) if piece.end > piece.start else 1.0


@dataclass(frozen=True)
class Fleet:
    """Lives and what the tool gets to see of them."""

    lives: tuple[Life, ...]
    plant: Plant
    levels: dict[str, Levels]

    @property
    def entries(self) -> list[CalibrationEntry]:
        return [entry for life in self.lives for entry in life.entries]

    @property
    def events(self) -> list[Event]:
        return [event for life in self.lives for event in life.events]


def fleet(
    seed: int,
    probes: int,
    *,
    quiet: bool = False,
    shift: float = 0.0,
    swaps: bool = False,
    named: bool = False,
    heat_per_hour: float | None = None,
) -> Fleet:
    """Make a fleet.

    quiet : nothing happens at all (no ageing, no damage) but, where given, `shift` (in slope % of pH probes)
    swaps : every probe is exchanged once without anybody writing it down, logs carry no serial numbers; `named`: they carry
        one, which stays the same, and all the usual troubles happen as well
    heat_per_hour : slope lost per hour of ageing dose by every over-temperature (pH), for the learned coefficient
    """
    random = np.random.default_rng(seed)
    kinds = KINDS[:1] if shift or swaps or heat_per_hour is not None else KINDS
    lives = [
        _life(
            random,
            kinds[i % len(kinds)],
            f"M{i:03d}",
            quiet=quiet,
            shift=shift,
            swaps=swaps,
            named=named,
            heat_per_hour=heat_per_hour,
        )
        for i in range(probes)
    ]
    time = FIRST + np.arange(DAYS * 24, dtype=np.int64) * NS_PER_HOUR
    return Fleet(
        lives=tuple(lives),
        plant=Plant(points=tuple(Point(name=life.name, measurand=life.kind.measurand) for life in lives)),
        levels={
            life.name: Levels(
                time=time, value=np.full(time.size, life.level), temperature=np.full(time.size, 25.0)
            )
            for life in lives
        },
    )


def _life(
    random: np.random.Generator,
    kind: Kind,
    name: str,
    *,
    quiet: bool,
    shift: float,
    swaps: bool,
    named: bool,
    heat_per_hour: float | None,
) -> Life:
    life = Life(kind=kind, name=name, level=float(random.uniform(*kind.level)))
    times = FIRST + np.cumsum(random.uniform(20, 45, 6)) * NS_PER_DAY
    life.calibrated = [int(t) for t in times if t < FIRST + DAYS * NS_PER_DAY]
    if not quiet:
        _age(random, life)
    if swaps:
        index = int(random.integers(1, len(life.calibrated)))
        life.swapped_at = int(random.uniform(life.calibrated[index - 1], life.calibrated[index]))
        life.fresh = {"slope": float(random.normal(99.3, 0.7)), "zero_point": float(random.normal(7.0, 0.08))}
        life.pieces.append(Piece("ageing", "slope", -float(random.uniform(1.0, 8.0)), FIRST, FIRST))
    elif heat_per_hour is not None:
        _heats(random, life, heat_per_hour)
    elif not quiet:
        _troubles(random, life)
    if swaps and named:
        _troubles(random, life)
    if shift:
        life.pieces.append(Piece("planted", "slope", shift, life.calibrated[1] + 1, life.calibrated[1] + 1))
    _calibrate(random, life, named=named or not swaps)
    return life


def _age(random: np.random.Generator, life: Life) -> None:
    months = DAYS / 30.0
    for parameter, (mean, spread) in life.kind.ageing.items():
        rate = float(random.normal(mean, spread))
        life.pieces.append(Piece("ageing", parameter, rate * months, FIRST, FIRST + DAYS * NS_PER_DAY))
        for day in range(0, DAYS, 10):  # wander: small, unrelated, not normal
            size = float(random.uniform(-1, 1)) * 1.2 * spread * math.sqrt(1 / 3)
            life.pieces.append(
                Piece("ageing", parameter, size, FIRST + day * NS_PER_DAY, FIRST + (day + 10) * NS_PER_DAY)
            )


def _troubles(random: np.random.Generator, life: Life) -> None:
    for start, end in zip([FIRST, *life.calibrated], life.calibrated, strict=False):
        for maker, rate in ((_step, 0.18), (_drift, 0.12), (_heat, 0.2), (_decoy, 0.35), (_hidden, 0.03)):
            for _ in range(int(random.poisson(rate))):
                maker(random, life, int(random.uniform(start + NS_PER_DAY, end - 2 * NS_PER_DAY)), end)


def _reading_to_zero(life: Life, size: float, when: int, *, gain: bool = False) -> tuple[str, float]:
    """The move of the zero-like (or only) parameter, or of the gain, that changes the reading at the level by `size`."""
    names = [n for n in ("zero_point", "zero", "offset", "cell_constant") if n in life.kind.units]
    name = (
        next(n for n in life.kind.units if n not in names) if gain and len(life.kind.units) > 1 else names[0]
    )
    state = life.parameters(when)
    step = 1e-4 * max(abs(state[name]), 0.1)
    moved = models.indicated(
        life.form, life.level, used=state, real=state | {name: state[name] + step}, temp_degc=25.0
    )
    return name, size / ((moved - life.level) / step)


def _move(random: np.random.Generator, life: Life, size: float, when: int) -> tuple[str, float]:
    """The parameter that moved when the reading changed by `size`, and by how much.

    Electrodes: the zero, one time in twelve the slope, if that takes no more than a tenth of it and does not raise it:
    damage takes slope away, it gives none.  Oxygen: mostly the
    gain when it reads low, the zero when it reads high (a puncture).  Turbidity: either.
    """
    share = {"ph": 1 / 12, "oxygen": 0.85, "turbidity": 0.5}.get(life.kind.measurand, 0.0)
    if random.random() < share and not (life.kind.measurand == "oxygen" and size > 0):
        name, change = _reading_to_zero(life, size, when, gain=True)
        state = life.parameters(when)[name]
        if -0.1 * state < change <= 0.0 if life.kind.measurand == "ph" else abs(change) < 0.9 * state:
            return name, change
    return _reading_to_zero(life, size, when)


def _size(random: np.random.Generator, life: Life) -> float:
    low, high = life.kind.steps
    size = math.exp(random.uniform(math.log(low), math.log(high))) * random.choice((-1.0, 1.0))
    return float(size * (life.level if life.kind.measurand == "conductivity" else 1.0))


def _seen(
    random: np.random.Generator, life: Life, kind: str, start: int, end: int, size: float, **more: object
) -> Event:
    """An event as a detector reports it: size off by a few per cent, onset by minutes, origin not always told.

    The ends of a drift are off by a tenth of its length, which it states.
    """
    spread = 0.05 * abs(size) + 0.02 * abs(life.kind.steps[0]) * (
        life.level if life.kind.measurand == "conductivity" else 1.0
    )
    seen = size + float(random.standard_t(5)) * spread
    onset = start + int(random.normal(0, 10)) * 60_000_000_000
    slack = 0.1 * (end - start) if kind == "drift" else 0.0
    if slack:
        onset, end = (int(t + slack * random.normal(0, 1)) for t in (start, end))
    facts: dict[str, object] = {
        "point": life.name, "kind": kind, "probe": f"S-{life.name}", "start": onset, "end": max(end, onset + 1), "size": seen,
        "size_unit": life.form.unit, "size_low": seen - 1.645 * spread, "size_high": seen + 1.645 * spread,
        "confidence": float(random.uniform(0.7, 0.98)), "details": {"before": life.level}, "onset_uncertainty_s": slack / NS_PER_S,
    }  # fmt: skip
    if kind in ("step", "drift") and random.random() < 0.1:
        facts["origin"] = "undecided"
    event = Event(**(facts | more))  # type: ignore[arg-type]
    life.events.append(event)
    return event


def _step(random: np.random.Generator, life: Life, when: int, last: int) -> None:
    size = _size(random, life)
    event = _seen(random, life, "step", when, when, size)
    life.pieces.append(Piece(event.id, *_move(random, life, size, when), when, when))


def _drift(random: np.random.Generator, life: Life, when: int, last: int) -> None:
    size = _size(random, life)
    end = int(min(when + random.uniform(2, 15) * NS_PER_DAY, last - NS_PER_HOUR))
    event = _seen(random, life, "drift", when, end, size)
    life.pieces.append(Piece(event.id, *_move(random, life, size, when), when, end))


def _heat(random: np.random.Generator, life: Life, when: int, last: int) -> None:
    """An over-temperature: three in five leave damage, and most of those a step of the reading."""
    dose = float(random.lognormal(math.log(12.0), 0.8))
    event = _seen(
        random, life, "over_temperature", when, when + NS_PER_HOUR, 140.0, size_unit="degC", size_low=139.0, size_high=142.0,
        details={"dose_h": dose, "before": life.level},
    )  # fmt: skip
    if random.random() > 0.6:
        return
    state = life.parameters(when)
    after = dict(state)
    for parameter, unit in life.kind.units.items():
        gain = parameter in ("slope", "gain")
        scale = (5.0 if unit == "%" else 0.08 * abs(state[parameter])) if gain else _zero_scale(life, when)
        size = -float(random.exponential(scale)) if gain else float(random.laplace(0.0, 0.6 * scale))
        life.pieces.append(Piece(event.id, parameter, size, when, when))
        after[parameter] += size
    moved = models.indicated(life.form, life.level, used=state, real=after, temp_degc=25.0) - life.level
    if random.random() < 0.7 and abs(moved) > 0.3 * _least(life):
        _seen(random, life, "step", when + NS_PER_HOUR, when + NS_PER_HOUR, moved)


def _least(life: Life) -> float:
    return life.kind.steps[0] * (life.level if life.kind.measurand == "conductivity" else 1.0)


def _zero_scale(life: Life, when: int) -> float:
    return abs(_reading_to_zero(life, 4.0 * _least(life), when)[1])


def _decoy(random: np.random.Generator, life: Life, when: int, last: int) -> None:
    """An event that did nothing to the probe."""
    kind = str(random.choice(("step", "noise_growth", "spikes", "drift", "stuck")))
    size = _size(random, life) if kind in ("step", "drift") else 3.0
    origin = (
        "process"
        if kind in ("step", "drift") and random.random() < 0.9
        else ("undecided" if kind in ("step", "drift") else "probe")
    )
    _seen(random, life, kind, when, min(when + NS_PER_DAY, last - NS_PER_HOUR), size, origin=origin)


def _hidden(random: np.random.Generator, life: Life, when: int, last: int) -> None:
    """Damage without any event."""
    life.pieces.append(Piece("unrecorded", *_move(random, life, 2.0 * _size(random, life), when), when, when))


def _heats(random: np.random.Generator, life: Life, per_hour: float) -> None:
    for start, end in zip([FIRST, *life.calibrated], life.calibrated, strict=False):
        for _ in range(int(random.poisson(0.5))):
            when = int(random.uniform(start + NS_PER_DAY, end - NS_PER_DAY))
            dose = float(random.lognormal(math.log(12.0), 0.8))
            event = _seen(
                random, life, "over_temperature", when, when + NS_PER_HOUR, 140.0, size_unit="degC", size_low=139.0, size_high=142.0,
                details={"dose_h": dose},
            )  # fmt: skip
            life.pieces.append(
                Piece(event.id, "slope", -per_hour * dose * float(random.gamma(4.0, 0.25)), when, when)
            )


def _calibrate(random: np.random.Generator, life: Life, *, named: bool) -> None:
    """Write the log: raw values in each standard, as found and as left; now and then a verification only."""
    life.used = [(0, dict(life.parameters(FIRST)))]
    for number, when in enumerate(life.calibrated):
        verify = bool(random.random() < 0.15)
        temp = float(random.normal(22.0, 1.5))
        bottles = [float(random.normal(0.0, spread)) for spread in life.kind.bottle]
        for phase in ("as_found",) if verify else ("as_found", "as_left"):
            life.entries.append(
                _entry(random, life, when, phase, bottles, temp, number, verify=verify, named=named)
            )
        if not verify:
            life.used.append((when, _adopted(life, life.entries[-1])))


def _entry(
    random: np.random.Generator,
    life: Life,
    when: int,
    phase: str,
    bottles: list[float],
    temp: float,
    number: int,
    *,
    verify: bool,
    named: bool,
) -> CalibrationEntry:
    temp += float(random.normal(0.0, 0.1))
    standards = []
    for (value, unit, label), noise, bottle in zip(
        life.kind.standards, life.kind.noise, bottles, strict=True
    ):
        raw = _raw(life, value, label, temp, when, bottle)
        raw += float(random.normal(0.0, noise * abs(raw) if label == "air" else noise))
        thermometer = round(temp + float(random.normal(0.0, 0.15)), 1)
        standards.append(
            StandardReading(
                standard=value,
                raw=raw,
                standard_unit=unit,
                raw_unit=life.kind.raw_unit,
                temperature_degc=thermometer,
                label=label,
            )
        )
    probe = f"S-{life.name}" if named else ""
    return CalibrationEntry(
        time=when, file="fleet", line=2 * number + 1, point=life.name, probe=probe, phase=phase,
        action="verification" if verify else "calibration", standards=tuple(standards), figures=_figures(life, standards),
    )  # fmt: skip


def _figures(life: Life, standards: list[StandardReading]) -> dict[str, float]:
    """Turbidity standards are read as raw counts in NTU; only the figures beside them tell."""
    if life.kind.measurand != "turbidity":
        return {}
    return {
        "gain": round((standards[1].raw - standards[0].raw) / 20.0, 3),
        "zero": round(standards[0].raw, 3),
    }


def _adopted(life: Life, entry: CalibrationEntry) -> dict[str, float]:
    """What the transmitter makes of the raw values as left, by school arithmetic."""
    raw = [s.raw for s in entry.standards]
    temp = entry.standards[0].temperature_degc
    true = [_standard(life, s.standard, s.label, s.temperature_degc) for s in entry.standards]
    if life.kind.measurand == "redox":
        return {"offset": raw[0] - true[0]}
    if life.kind.measurand == "conductivity":
        return {"cell_constant": true[0] / raw[0]}
    gain = (raw[0] - raw[1]) / (true[0] - true[1])
    if life.kind.measurand == "ph":
        return {"slope": -100.0 * gain / (0.198416 * (temp + 273.15)), "zero_point": true[0] - raw[0] / gain}
    return {next(iter(life.kind.units)): gain, "zero": raw[0] - gain * true[0]}


def _standard(life: Life, value: float, label: str, temp: float) -> float:
    """The true value of a standard at its temperature, as books have it (hPa for oxygen)."""
    if life.kind.measurand == "ph":
        table = {
            7.0: ((15, 7.035), (20, 7.016), (25, 7.0), (30, 6.988)),
            4.01: ((15, 4.003), (20, 4.006), (25, 4.01), (30, 4.016)),
        }[value]
        return float(np.interp(temp, [row[0] for row in table], [row[1] for row in table]))
    if life.kind.measurand == "oxygen":
        kelvin = temp + 273.15
        vapour = 1013.25 * math.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)
        return 0.2095 * (1013.25 - vapour) if label == "air" else 0.0
    if life.kind.measurand == "conductivity":
        return (
            value
            * float(np.interp(temp, [15, 18, 20, 25, 30], [1141.45, 1219.93, 1273.03, 1408.23, 1546.63]))
            / 1408.23
        )
    return value


def _raw(life: Life, value: float, label: str, temp: float, when: int, bottle: float) -> float:
    """What the probe gives in a standard, from formulas written out here; `bottle` in pH, mV or as a share."""
    state = life.parameters(when)
    true = _standard(life, value, label, temp)
    if life.kind.measurand == "ph":
        return -state["slope"] / 100.0 * 0.198416 * (temp + 273.15) * (true + bottle - state["zero_point"])
    if life.kind.measurand == "redox":
        return true + bottle + state["offset"]
    true *= 1.0 + bottle
    if life.kind.measurand == "conductivity":
        return true / state["cell_constant"]
    return state[next(iter(life.kind.units))] * true + state["zero"]
