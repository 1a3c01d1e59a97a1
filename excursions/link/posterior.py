"""Which causes acted, and how much each contributed: exact over sets of causes, normal within each set.

Found shift = ordinary ageing + the effects of the causes that acted + measurement error.  For every set of at most
`MOST` causes the found shift has a normal likelihood; its weight is that times the chance of the set.  Contributions
are then drawn jointly, with one fixed set of normal numbers, so that equal input gives equal output.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from excursions.link.ageing import Ageing, key_of, months_of
from excursions.link.beliefs import OTHER, UNSEEN, Beliefs, Seen, Source
from excursions.link.candidates import Cause
from excursions.link.effects import Variant, blind, family_of, table_chance
from excursions.link.intervals import Interval
from excursions.link.renewed import RENEWED, renewed
from excursions.link.sizes import kicks
from excursions.link.undone import BEGAN_OFF, ENDED_OFF
from excursions.records import FloatArray, IndexArray

MOST = 3
_GROWN = 24  # sets of each size that are tried with one more way of acting
DRAWS = 512
_SEED = 20_060_103  # any number; fixed so that the same input gives the same output
AGEING, UNRECORDED = -1, -2


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Sets of ways of acting and how likely each is.

    options : every way, with the column of its cause (the last column is the unrecorded)
    members (n, MOST) : indices into options, -1 where there is none; weight (n,), sum 1
    base_mean (p,), base (p, p) : ordinary ageing; noise (p, p) : of the measurement; found (p,) or None
    """

    options: tuple[tuple[int, Variant], ...]
    members: IndexArray
    weight: FloatArray
    base_mean: FloatArray
    base: FloatArray
    noise: FloatArray
    found: FloatArray | None
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Draws of what happened in an interval.

    cause (k,) : index into `causes` for each contribution column, AGEING or UNRECORDED
    contribution (n, k, p) : of each cause to each parameter; 0 where the cause did not act in that draw
    when (n, k, 2) : start and end of each contribution [ns as float]
    began (n, p) : what the probe's parameters truly were at the start, less what was determined then
    acted : chance that each cause acted, by column
    observed : conditioned on found shifts
    began_off, ended_off : chance that the calibration at that end was itself off
    """

    causes: tuple[Cause, ...]
    cause: IndexArray
    contribution: FloatArray
    began: FloatArray
    when: FloatArray
    acted: FloatArray
    observed: bool
    began_off: float = 0.0
    ended_off: float = 0.0

    @property
    def misjudged(self) -> bool:
        """Whether the calibration at either end was rather off than not."""
        return self.began_off + self.ended_off > 0.5


def weigh_sets(
    interval: Interval,
    causes: Sequence[Cause],
    ageing: Ageing,
    beliefs: Beliefs,
    *,
    observed: bool = True,
    undone: Sequence[Variant] = (),
) -> Weights:
    """Weigh every set of ways of acting against the found shifts (or, not `observed`, by its chance alone).

    undone : ways in which a calibration at either end made the shift by itself (:mod:`excursions.link.undone`)
    """
    shifts = interval.shifts
    found = np.array([s.change for s in shifts])
    noise = np.diag([s.uncertainty**2 for s in shifts])
    rows = [ageing.of(s).over(s) for s in shifts]
    base_mean, base = np.array([row[0] for row in rows]), np.diag([row[1] for row in rows])
    unrecorded = (*_unrecorded(interval, beliefs), *renewed(interval), *undone)
    options = (
        *((i, v) for i, cause in enumerate(causes) for v in cause.variants),
        *((len(causes), v) for v in unrecorded),
    )
    log_odds = _log_odds(options, len(causes) + 1)

    def score(members: IndexArray) -> FloatArray:
        total = np.where(members >= 0, log_odds[members], 0.0).sum(axis=1)
        like = _likelihood(options, members, found - base_mean, noise + base, observed=observed)
        return np.asarray(total + like)

    members, total = _grown(options, score)
    weight = np.exp(total - total.max())
    keep = weight > 1e-6 * weight.sum()
    return Weights(
        options=options,
        members=members[keep],
        weight=weight[keep] / weight[keep].sum(),
        base_mean=base_mean,
        base=base,
        noise=noise,
        found=found if observed else None,
        columns=len(causes) + 2,
    )


def posterior(causes: Sequence[Cause], interval: Interval, weights: Weights) -> Posterior:
    """Draw contributions from weighed sets."""
    columns = weights.columns
    contribution, chosen = _contributions(weights)
    began = _began(weights, contribution)
    when = np.empty((DRAWS, columns, 2))
    when[:, :, 0], when[:, :, 1] = interval.start, interval.end
    starts = np.array([v.start for _, v in weights.options], dtype=np.float64)
    ends = np.array([v.end for _, v in weights.options], dtype=np.float64)
    column_of = np.array([c for c, _ in weights.options], dtype=np.int64)
    for place in range(MOST):
        option = chosen[:, place]
        rows = np.flatnonzero(option >= 0)
        when[rows, column_of[option[rows]], 0] = starts[option[rows]]
        when[rows, column_of[option[rows]], 1] = ends[option[rows]]
    blur = np.array([v.blur for _, v in weights.options])
    for place in range(MOST):
        option = chosen[:, place]
        rows = np.flatnonzero(option >= 0)
        rows = rows[blur[option[rows]] > 0]
        at = (rows, column_of[option[rows]])
        when[at] = _blurred(interval, when[at], blur[option[rows]], place)
    sources = np.array([v.source for _, v in weights.options])
    for place in range(MOST):
        option = chosen[:, place]
        rows = np.flatnonzero(option >= 0)
        rows = rows[sources[option[rows]] == OTHER]
        when[rows, column_of[option[rows]]] = _loose_times(interval, starts[option[rows]], rows, place)
    when[:, columns - 2] = _unseen_times(interval)
    drawn, which = np.nonzero(np.isin(sources, (BEGAN_OFF, ENDED_OFF))[chosen] & (chosen >= 0))
    when[drawn, columns - 2] = starts[chosen[drawn, which], None]
    return Posterior(
        causes=tuple(causes),
        cause=np.array([*range(len(causes)), UNRECORDED, AGEING], dtype=np.int64),
        contribution=contribution,
        began=began,
        when=when,
        acted=_acted(weights),
        observed=weights.found is not None,
        began_off=_share_of(BEGAN_OFF, weights),
        ended_off=_share_of(ENDED_OFF, weights),
    )


def _unseen_times(interval: Interval) -> FloatArray:
    """When something unrecorded acted, in each draw (draws, 2): nobody knows.

    One third suddenly at any time; one third bit by bit over the whole interval; one third at the calibration itself
    (knocked on the bench, a spoilt standard), when the readings before were right.  A coating grows bit by bit, half of them
    over the whole interval, half from any time on (cp).
    """
    random = np.random.default_rng(_SEED + 1)
    length = float(interval.end - interval.start)
    moments = interval.start + random.permutation((np.arange(DRAWS) + 0.5) / DRAWS) * length
    made = np.column_stack([moments, moments])
    if interval.coated:
        late = random.permutation(np.arange(DRAWS) % 2)
        return np.column_stack([np.where(late, moments, interval.start), np.full(DRAWS, interval.end)])
    way = random.permutation(np.arange(DRAWS) % 3)
    made[way == 1] = (interval.start, interval.end)
    made[way == 2] = interval.end
    return made


def _blurred(interval: Interval, when: FloatArray, blur: FloatArray, place: int) -> FloatArray:
    """Begin and end (rows, 2) of what grows, each as uncertain as it was seen; what reaches beyond the interval stays whole there."""
    normals = np.random.default_rng(_SEED + 6 + place).standard_normal(when.shape)
    inside = (when > interval.start) & (when < interval.end)
    moved = np.clip(when + inside * normals * blur[:, None], interval.start, interval.end)
    return np.sort(moved, axis=1)


def _loose_times(interval: Interval, onset: FloatArray, rows: IndexArray, place: int) -> FloatArray:
    """When damage acted that goes with a symptom (a stuck reading, noise) and whose size no reading told (rows, 2).

    The symptom marks trouble, not the moment of the shift: one third suddenly at its `onset` (rows,); one third from then
    on, bit by bit; one third before it, bit by bit, so that the symptom came last (cp).
    """
    random = np.random.default_rng(_SEED + 3 + place)
    way = random.permutation(np.arange(DRAWS) % 3)[rows]
    begin = np.where(way == 2, float(interval.start), onset)
    finish = np.where(way == 1, float(interval.end), onset)
    return np.column_stack([begin, finish])


def seen_in(interval: Interval, causes: Sequence[Cause], weights: Weights) -> Seen:
    """What a weighed interval says of chances and sizes, for learning them."""
    acted = _acted(weights)
    return Seen(
        events=tuple(
            (family_of(c.event, c.consequences), table_chance(c.event, c.consequences), float(acted[i]))
            for i, c in enumerate(causes)
        ),
        months=months_of(interval.shifts[0]),
        unrecorded=float(acted[len(causes)]) - _share_of(RENEWED, weights),
        kicks=tuple(_kick_sizes(interval, weights)),
    )


def unexplained(weights: Weights, besides: Sequence[int] = ()) -> float:
    """Chance that something acted that is not in the record, or one of some causes (columns)."""
    return min(float(_acted(weights)[[weights.columns - 2, *besides]].sum()), 1.0)


def _share_of(source: str, weights: Weights) -> float:
    """Chance that ways of one source acted: a new probe, say, which is no damage and teaches nothing of its rate."""
    own = [i for i, (_, variant) in enumerate(weights.options) if variant.source == source]
    return float(weights.weight @ np.isin(weights.members, own).any(axis=1))


def _kick_sizes(interval: Interval, weights: Weights) -> list[tuple[Source, float, float]]:
    """Second moments of damage whose size no reading told, over those expected."""
    source_of = [v.source for _, v in weights.options]
    means, covariances = _moments(weights.options)
    made = []
    sets = [(row, w) for row, w in zip(weights.members, weights.weight, strict=True) if w > 0.01]
    for row, w in sets:
        own = [int(i) for i in row if i >= 0]
        for i in own:
            if source_of[i] in ("", RENEWED):
                continue
            total = weights.noise + weights.base + covariances[own].sum(axis=0)
            rest = (
                (weights.found if weights.found is not None else 0.0)
                - weights.base_mean
                - means[own].sum(axis=0)
            )
            gain = covariances[i] @ np.linalg.inv(total)
            mean, spread = means[i] + gain @ rest, covariances[i] - gain @ covariances[i]
            for p, shift in enumerate(interval.shifts):
                believed = means[i, p] ** 2 + covariances[i, p, p]
                if believed > 0:
                    found = float((mean[p] ** 2 + spread[p, p]) / believed)
                    made.append(((key_of(shift), source_of[i]), float(w), found))
    return made


def _unrecorded(interval: Interval, beliefs: Beliefs) -> tuple[Variant, ...]:
    chance = 1.0 - math.exp(-beliefs.unrecorded * months_of(interval.shifts[0]))
    size = kicks(interval.shifts, beliefs)
    return blind(chance, np.zeros(size.size), size, (interval.start, interval.end), UNSEEN)


def _log_odds(options: Sequence[tuple[int, Variant]], columns: int) -> FloatArray:
    """Logarithm of the chance of each way over the chance that its cause did nothing."""
    chance = np.zeros(columns)
    for column, variant in options:
        chance[column] += variant.chance
    none = np.log1p(-np.minimum(chance, 0.999))
    return np.array([math.log(max(v.chance, 1e-12)) - none[column] for column, v in options])


def _grown(
    options: Sequence[tuple[int, Variant]], score: Callable[[IndexArray], FloatArray]
) -> tuple[IndexArray, FloatArray]:
    """Sets of ways of different causes (n, MOST) with their scores: none, each way alone, and the best ones with every
    further way, again and again.  A way that explains nothing by itself is found where it explains the rest.
    """
    column = np.array([c for c, _ in options] + [-1], dtype=np.int64)
    every = np.arange(len(options), dtype=np.int64)
    sets = [np.full((1, MOST), -1, dtype=np.int64)]
    scores = [score(sets[0])]
    for size in range(MOST):
        best = np.argsort(-scores[-1], kind="stable")[:_GROWN]
        base = np.repeat(sets[-1][best], len(options), axis=0)
        more = np.tile(every, len(best))
        fits = ~np.any((base >= 0) & (column[base] == column[more][:, None]), axis=1)
        grown = base[fits]
        grown[:, size] = more[fits]
        grown = np.unique(-np.sort(-grown, axis=1), axis=0)
        if not len(grown):
            break
        sets.append(grown)
        scores.append(score(grown))
    return np.concatenate(sets), np.concatenate(scores)


def _moments(options: Sequence[tuple[int, Variant]]) -> tuple[FloatArray, FloatArray]:
    return np.array([v.mean for _, v in options]), np.array([v.covariance for _, v in options])


def _likelihood(
    options: Sequence[tuple[int, Variant]],
    members: IndexArray,
    rest: FloatArray,
    base: FloatArray,
    *,
    observed: bool,
) -> FloatArray:
    """Log likelihood of the found shifts under each set (n,), up to a constant; zero when nothing was found."""
    if not observed:
        return np.zeros(len(members))
    means, covariances = _moments(options)
    there = (members >= 0).astype(np.float64)
    total = base + np.einsum("nm,nmij->nij", there, covariances[members])
    off = rest - np.einsum("nm,nmi->ni", there, means[members])
    _, determinant = np.linalg.slogdet(total)
    distance = np.einsum("ni,ni->n", off, np.linalg.solve(total, off[:, :, None])[:, :, 0])
    return np.asarray(-0.5 * (distance + determinant), dtype=np.float64)


def _acted(weights: Weights) -> FloatArray:
    """Chance that each column acted; ageing always does."""
    column_of = np.array([c for c, _ in weights.options] + [weights.columns], dtype=np.int64)
    acted = np.zeros(weights.columns + 1)
    for place in range(MOST):
        np.add.at(acted, column_of[weights.members[:, place]], weights.weight)
    acted[weights.columns - 1] = 1.0
    return acted[: weights.columns]


def _contributions(weights: Weights) -> tuple[FloatArray, NDArray[np.int64]]:
    """Contributions (draws, columns, p), and which ways acted in each draw (draws, MOST).

    Drawn from what is expected, then moved onto the found shift (Matheron's rule).
    """
    edges = (np.arange(DRAWS) + 0.5) / DRAWS
    index = np.minimum(np.searchsorted(np.cumsum(weights.weight), edges), len(weights.weight) - 1)
    chosen = weights.members[index]
    means, covariances = _moments(weights.options)
    size = weights.base_mean.size
    normals = np.random.default_rng(_SEED).standard_normal((MOST + 2, DRAWS, size))
    there = (chosen >= 0)[:, :, None].astype(np.float64)
    parts = there * (means[chosen] + np.einsum("nmij,mnj->nmi", _roots(covariances)[chosen], normals[:MOST]))
    ageing = weights.base_mean + normals[MOST] @ _roots(weights.base[None])[0].T
    if weights.found is not None:
        spread = there[:, :, :, None] * covariances[chosen]
        total = weights.noise + weights.base + spread.sum(axis=1)
        error = normals[MOST + 1] @ _roots(weights.noise[None])[0].T
        rest = weights.found - ageing - error - parts.sum(axis=1)
        pull = np.linalg.solve(total, rest[:, :, None])[:, :, 0]
        parts = parts + np.einsum("nmij,nj->nmi", spread, pull)
        ageing = ageing + pull @ weights.base
    made = np.zeros((DRAWS, weights.columns + 1, size))
    column_of = np.array([c for c, _ in weights.options] + [weights.columns], dtype=np.int64)
    rows = np.arange(DRAWS)
    for place in range(MOST):
        made[rows, column_of[chosen[:, place]]] += parts[:, place]
    made[:, weights.columns - 1] = ageing
    return made[:, : weights.columns], chosen


def _began(weights: Weights, contribution: FloatArray) -> FloatArray:
    """Error of the determination at the start, in each draw.

    The noise of a shift is that of both calibrations, taken as equal halves; the found shift, less all contributions,
    is what both made together.
    """
    normals = np.random.default_rng(_SEED + 2).standard_normal((DRAWS, weights.base_mean.size))
    half = np.sqrt(np.diag(weights.noise) / 2.0)
    if weights.found is None:
        return np.asarray(half * normals)
    together = weights.found - contribution.sum(axis=1)
    return np.asarray(together / 2.0 + half / math.sqrt(2.0) * normals)


def _roots(covariances: FloatArray) -> FloatArray:
    """Square roots of covariances (n, p, p) that may be singular."""
    values, vectors = np.linalg.eigh(covariances)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :], dtype=np.float64)
