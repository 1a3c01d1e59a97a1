"""Laboratory samples beside the reading: which draws of what happened agree with them, and what none of them explains.

A sample taken beside a live reading says how wrong the reading was.  Where the causes in the record and the calibrations
at both ends explain what the samples say, the samples only choose among them.  Where they do not (dirt that came and was
cleaned off between two calibrations, say), a discrepancy is added: a random walk that is drawn back to nothing, known at
the samples, nothing at the calibrations, and as uncertain in between as the samples show it to move.  Its size and how
long it lasts are weighed by how well they explain the samples; that there is none has half of the weight beforehand.

References
----------
.. [1] Kennedy and O'Hagan, "Bayesian calibration of computer models", J. R. Stat. Soc. B 63 (2001) 425: model discrepancy
   as a Gaussian process.
.. [2] Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.2 and 4.2: conditioning, and the
   exponential covariance.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.conclusions import Levels
from excursions.plant import Point
from excursions.records import FloatArray

# Laboratory samples of each point: times (ns) and values in the canonical unit.
Samples = Mapping[str, tuple[TimeArray, FloatArray]]

_NEAR_NS = NS_PER_HOUR
_TOLERANCES = 0.5  # standard uncertainty of a grab sample against the reading, in tolerances (cp)
_FEWEST_DRAWS = 30.0  # effective number that must agree with the samples
_SURE = 3.0  # standard uncertainties of a sample beyond which it speaks for itself
_SEED = 20_060_105  # any number; fixed so that the same input gives the same output
_NONE = 0.5  # chance beforehand that the causes explain all the samples say (cp)
_SIZES = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)  # of a discrepancy, in tolerances
_LENGTHS_NS = (3 * NS_PER_DAY, 10 * NS_PER_DAY, 30 * NS_PER_DAY)  # how long it lasts
_TINY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A laboratory sample beside the reading: reading minus sample, and its standard uncertainty."""

    time: int
    error: float
    uncertainty: float


