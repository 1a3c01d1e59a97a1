"""What calibrations, cleanings and washes did to a walk: one after it that took it out, or those inside it that made it."""

from __future__ import annotations

import math

import numpy as np

from excursions.detect.evidence.origin import WITNESS, Clue
from excursions.detect.series.survey import Survey
from excursions.detect.slow.walks import TAKEN_OUT, Walk
from excursions.ranks import median
from excursions.records import CALIBRATING, CLEANING, WASHING, BoolArray, Record

JUMP_BLOCKS = 6  # on either side of a span that say what the level is beside it
ODD_JUMP = 3.0  # usual jumps across that state which one that undoes a walk must pass
RESET_ODDS = 8.0  # a calibration or cleaning that takes it out, at most
# Of a jump: where the level moves so far beside it, the cleaning did not take it off at once.
ON_ITS_WAY = 0.5
FIRST_RESETS = 2  # of the kind after the walk: where these took nothing off, a later one did not take it out
ADJUSTED = 0.5  # of a walk, that adjustments inside it made: most of it, and what is left may be the process
AFTERWARDS = 2  # lengths of the walk within which a reset may follow it


def taken_out(record: Record, survey: Survey, walk: Walk) -> tuple[int | None, float, int]:
    """State (cleaning, washing, calibrating) that undid the walk, as the level jumps back across it, the odds, and when the
    first that did was over [ns]."""
    blocks = survey.blocks
    begun, ended = int(blocks.start[walk.lo]), int(blocks.start[min(walk.hi, len(blocks) - 1)])
    for code in (CALIBRATING, CLEANING, WASHING):
        spans = record.states.spans(code)
        jumps, beside = np.array([_jump(survey, int(a), int(b)) for a, b in spans]).reshape(-1, 2).T
        if not np.isfinite(jumps).any():
            continue
        usual = float(np.nanmedian(np.abs(jumps))) if np.isfinite(jumps).sum() >= 4 else 0.0
        after = (spans[:, 1] > begun) & (spans[:, 0] <= ended + AFTERWARDS * (ended - begun))
        after &= np.cumsum(spans[:, 0] > ended) <= FIRST_RESETS
        undone = -jumps / walk.size
        fits = (undone >= TAKEN_OUT[0]) & (undone <= TAKEN_OUT[1]) & (np.abs(jumps) > ODD_JUMP * usual)
        fits &= ~(beside > ON_ITS_WAY * np.abs(jumps))
        odds = _reset_odds(fits, after, np.isfinite(jumps))
        if (after & fits).any() and odds >= WITNESS:
            return code, odds, int(spans[after & fits][0, 1])
    return None, 1.0, 0


def adjusted(record: Record, survey: Survey, walk: Walk) -> bool:
    """Whether the level jumps its way across calibrations inside the walk, by most of it: that is their adjustment."""
    begun, ended = (int(survey.blocks.start[min(at, len(survey.blocks) - 1)]) for at in (walk.lo, walk.hi))
    spans = record.states.spans(CALIBRATING)
    inside = spans[(spans[:, 1] > begun) & (spans[:, 0] < ended)]
    made = sum(jump for jump, _ in (_jump(survey, int(a), int(b)) for a, b in inside) if math.isfinite(jump))
    return made / walk.size >= ADJUSTED


def _reset_odds(fits: BoolArray, after: BoolArray, known: BoolArray) -> float:
    """Odds that a fitting jump after the walk is no accident: against as many as the resets elsewhere foretell.

    Half a jump more than was seen elsewhere is always possible.
    """
    elsewhere = known & ~after
    rate = (np.count_nonzero(fits & elsewhere) + 0.5) / (np.count_nonzero(elsewhere) + 1)
    by_chance = float(rate) * max(int(np.count_nonzero(after & known)), 1)
    return min(RESET_ODDS, 1.0 / by_chance)


def _jump(survey: Survey, begin: int, end: int) -> tuple[float, float]:
    """Change of level across a span of another state, and how far the level moves right beside it; NaN at the ends of the
    record."""
    start, level = survey.blocks.start, survey.blocks.level
    a, b = int(np.searchsorted(start, begin)), int(np.searchsorted(start, end))
    far, near = (
        level[max(a - 2 * JUMP_BLOCKS, 0) : max(a - JUMP_BLOCKS, 0)],
        level[max(a - JUMP_BLOCKS, 0) : a],
    )
    then, later = level[b : b + JUMP_BLOCKS], level[b + JUMP_BLOCKS : b + 2 * JUMP_BLOCKS]
    if not near.size or not then.size:
        return math.nan, math.nan
    sides = [abs(median(x) - median(y)) for x, y in ((far, near), (then, later)) if x.size and y.size]
    return median(then) - median(near), max(sides, default=math.nan)


def reset_clue(reset: int | None, odds: float) -> tuple[Clue, ...]:
    """What :func:`taken_out` found, as a clue."""
    if reset is None:
        return ()
    name = "calibration" if reset == CALIBRATING else "cleaning"
    return (Clue(odds=odds, words=f"a {name} took it out again"),)
