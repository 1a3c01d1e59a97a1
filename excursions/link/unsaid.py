"""Events before a calibration of which nobody wrote what it found, or the first: what the reading itself shows of them.

Such an entry ends a stretch of which no comparison tells anything.  But an adjustment moves the reading by the error it
puts right: where the reading moved back with it by about what an event had moved it, and seldom does so by itself, that is
as good as a finding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from excursions.calibrations import models
from excursions.calibrations.levels import level_before
from excursions.conclusions import Levels
from excursions.digits import written
from excursions.kinds import MOVES
from excursions.link.intervals import is_of
from excursions.link.sizes import size_uncertainty, usual_level
from excursions.link.takeover import ABOUT, came_by_itself, level_beside, moved_as_found, ordinary_move
from excursions.plant import Plant
from excursions.records import SHOWN, Calibration, Event

_HALF_90 = 1.645  # standard deviations to either end of a 90 % interval


def with_shown(
    calibrations: Sequence[Calibration], levels: Mapping[str, Levels], plant: Plant
) -> tuple[Calibration, ...]:
    """The calibrations, those as found like they were left of which nobody entered so and the reading shows it."""
    shown = {c.id: moved for c, moved in moved_as_found(calibrations, levels, plant)}
    return tuple(_found_as_left(c, shown[c.id], plant) if c.id in shown else c for c in calibrations)


def _found_as_left(c: Calibration, moved: float, plant: Plant) -> Calibration:
    point = plant.point(c.point)
    unit = point.quantity.unit if point else ""
    words = (
        "as found was not entered; the reading moved with the adjustment as it does where the probe had these figures before it "
        f"({written(moved, signed=True)} {unit})"
    )
    found = {name: replace(p, basis=SHOWN) for name, p in c.as_left.items() if p.basis != "kept"}
    return replace(c, as_found=found, checks=(*c.checks, words.replace(" )", ")")))


def says_nothing(calibration: Calibration) -> bool:
    """Whether an entry tells of an adjustment, and nothing of what was found before it."""
    return calibration.action == "calibration" and not calibration.as_found


def before_the_unsaid(
    events: Sequence[Event], calibrations: Sequence[Calibration]
) -> list[tuple[Calibration, list[Event]]]:
    """Events whose first calibration afterwards tells nothing of them, by that calibration, in time order.

    Either nobody entered what it found, or none came before it to compare with.

    calibrations : in time order, without those that repeat the entry before them
    """
    made: dict[str, tuple[Calibration, list[Event]]] = {}
    for event in events:
        mine = [c for c in calibrations if is_of(event, c.probe, c.point)]
        closing = next((c for c in mine if c.time >= event.well_begun), None)
        if closing is not None and (says_nothing(closing) or closing is mine[0]):
            made.setdefault(closing.id, (closing, []))[1].append(event)
    return sorted(made.values(), key=lambda pair: (pair[0].time, pair[0].point))


def with_finding(
    event: Event, chance: float, closing: Calibration, levels: Mapping[str, Levels], plant: Plant
) -> tuple[Event, float] | None:
    """The same after what readings in standards found at that calibration: they tell the error without one before.

    By Bayes: an error found is the event's, as well as both are known; where the event left none, it lies about the tolerance of
    nothing (cp).  None where no readings were entered.
    """
    point, found = plant.point(closing.point), closing.as_found
    sized = event.kind in MOVES and math.isfinite(event.size) and event.size != 0
    if point is None or not sized or not found or any(p.basis != "relative" for p in found.values()):
        return None
    shape = models.form(closing.measurand, {n: p.unit for n, p in found.items()})
    level, temp = level_before(levels, closing.point, closing.time, since=event.start)
    level = level if math.isfinite(level) else usual_level(closing.measurand)

    def error(**changed: float) -> float:
        real = {n: p.value for n, p in found.items() if n in shape.units} | changed
        return models.reading_error(shape, level, used=models.filled(shape), real=real, temp_degc=temp)

    off = error()
    spread = math.hypot(
        *(error(**{n: p.value + p.uncertainty}) - off for n, p in found.items() if n in shape.units)
    )
    seen = size_uncertainty(event, plant)
    if not (math.isfinite(off) and spread > 0 and seen > 0):
        return None
    left, none = math.hypot(seen, spread), math.hypot(point.doubted_at(level), spread)
    odds = chance / (1.0 - chance) * _density(off - event.size, left) / _density(off, none)
    return _measured_again(event, off, seen, spread), odds / (1.0 + odds)


def _density(off: float, spread: float) -> float:
    """Normal density, never quite zero: one comparison in a hundred is disturbed by something else."""
    return (math.exp(-0.5 * (off / spread) ** 2) + 0.01) / spread


def with_return(
    event: Event,
    chance: float,
    closing: Calibration,
    levels: Mapping[str, Levels],
    entered: Sequence[int],
    plant: Plant,
) -> tuple[Event, float]:
    """The event with its size, and the chance that it left an error, after what the reading did at the adjustment that followed.

    By Bayes from the `chance` before: an error that is put right moves the reading back by itself; the process does so as
    often as it does on ordinary days.  What came back is a second measurement of the size, as sure as ordinary moves are
    small.  Both stay as they are where the reading did not move back by about as much, or the record cannot show it.
    `entered` : instants of all entries of the point.
    """
    line = levels.get(event.point)
    sized = event.kind in MOVES and math.isfinite(event.size) and event.size != 0
    if line is None or not sized or closing.point != event.point:
        return event, chance
    back = level_beside(line, closing.time, -1) - level_beside(line, closing.time, +1)
    by_itself = came_by_itself(line, entered, -event.size, within=ABOUT)
    if not abs(back - event.size) <= ABOUT * abs(event.size) or not math.isfinite(by_itself):
        return event, chance
    known = chance / (chance + (1.0 - chance) * by_itself)
    seen, shown = size_uncertainty(event, plant), ordinary_move(line, entered)
    if not (math.isfinite(seen) and seen > 0 and shown > 0):
        return event, known
    return _measured_again(event, back, seen, shown), known


def _measured_again(event: Event, size: float, seen: float, again: float) -> Event:
    """The event with the mean of its size, known to `seen`, and of a second measurement of it, known to `again`."""
    weight = seen**-2 / (seen**-2 + again**-2)
    size = weight * event.size + (1.0 - weight) * size
    half = _HALF_90 / math.sqrt(seen**-2 + again**-2)
    return replace(event, size=size, size_low=size - half, size_high=size + half)
