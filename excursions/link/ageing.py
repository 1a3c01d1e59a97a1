"""Ordinary ageing: how much a parameter moves in a month when nothing happened.

A weak prior (common practice, no source) by measurand and parameter, moved toward this plant's own record as
far as the record has intervals between calibrations without any candidate event.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from excursions.clock import NS_PER_DAY
from excursions.records import Shift

MONTH_DAYS = 30.0
PRIOR_INTERVALS = 4.0  # the prior weighs as much as this many intervals of the plant's own record

# measurand, parameter, unit -> (mean, standard deviation) of the move in a month; "share" means of the value.
_MONTHLY: dict[tuple[str, str], tuple[float, float, str]] = {
    ("ph", "slope"): (-0.5, 0.7, ""),
    ("ph", "zero_point"): (0.0, 0.04, ""),
    ("redox", "offset"): (0.0, 4.0, ""),
    ("conductivity", "cell_constant"): (0.0, 0.007, "share"),
    ("oxygen", "slope"): (-0.02, 0.02, "share"),
    ("oxygen_saturation", "slope"): (-0.02, 0.02, "share"),
    ("oxygen", "zero"): (0.0, 0.1, ""),
    ("oxygen_saturation", "zero"): (0.0, 0.5, ""),
    ("co2", "slope"): (-0.7, 1.0, ""),
    ("co2_pressure", "slope"): (-0.7, 1.0, ""),
    ("co2", "zero_point"): (0.0, 0.05, ""),
    ("co2_pressure", "zero_point"): (0.0, 0.05, ""),
    ("turbidity", "gain"): (0.0, 0.015, "share"),
    ("turbidity", "zero"): (0.0, 0.1, ""),
}
_ELSE = (0.0, 0.01, "share")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """Move in a month: mean and standard deviation, in the parameter's unit; intervals it was learned from."""

    mean: float
    deviation: float
    intervals: int

    def over(self, days: float) -> tuple[float, float]:
        """Mean and standard deviation of the move over `days`: the mean grows with time, the spread with its root."""
        months = max(days, 0.0) / MONTH_DAYS
        return self.mean * months, self.deviation * math.sqrt(max(months, 0.1))


def months(shift: Shift) -> float:
    """Time between the two calibrations of a shift, in months of 30 days."""
    return max((shift.end - shift.start) / NS_PER_DAY / MONTH_DAYS, 1e-3)


def prior(shift: Shift) -> tuple[float, float]:
    """Weak prior of the monthly move of this parameter (cp), in its unit."""
    mean, deviation, kind = _MONTHLY.get((shift.measurand, shift.parameter), _ELSE)
    size = abs(shift.before) if kind == "share" else 1.0
    if (
        shift.measurand in ("oxygen", "oxygen_saturation")
        and shift.parameter == "zero"
        and shift.unit == "deg"
    ):
        return 0.0, 0.3
    return mean * size, deviation * size or 1e-9


def learn(shifts: Sequence[Shift], quiet: Mapping[str, bool]) -> dict[str, Ageing]:
    """Learn the monthly move for every shift from the others of its measurand, parameter and unit.

    Parameters
    ----------
    shifts : all shifts of the plant
    quiet : shift id -> True when no candidate event lies between its calibrations

    Returns
    -------
    dict of shift id to Ageing
        A shift never teaches itself.
    """
    groups: dict[tuple[str, str, str], list[Shift]] = {}
    for shift in shifts:
        if quiet.get(shift.id) and math.isfinite(shift.change):
            groups.setdefault((shift.measurand, shift.parameter, shift.unit), []).append(shift)
    return {
        shift.id: _shrunk(
            shift,
            [s for s in groups.get((shift.measurand, shift.parameter, shift.unit), []) if s.id != shift.id],
        )
        for shift in shifts
    }


def _shrunk(shift: Shift, others: Sequence[Shift]) -> Ageing:
    mean0, deviation0 = prior(shift)
    # An interval that ended in an unexplained jump must not make jumps ordinary: clip at three prior deviations.
    rates = [min(max(s.change / months(s), mean0 - 3 * deviation0), mean0 + 3 * deviation0) for s in others]
    weight = PRIOR_INTERVALS + len(rates)
    mean = (PRIOR_INTERVALS * mean0 + sum(rates)) / weight
    noise = [s.uncertainty**2 / months(s) for s in others]
    excess = [
        max((s.change - mean * months(s)) ** 2 / months(s) - n, 0.0)
        for s, n in zip(others, noise, strict=True)
    ]
    excess = [min(value, 9 * deviation0**2) for value in excess]
    variance = (PRIOR_INTERVALS * deviation0**2 + sum(excess)) / weight
    return Ageing(mean=mean, deviation=math.sqrt(variance), intervals=len(rates))
