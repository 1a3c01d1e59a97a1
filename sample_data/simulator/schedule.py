"""What is done to a point: sterilisations, cleanings, washes, calibrations, steam where none was meant.

A `Span` carries the temperature the medium takes (knots) and the value the probe sees meanwhile.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from sample_data.simulator.grid import DAY_S, FloatArray, Grid
from sample_data.simulator.spec import Fault, PointSpec, Steam
from sample_data.simulator.streams import stream


@dataclass(frozen=True)
class Span:
    """One stretch [start, end) in seconds; temperature knots (seconds, degC; NaN is the process's own); fault that made it."""

    kind: str
    start: float
    end: float
    heat: tuple[tuple[float, float], ...] = ()
    fault: Fault | None = None
    index: int = -1
    marks: dict[str, float] = field(default_factory=dict)


def plateau(
    start: float, base: float, degc: float, hold_s: float, heating: float, cooling: float
) -> tuple[tuple[float, float], ...]:
    """Knots of a ramp up, a hold and a ramp down to `base` (heating and cooling in K/min)."""
    up = start + abs(degc - base) / heating * 60
    down = up + hold_s
    return ((start, base), (up, degc), (down, degc), (down + abs(degc - base) / cooling * 60, base))


def routine_spans(spec: PointSpec, grid: Grid, seed: int, base: FloatArray) -> list[Span]:
    """Sterilisations and cleanings of the vessel; the same for every point in it."""
    spans = []
    for number, steam in enumerate(spec.vessel.routines):
        rng = stream(seed, spec.vessel.name, "routine", str(number))
        starts = np.arange(steam.first_day, grid.days - 0.3, steam.every_days) * DAY_S
        starts = starts + steam.hour * 3600 + rng.uniform(-1, 1, starts.size) * steam.jitter_h * 3600
        for start in starts:
            inside = 3600.0 <= start < (grid.days - 0.3) * DAY_S
            if inside and not _cancelled(spec, float(start)):
                spans.append(
                    _routine(steam, float(start), float(base[grid.slice(start, start + 60)][0]), rng)
                )
    return spans


def _cancelled(spec: PointSpec, start: float) -> bool:
    """A planted heat event takes the place of a routine within half a day."""
    heats = ("over_temperature", "thermal_shock")
    return any(f.kind in heats and abs(f.day * DAY_S - start) < 0.5 * DAY_S for f in spec.faults)


def _routine(steam: Steam, start: float, base: float, rng: np.random.Generator) -> Span:
    degc = steam.degc + 0.3 * rng.standard_normal()
    heat = plateau(
        start, base, degc, steam.hold_min * 60 * rng.uniform(0.95, 1.1), steam.heating, steam.cooling
    )
    return Span(steam.kind, start, heat[-1][0] + 300, heat)


def heat_faults(spec: PointSpec, grid: Grid, base: FloatArray) -> list[Span]:
    """Steam-outs, hot cleanings and shocks nobody planned."""
    spans = []
    for fault in spec.faults:
        if fault.kind not in ("over_temperature", "thermal_shock", "lookalike_hot_process"):
            continue
        start = fault.day * DAY_S
        here = float(base[grid.slice(start, start + 120)][0])
        if fault.kind == "thermal_shock":
            top = fault.more.get("degc", 88.0)
            heat = plateau(start, here, top, 600.0, 4.0, abs(fault.size))
        else:
            heat = plateau(
                start,
                here,
                fault.size,
                fault.days * DAY_S,
                fault.more.get("heating", 25.0),
                fault.more.get("cooling", 6.0),
            )
        kind = "steam_out" if fault.mode != "cip" else "cip"
        spans.append(Span(kind, start, heat[-1][0] + 240, heat, fault))
    return spans


def wash_spans(spec: PointSpec, grid: Grid, seed: int) -> list[Span]:
    """Short automatic washes, with a few seconds of scatter."""
    care = spec.care
    if care.wash_every_h <= 0:
        return []
    rng = stream(seed, spec.name, "wash")
    starts = np.arange(0.31, grid.days * 24, care.wash_every_h) * 3600
    starts = starts + rng.uniform(0, 4, starts.size)
    return [Span("wash", float(s), float(s) + care.wash_s) for s in starts]


def swap_spans(spec: PointSpec) -> list[Span]:
    """Exchange of a probe: out of the medium and at ambient for some ten minutes."""
    return [Span("swap", swap.day * DAY_S - 420.0, swap.day * DAY_S + 240.0) for swap in spec.swaps]


def calibration_spans(spec: PointSpec, grid: Grid, seed: int) -> list[Span]:
    """Calibrations: walk to ambient, a plateau in each standard, adjustment, return.

    marks: start and end of each standard's plateau (found0, found0_end, ..., left0, ...), the cleaning in
    between, the adjustment; the bench's temperature and what the standards are off their values.
    """
    care = spec.care
    rng = stream(seed, spec.name, "calibration")
    spans = []
    for index, day in enumerate(care.calibrate_days):
        start = (day + care.calibrate_hour / 24) * DAY_S + rng.uniform(0, 2400)
        if start > (grid.days - 0.1) * DAY_S:
            continue
        at = start + rng.uniform(150, 300)
        marks = {"bench": 21.5 + 1.2 * rng.standard_normal()}
        for number, nominal in enumerate(care.standards):
            spread = math.hypot(care.standard_tolerance, care.standard_tolerance_share * nominal)
            marks[f"bias{number}"] = spread * rng.standard_normal()
        for rounds in ("found", "left"):
            for number in range(len(care.standards)):
                marks[f"{rounds}{number}"] = at
                at += care.plateau_min * 60 * rng.uniform(0.8, 1.25)
                marks[f"{rounds}{number}_end"] = at
                at += rng.uniform(30, 75)
            if rounds == "found":
                marks["clean"] = at
                at += rng.uniform(120, 300)
        marks["adjust"] = marks[f"left{len(care.standards) - 1}"] + 0.8 * (
            marks[f"left{len(care.standards) - 1}_end"] - marks[f"left{len(care.standards) - 1}"]
        )
        kind = "calibration" if index not in (*care.bench, *care.untraced) else "bench"
        spans.append(Span(kind, start, at + rng.uniform(240, 600), index=index, marks=marks))
    return spans
