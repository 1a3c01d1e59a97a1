"""What a log shows of the way it is kept: raw signals or readings, and how well values repeat.

Values in the reading's own unit may be the probe's raw signal or what the transmitter showed.  Where the same rows
give figures, only one of the two fits them.  How well values repeat shows where a row as found and a row as left
saw the same standard within one occasion.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.checks import agrees
from excursions.calibrations.entries import Occasion
from excursions.calibrations.parameters import determine
from excursions.calibrations.standards import Repeat, Resolved, at_zero, of_samples, resolve
from excursions.records import CalibrationEntry

_PRIOR_PAIRS = 15.0  # the assumed repeatability counts as this many pairs
_LIMITS = (0.3, 4.0)  # of the assumed repeatability
# Quantiles of a squared normal number.  The median forgives the few pairs that were cleaned or replaced in between;
# where it says far more than assumed, most pairs may have been, and the lower quartile stands in.
_MEDIAN_CHI2, _QUARTILE_CHI2 = 0.4549, 0.1015
_FAR_MORE = 2.5
_SAME_DEGC = 0.3  # standards further apart in temperature do not give the same raw signal
AIR_KPA = 101.325


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """How a log is kept.

    raw_like : owners whose values in the reading's unit are raw
    repeat : factor on the assumed repeatability, by measurand; away from zero and at zero
    """

    raw_like: frozenset[str] = frozenset()
    repeat: dict[str, Repeat] = field(default_factory=dict)


def owner_name(occasion: Occasion) -> str:
    """Serial number, or the point when there is none."""
    return occasion.probe or f"at {occasion.point}"


def habits(occasions: Sequence[Occasion]) -> Habits:
    """Learn a log's habits from all its occasions."""
    votes: dict[str, int] = {}
    ratios: dict[tuple[str, bool], list[float]] = {}
    entered: dict[str, dict[str, float]] = {}  # the figures of each owner's occasion before
    for occasion in occasions:
        owner = owner_name(occasion)
        rows = [(row, _plain(occasion, row)) for row in occasion.rows]
        for row, seen in rows:
            if seen is not None and seen.from_reading and row.figures and not of_samples(row.standards):
                votes[owner] = votes.get(owner, 0) + _vote(seen, row, entered.get(owner))
        entered[owner] = next(
            (r.figures for r in reversed(occasion.rows) if r.figures), entered.get(owner, {})
        )
        for zero, ratio in _ratios([seen for _, seen in rows]):
            ratios.setdefault((occasion.measurand, zero), []).append(ratio)
    return Habits(
        raw_like=frozenset(owner for owner, vote in votes.items() if vote > 0),
        repeat={
            measurand: Repeat(
                span=_factor(ratios.get((measurand, False), [])),
                zero=_factor(ratios.get((measurand, True), [])),
            )
            for measurand, _ in ratios
        },
    )


def _plain(occasion: Occasion, row: CalibrationEntry) -> Resolved | None:
    return resolve(occasion.measurand, row.standards, used=models.Known(), air_pressure_kpa=AIR_KPA)


def _vote(seen: Resolved, row: CalibrationEntry, before: dict[str, float] | None) -> int:
    """+1 when the figures of a row follow from its values taken as raw, -1 when they do not, 0 when it is the same.

    It is the same where the figures `before`, with which the transmitter would have read, are those of a new probe.
    """
    known = [n for n in seen.form.units if n in (before or {})]
    if before and known and all(agrees(n, before[n], models.nominal(seen.form, n)) for n in known):
        return 0
    computed = determine(seen, {}).parameters
    pairs = [(name, p, row.figures[name]) for name, p in computed.items() if name in row.figures]
    if not pairs or np.allclose(seen.raw, seen.true, rtol=1e-4):
        return 0
    return 1 if all(agrees(name, figure, p.value) for name, p, figure in pairs) else -1


def _ratios(phases: Sequence[Resolved | None]) -> list[tuple[bool, float]]:
    """Squared differences of raw values in the same standards, over the assumed; with whether at zero."""
    known = [seen for seen in phases if seen is not None]
    if len(known) != 2 or known[0].true.shape != known[1].true.shape:
        return []
    a, b = known
    same = a.form == b.form and np.allclose(a.true, b.true, rtol=0.01, atol=0.02)
    same = same and np.allclose(a.temp, b.temp, atol=_SAME_DEGC)
    if not same or np.array_equal(a.raw, b.raw):  # identical: written down twice rather than measured twice
        return []
    ratio = (a.raw - b.raw) ** 2 / (a.u_raw**2 + b.u_raw**2)
    return list(zip(at_zero(a.form, a.true).tolist(), ratio.tolist(), strict=True))


def _factor(ratios: Sequence[float]) -> float:
    """Factor on the repeatability, drawn to 1 while pairs are few."""
    if not ratios:
        return 1.0
    quartile, middle = np.quantile(ratios, (0.25, 0.5))
    found = float(middle) / _MEDIAN_CHI2
    if found > _FAR_MORE:
        found = min(found, max(float(quartile) / _QUARTILE_CHI2, 1.0))
    mixed = math.sqrt((_PRIOR_PAIRS + len(ratios) * found) / (_PRIOR_PAIRS + len(ratios)))
    return min(max(mixed, _LIMITS[0]), _LIMITS[1])
