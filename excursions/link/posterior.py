"""Which causes acted, and how much each contributed: exact over sets of causes, normal within each set.

Found shift = ordinary ageing + the effects of the causes that acted + measurement error.  For every set of at most
`MOST` causes the found shift has a normal likelihood; its weight is that times the chance of the set.  Contributions
are then drawn jointly, with one fixed set of normal numbers, so that equal input gives equal output.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.link.ageing import Ageing, months_of
from excursions.link.candidates import Cause, Variant, kicks
from excursions.link.intervals import Interval
from excursions.link.priors import UNRECORDED_PER_MONTH
from excursions.records import FloatArray, IndexArray

MOST = 3
_PAIRED = 7  # causes that are tried together with others; the rest only alone
DRAWS = 512
_SEED = 20_060_103  # any number; fixed so that the same input gives the same output
AGEING, UNRECORDED = -1, -2


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Draws of what happened in an interval.

    cause (k,) : index into `causes` for each contribution column, AGEING or UNRECORDED
    contribution (n, k, p) : of each cause to each parameter; 0 where the cause did not act in that draw
    when (n, k, 2) : start and end of each contribution [ns as float]
    acted : chance that each cause acted, by column
    observed : conditioned on found shifts
    """

    causes: tuple[Cause, ...]
    cause: IndexArray
    contribution: FloatArray
    when: FloatArray
    acted: FloatArray
    observed: bool


@dataclass(frozen=True, slots=True)
class _Set:
    """Causes that acted together: (column, variant) of each, and the logarithm of its weight."""

    members: tuple[tuple[int, Variant], ...]
    weight: float


def posterior(
    interval: Interval, causes: Sequence[Cause], ageing: Ageing, *, observed: bool = True
) -> Posterior:
    """Weigh the sets of causes against the found shifts and draw contributions.

    Parameters
    ----------
    observed : bool
        False draws from what is expected before a calibration (for events nobody has verified yet).
    """
    shifts = interval.shifts
    found = np.array([s.change for s in shifts])
    noise = np.diag([s.uncertainty**2 for s in shifts])
    rows = [ageing.of(s).over(s) for s in shifts]
    base_mean, base = np.array([row[0] for row in rows]), np.diag([row[1] for row in rows])
    unrecorded = _unrecorded(interval)
    options = [*((i, v) for i, cause in enumerate(causes) for v in cause.variants), (len(causes), unrecorded)]
    sets = _sets(
        options,
        len(causes),
        lambda members: _log_likelihood(found, noise + base, base_mean, members) if observed else 0.0,
    )
    return _draw(
        interval, causes, sets, found=found if observed else None, noise=noise, base_mean=base_mean, base=base
    )


def _unrecorded(interval: Interval) -> Variant:
    chance = 1.0 - math.exp(-UNRECORDED_PER_MONTH * months_of(interval.shifts[0]))
    size = kicks(interval.shifts)
    return Variant(
        chance=chance,
        mean=np.zeros(size.size),
        covariance=np.diag(size**2),
        start=interval.start,
        end=interval.end,
    )


def _log_likelihood(
    found: FloatArray, base: FloatArray, mean: FloatArray, members: Sequence[tuple[int, Variant]]
) -> float:
    covariance = base + sum((v.covariance for _, v in members), np.zeros_like(base))
    rest = found - mean - sum((v.mean for _, v in members), np.zeros_like(mean))
    _, determinant = np.linalg.slogdet(covariance)
    return float(-0.5 * (rest @ np.linalg.solve(covariance, rest) + determinant))


