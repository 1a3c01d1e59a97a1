"""Was the adjustment taken over?  An adjustment that the transmitter uses makes the reading jump by a known amount.

What the entry says was left, read with what was used before, gives the jump; the record gives the level of the reading
in the hours before and after.  How far such levels lie apart on ordinary days says what the process does by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.shifts import comparable, histories
from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Levels
from excursions.measurands import MEASURANDS
from excursions.plant import Plant, Point
from excursions.records import Calibration, FloatArray, Parameter

HOURS = 6
_AWAY_NS = 2 * NS_PER_HOUR  # of the work itself and what it disturbs
_APART = HOURS + 2 * _AWAY_NS // NS_PER_HOUR  # hours from the one side to the other
_FEWEST = 3  # hourly levels on either side
_DAYS_FEWEST = 20  # ordinary comparisons to know the process by
_CLEAR = 6.0  # the jump must be this many ordinary moves
_STILL = 1 / 3  # and the reading have moved by less than this share of it
# Of large adjustments one in ten is not taken over (cp): where the process hides one in fifty by moving the other way, five
# of six findings are right.
_HIDES = 0.02
_QUIET = 0.97  # of ordinary moves stay below that share where the stated limit holds


@dataclass(frozen=True, slots=True, kw_only=True)
class NotTakenOver:
    """An adjustment that the reading does not show: jump expected and seen, and an ordinary move [canonical unit].

    hides : share of ordinary comparisons in which the process moves by so much that it would hide the jump
    """

    calibration: Calibration
    expected: float
    seen: float
    ordinary: float
    hides: float


def not_taken_over(
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
    unentered: Mapping[str, Sequence[int]] | None = None,
) -> Iterator[NotTakenOver]:
    """Adjustments whose jump is large beside what the process does by itself, and missing.

    unentered : mapping of point to when the record shows work that no entry names; what was set then, nobody knows
    """
    others = unentered or {}
    for history in histories((c for c in calibrations if not c.copied), plant):
        used: dict[str, Parameter] = {}
        before = history[0].time
        for calibration in history:
            if any(before < when < calibration.time for when in others.get(calibration.point, ())):
                used = {}
            before = calibration.time
            point, line = plant.point(calibration.point), levels.get(calibration.point)
            stayed = _stayed(calibration, plant)
            if calibration.action == "calibration" and used and point and line is not None and stayed:
                found = _look(calibration, used, point, line)
                if found is not None:
                    yield found
                    continue  # the transmitter goes on with what it had
            used = {**used, **calibration.as_left}


def _stayed(calibration: Calibration, plant: Plant) -> bool:
    """Whether the probe stood at this point before, so that the reading can show what the adjustment did to it."""
    since = calibration.time - _AWAY_NS - HOURS * NS_PER_HOUR
    stays = plant.stays_of(calibration.probe, since, calibration.time)
    return not stays or stays[-1].point == calibration.point


def _look(
    calibration: Calibration, used: Mapping[str, Parameter], point: Point, line: Levels
) -> NotTakenOver | None:
    before, after = _level(line, calibration.time, -1), _level(line, calibration.time, +1)
    ordinary = _ordinary(line)
    if not (math.isfinite(before) and math.isfinite(after) and ordinary > 0):
        return None
    jump = _jump(calibration, used, point, before)
    low, high = MEASURANDS[calibration.measurand].physical
    if not low <= before + jump <= high:  # what a broken probe was found to be is no adjustment
        return None
    seen = after - before
    hides = _hides(line, jump)
    if not _large(line, point, before, jump) or abs(seen) > _STILL * abs(jump) or hides > _HIDES:
        return None
    return NotTakenOver(calibration=calibration, expected=jump, seen=seen, ordinary=ordinary, hides=hides)


def shows(line: Levels, point: Point, level: float, jump: float) -> bool:
    """The stated limit: whether an adjustment of this size that is not taken over is told here.

    It is large beside the tolerance and what the process does by itself from hour to hour, and the process seldom
    moves by as much, for then it would hide, or be taken for, what an adjustment did.
    """
    if not _large(line, point, level, jump) or _hides(line, jump) > _HIDES:
        return False
    return bool(np.mean(np.abs(_moves(line)) <= _STILL * abs(jump)) >= _QUIET)


def _large(line: Levels, point: Point, level: float, jump: float) -> bool:
    return abs(jump) >= max(_CLEAR * _ordinary(line), point.tolerance_at(level))


def _hides(line: Levels, jump: float) -> float:
    """Share of ordinary comparisons in which the process moves the other way by about as much as a jump."""
    away = np.abs(np.abs(_moves(line)) - abs(jump)) <= _STILL * abs(jump)
    return 0.5 * float(np.mean(away)) if away.size else 1.0


def _jump(calibration: Calibration, used: Mapping[str, Parameter], point: Point, level: float) -> float:
    """By how much the reading moves when the transmitter goes from `used` to what was left; NaN when not comparable."""
    new = {n: p for n, p in calibration.as_left.items() if n in used and _absolute(used[n], p)}
    if not new or any(n not in new for n in calibration.as_left if calibration.as_left[n].basis != "kept"):
        return math.nan
    shape = models.form(calibration.measurand, {n: p.unit for n, p in calibration.as_left.items()})
    old = {n: p.value for n, p in used.items() if n in shape.units}
    left = {n: p.value for n, p in calibration.as_left.items() if n in shape.units}
    return models.truth(shape, level, used=old, real=old | left) - level


def _absolute(a: Parameter, b: Parameter) -> bool:
    return comparable(a, b) and b.basis != "relative"


def _level(line: Levels, at: int, side: int) -> float:
    """Median of some hours before (-1) or after (+1) an instant, the hours of the work left out."""
    near, far = at + side * _AWAY_NS, at + side * (_AWAY_NS + HOURS * NS_PER_HOUR)
    known = line.value[(line.time >= min(near, far)) & (line.time < max(near, far))]
    known = known[np.isfinite(known)]
    return float(np.median(known)) if known.size >= _FEWEST else math.nan


def _ordinary(line: Levels) -> float:
    """Standard deviation of the same comparison on ordinary hours (from its median size); NaN with too few."""
    moves = _moves(line)
    return 1.4826 * float(np.median(np.abs(moves))) if moves.size >= _DAYS_FEWEST else math.nan


def _moves(line: Levels) -> FloatArray:
    """By how much the level moves from one hour to the hour as far away as the hours before and after a calibration."""
    at = np.searchsorted(line.time, line.time + _APART * NS_PER_HOUR)
    held = np.flatnonzero(at < line.time.size)
    held = held[line.time[at[held]] - line.time[held] == _APART * NS_PER_HOUR]
    moves = line.value[at[held]] - line.value[held]
    return np.asarray(moves[np.isfinite(moves)])
