"""What happened beside a change of level: neighbours, temperature and samples, and whether a neighbour's it is instead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from excursions.clock import NS_PER_DAY
from excursions.detect.evidence.along import along_clue
from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.evidence.brought_round import led_by
from excursions.detect.evidence.laboratory import between_samples, put_right, samples_clue
from excursions.detect.evidence.origin import WIDEST_COMPANY, WITNESS, Clue, Companion, about_clue
from excursions.detect.evidence.stairs import exchange_clue
from excursions.detect.evidence.unmoved import unmoved_neighbour
from excursions.detect.evidence.votes import WENT_ALONG, outvoted, votes_clue, went_along
from excursions.detect.series.alike import gain
from excursions.detect.series.scan import Change
from excursions.detect.series.shape import Transition
from excursions.detect.series.survey import Survey
from excursions.ranks import median
from excursions.records import MOVED_NOT, MOVED_TOO, Record

LIKE = 0.5  # of the size: a smaller change is of another kind
ALONG = 0.05  # odds: one that measures the same made the change as well
ASLEEP = 8  # blocks either side: anything is still for a shorter time
STANDS, AWAKE = 0.25, 2.0  # of its usual range over as long; times that range, in this reading's unit
AGREES, REJOINS = 0.3, 0.1  # of the size; odds: a fault leads away
SAMPLES_AFTER = 60 * NS_PER_DAY  # laboratory samples this long after a step still speak of it


@dataclass(frozen=True, slots=True)
class Changes:
    """What all changes of a record are weighed against; `neighbour` names the one they are apart from."""

    record: Record
    survey: Survey
    every: tuple[Change, ...]
    neighbour: str
    others: tuple[Companion, ...]


def of_the_neighbour(changes: Changes, change: Change) -> bool:
    """Whether a change against a neighbour is that one's: by a third, or because it followed nothing then."""
    name, edge = changes.neighbour, change.width
    rests = unmoved_neighbour(changes.record, changes.survey, name)
    return outvoted(changes.survey, name, *around(change)) or any(
        lo - edge <= change.at <= past + edge for lo, past in rests
    )


def beside(
    changes: Changes, change: Change, clues: tuple[Clue, ...], shape: Transition, span: tuple[int, int]
) -> tuple[Clue, ...]:
    """What happened beside it; a difference to a neighbour has that neighbour in it already."""
    kin = (changes.neighbour, *(other.name for other in changes.others if other.related))
    led = () if shape.held else led_by(changes.record, changes.survey, kin, span, shape.size)
    clues = tuple(clue for clue in clues if clue.source not in {one.source for one in led})
    clues = tuple(exchange_clue(changes.survey, clue, change.at, shape) or clue for clue in clues)
    if not changes.neighbour:
        along = went_along(changes.survey, *around(change), shape.size)
        clues = tuple(clue for clue in clues if clue.source not in along)
        shown = (
            Clue(odds=ALONG, words=f"{name} {WENT_ALONG}", source=name, said=MOVED_TOO) for name in along
        )
        return (*clues, *led, *shown)
    votes = votes_clue(changes.survey, changes.neighbour, *around(change))
    told = {changes.neighbour, *(vote.source for vote in votes)}
    others = [clue for clue in clues if clue.source not in told]
    about = () if led else _about(changes, change)
    if led or about:
        return (*others, *(led or about))
    if shape.held:
        others.append(
            Clue(
                odds=WITNESS,
                words=f"came at once, and a loop brought it back: {changes.neighbour} went the other way",
            )
        )
    if _rejoins(changes, change):
        words = f"it leads back to where it usually is beside {changes.neighbour}"
        return (*others, Clue(odds=REJOINS, words=words, source=changes.neighbour, said=MOVED_TOO))
    words = f"{changes.neighbour}, which usually goes along, did not"
    return (*others, *votes, Clue(odds=8.0, words=words, source=changes.neighbour, said=MOVED_NOT))


def asleep(changes: Changes, shape: Transition) -> bool:
    """Whether a neighbour stands still for long about a change while this reading goes on: a part of the plant that is shut
    off has nothing to go along with, and their difference is this reading's own wandering."""
    survey = changes.survey
    level, other = survey.blocks.level, survey.neighbours[changes.neighbour]
    before, after = (survey.blocks.at(int(survey.live.time[at])) for at in (shape.first, shape.last))
    before, after = max(before - ASLEEP, 0), after + 1 + ASLEEP
    if shape.hidden or not np.isfinite(other).all() or after - before < 2 * ASLEEP:
        return False
    usual = np.median(maximum_filter1d(other, after - before) - minimum_filter1d(other, after - before))
    theirs = float(np.ptp(other[before:after]))
    mine = max(float(np.ptp(level[before : before + ASLEEP])), float(np.ptp(level[after - ASLEEP : after])))
    return theirs < STANDS * usual and mine > AWAKE * abs(gain(level, other)) * theirs


def _rejoins(changes: Changes, change: Change) -> bool:
    """Whether two probes that had parted agree after a change as they do for most of the record: what was odd ended there."""
    apart = dict(apart_from_neighbours(changes.survey)).get(changes.neighbour)
    if apart is None:
        return False
    off = np.abs(apart - median(apart))
    reach, at, size = max(change.width, ASLEEP), change.at, abs(change.size)
    parts = (
        off[max(at - reach, 0) : max(at - 2, 0)],
        off[at + 2 : at + reach],
    )  # the difference is filtered over five blocks
    if not all(part.size for part in parts):
        return False
    before, after = (median(part) for part in parts)
    most = float(np.mean(off < (1 - LIKE) * size))
    return after < AGREES * size and before > (1 - AGREES) * size and most > LIKE


def _about(changes: Changes, change: Change) -> tuple[Clue, ...]:
    """That the neighbour a change is apart from made it as well, a little sooner or later."""
    hour = max(1, round(3_600 / changes.survey.blocks.width_s))
    own = (other for other in changes.others if other.name == changes.neighbour)
    found = (
        about_clue(other, change.at, width=min(change.width, 8), way=change.size, hour=hour) for other in own
    )
    return tuple(clue for clue in found if clue is not None)


def around(change: Change) -> tuple[tuple[int, int], tuple[int, int]]:
    """Blocks before and after a change."""
    return (max(change.at - change.width, 0), change.at), (change.at, change.at + change.width)


def temperature_clue(survey: Survey, change: Change, shape: Transition) -> Clue:
    """What the temperature explains of a change that only wide windows show: as far as they reach, it may have moved as well."""
    if change.width <= WIDEST_COMPANY:
        return Clue(odds=1.0)
    return along_clue(survey, *around(change), shape.size)


def undone(changes: Changes, start: int, until: int, size: float) -> bool:
    """Whether samples show that the change put the reading right."""
    return put_right(changes.record, changes.survey, start, min(until, start + SAMPLES_AFTER), size)


def samples_beside(changes: Changes, start: int, until: int, size: float) -> tuple[Clue, ...]:
    """What laboratory samples say; changes between the same two samples share it."""
    record, survey = changes.record, changes.survey
    last, first = between_samples(record, start)
    when = survey.blocks.start[[change.at for change in changes.every]]
    alike = np.array([abs(change.size) >= LIKE * abs(size) for change in changes.every])
    rivals = int(np.count_nonzero(alike & (when > last) & (when < first))) - 1
    end = min(until, start + SAMPLES_AFTER)
    return samples_clue(record, survey, start, end, size, rivals=max(rivals, 0))
