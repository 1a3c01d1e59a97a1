"""A probe swap that nobody logged: parameters jump to a fresh probe's.

Two explanations of what a calibration found are weighed: the same probe, aged, scattered, perhaps damaged; or a fresh
one.  Damage lowers a slope and hardly ever raises it, so a slope that comes back is what tells a fresh probe.  Where a
fresh probe's figures are not known (cell constants), nothing can be told and nothing is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.calibrations.shifts import comparable
from excursions.clock import NS_PER_DAY, iso
from excursions.digits import written
from excursions.records import Calibration, Decision, Parameter


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How one parameter behaves, in its unit (all common practice, no source).

    fresh, spread : middle and standard deviation among new probes; NaN middle where models differ, and then
        `spread` is how much higher a fresh one may lie
    monthly, wander : usual change a month, and the scatter that grows with the root of time
    kick : standard deviation of a damage; falls : damage only lowers it
    """

    fresh: float
    spread: float
    monthly: float
    wander: float
    kick: float
    falls: bool = False


_ELECTRODE_SLOPE = Habit(fresh=99.0, spread=1.5, monthly=-0.3, wander=0.3, kick=5.0, falls=True)
HABITS: dict[tuple[str, str], Habit] = {
    ("slope", "%"): _ELECTRODE_SLOPE,
    ("slope", "nA/hPa"): Habit(
        fresh=math.nan, spread=0.05, monthly=-0.002, wander=0.003, kick=0.03, falls=True
    ),
    ("offset", "mV"): Habit(fresh=0.0, spread=6.0, monthly=0.0, wander=2.0, kick=30.0),
    ("zero", "deg"): Habit(fresh=math.nan, spread=2.5, monthly=-0.12, wander=0.1, kick=2.0, falls=True),
    ("zero_point", "pH"): Habit(fresh=7.0, spread=0.15, monthly=0.0, wander=0.015, kick=0.3),
}
_TURBIDITY = {
    "zero": Habit(fresh=0.0, spread=0.06, monthly=0.01, wander=0.04, kick=0.6),
    "gain": Habit(fresh=1.0, spread=0.03, monthly=-0.004, wander=0.01, kick=0.12),
}
_OXYGEN_SLOPE = Habit(fresh=100.0, spread=4.0, monthly=-0.7, wander=1.0, kick=10.0, falls=True)

CHANCE = 0.05  # of a swap between two calibrations, before looking (cp)
DAMAGED = 0.15  # of a damage between two calibrations (cp)
RESTORED = 0.005  # of a gain that comes back without a swap: regenerated, new membrane or electrolyte (cp)
# Of a cell constant; wear and coating move it by less from one calibration to the next (cp).
_OTHER_CELL = 0.15
_MONTH = 30 * NS_PER_DAY


def swap_probability(earlier: Calibration, later: Calibration) -> float:
    """Probability that the later calibration saw another, fresh probe, from the parameters of both alone."""
    before = earlier.as_left or earlier.as_found
    if later.measurand == "turbidity" and not earlier.as_left:
        return 0.0  # found dirty and left so: the next clean looks like a fresh probe
    months = max((later.time - earlier.time) / _MONTH, 0.03)
    odds = CHANCE / (1.0 - CHANCE)
    for name, found in later.as_found.items():
        row = _habit(later.measurand, name, found.unit)
        known = before.get(name)
        if row is None or known is None or not comparable(known, found) or found.basis == "relative":
            continue
        same = _same(found, known, row, months)
        odds *= _fresh(found, known, row) / max(same, 1e-300)
    return odds / (1.0 + odds)


def _habit(measurand: str, name: str, unit: str) -> Habit | None:
    if name == "slope" and unit == "%" and measurand in ("oxygen", "oxygen_saturation"):
        return _OXYGEN_SLOPE
    return _TURBIDITY.get(name) if measurand == "turbidity" else HABITS.get((name, unit))


def comes_back_fresh(measurand: str, parameter: str, unit: str) -> tuple[float, float] | None:
    """Middle and standard deviation of a parameter among new probes, where damage only lowers it; None elsewhere."""
    row = _habit(measurand, parameter, unit)
    return (row.fresh, row.spread) if row is not None and row.falls and math.isfinite(row.fresh) else None


def fresh_figures(measurand: str, parameter: str, unit: str) -> tuple[float, float] | None:
    """Middle and standard deviation of a parameter among new probes, where they are known."""
    row = _habit(measurand, parameter, unit)
    return (row.fresh, row.spread) if row is not None and math.isfinite(row.fresh) else None


def _fresh(found: Parameter, known: Parameter, row: Habit) -> float:
    """Density of what was found if the probe is a fresh one."""
    if math.isfinite(row.fresh):
        return _density(found.value - row.fresh, math.hypot(row.spread, found.uncertainty))
    narrow = math.hypot(known.uncertainty, found.uncertainty)
    rise = found.value - known.value
    upward = math.erfc(-rise / narrow / math.sqrt(2.0))
    return upward * _density(rise, math.hypot(row.spread, narrow))


def _same(found: Parameter, known: Parameter, row: Habit, months: float) -> float:
    """Density of what was found if it is the same probe: aged, or damaged as well, or restored."""
    rest = found.value - known.value - row.monthly * months
    narrow = math.sqrt(
        known.uncertainty**2 + found.uncertainty**2 + (row.wander) ** 2 * months + (row.monthly * months) ** 2
    )
    wide = math.hypot(narrow, row.kick)
    damaged = _density(rest, wide)
    if row.falls:  # half of the normal law, smoothed by the uncertainty
        damaged *= math.erfc(rest / narrow / math.sqrt(2.0))
    restored = RESTORED if row.falls else 0.0
    return (
        (1.0 - DAMAGED - restored) * _density(rest, narrow)
        + DAMAGED * damaged
        + restored * _density(rest, wide)
    )


def _density(distance: float, spread: float) -> float:
    return math.exp(-0.5 * (distance / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))


def other_cell(earlier: Calibration, later: Calibration) -> Decision | None:
    """A cell constant that jumps: another cell, or damage; which, its value cannot tell, so it is said and left at that."""
    before, found = (
        (earlier.as_left or earlier.as_found).get("cell_constant"),
        later.as_found.get("cell_constant"),
    )
    if before is None or found is None or not comparable(before, found) or before.value <= 0:
        return None
    share = found.value / before.value - 1.0
    if abs(share) < _OTHER_CELL or abs(found.value - before.value) < 3 * math.hypot(
        before.uncertainty, found.uncertainty
    ):
        return None
    return Decision(
        subject=later.point or later.probe,
        what=f"the cell constant moved by {share:+.0%} between {iso(earlier.time)} and {iso(later.time)}: another probe or damage, which of them cannot be told",
        why=f"{written(before.value, 4)} before, {written(found.value, 4)} {found.unit} after; cells of one kind differ by as much",
        option="log a swap with the new serial number, or add the installation to the register",
    )
