"""Ordinary ageing, learned from this plant's own shifts: a rate a month by kind and by probe, shrunk to a weak prior.

A normal model with two levels: every probe has a rate of its own around the rate of its kind (measurand, parameter,
unit).  Outlying shifts count less (Student weights), because damage is not ageing.

References
----------
.. [1] Gelman and others, Bayesian Data Analysis, 3rd ed. (2013), 5.4 (normal hierarchical model) and 17.2 (t model
   by weights).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.link.priors import NS_PER_MONTH, Expected, expected
from excursions.records import FloatArray, Shift

Key = tuple[str, str, str]  # measurand, parameter, unit
_FREEDOM = 4.0  # degrees of freedom of the Student weights
_ROUNDS = 8
_MOST_WANDER = 3.0  # a residual beyond this many of the prior's wander is damage, not wander
_WANDER_WEIGHT = 6.0  # the prior's wander counts as this many shifts


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Change a month [parameter's unit, or share of its value], its standard deviation, and the wander."""

    rate: float
    spread: float
    wander: float
    shifts: int
    share: bool

    def over(self, shift: Shift) -> tuple[float, float]:
        """Expected change and its variance between the two calibrations of a shift."""
        scale = abs(shift.before) if self.share else 1.0
        months = months_of(shift)
        variance = (self.spread * months) ** 2 + self.wander**2 * months
        return scale * self.rate * months, scale**2 * variance


@dataclass(frozen=True, slots=True)
class Ageing:
    """Learned rates: by kind, and by probe where it has shifts of its own."""

    kinds: Mapping[Key, Rate]
    probes: Mapping[tuple[Key, str], Rate]

    def of(self, shift: Shift) -> Rate:
        """The rate that holds for the probe of a shift."""
        key = key_of(shift)
        return self.probes.get((key, owner_of(shift))) or self.kinds.get(key) or _prior(expected(*key))


def key_of(shift: Shift) -> Key:
    """Kind of parameter a shift belongs to."""
    return (shift.measurand, shift.parameter, shift.unit)


def owner_of(shift: Shift) -> str:
    """Serial number, or the point when there is none."""
    return shift.probe or f"at {shift.point}"


def months_of(shift: Shift) -> float:
    """Length of the interval in months of 30 days."""
    return max((shift.end - shift.start) / NS_PER_MONTH, 1e-3)


def learn(shifts: Sequence[Shift], *, disturbed: Collection[str] = ()) -> Ageing:
    """Learn ordinary ageing from shifts; those whose ids are in `disturbed` (a likely damage between) are left out."""
    groups: dict[Key, list[Shift]] = {}
    for shift in shifts:
        if shift.id not in disturbed and math.isfinite(shift.change):
            groups.setdefault(key_of(shift), []).append(shift)
    kinds: dict[Key, Rate] = {}
    probes: dict[tuple[Key, str], Rate] = {}
    for key, rows in groups.items():
        kinds[key], own = _learn_kind(rows, expected(*key))
        probes |= {(key, owner): rate for owner, rate in own.items()}
    return Ageing(kinds=kinds, probes=probes)


def _prior(row: Expected) -> Rate:
    return Rate(
        rate=row.ageing,
        spread=math.hypot(row.ageing_spread, row.ageing_spread),
        wander=row.wander,
        shifts=0,
        share=row.share,
    )


def _learn_kind(rows: Sequence[Shift], row: Expected) -> tuple[Rate, dict[str, Rate]]:
    """Rate of the kind, and of each probe, by weighted least squares on the two-level model."""
    scale = np.array([row.scale(s.before) or 1.0 for s in rows])
    months = np.array([months_of(s) for s in rows])
    change = np.array([s.change for s in rows]) / scale
    noise = np.array([s.uncertainty for s in rows]) / scale
    owners = sorted({owner_of(s) for s in rows})
    index = np.array([owners.index(owner_of(s)) for s in rows])
    wander, weight = row.wander, np.ones(len(rows))
    middle = np.zeros(len(owners) + 1)
    covariance = np.zeros((middle.size, middle.size))
    for _ in range(_ROUNDS):
        variance = noise**2 + wander**2 * months
        middle, covariance = _two_levels(change, months, index, len(owners), variance / weight, row)
        rest = change - middle[1 + index] * months
        weight = (_FREEDOM + 1.0) / (_FREEDOM + rest**2 / variance)
        wander = _wander(rest, noise, months, row.wander)
    kind_spread = math.hypot(math.sqrt(covariance[0, 0]), row.ageing_spread)
    kind = Rate(rate=float(middle[0]), spread=kind_spread, wander=wander, shifts=len(rows), share=row.share)
    own = {
        owner: Rate(
            rate=float(middle[1 + i]),
            spread=math.sqrt(covariance[1 + i, 1 + i]),
            wander=wander,
            shifts=int(np.sum(index == i)),
            share=row.share,
        )
        for i, owner in enumerate(owners)
    }
    return kind, own


def _two_levels(
    change: FloatArray,
    months: FloatArray,
    index: np.ndarray[tuple[int], np.dtype[np.intp]],
    owners: int,
    variance: FloatArray,
    row: Expected,
) -> tuple[FloatArray, FloatArray]:
    """Posterior of (rate of the kind, rate of each probe) given variances; normal throughout."""
    between, prior = 1.0 / row.ageing_spread**2, 1.0 / (2.0 * row.ageing_spread) ** 2
    precision = np.zeros((owners + 1, owners + 1))
    pull = np.zeros(owners + 1)
    precision[0, 0], pull[0] = prior + owners * between, prior * row.ageing
    data = np.bincount(index, weights=months**2 / variance, minlength=owners)
    ones = np.arange(1, owners + 1)
    precision[ones, ones] = between + data
    precision[0, ones] = precision[ones, 0] = -between
    pull[1:] = np.bincount(index, weights=months * change / variance, minlength=owners)
    covariance = np.linalg.inv(precision)
    return np.asarray(covariance @ pull), np.asarray(covariance, dtype=np.float64)


def _wander(rest: FloatArray, noise: FloatArray, months: FloatArray, prior: float) -> float:
    """Wander a sqrt(month) from the residuals, shrunk to the prior's; what no wander explains is cut off."""
    found = np.minimum(rest**2 - noise**2, (_MOST_WANDER * prior) ** 2 * months) / months
    mixed = (_WANDER_WEIGHT * prior**2 + max(float(np.sum(found)), 0.0)) / (_WANDER_WEIGHT + rest.size)
    return math.sqrt(mixed)
