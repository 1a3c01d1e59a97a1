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

from excursions.link.priors import NS_PER_MONTH, expected
from excursions.measurands import Expected
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
    """Learned rates: by kind, by probe where it has shifts of its own, and for each shift by all the others."""

    kinds: Mapping[Key, Rate]
    probes: Mapping[tuple[Key, str], Rate]
    others: Mapping[str, Rate]

    def of(self, shift: Shift) -> Rate:
        """The rate that holds for a shift's probe; a shift never teaches what to expect of itself."""
        key = key_of(shift)
        known = self.others.get(shift.id) or self.probes.get((key, owner_of(shift))) or self.kinds.get(key)
        return known or _prior(expected(*key))


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
    others: dict[str, Rate] = {}
    for key, rows in groups.items():
        kinds[key], own, without = _learn_kind(rows, expected(*key))
        probes |= {(key, owner): rate for owner, rate in own.items()}
        others |= without
    return Ageing(kinds=kinds, probes=probes, others=others)


def _prior(row: Expected) -> Rate:
    return Rate(
        rate=row.ageing,
        spread=math.hypot(row.ageing_spread, row.ageing_spread),
        wander=row.wander,
        shifts=0,
        share=row.share,
    )


@dataclass(frozen=True, slots=True)
class _Levels:
    """The two-level normal model given variances: what the data say of each probe, and of the kind.

    data, pull (owners,) : sum of months^2/v and of months change/v of each probe
    precision, product : of the kind's rate, and precision times mean
    """

    row: Expected
    data: FloatArray
    pull: FloatArray
    precision: float
    product: float

    @classmethod
    def of(cls, row: Expected, data: FloatArray, pull: FloatArray) -> _Levels:
        between2, prior2 = row.ageing_spread**2, (2.0 * row.ageing_spread) ** 2
        shrunk = 1.0 + between2 * data
        return cls(
            row=row,
            data=data,
            pull=pull,
            precision=1.0 / prior2 + float(np.sum(data / shrunk)),
            product=row.ageing / prior2 + float(np.sum(pull / shrunk)),
        )

    def kind(self) -> tuple[float, float]:
        """Rate of the kind, and its standard deviation for a probe nobody has seen."""
        return self.product / self.precision, math.sqrt(1.0 / self.precision + self.row.ageing_spread**2)

    def probe(self, index: int, *, less_data: float = 0.0, less_pull: float = 0.0) -> tuple[float, float]:
        """Rate of a probe and its standard deviation, with a part of its data taken out."""
        between2 = self.row.ageing_spread**2
        data, pull = float(self.data[index]) - less_data, float(self.pull[index]) - less_pull
        before, after = 1.0 + between2 * float(self.data[index]), 1.0 + between2 * data
        precision = self.precision - float(self.data[index]) / before + data / after
        kind = (self.product - float(self.pull[index]) / before + pull / after) / precision
        return (kind + between2 * pull) / after, math.sqrt(between2 / after + 1.0 / after**2 / precision)


def _learn_kind(rows: Sequence[Shift], row: Expected) -> tuple[Rate, dict[str, Rate], dict[str, Rate]]:
    """Rate of the kind, of each probe, and for each shift of its probe without it."""
    scale = np.array([row.scale(s.before) or 1.0 for s in rows])
    months = np.array([months_of(s) for s in rows])
    change = np.array([s.change for s in rows]) / scale
    noise = np.array([s.uncertainty for s in rows]) / scale
    owners = sorted({owner_of(s) for s in rows})
    place = {owner: i for i, owner in enumerate(owners)}
    index = np.array([place[owner_of(s)] for s in rows])
    count = np.bincount(index, minlength=len(owners))
    wander, weight = row.wander, np.ones(len(rows))
    for _ in range(_ROUNDS):
        variance = (noise**2 + wander**2 * months) / weight
        data, pull = months**2 / variance, months * change / variance
        levels = _Levels.of(row, _sums(index, data, len(owners)), _sums(index, pull, len(owners)))
        probe = np.array([levels.probe(i)[0] for i in range(len(owners))])
        rest = change - probe[index] * months
        weight = (_FREEDOM + 1.0) / (_FREEDOM + rest**2 / (noise**2 + wander**2 * months))
        excess = _excess(rest, noise, months, row.wander)
        wander = _wander(float(excess.sum()), rest.size, row.wander)

    def rate(value: tuple[float, float], shifts: int, scatter: float) -> Rate:
        return Rate(rate=value[0], spread=value[1], wander=scatter, shifts=shifts, share=row.share)

    without = {
        s.id: rate(
            levels.probe(int(index[i]), less_data=float(data[i]), less_pull=float(pull[i])),
            len(rows) - 1,
            _wander(float(excess.sum() - excess[i]), rest.size - 1, row.wander),
        )
        for i, s in enumerate(rows)
    }
    own = {owner: rate(levels.probe(i), int(count[i]), wander) for owner, i in place.items()}
    return rate(levels.kind(), len(rows), wander), own, without


def _sums(index: np.ndarray[tuple[int], np.dtype[np.intp]], values: FloatArray, size: int) -> FloatArray:
    """Sum of the values of each owner (size,)."""
    return np.asarray(np.bincount(index, values, size), dtype=np.float64)


def _excess(rest: FloatArray, noise: FloatArray, months: FloatArray, prior: float) -> FloatArray:
    """Squared wander a month that each residual speaks for; what no wander explains is cut off."""
    return np.asarray(np.minimum(rest**2 - noise**2, (_MOST_WANDER * prior) ** 2 * months) / months)


def _wander(excess: float, shifts: int, prior: float) -> float:
    """Wander a sqrt(month), drawn to the prior's while shifts are few."""
    return math.sqrt((_WANDER_WEIGHT * prior**2 + max(excess, 0.0)) / (_WANDER_WEIGHT + shifts))
