"""Was the adjustment taken over?  An adjustment that the transmitter uses makes the reading jump by a known amount.

What the entry says was left, read with what was used before, gives the jump; the record gives the level of the reading
in the hours before and after.  How far such levels lie apart on ordinary days says what the process does by itself.  All
entries of a probe are weighed together (:mod:`excursions.link.chain`): what was not taken over is not what the next one
starts from.

The stated limit: told is what is larger than the tolerance and sure to 95 %.  Where one adjustment in ten is not taken over,
that takes a process that moves by about as much, the other way, in less than one comparison in 170, and does not move just
then.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import models
from excursions.calibrations.shifts import comparable, histories
from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.conclusions import Levels
from excursions.link.chain import Move, Step, kept_chances, taken_chance
from excursions.link.sight import tells_nothing
from excursions.measurands import MEASURANDS
from excursions.plant import Plant, Point
from excursions.records import Calibration, FloatArray, Parameter

HOURS = 6
SURE = 0.95
# Of large adjustments one in ten is not taken over; of entries without a trace nine in ten were never done (cp).
_ADOPTED, _ADOPTED_WITHOUT_TRACE = 0.9, 0.1
_EVEN = 0.5
# Chance of work between two entries that nobody entered, where the record need not show it (cp).
_UNENTERED = 0.03
_AWAY_NS = 2 * NS_PER_HOUR  # of the work itself and what it disturbs
_APART = HOURS + 2 * _AWAY_NS // NS_PER_HOUR  # hours from the one side to the other
_FEWEST = 3  # hourly levels on either side
_DAYS_FEWEST = 20  # ordinary comparisons to know the process by
ABOUT = 1 / 3  # as much as a jump: within this share of it


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Around:
    """Levels before and after one adjustment, and what the process does by itself between such hours, shape (n,)."""

    before: float
    after: float
    moves: FloatArray
    point: Point


def not_taken_over(
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    plant: Plant,
    unentered: Mapping[str, Sequence[int]] | None = None,
    without_trace: Collection[str] = (),
    blind: Collection[str] = (),
    misnamed: Collection[str] = (),
) -> Iterator[NotTakenOver]:
    """Adjustments whose jump is large beside what the process does by itself, and missing.

    unentered : mapping of point to when the record shows work that no entry names; what was set then, nobody knows
    without_trace : ids of entries that the record does not bear out; blind : points whose record need not show such work;
    misnamed : ids of entries that name other standards than the record shows, so that their figures say nothing
    """
    ordinary = {name: _moves(line, _entered(calibrations, name)) for name, line in levels.items()}
    for history in histories((c for c in calibrations if not c.copied), plant):
        done = [c for c in history if c.action == "calibration"]
        around = [_around(c, levels, ordinary, plant) for c in done]
        starts = [history[0].time, *(c.time for c in done)]
        steps = [
            Step(
                adopted=_ADOPTED_WITHOUT_TRACE if c.id in without_trace else _ADOPTED,
                moves=_moves_from(done[:k], c, sight, misnamed),
                seen=sight.after - sight.before if sight else math.nan,
                ordinary=sight.moves if sight else np.empty(0),
                tolerance=sight.point.tolerance_at(sight.before) if sight else math.nan,
                unknown=1.0
                if any(starts[k] < when < c.time for when in (unentered or {}).get(c.point, ()))
                else _UNENTERED * (c.point in blind),
            )
            for k, (c, sight) in enumerate(zip(done, around, strict=True))
        ]
        for c, sight, step, (chance, start) in zip(done, around, steps, kept_chances(steps), strict=True):
            if sight is None or start is None or chance < SURE:
                continue
            expected = step.moves[start].adopted
            if math.isfinite(expected) and abs(expected) >= step.tolerance:
                yield NotTakenOver(
                    calibration=c, expected=expected, seen=step.seen, ordinary=_size(sight.moves),
                    hides=_hides(sight.moves, expected),
                )  # fmt: skip


def moved_as_found(
    calibrations: Sequence[Calibration], levels: Mapping[str, Levels], plant: Plant
) -> Iterator[tuple[Calibration, float]]:
    """Calibrations of which only figures as left were entered, that the probe was found with these: expected move.

    Either the probe had them before the work, and the reading moves by its error when they are set; or the work changed the
    probe (a cleaning, a renewal), and the reading stays.  Told is what is larger than the tolerance and sure, one as likely
    as the other before looking.
    """
    ordinary: dict[str, FloatArray] = {}
    for history in histories((c for c in calibrations if not c.copied), plant):
        used: dict[str, Parameter] = {}
        for c in history:
            sight = None
            if c.left_only and used and c.point in levels:
                if c.point not in ordinary:
                    ordinary[c.point] = _moves(levels[c.point], _entered(calibrations, c.point))
                sight = _around(c, levels, ordinary, plant)
            move = _move(c, used, sight.before) if sight else Move()
            if sight and abs(move.adopted) >= sight.point.tolerance_at(sight.before):
                step = Step(
                    adopted=_EVEN, moves=(move,), seen=sight.after - sight.before, ordinary=sight.moves,
                    tolerance=sight.point.tolerance_at(sight.before),
                )  # fmt: skip
                if taken_chance(step) >= SURE:
                    yield c, move.adopted
            used = {**used, **c.as_left}


def _entered(calibrations: Sequence[Calibration], name: str) -> TimeArray:
    """Instants of the entries of a point."""
    return np.sort(np.array([c.time for c in calibrations if c.point == name], dtype=np.int64))


def _around(
    calibration: Calibration, levels: Mapping[str, Levels], ordinary: Mapping[str, FloatArray], plant: Plant
) -> _Around | None:
    """What the record shows about one adjustment; None where it cannot show anything."""
    point, line = plant.point(calibration.point), levels.get(calibration.point)
    if point is None or line is None or not _stayed(calibration, plant):
        return None
    before, after = level_beside(line, calibration.time, -1), level_beside(line, calibration.time, +1)
    moves = ordinary[calibration.point]
    if not (math.isfinite(before) and math.isfinite(after)) or moves.size < _DAYS_FEWEST or not _size(moves):
        return None
    return _Around(before=before, after=after, moves=moves, point=point)


def _stayed(calibration: Calibration, plant: Plant) -> bool:
    """Whether the probe stood at this point before, so that the reading can show what the adjustment did to it."""
    since = calibration.time - _AWAY_NS - HOURS * NS_PER_HOUR
    stays = plant.stays_of(calibration.probe, since, calibration.time)
    return not stays or stays[-1].point == calibration.point


def _moves_from(
    earlier: Sequence[Calibration], calibration: Calibration, sight: _Around | None, misnamed: Collection[str]
) -> tuple[Move, ...]:
    """What the reading does for each earlier entry whose parameters the transmitter may use."""
    if sight is None or calibration.id in misnamed:
        return (Move(),) * len(earlier)
    return tuple(Move() if c.id in misnamed else _move(calibration, c.as_left, sight.before) for c in earlier)


def _move(calibration: Calibration, used: Mapping[str, Parameter], level: float) -> Move:
    """By how much the reading moves when what was left is taken over, and when it is not; NaN when not comparable.

    Not taken over, it moves by what was done to the probe between the look before and the look after: a cleaning.
    """
    left = calibration.as_left
    if tells_nothing(calibration):  # what a broken probe was found to be is no adjustment
        return Move()
    new = {n: p for n, p in left.items() if n in used and _absolute(used[n], p)}
    if not new or any(n not in new for n in left if left[n].basis != "kept"):
        return Move()
    shape = models.form(calibration.measurand, {n: p.unit for n, p in left.items()})
    found = {n: p for n, p in calibration.as_found.items() if n in new}
    old = {n: p for n, p in used.items() if n in shape.units}
    now = old | {n: p for n, p in left.items() if n in shape.units}
    true, kept = _shown(shape, level, old, now | found, now)
    low, high = MEASURANDS[calibration.measurand].physical
    if not low <= true <= high:
        return Move()
    varied = [
        _shown(shape, level, *({**s, n: _raised(s[n])} if k == which else s for k, s in enumerate((old, now | found, now))))
        for which, names in enumerate((old, found, new))
        for n in names
        if n in shape.units
    ]  # fmt: skip
    return Move(
        adopted=true - level,
        kept=kept - level,
        adopted_spread=math.hypot(*(one[0] - true for one in varied)),
        kept_spread=math.hypot(*(one[1] - kept for one in varied)),
    )


def _shown(
    shape: models.Form,
    level: float,
    used: Mapping[str, Parameter],
    found: Mapping[str, Parameter],
    left: Mapping[str, Parameter],
) -> tuple[float, float]:
    """The true value behind a reading of the probe as found, and what the probe as left shows of it if nothing is taken over."""
    old, first, now = ({n: p.value for n, p in state.items()} for state in (used, found, left))
    true = models.truth(shape, level, used=old, real=first)
    return true, models.indicated(shape, true, used=old, real=now)


def _raised(parameter: Parameter) -> Parameter:
    return replace(parameter, value=parameter.value + parameter.uncertainty)


def _absolute(a: Parameter, b: Parameter) -> bool:
    return comparable(a, b) and b.basis != "relative"


def level_beside(line: Levels, at: int, side: int) -> float:
    """Median of some hours before (-1) or after (+1) an instant, the hours of the work left out."""
    near, far = at + side * _AWAY_NS, at + side * (_AWAY_NS + HOURS * NS_PER_HOUR)
    known = line.value[(line.time >= min(near, far)) & (line.time < max(near, far))]
    known = known[np.isfinite(known)]
    return float(np.median(known)) if known.size >= _FEWEST else math.nan


def _moves(line: Levels, entered: TimeArray) -> FloatArray:
    """By how much the level moves from one hour to the hour as far away as the hours before and after a calibration.

    Hours between which an entry lies are left out: what an adjustment did, the process did not do by itself.
    """
    at = np.searchsorted(line.time, line.time + _APART * NS_PER_HOUR)
    held = np.flatnonzero(at < line.time.size)
    held = held[line.time[at[held]] - line.time[held] == _APART * NS_PER_HOUR]
    held = held[np.searchsorted(entered, line.time[held]) == np.searchsorted(entered, line.time[at[held]])]
    moves = line.value[at[held]] - line.value[held]
    return np.asarray(moves[np.isfinite(moves)])


def came_by_itself(line: Levels, entered: Sequence[int], jump: float, *, within: float) -> float:
    """Chance that the process by itself moves by about a jump, the same way, as far apart as a calibration's two sides are.

    NaN where the record is too short to say.  Comparisons that overlap are one: seen never, it may still happen once in
    all that stand apart.
    """
    moves = _moves(line, np.sort(np.asarray(entered, dtype=np.int64)))
    if moves.size < _DAYS_FEWEST * _APART:
        return math.nan
    about = np.abs(moves - jump) <= within * abs(jump)
    return max(float(np.mean(about)), _APART / moves.size)


def ordinary_move(line: Levels, entered: Sequence[int]) -> float:
    """Standard deviation of what the process does by itself between the two sides of a calibration."""
    moves = _moves(line, np.sort(np.asarray(entered, dtype=np.int64)))
    return _size(moves) if moves.size else math.nan


def _size(moves: FloatArray) -> float:
    """Standard deviation of ordinary moves, from their median size."""
    return 1.4826 * float(np.median(np.abs(moves)))


def _hides(moves: FloatArray, jump: float) -> float:
    """Share of ordinary comparisons in which the process moves the other way by about as much as a jump."""
    return 0.5 * float(np.mean(np.abs(np.abs(moves) - abs(jump)) <= ABOUT * abs(jump)))
