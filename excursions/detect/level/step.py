"""Step: the reading changes level within samples or minutes and stays there.

Method: moving sums over all widths (:mod:`excursions.detect.series.scan`) find changes of level that the record's
own wandering does not explain.  Each is fitted as a straight transition between two levels; what takes
hours is left to the drift detector.  The onset is then the split of the raw samples that two levels
explain best, walked back to the first sample that leaves the old level.  Whether probe or process did it
is weighed from what can be counted (how many such changes this record shows) and from the clues of
:mod:`excursions.detect.evidence.origin`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE
from excursions.detect.evidence.apart import apart_from_neighbours, differences_apart
from excursions.detect.evidence.beside import (
    LIKE,
    Changes,
    asleep,
    beside,
    of_the_neighbour,
    samples_beside,
    temperature_clue,
    undone,
)
from excursions.detect.evidence.brought_round import brought_round
from excursions.detect.evidence.origin import (
    LATE_S,
    WIDEST_COMPANY,
    WITNESS,
    Clue,
    companions,
    company_clues,
    expected_faults,
    heat_clue,
    is_adjusted,
    name_origin,
    next_reset,
    shared,
    state_clue,
    tempered,
    times,
    unexplained,
    weigh,
    witnessed,
    witnesses_of,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.evidence.stairs import stairs_clue
from excursions.detect.level.came_of import FAST, returned, stay_clue, way_back
from excursions.detect.level.there_and_back import there_and_back
from excursions.detect.series.scan import Change, changes_among
from excursions.detect.series.several import FASTEST_VESSEL_S, outruns, worth
from excursions.detect.series.shape import Transition, transition_of
from excursions.detect.series.sudden import SIDE
from excursions.detect.series.survey import Survey, jumps_of, survey_of
from excursions.digits import number, written
from excursions.records import (
    CALIBRATING,
    MEASURING,
    NO_DATA,
    RECOVERING,
    Event,
    Record,
)

FEWEST_BLOCKS = 12
OWN_SHARE = 0.5  # of a difference to a neighbour that the reading itself must have made
TRIFLE = 0.5  # of the tolerance: smaller changes are not reported
TRIFLE_APART = 1.0  # of the tolerance, for a difference: two probes never agree to the last digit
MUCH_LARGER = 3.0  # a change of half to three times the size is of the same kind; what is larger is another
LIKE_MOVE = 0.8  # of a change: a move that the process may as well have made instead
QUICK = 4  # samples: what takes longer is no jump
JEFFREYS = 0.5  # a change more than was seen is always possible: half a count


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSettings:
    """When a change of level is called a step, and whose."""

    faults_per_year: float = 1.0  # how often a probe that somebody looks into steps (cp)
    slowest_s: float = 6 * 3_600.0  # a change that takes longer is a drift
    slowest_blocks: int = 6  # or so many blocks of the record, where these are long
    most_process: int = (
        6  # the largest process steps are named one by one up to this number; more are its way
    )
    least_confidence: float = (
        0.3  # of an undecided step; below, it is the process as far as the record can tell
    )


def detect_step(record: Record, settings: StepSettings | None = None) -> tuple[Event, ...]:
    """Find changes of level.

    Returns
    -------
    tuple of Event
        Kind ``step``; size is after minus before.  Confidence of an undecided step is the probability
        that the probe did it.
    """
    settings = settings or StepSettings()
    survey = survey_of(record)
    if survey is None or len(survey.blocks) < FEWEST_BLOCKS:
        return ()
    others = companions(record, survey)
    near = 4 * survey.blocks.width
    found: list[Event] = []
    for name, apart in apart_from_neighbours(survey):
        every = changes_among(
            differences_apart(survey, name, apart), survey.blocks.broken, floor=0.3 * survey.quantum
        )
        apart_here = _events(Changes(record, survey, every, name, others), settings)
        found.extend(_new(apart_here, found, near))
    own = _events(Changes(record, survey, survey.changes, "", others), settings)
    found.extend(_new(own, found, near))
    found = there_and_back(found)
    sizes = [abs(event.size) for event in found if event.origin == "process"]
    large = sum(size >= LIKE * max(sizes) for size in sizes)
    kept = (
        e
        for e in found
        if e.origin != "process" or (large <= settings.most_process and abs(e.size) >= LIKE * max(sizes))
    )
    return tuple(sorted(kept, key=lambda event: event.start))


def _new(events: list[Event], found: list[Event], near: int) -> list[Event]:
    """Those that nothing found before, beside another neighbour, shows within `near` ns."""
    return [e for e in events if not any(abs(e.start - other.start) <= near for other in found)]


def _events(changes: Changes, settings: StepSettings) -> list[Event]:
    """Steps among the changes of one series."""
    survey = changes.survey
    limit = max(settings.slowest_s, settings.slowest_blocks * survey.blocks.width_s)
    hour = max(1, round(3_600 / survey.blocks.width_s))
    shapes = [transition_of(survey, change) for change in changes.every]
    company = tempered(
        [
            company_clues(
                changes.others,
                _place_of(survey, change, shape),
                width=min(change.width, WIDEST_COMPANY),
                broken=change.across,
                way=change.size,
                hour=hour,
            )
            for change, shape in zip(changes.every, shapes, strict=True)
        ]
    )
    found = []
    for i, change in enumerate(changes.every):
        if changes.neighbour and (of_the_neighbour(changes, change) or asleep(changes, shapes[i])):
            continue
        share = shapes[i].size / change.size if changes.neighbour else 1.0
        if share > 1 / OWN_SHARE:
            continue  # the neighbour made most of it as well
        round_again = (
            brought_round(changes.record, survey, changes.neighbour, change) if changes.neighbour else None
        )
        if round_again is not None:
            shapes[i] = round_again
        elif share < OWN_SHARE:
            continue
        if shapes[i].length_s <= limit or shapes[i].hidden:
            found.extend(_event(changes, settings, i, shapes, company))
    return found


def _place_of(survey: Survey, change: Change, shape: Transition) -> int:
    """Block about which others are asked: where the reading went, which wide windows know only to their width."""
    if shape.hidden or change.width <= WIDEST_COMPANY:
        return change.at
    return survey.blocks.at(int(survey.live.time[(shape.first + shape.last) // 2]))


def _event(
    changes: Changes,
    settings: StepSettings,
    i: int,
    shapes: list[Transition],
    company: list[tuple[Clue, ...]],
) -> list[Event]:
    record, survey = changes.record, changes.survey
    change, shape = changes.every[i], shapes[i]
    start, end = int(survey.live.time[shape.first]), int(survey.live.time[shape.last])
    trifle = TRIFLE_APART if changes.neighbour else TRIFLE
    if abs(shape.size) < trifle * record.point.tolerance_at(shape.before):
        return []
    if _calibrated(record, survey, change, start) or _resumed(changes, change, start, shape):
        return []
    until = next_reset(record, start) or int(survey.live.time[-1])
    if undone(changes, start, until, shape.size):
        return []
    like = _alike(changes, i, shapes, company)
    alike = len(like)
    outran = outruns(record, survey, changes.every, change, [shapes[k] for k in (i, *like)])
    if (
        not any(other.related for other in changes.others) and not outran
    ):  # beside one that usually goes along, its moves are counted with it
        alike = max(alike, _moves_beside(survey, change, shape))
    if not outran:
        alike = max(alike, _jumps_beside(record, survey, change, shape))
    prior = expected_faults(settings.faults_per_year, survey.years)
    clues = (
        heat_clue(record, start),
        state_clue(record, start),
        *beside(changes, change, company[i], shape, (start, end)),
        temperature_clue(survey, change, shape),
        *samples_beside(changes, i, start, until, shape.size),
    )
    usual = shared(_usual_clues(changes, shapes, i, start, outran=outran), 0 if outran else alike)
    if alike == len(like):
        usual = (*usual, stairs_clue([shapes[k] for k in sorted((i, *like))]))
    alone = unexplained(JEFFREYS, survey.years)
    probe = weigh(
        prior=prior,
        chance=change.expected + (min(alone * worth(alike), alone + alike) if outran else alone + alike),
        clues=(*clues, *usual),
    )
    quick = (Clue(odds=WITNESS),) if outran and not alike else ()  # a pace this process never has
    probe = witnessed(probe, (*clues, *usual, *quick))
    real = prior / (prior + change.expected)
    origin = name_origin(probe)
    confidence = {"probe": probe, "undecided": probe, "process": real * (1 - probe)}[origin]
    if real < 0.5 or confidence < settings.least_confidence:
        return []
    half = 1.645 * shape.error
    return [
        Event(
            point=record.point.name,
            kind="step",
            start=start,
            end=max(end, start + 1),
            size=shape.size,
            size_low=shape.size - half,
            size_high=shape.size + half,
            size_unit=record.unit,
            confidence=confidence,
            origin=origin,
            severity="note" if origin == "process" else severity_of(record, shape.before, shape.size),
            probe=record.probe_at(start),
            onset_uncertainty_s=shape.onset_error_s,
            evidence=(
                f"level went from {number(shape.before, half)} to {number(shape.after, half)} within {duration_text(shape.length_s)}",
                f"usual change over that time {written(change.spread, 2)} {record.change_unit}; {times(alike, 'other change', 'other changes')} of that size in the record",
                *words_of((*clues, *usual)),
            ),
            witnesses=witnesses_of((*clues, *usual)),
            details={
                "before": shape.before,
                "after": shape.after,
                "transition_s": shape.length_s,
                **returned(changes, change, shape, start),
            },
        )
    ]


def _odds(clues: tuple[Clue, ...]) -> float:
    return math.prod(clue.odds for clue in clues)


def _alike(changes: Changes, i: int, shapes: list[Transition], company: list[tuple[Clue, ...]]) -> list[int]:
    """Other changes as large and as fast that nothing explains either; one that undoes this one is its return."""
    change = changes.every[i]
    back = way_back(changes, change)
    longest = max(FAST * shapes[i].length_s, 2 * changes.survey.interval_s)
    far_apart = changes.survey.interval_s > FASTEST_VESSEL_S
    unexplained = [_odds(clues) >= min(1.0, _odds(company[i])) for clues in company]
    return [
        k
        for k, other in enumerate(changes.every)
        if unexplained[k]
        and k != i
        and other is not back
        and LIKE <= abs(other.size / change.size) <= MUCH_LARGER
        and (far_apart or shapes[k].hidden or abs(shapes[k].size) >= LIKE * abs(shapes[i].size))
        and (other.sudden or not change.sudden)
        and (shapes[i].hidden or shapes[k].length_s <= longest)
    ]


def _moves_beside(survey: Survey, change: Change, shape: Transition) -> int:
    """How often else the reading moved as far in as long, where how fast it came does not set it apart.

    A change that hides behind a cleaning, or takes as long as the process does, is one of all moves of the record,
    not only of those that stand out from the others.
    """
    if change.sudden and not change.across:
        return 0
    if not shape.hidden and shape.samples <= 2 and survey.interval_s <= FASTEST_VESSEL_S:
        return 0
    return max(moves(survey, abs(shape.size), shape.length_s) - 1, 0)


def _jumps_beside(record: Record, survey: Survey, change: Change, shape: Transition) -> int:
    """How often else the reading jumped as far the same way, from one sample to the next, and came back too soon to be a
    change of level: a stay away is no other thing for its length.
    """
    if change.across or shape.hidden or shape.samples > QUICK:
        return 0
    jumps = jumps_of(record, survey)
    share = np.sign(jumps.gap) * jumps.size / shape.size
    like = (share >= LIKE_MOVE) & (share <= MUCH_LARGER) & (np.abs(jumps.at - shape.first) > SIDE)
    return int(np.count_nonzero(like))


def moves(survey: Survey, size: float, length_s: float) -> int:
    """How often the level moved by a like size within this time, itself included."""
    level = survey.rest
    lag = 1 + math.ceil(length_s / survey.blocks.width_s)
    if lag >= level.size:
        return 0
    moved = np.abs(level[lag:] - level[:-lag])
    like = (moved >= LIKE_MOVE * size) & (moved <= MUCH_LARGER * size)
    return int(np.count_nonzero(np.diff(like.astype(np.int8), prepend=0) == 1))


def _usual_clues(
    changes: Changes, shapes: list[Transition], i: int, start: int, *, outran: bool
) -> tuple[Clue, ...]:
    """How it looks in itself; other changes of this record may well look the same."""
    stay = stay_clue(changes, shapes, i, start)
    return (_speed(shapes[i], outran=outran), stay, _place(changes.survey, changes.every[i], shapes[i]))


def _speed(shape: Transition, *, outran: bool) -> Clue:
    """At once, while the process is slow; or as slowly as a process moves."""
    if not shape.sharp:
        return Clue(odds=1.0)
    if shape.samples <= 2:
        return Clue(odds=3.0, words="at once, from one sample to the next", inside=True)
    if outran:
        took = duration_text(shape.length_s)
        return Clue(odds=3.0, words=f"within {took}, faster than anything else in this record", inside=True)
    if shape.samples >= 8:
        return Clue(odds=0.5, words=f"took {duration_text(shape.length_s)}", inside=True)
    return Clue(odds=1.5)


def _calibrated(record: Record, survey: Survey, change: Change, start: int) -> bool:
    """Whether a calibration lies right before, and an adjustment made the change."""
    if is_adjusted(record, start) or (change.across and _state_before(record, start) == CALIBRATING):
        return True
    spans = record.states.spans(CALIBRATING)
    near = survey.blocks.width
    return bool(np.any((spans[:, 0] < start + 2 * near) & (spans[:, 1] > start - near)))


def _resumed(changes: Changes, change: Change, start: int, shape: Transition) -> bool:
    """Whether it belongs to a state that ended a while ago: leads away across it for a while, or back to before it."""
    states, survey = changes.record.states, changes.survey
    ended = np.flatnonzero((states.end <= start) & ~np.isin(states.code, AT_WORK))
    if not ended.size or start - int(states.end[ended[-1]]) > LATE_S * NS_PER_S:
        return False
    first, over = survey.blocks.at(int(states.start[ended[-1]])), int(states.end[ended[-1]])
    back = way_back(changes, change)
    if change.across and back is not None:
        return int(survey.blocks.start[back.at]) - over <= LATE_S * NS_PER_S
    earlier = survey.blocks.level[max(first - RESUMED_BLOCKS, 0) : first]
    if not earlier.size:
        return False
    level, size = float(np.median(earlier)), abs(shape.size)
    return abs(shape.after - level) < GONE * size and abs(shape.before - level) > (1 - GONE) * size


AT_WORK = (MEASURING, RECOVERING, NO_DATA)
RESUMED_BLOCKS = 12


def _state_before(record: Record, start: int) -> int:
    """Code of the last state other than measuring or recovering that ended at or before `start`."""
    spans = record.states
    ended = np.flatnonzero((spans.end <= start) & ~np.isin(spans.code, (0, 6)))
    return int(spans.code[ended[-1]]) if ended.size else 0


def _place(survey: Survey, change: Change, shape: Transition) -> Clue:
    """Whether the process was at the new level before, apart from this stay."""
    near = max(0.2 * abs(shape.size), 2 * survey.noise)
    if abs(shape.size) < 3 * survey.wander:
        return Clue(odds=1.0)
    earlier = np.abs(survey.blocks.level[: change.at] - shape.after) <= near
    visits = int(np.count_nonzero(np.diff(earlier.astype(np.int8)) == 1) + bool(earlier[:1].any()))
    if visits >= 2 and np.mean(earlier) > VISITED:
        return Clue(odds=0.3, words=f"the record was at that level {visits} times before", inside=True)
    if not earlier.any():
        return Clue(odds=1.5, words="the record was never at that level before", inside=True)
    return Clue(odds=1.0)


VISITED = 0.02
