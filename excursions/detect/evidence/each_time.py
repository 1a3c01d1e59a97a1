"""What another signal does each time after a steaming or a cleaning of this point is no company of a change after one of them.

Vessels of one line are steamed one after the other: the neighbour moves after every steaming of this one, whatever this probe
does.  How often it did so is counted over the other states of that kind.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.evidence.origin import (
    GUESSED,
    LATE_S,
    MOVED,
    WIDEST_COMPANY,
    Clue,
    Companion,
    moved_together,
)
from excursions.detect.series.scan import Change
from excursions.detect.series.survey import Survey
from excursions.records import MEASURING, MOVED_TOO, NO_DATA, RECOVERING, Record


def as_each_time(
    record: Record,
    survey: Survey,
    change: Change,
    place: int,
    others: tuple[Companion, ...],
    clues: tuple[Clue, ...],
) -> tuple[Clue, ...]:
    """The clues, those of signals that moved as well weakened by how often they do after such a state.

    place : block about which the others were asked
    """
    ends = _other_ends(record, survey, place)
    if not ends:
        return clues
    by_name = {other.name: other for other in others}
    width = min(change.width, WIDEST_COMPANY)

    def fair(clue: Clue) -> Clue:
        if clue.said != MOVED_TOO or clue.source not in by_name:
            return clue
        moved = [moved_together(by_name[clue.source], at, width=width, broken=change.across) for at in ends]
        known = [one for one in moved if np.isfinite(one)]
        share = (GUESSED * clue.odds + sum(one > MOVED for one in known)) / (GUESSED + len(known))
        if share < ONCE_IN_TWO:
            return replace(clue, odds=max(clue.odds, share))
        return replace(clue, odds=share, words=f"{clue.words}, as it mostly does after such a state", said="")

    return tuple(fair(clue) for clue in clues)


ONCE_IN_TWO = 0.5  # of the times: what is no rarer than that foretells nothing of this one


def _other_ends(record: Record, survey: Survey, place: int) -> list[int]:
    """Blocks as far after the ends of the other states of the kind that ended just before a block; empty where none did."""
    states = record.states
    begun = int(survey.blocks.start[place])
    edge = begun + survey.blocks.width
    ended = np.flatnonzero((states.end <= edge) & ~np.isin(states.code, (MEASURING, RECOVERING, NO_DATA)))
    if not ended.size or begun - int(states.end[ended[-1]]) > LATE_S * NS_PER_S:
        return []
    last = int(ended[-1])
    after = place - survey.blocks.at(int(states.end[last]))
    alike = np.flatnonzero(states.code == states.code[last])
    places = [survey.blocks.at(int(states.end[k])) + after for k in alike if k != last]
    return [at for at in places if 0 < at < len(survey.blocks) - 1]