def _sets(options: Sequence[tuple[int, Variant]], columns: int, likelihood: object) -> list[_Set]:
    """All sets of at most `MOST` options of different causes, with normalised weights."""
    assert callable(likelihood)
    chance = np.zeros(columns + 1)
    for column, variant in options:
        chance[column] += variant.chance
    log_none = np.log1p(-np.minimum(chance, 0.999))
    alone = [((option,), _log_odds(option, log_none) + likelihood((option,))) for option in options]
    best = sorted(range(len(alone)), key=lambda i: (-alone[i][1], i))[:_PAIRED]
    last = len(options) - 1
    chosen = [options[i] for i in sorted({*best, last})]
    scored: list[tuple[tuple[tuple[int, Variant], ...], float]] = [((), likelihood(())), *alone]
    for size in range(2, MOST + 1):
        for members in itertools.combinations(chosen, size):
            if len({column for column, _ in members}) == size:
                scored.append((members, sum(_log_odds(m, log_none) for m in members) + likelihood(members)))
    top = max(score for _, score in scored)
    weights = np.array([math.exp(score - top) for _, score in scored])
    weights /= weights.sum()
    return [_Set(members, float(w)) for (members, _), w in zip(scored, weights, strict=True) if w > 1e-6]


def _log_odds(option: tuple[int, Variant], log_none: FloatArray) -> float:
    column, variant = option
    return math.log(max(variant.chance, 1e-12)) - float(log_none[column])


def _draw(
    interval: Interval,
    causes: Sequence[Cause],
    sets: Sequence[_Set],
    *,
    found: FloatArray | None,
    noise: FloatArray,
    base_mean: FloatArray,
    base: FloatArray,
) -> Posterior:
    """Contributions of every cause in `DRAWS` draws, conditioned on the found shift."""
    parameters, columns = base_mean.size, len(causes) + 2
    contribution = np.zeros((DRAWS, columns, parameters))
    when = np.empty((DRAWS, columns, 2))
    when[:, :, 0], when[:, :, 1] = interval.start, interval.end
    acted = np.zeros(columns)
    acted[-1] = 1.0
    edges = np.concatenate(
        [[0], np.round(np.cumsum([s.weight for s in sets]) / sum(s.weight for s in sets) * DRAWS)]
    ).astype(int)
    random = np.random.default_rng(_SEED)
    normals = random.standard_normal((DRAWS, MOST + 2, parameters))
    moments = random.permutation((np.arange(DRAWS) + 0.5) / DRAWS)
    for one, low, high in zip(sets, edges[:-1], edges[1:], strict=True):
        for column, _ in one.members:
            acted[column] += one.weight
        if high > low:
            _fill(one, slice(low, high), normals[low:high], contribution, when, found, noise, base_mean, base)
    sudden = interval.start + moments * (interval.end - interval.start)
    when[:, columns - 2, 0] = when[:, columns - 2, 1] = sudden
    return Posterior(
        causes=tuple(causes),
        cause=np.array([*range(len(causes)), UNRECORDED, AGEING], dtype=np.int64),
        contribution=contribution,
        when=when,
        acted=acted,
        observed=found is not None,
    )


def _fill(
    one: _Set,
    rows: slice,
    normals: FloatArray,
    contribution: FloatArray,
    when: FloatArray,
    found: FloatArray | None,
    noise: FloatArray,
    base_mean: FloatArray,
    base: FloatArray,
) -> None:
    """Draw contributions of one set: from what is expected, then moved onto the found shift (Matheron's rule)."""
    parts = [(-1, base_mean, base), *((column, v.mean, v.covariance) for column, v in one.members)]
    drawn = [mean + normals[:, i] @ _root(covariance).T for i, (_, mean, covariance) in enumerate(parts)]
    if found is not None:
        total = noise + sum((covariance for _, _, covariance in parts), np.zeros_like(noise))
        error = normals[:, -1] @ _root(noise).T
        rest = np.linalg.solve(total, (found - sum(drawn, error)).T).T
        drawn = [part + rest @ covariance for part, (_, _, covariance) in zip(drawn, parts, strict=True)]
    for part, (column, _, _) in zip(drawn, parts, strict=True):
        contribution[rows, column] = part
    for column, variant in one.members:
        when[rows, column, 0], when[rows, column, 1] = variant.start, variant.end


def _root(covariance: FloatArray) -> FloatArray:
    """A square root of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), dtype=np.float64)
