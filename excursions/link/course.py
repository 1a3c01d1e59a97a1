"""How a shift that no event explains came about, as far as the reading says: suddenly, bit by bit, or at the work itself.

A sudden change that is larger than what this record shows would have been told as a step.  And an adjustment moves the reading by
the error it puts right: where it did, the readings before it were off; where it did not, they were not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.digits import written
from excursions.link.renewed import came_back
from excursions.link.takeover import ABOUT, came_by_itself, level_beside
from excursions.measurands import MEASURANDS
from excursions.records import Calibration, Link, Shift

_LIKELY = 0.5  # likelier than all else together
_RECORDED = 0.9  # share of the hours in which a sudden change would have been seen (cp)
_SELDOM = 0.05  # of ordinary comparisons: the process moves by as much itself (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What the record of a point shows: hourly levels, the smallest sudden change that is told, instants of entries [ns]."""

    levels: Levels
    least_step: float
    entered: Sequence[int]


def with_course(
    links: Sequence[Link],
    shifts: Sequence[Shift],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    least_steps: Mapping[str, float],
) -> tuple[Link, ...]:
    """The links, those to something not in the record with what the reading says of how it came about.

    least_steps : smallest sudden change [canonical unit] that is told at a point; none where it cannot be told
    """
    entered = {name: [c.time for c in calibrations if c.point == name] for name in levels}
    sights = {
        name: Sight(levels=line, least_step=least_steps.get(name, math.inf), entered=entered[name])
        for name, line in levels.items()
    }
    adjusted = {(c.point, c.time) for c in calibrations if c.action == "calibration" and c.as_left}
    at = {shift.id: shift for shift in shifts}
    whole: dict[tuple[str, str, int], float] = {}
    for shift in shifts:
        key = shift.probe, shift.point, shift.end
        whole[key] = whole.get(key, 0.0) + shift.reading_error
    told = []
    for link in links:
        shift = at[link.shift]
        sight = sights.get(shift.point)
        open_ = link.cause == "unrecorded" and link.probability > _LIKELY and shift.significant
        if open_ and sight is not None and not shift.coated and not came_back(shift):
            error = whole[shift.probe, shift.point, shift.end]
            back = _went_back(shift, error, sight) if (shift.point, shift.end) in adjusted else None
            words = _words(shift, _would_show(shift, sight), back)
            link = replace(link, reasons=words or link.reasons)
        told.append(link)
    return tuple(told)


def _words(shift: Shift, shows: bool, back: bool | None) -> tuple[str, ...]:
    """How it came about, in a sentence; nothing where the reading does not say."""
    size = f"{written(abs(shift.reading_error), 2)} {MEASURANDS[shift.measurand].unit}".rstrip()
    if back is False:
        return (
            "the reading did not move when this was set: either the probe changed at the work itself and the readings before it were "
            "right, or the adjustment was not taken over",
        )
    came = (
        "it came bit by bit, without an event that marks it"
        if back
        else "it came bit by bit, or at the work itself"
    )
    moved = (
        ("the reading went back by about as much when it was set: the readings before were off",)
        if back
        else ()
    )
    if shows:
        return (f"a sudden change of {size} would have shown in the reading: {came}", *moved)
    return (*moved, "no event in the record marks when it came") if moved else ()


def _would_show(shift: Shift, sight: Sight) -> bool:
    """Whether the record would have shown this shift as a step, whenever it came."""
    hours = (sight.levels.time >= shift.start) & (sight.levels.time < shift.end)
    known = np.isfinite(sight.levels.value[hours]).sum() * NS_PER_HOUR
    recorded = known >= _RECORDED * (shift.end - shift.start)
    return recorded and abs(shift.reading_error) > sight.least_step


def _went_back(shift: Shift, error: float, sight: Sight) -> bool | None:
    """Whether the reading moved back by the error when the adjustment was made; None where the process may hide that."""
    line = sight.levels
    moved = level_beside(line, shift.end, -1) - level_beside(line, shift.end, +1)
    if not math.isfinite(moved) or not error:
        return None
    back = abs(moved - error) <= ABOUT * abs(error)
    if not back and abs(moved) > ABOUT * abs(error):
        return None
    # What would look the same without it: the process fell by as much itself, or rose by as much and hid that it was set.
    by_itself = came_by_itself(line, sight.entered, -error if back else error, within=ABOUT)
    return back if by_itself <= _SELDOM else None
