"""How often else a record shows the like of a change of level: other changes, moves of the process, jumps that came back."""

from __future__ import annotations

import math

import numpy as np

from excursions.detect.evidence.beside import LIKE, Changes
from excursions.detect.evidence.origin import Clue
from excursions.detect.level.came_of import FAST, way_back
from excursions.detect.series.scan import Change
from excursions.detect.series.several import FASTEST_VESSEL_S, pace_s, took_s
from excursions.detect.series.shape import Transition
from excursions.detect.series.sudden import SIDE
from excursions.detect.series.survey import Survey, jumps_of
from excursions.records import Record

MUCH_LARGER = 3.0  # a change of half to three times the size is of the same kind; what is larger is another
LIKE_MOVE = 0.8  # of a change: a move that the process may as well have made instead
QUICK = 4  # looks of the recorder: what takes longer is no jump, however few samples it left of it


def _odds(clues: tuple[Clue, ...]) -> float:
    return math.prod(clue.odds for clue in clues)


def alike_changes(
    changes: Changes, i: int, shapes: list[Transition], company: list[tuple[Clue, ...]]
) -> list[int]:
    """Other changes as large and as fast that nothing explains either; one that undoes this one is its return.

    Where the record ends right after this one, what went along with the others may still have come: then all of them are like it.
    """
    change = changes.every[i]
    cut_off = len(changes.survey.blocks) - change.at <= change.width + 1
    back = way_back(changes, change)
    longest = max(FAST * shapes[i].length_s, 2 * changes.survey.interval_s)
    far_apart = changes.survey.interval_s > FASTEST_VESSEL_S
    unforeseen = [_odds(clues) >= min(1.0, _odds(company[i])) for clues in company]
    return [
        k
        for k, other in enumerate(changes.every)
        if (unforeseen[k] or cut_off)
        and k != i
        and other is not back
        and LIKE <= abs(other.size / change.size) <= MUCH_LARGER
        and (far_apart or shapes[k].hidden or abs(shapes[k].size) >= LIKE * abs(shapes[i].size))
        and (other.sudden or not change.sudden)
        and (shapes[i].hidden or shapes[k].length_s <= longest)
    ]


def moves_alike(changes: Changes, change: Change, shape: Transition) -> int:
    """How often else the reading moved or jumped as far; beside one that usually goes along, its moves are counted with it."""
    jumped = _jumps_beside(changes.record, changes.survey, change, shape)
    if any(other.related for other in changes.others):
        return jumped
    return max(jumped, _moves_beside(changes.survey, change, shape))


def _moves_beside(survey: Survey, change: Change, shape: Transition) -> int:
    """How often else the reading moved as far in as long, where how fast it came does not set it apart.

    A change that hides behind a cleaning, or takes as long as the process does, is one of all moves of the record,
    not only of those that stand out from the others.
    """
    if change.sudden and not change.across:
        return 0
    if not shape.hidden and shape.samples <= 2 and survey.interval_s <= FASTEST_VESSEL_S:
        return 0
    stay = 1 if shape.hidden else change.width  # behind a break nobody sees how long each of its moves stays
    return max(moves(survey, abs(shape.size), shape.length_s, stay=stay) - 1, 0)


def _jumps_beside(record: Record, survey: Survey, change: Change, shape: Transition) -> int:
    """How often else the reading jumped as far the same way, from one sample to the next, and came back too soon to be a
    change of level: a stay away is no other thing for its length.
    """
    if change.across or shape.hidden or took_s(record, survey, shape) > QUICK * pace_s(record, survey):
        return 0
    jumps = jumps_of(record, survey)
    share = np.sign(jumps.gap) * jumps.size / shape.size
    like = (share >= LIKE_MOVE) & (share <= MUCH_LARGER) & (np.abs(jumps.at - shape.first) > SIDE)
    return int(np.count_nonzero(like))


def moves(survey: Survey, size: float, length_s: float, *, stay: int = 1) -> int:
    """How often the level moved by a like size within this time, itself included, on the mean of so many blocks on either side.

    What only wide windows show of a change, narrow peaks do not hide: as few blocks as it was found by are asked of its like.
    """
    lag = math.ceil(length_s / survey.blocks.width_s)
    total = np.concatenate([[0.0], np.cumsum(survey.rest)])
    level = (total[stay:] - total[:-stay]) / stay
    if lag + stay >= level.size:
        return 0
    moved = np.abs(level[lag + stay :] - level[: -lag - stay])
    like = (moved >= LIKE_MOVE * size) & (moved <= MUCH_LARGER * size)
    return int(np.count_nonzero(np.diff(like.astype(np.int8), prepend=0) == 1))
