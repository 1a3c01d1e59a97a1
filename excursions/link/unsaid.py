"""Events before a calibration of which nobody wrote what it found: what the reading itself shows of them.

Such an entry ends a stretch of which no comparison tells anything.  But an adjustment moves the reading by the error it
puts right: where the reading moved back with it by about what an event had moved it, and seldom does so by itself, that is
as good as a finding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from excursions.conclusions import Levels
from excursions.kinds import MOVES
from excursions.link.intervals import is_of
from excursions.link.takeover import came_by_itself, level_beside
from excursions.records import Calibration, Event

_ABOUT = 1 / 3  # as much as an event: within this share of it, as for a jump that the process hides (cp)


def says_nothing(calibration: Calibration) -> bool:
    """Whether an entry tells of an adjustment, and nothing of what was found before it."""
    return calibration.action == "calibration" and not calibration.as_found


def before_the_unsaid(
    events: Sequence[Event], calibrations: Sequence[Calibration]
) -> list[tuple[Calibration, list[Event]]]:
    """Events whose first calibration afterwards says nothing of what it found, by that calibration, in time order.

    calibrations : in time order, without those that repeat the entry before them
    """
    made: dict[str, tuple[Calibration, list[Event]]] = {}
    for event in events:
        later = (c for c in calibrations if c.time >= event.well_begun and is_of(event, c.probe, c.point))
        closing = next(later, None)
        if closing is not None and says_nothing(closing):
            made.setdefault(closing.id, (closing, []))[1].append(event)
    return sorted(made.values(), key=lambda pair: (pair[0].time, pair[0].point))


def chance_by_return(
    event: Event, chance: float, closing: Calibration, levels: Mapping[str, Levels], entered: Sequence[int]
) -> float:
    """Chance that an event left an error, surer where the reading moved back with the adjustment that followed it.

    By Bayes from the `chance` before: an error that is put right moves the reading back by itself; the process does so as
    often as it does on ordinary days.  `entered` : instants of all entries of the point.
    """
    line = levels.get(event.point)
    sized = event.kind in MOVES and math.isfinite(event.size) and event.size != 0
    if line is None or not sized or closing.point != event.point:
        return chance
    moved = level_beside(line, closing.time, +1) - level_beside(line, closing.time, -1)
    by_itself = came_by_itself(line, entered, -event.size, within=_ABOUT)
    if not abs(moved + event.size) <= _ABOUT * abs(event.size) or not math.isfinite(by_itself):
        return chance
    return chance / (chance + (1.0 - chance) * by_itself)
