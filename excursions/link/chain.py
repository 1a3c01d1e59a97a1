"""Which entry's parameters a transmitter uses, weighed over all adjustments of a probe together.

A hidden chain: before each adjustment the transmitter uses what one of the earlier entries left, or something nobody knows;
then it takes the new parameters over, or goes on as it was.  Each course predicts how the reading moves; what the process
does by itself on ordinary days says how likely a move is that differs from it.  Forward and backward pass (Rabiner 1989,
Proceedings of the IEEE 77, 257; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from excursions.records import FloatArray

_QUANTILES = 401  # of the ordinary moves that stand for all of them
# Width of each of them: half an ordinary move, a tenth of the tolerance and of the predicted move itself (cp).
_SMOOTH, _OF_TOLERANCE, _OF_MOVE = 0.5, 0.1, 0.1
# Tolerances; spreads, one as likely as the other, of an adjustment of which nothing is known (cp).
_USUAL_ADJUSTMENT = (0.3, 3.0)
# One comparison in a hundred is disturbed by something else altogether, over this many ordinary moves and tolerances (cp).
_DISTURBED, _OVER = 0.01, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Predicted moves of the reading, taken over and not, with their standard uncertainties; NaN: nobody knows."""

    adopted: float = math.nan
    kept: float = 0.0
    adopted_spread: float = 0.0
    kept_spread: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One adjustment.

    adopted : chance that it is taken over, before looking; moves : prediction for each earlier entry that may be in use;
    seen : move of the reading, NaN where the record does not show it; ordinary (n,) : what it does by itself; tolerance :
    of the reading; unknown : chance that somebody set something else since the adjustment before
    """

    adopted: float
    moves: tuple[Move, ...]
    seen: float
    ordinary: FloatArray
    tolerance: float
    unknown: float = 0.0


def kept_chances(steps: Sequence[Step]) -> list[tuple[float, int | None]]:
    """For each adjustment the chance that a known earlier one stayed in use, and the likeliest such one (None: no such).

    States are numbered 0 (nobody knows) and 1 + k (what adjustment k left).
    """
    weights = [_weights(step) for step in steps]
    ahead = [np.array([1.0])]
    for step, (adopt, keep) in zip(steps, weights, strict=True):
        before = _forgotten(ahead[-1], step.unknown)
        after = np.append(before * keep, float(before @ adopt))
        ahead.append(after / after.sum())
    behind = np.ones(len(steps) + 1)
    found: list[tuple[float, int | None]] = []
    for k in range(len(steps) - 1, -1, -1):
        step, (adopt, keep) = steps[k], weights[k]
        before = _forgotten(ahead[k], step.unknown)
        stays = before * keep * behind[:-1]
        total = float(stays.sum() + (before @ adopt) * behind[-1])
        known = stays[1:]
        likeliest = int(np.argmax(known)) if known.size and known.max() > 0 else None
        found.append((float(known.sum()) / total, likeliest))
        behind = keep * behind[:-1] + adopt * behind[-1]
        behind = (1.0 - step.unknown) * behind + step.unknown * behind[0]
        behind = behind / behind.max()
    return found[::-1]


def taken_chance(step: Step) -> float:
    """Chance that one adjustment from its one known earlier entry is seen to be taken over, the record of others aside."""
    adopt, keep = _weights(step)
    return float(adopt[1] / (adopt[1] + keep[1]))


def _forgotten(chances: FloatArray, unknown: float) -> FloatArray:
    """A share of all of them moved to the state that nobody knows."""
    kept = (1.0 - unknown) * chances
    kept[0] += unknown * chances.sum()
    return kept


def _weights(step: Step) -> tuple[FloatArray, FloatArray]:
    """For each state before an adjustment: weight of taking over, and of going on."""
    moves = (Move(), *step.moves)
    chance = np.full(len(moves), step.adopted)
    # Where nobody knows what was in use, an adjustment is taken at its word: it was either taken over or made no odds.
    chance[0] = 1.0 if step.adopted > 0.5 else step.adopted
    if not math.isfinite(step.seen):
        return chance, 1.0 - chance
    adopted = np.array([m.adopted for m in moves])
    kept = np.array([m.kept for m in moves])
    expected = np.nan_to_num(adopted)
    known = np.array([m.adopted_spread for m in moves])
    either = [
        np.where(np.isfinite(adopted), np.hypot(_OF_MOVE * expected, known), usual * step.tolerance)
        for usual in _USUAL_ADJUSTMENT
    ]
    taken = np.mean([_density(step.seen - expected, spread, step) for spread in either], axis=0)
    # Figures left that differ from those found: the work changed the probe, or they are what the transmitter was to use.
    stayed = [
        _density(step.seen - kept, np.hypot(_OF_MOVE * kept, [m.kept_spread for m in moves]), step),
        _density(np.full(len(moves), step.seen), np.zeros(len(moves)), step),
    ]
    return chance * taken, (1.0 - chance) * np.mean(stayed, axis=0)


def _density(off: FloatArray, spread: FloatArray, step: Step) -> FloatArray:
    """Density of each unexplained move (m,), when the prediction itself spreads by as much as given (m,)."""
    size = np.quantile(np.abs(step.ordinary), np.linspace(0.0, 1.0, _QUANTILES))
    usual = 1.4826 * float(np.median(size))
    width = np.hypot(spread, math.hypot(_SMOOTH * usual, _OF_TOLERANCE * step.tolerance))
    apart = (off[:, None] - np.concatenate([-size, size])) / width[:, None]
    near = np.mean(np.exp(-0.5 * apart**2), axis=1) / (math.sqrt(2.0 * math.pi) * width)
    over = _OVER * max(usual, step.tolerance)
    wild = 1.0 / (math.pi * over * (1.0 + (off / over) ** 2))
    return np.asarray((1.0 - _DISTURBED) * near + _DISTURBED * wild)
