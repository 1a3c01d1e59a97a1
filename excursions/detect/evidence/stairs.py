"""What several steps say together: stairs that only go one way, and two readings that take each other's level."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from excursions.detect.evidence.origin import Clue
from excursions.detect.series.shape import Transition
from excursions.detect.series.survey import Survey

ADDS_UP = 0.5  # of the smaller of two steps: the later one begins as near to where the earlier one ended
MOST_ONE_WAY = 3  # further ones are no news
EXCHANGED, BESIDE = 0.15, 12  # of the step: as near is each other's level; blocks at either side
EXCHANGED_ODDS = 20.0  # no process gives two readings each other's level at one moment (cp)


def stairs_clue(stairs: Sequence[Transition]) -> Clue:
    """Changes in order that add up, one way, none of them undone by and by: what a process raises it lowers again.

    Either way is as likely for a process each time, so that each one more doubles the odds.
    """
    if len(stairs) < 2 or len({one.size > 0 for one in stairs}) > 1:
        return Clue(odds=1.0)
    if any(abs(b.before - a.after) > ADDS_UP * min(abs(a.size), abs(b.size)) for a, b in pairwise(stairs)):
        return Clue(odds=1.0)
    words = f"all {len(stairs)} such changes go the same way and add up"
    return Clue(odds=2.0 ** min(len(stairs) - 1, MOST_ONE_WAY), words=words, inside=True)


def exchange_clue(survey: Survey, clue: Clue, at: int, shape: Transition) -> Clue | None:
    """In place of a neighbour's move at block `at`: it took this reading's level, and this one its; None otherwise.

    Plugs, cables or tags were exchanged then, and no process did it.
    """
    other = survey.neighbours.get(clue.source)
    if clue.odds >= 1 or other is None or clue.source not in survey.redundant:
        return None
    before, after = other[max(at - BESIDE, 0) : at], other[at + 1 : at + 1 + BESIDE]
    if not (np.isfinite(before).any() and np.isfinite(after).any()):
        return None
    off = max(abs(float(np.nanmedian(after)) - shape.before), abs(float(np.nanmedian(before)) - shape.after))
    if off > EXCHANGED * abs(shape.size):
        return None
    words = (
        f"{clue.source} went to this reading's level and this one to its: as if the two had been exchanged"
    )
    return Clue(odds=EXCHANGED_ODDS, words=words, source=clue.source)
