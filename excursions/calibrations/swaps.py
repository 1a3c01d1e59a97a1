"""A probe swap that nobody logged: parameters jump to a fresh probe's.

Only for points whose calibrations carry no serial number.  A probe that ages loses slope; one whose slope jumps up
by far more than its uncertainty, to where fresh probes of this kind are, has most likely been replaced.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from excursions.calibrations.shifts import comparable, histories
from excursions.clock import iso
from excursions.plant import Installation, Plant
from excursions.records import Calibration, Decision, Parameter


@dataclass(frozen=True, slots=True)
class Fresh:
    """Where a fresh probe's parameter lies: middle and standard deviation among new probes (cp)."""

    middle: float
    spread: float
    unit: str


# Common practice, no source: delivery tolerances of new probes, rounded.
FRESH: dict[str, dict[str, Fresh]] = {
    "ph": {"slope": Fresh(99.5, 1.0, "%"), "zero_point": Fresh(7.0, 0.15, "pH")},
    "co2": {"slope": Fresh(99.5, 1.5, "%"), "zero_point": Fresh(7.0, 0.2, "pH")},
    "co2_pressure": {"slope": Fresh(99.5, 1.5, "%"), "zero_point": Fresh(7.0, 0.2, "pH")},
    "oxygen": {"slope": Fresh(100.0, 3.0, "%")},
    "oxygen_saturation": {"slope": Fresh(100.0, 3.0, "%")},
}
# A loss that comes back: the jump up must exceed this many standard uncertainties, and the evidence for a fresh
# probe against an old one that recovered (a clean restores some) must be at least 20 to 1.
_JUMP = 3.0
_ODDS = 20.0
_RECOVERY = {"slope": 1.5, "zero_point": 0.1}  # what cleaning gives back, standard deviation (cp)


def installations_from(
    calibrations: Sequence[Calibration], plant: Plant
) -> tuple[Plant, tuple[Decision, ...]]:
    """Add installations for swaps that the calibrations show and nobody logged.

    Returns
    -------
    plant : Plant
        With one installation more on each side of a recognised swap; probes are named after the point and a number.
    decisions : tuple of Decision
        What was concluded, from which figures.
    """
    added: list[Installation] = []
    decisions: list[Decision] = []
    for history in histories(calibrations):
        point = history[0].point
        logged = any(row.point == point for row in plant.installations)
        if history[0].probe or not point or logged:
            continue
        times = [
            (earlier, later) for earlier, later in pairwise(history) if swap_odds(earlier, later) >= _ODDS
        ]
        if times:
            added += _stays(point, [later.time for _, later in times])
            decisions += [_decision(point, earlier, later) for earlier, later in times]
    return (replace(plant, installations=(*plant.installations, *added)) if added else plant), tuple(
        decisions
    )


def swap_odds(earlier: Calibration, later: Calibration) -> float:
    """Odds that the later calibration saw a fresh probe rather than the earlier one's, from parameters alone.

    Zero unless the slope rose by more than three standard uncertainties.
    """
    fresh = FRESH.get(earlier.measurand, {})
    before = earlier.as_left or earlier.as_found
    rise = _slope_rise(before, later.as_found)
    if not fresh or rise < _JUMP:
        return 0.0
    log_odds = 0.0
    for name, new in fresh.items():
        a, b = before.get(name), later.as_found.get(name)
        if a is None or b is None or not comparable(a, b) or b.unit != new.unit or b.basis == "relative":
            continue
        log_odds += _log_density(b.value - new.middle, math.hypot(new.spread, b.uncertainty))
        log_odds -= _log_density(
            b.value - a.value, math.hypot(_RECOVERY.get(name, 2.0), a.uncertainty, b.uncertainty)
        )
    return math.exp(min(log_odds, 50.0))


def _slope_rise(before: dict[str, Parameter], after: dict[str, Parameter]) -> float:
    a, b = before.get("slope"), after.get("slope")
    if a is None or b is None or not comparable(a, b):
        return 0.0
    return (b.value - a.value) / max(math.hypot(a.uncertainty, b.uncertainty), 1e-12)


def _log_density(distance: float, spread: float) -> float:
    return -0.5 * (distance / spread) ** 2 - math.log(spread)


def _stays(point: str, swaps: Sequence[int]) -> list[Installation]:
    edges: list[int | None] = [None, *swaps, None]
    return [
        Installation(probe=f"{point}, probe {i + 1}", point=point, start=edges[i], end=edges[i + 1])
        for i in range(len(edges) - 1)
    ]


def _decision(point: str, earlier: Calibration, later: Calibration) -> Decision:
    before, after = (earlier.as_left or earlier.as_found)["slope"], later.as_found["slope"]
    return Decision(
        subject=point,
        what=f"a swap of the probe between {iso(earlier.time)} and {iso(later.time)}, though none is logged",
        why=f"slope rose from {before.value:.1f} to {after.value:.1f} {after.unit}, where fresh probes are",
        option="log the swap with the probe's serial number, or add [[installation]] to the register",
    )