def pins_of(
    point: Point, levels: Mapping[str, Levels], stay: tuple[int, int], samples: Samples
) -> tuple[Pin, ...]:
    """Samples taken while the probe sat at a point and the reading was live."""
    line = levels.get(point.name)
    if line is None or point.name not in samples:
        return ()
    time, value = samples[point.name]
    made = []
    for when, true in zip(time.tolist(), value.tolist(), strict=True):
        near = np.abs(line.time + _NEAR_NS // 2 - when) <= _NEAR_NS
        known = line.value[near][np.isfinite(line.value[near])]
        if stay[0] < when < stay[1] and known.size and math.isfinite(true):
            reading = float(np.median(known))
            spread = float(np.ptp(known)) / 2.0
            own = _TOLERANCES * point.tolerance_at(reading)
            made.append(Pin(time=int(when), error=reading - true, uncertainty=math.hypot(own, spread)))
    return tuple(made)


def off_at_last(pins: Sequence[Pin]) -> int:
    """How many samples in a row, up to the last, show the reading off the same way; 0 for a single one.

    Each by three of its own standard uncertainties, which is more than the tolerance: one in a few hundred by chance.
    """
    ways = [math.copysign(abs(pin.error) > _SURE * pin.uncertainty, pin.error) for pin in reversed(pins)]
    run = sum(1 for _ in itertools.takewhile(lambda way: way and way == ways[0], ways))
    return run if run > 1 else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How draws agree with the samples.

    weight (n,) : of each draw, sum 1
    size, length (n,) : of the discrepancy each draw goes with [canonical unit, ns]; size 0 where it needs none
    off (n, k) : what the samples say less what each draw says; uncertainty (k,) : of the samples
    at (k,), known (m,) : instants of the samples, and where there is no discrepancy [ns]
    """

    weight: FloatArray
    size: FloatArray
    length: FloatArray
    off: FloatArray
    uncertainty: FloatArray
    at: FloatArray
    known: FloatArray

    @property
    def unexplained(self) -> float:
        """Chance that the causes do not explain what the samples say."""
        return float(self.weight[self.size > 0].sum())

    def discrepancy(self, at: FloatArray) -> FloatArray:
        """What is to be added to each draw at instants (n, t): paths through what the samples say, nothing where known."""
        made = np.zeros((self.weight.size, at.size))
        every, place = np.unique(np.concatenate([at, self.at, self.known]), return_inverse=True)
        seen = place[at.size :]
        noise = np.concatenate([self.uncertainty, np.zeros(self.known.size)])
        random = np.random.default_rng(_SEED)
        paths = random.standard_normal((self.weight.size, every.size))
        errors = random.standard_normal((self.weight.size, seen.size)) * noise
        told = np.hstack([self.off, np.zeros((self.weight.size, self.known.size))])
        for length in np.unique(self.length):
            alike = _alike(every, every, float(length))
            root = np.linalg.cholesky(alike + _TINY * np.eye(every.size))
            for size in np.unique(self.size[(self.length == length) & (self.size > 0)]):
                rows = np.flatnonzero((self.length == length) & (self.size == size))
                path = size * paths[rows] @ root.T
                total = size**2 * (alike[np.ix_(seen, seen)] + _TINY * np.eye(seen.size)) + np.diag(noise**2)
                rest = told[rows] - path[:, seen] - errors[rows]
                path += np.linalg.solve(total, rest.T).T @ (size**2 * alike[seen])
                made[rows] = path[:, place[: at.size]]
        return made


def agreement(
    pins: Sequence[Pin], drawn: FloatArray, known: Sequence[int], origin: int, tolerance: float
) -> Agreement:
    """Weigh draws, and discrepancies of every size and length, by how well they agree with the samples.

    Many samples leave few draws that agree with all of them.  The weights are tempered then until enough draws count (a
    power of the likelihood, as in annealed importance sampling: R. M. Neal, Statistics and Computing 11 (2001) 125); what
    each still leaves unexplained is its discrepancy's, which the samples pin as closely as ever.

    Parameters
    ----------
    drawn : ndarray, shape (n, k)
        Error of each draw at the samples.
    known : sequence of int
        Instants [ns] at which a calibration says all there is to say.
    origin : int
        The instant [ns] that times are counted from.
    tolerance : float
        Error that matters, canonical unit.
    """
    at = np.array([float(pin.time - origin) for pin in pins])
    still = np.array([float(when - origin) for when in known])
    uncertainty = np.array([pin.uncertainty for pin in pins])
    off = np.array([pin.error for pin in pins]) - drawn
    choices = [
        (0.0, float(_LENGTHS_NS[0])),
        *((s * tolerance, float(n)) for s in _SIZES for n in _LENGTHS_NS),
    ]
    beforehand = np.log([_NONE, *[(1.0 - _NONE) / (len(choices) - 1)] * (len(choices) - 1)])
    score = beforehand + np.column_stack(
        [_likelihood(off, uncertainty, _left(at, still, size, length)) for size, length in choices]
    )
    best = score.max(axis=1)
    share = np.exp(score - best[:, None])
    whole = best + np.log(share.sum(axis=1))
    for heat in 2.0 ** np.arange(0, 24):
        weight = np.exp((whole - whole.max()) / heat)
        weight /= weight.sum()
        if 1.0 / np.sum(weight**2) >= _FEWEST_DRAWS:
            break
    chosen = _chosen(share)
    return Agreement(
        weight=weight,
        size=np.array([size for size, _ in choices])[chosen],
        length=np.array([length for _, length in choices])[chosen],
        off=off,
        uncertainty=uncertainty,
        at=at,
        known=still,
    )


def _chosen(share: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """One column for each row (n,), as often as its share of the row says."""
    total = np.cumsum(share, axis=1)
    marks = np.random.default_rng(_SEED + 1).random(len(share)) * total[:, -1]
    return np.asarray(np.minimum((total < marks[:, None]).sum(axis=1), share.shape[1] - 1))


def _alike(a: FloatArray, b: FloatArray, length: float) -> FloatArray:
    return np.asarray(np.exp(-np.abs(a[:, None] - b[None, :]) / length))


def _left(at: FloatArray, known: FloatArray, size: float, length: float) -> FloatArray:
    """Covariance of a discrepancy at the samples (k, k), given that there is none where it is known."""
    here, cross = _alike(at, at, length), _alike(at, known, length)
    if known.size:
        there = _alike(known, known, length) + _TINY * np.eye(known.size)
        here = here - cross @ np.linalg.solve(there, cross.T)
    return np.asarray(size**2 * here)


def _likelihood(off: FloatArray, uncertainty: FloatArray, covariance: FloatArray) -> FloatArray:
    """Log likelihood of what the samples say, for each draw (n,), up to a constant."""
    total = covariance + np.diag(uncertainty**2)
    _, determinant = np.linalg.slogdet(total)
    distance = np.einsum("nk,kn->n", off, np.linalg.solve(total, off.T))
    return np.asarray(-0.5 * (distance + determinant))
