"""What became of a change of level: it stayed, it went back by itself, or the record cannot tell."""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_DAY
from excursions.detect.series.pattern import running_mean
from excursions.detect.series.survey import Survey
from excursions.ranks import NORMAL_MAD, median

LONGEST = 7 * NS_PER_DAY  # afterwards: later much else has happened (cp)
FEWEST_BLOCKS = 24
GONE, LEFT = 0.3, 0.6  # share of a step that is left when it counts as gone, as there
CLEAR = 0.35  # of a step: what the level usually moves over as long, for the share left to mean anything
WIDE = 3.0  # usual wanderings beyond which a visit to the old level is a return
SMOOTH = 8  # blocks
LEAST_BACK = 0.25  # of the time it was away: where the record ends sooner, nobody can say that it stays back
NEARER = 0.5  # of the step: nearer to the old level than to the new


def share_left(survey: Survey, at: int, until: int, size: float) -> float:
    """Share of a step that is still there later; NaN where the process moves as much by itself.

    The mean of the level over a while, after as long a wait, is compared with the mean before; the longest while of up
    to half a week in which the record usually moves much less than the step.

    Parameters
    ----------
    at, until : blocks; the first of the new level, and the first that somebody touched
    size : the reading's unit
    """
    level = survey.rest
    longest = min(at, (until - at) // 2, LONGEST // (2 * survey.blocks.width))
    if size == 0:
        return math.nan
    total = np.concatenate([[0.0], np.cumsum(level - level.mean())])
    while longest >= FEWEST_BLOCKS // 2:
        w = longest
        later = (total[3 * w :] - total[2 * w : -w]) / w
        moved = later - (total[w : -2 * w] - total[: -3 * w]) / w
        usual = NORMAL_MAD * median(np.abs(moved[:: max(1, moved.size // 2_000)]))
        if usual < CLEAR * abs(size):
            return float(moved[at - w]) / size
        longest //= 2
    return math.nan


def stayed(survey: Survey, at: int, until: int, size: float) -> bool:
    """Whether most of a step is still there later, by :func:`share_left`."""
    return share_left(survey, at, until, size) > LEFT


def went_back(survey: Survey, at: int, until: int, before: float, size: float) -> bool:
    """Whether the level comes back to where it was, by and by, before anybody touched the probe."""
    if abs(size) > WIDE * survey.wander and returned_at(survey, at, until, before, size) is not None:
        return True
    return share_left(survey, at, until, size) < GONE


def returned_at(survey: Survey, at: int, until: int, before: float, size: float) -> int | None:
    """First block at which the smoothed level is back where it was, and stays about there; None when it is not.

    A process that wanders passes by the old level now and then, the oftener the longer the record: a passing visit is no
    return.  It is one when the level keeps nearer to the old one than to the new for as long as it was away.
    """
    level = survey.blocks.level[at:until]
    if level.size < SMOOTH:
        return None
    back = np.flatnonzero(np.abs(running_mean(level, SMOOTH) - before) < GONE * abs(size))
    past = np.minimum(back + np.maximum(SMOOTH, back), level.size)
    known = past - back >= np.maximum(SMOOTH, LEAST_BACK * back)
    back, past = back[known], past[known]
    total = np.concatenate([[0.0], np.cumsum(level - before)])
    kept = np.abs((total[past] - total[back]) / (past - back)) < NEARER * abs(size)
    return at + int(back[np.argmax(kept)]) if kept.any() else None
