"""Step: the reading changes level within samples or minutes and stays there.

Method: moving sums over all widths (:mod:`excursions.detect.series.scan`) find changes of level that the record's
own wandering does not explain.  Each is fitted as a straight transition between two levels; what takes
hours is left to the drift detector.  The onset is then the split of the raw samples that two levels
explain best, walked back to the first sample that leaves the old level.  Whether probe or process did it
is weighed from what can be counted (how many such changes this record shows) and from the clues of
:mod:`excursions.detect.evidence.origin`.
"""

from __future__ import annotations

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
from excursions.detect.evidence.each_time import as_each_time
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
from excursions.detect.level.alike import alike_changes, moves_alike
from excursions.detect.level.came_of import returned, stay_clue, way_back
from excursions.detect.level.rubbish import without_rubbish
from excursions.detect.level.there_and_back import there_and_back
from excursions.detect.series.scan import Change, changes_among
from excursions.detect.series.several import outruns, worth
from excursions.detect.series.shape import Transition, transition_of
from excursions.detect.series.survey import Survey, survey_of
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
    record = without_rubbish(record, survey)
    survey = survey_of(record)
    if survey is None:
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
            _company(changes, change, _place_of(survey, change, shape), hour=hour)
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


def _company(changes: Changes, change: Change, place: int, *, hour: int) -> tuple[Clue, ...]:
    """What others did beside a change, less what they do each time after such a state."""
    width = min(change.width, WIDEST_COMPANY)
    clues = company_clues(
        changes.others, place, width=width, broken=change.across, way=change.size, hour=hour
    )
    return as_each_time(changes.record, changes.survey, change, place, changes.others, clues)


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
    until = next_reset(record, start) or int(survey.live.time[-1])
    if _is_none(changes, change, shape, start, until):
        return []
    judged = _judged(changes, settings, i, shapes, company, (start, end, until))
    origin = name_origin(judged.probe)
    confidence = judged.real * (1 - judged.probe) if origin == "process" else judged.probe
    if judged.real < 0.5 or confidence < settings.least_confidence:
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
                f"level went from {number(shape.before, half)} to {number(shape.after, half)} {record.unit}".rstrip()
                + f" within {duration_text(shape.length_s)}",
                f"usual change over that time {written(change.spread, 2)} {record.change_unit}; {times(judged.alike, 'other change', 'other changes')} of that size in the record",
                *words_of(judged.clues),
            ),
            witnesses=witnesses_of(judged.clues),
            details={
                "before": shape.before,
                "after": shape.after,
                "transition_s": shape.length_s,
                **returned(changes, change, shape, start),
            },
        )
    ]


def _is_none(changes: Changes, change: Change, shape: Transition, start: int, until: int) -> bool:
    """Whether a change is a trifle, an adjustment, the end of a state, or undone before anybody touched the probe; or the way
    there, looked at sample by sample, leads the other way, as among swings from block to block."""
    trifle = TRIFLE_APART if changes.neighbour else TRIFLE
    return (
        shape.size * change.size < 0
        or abs(shape.size) < trifle * changes.record.point.tolerance_at(shape.before)
        or _calibrated(changes.record, changes.survey, change, start)
        or _resumed(changes, change, start, shape)
        or undone(changes, start, until, shape.size)
    )


@dataclass(frozen=True, slots=True)
class _Judged:
    """Probability that the probe did it, and that it is no chance; others that are alike, and what speaks for either."""

    probe: float
    real: float
    alike: int
    clues: tuple[Clue, ...]


def _judged(
    changes: Changes,
    settings: StepSettings,
    i: int,
    shapes: list[Transition],
    company: list[tuple[Clue, ...]],
    span: tuple[int, int, int],
) -> _Judged:
    """Weigh one change; `span`: its start and end, and when somebody touched the probe next, ns."""
    record, survey = changes.record, changes.survey
    change, shape, (start, end, until) = changes.every[i], shapes[i], span
    like = alike_changes(changes, i, shapes, company)
    outran = outruns(record, survey, changes.every, change, [shapes[k] for k in (i, *like)])
    alike = len(like) if outran else max(len(like), moves_alike(changes, change, shape))
    usual = shared(_usual_clues(changes, shapes, i, start, outran=outran), 0 if outran else alike)
    if alike == len(like):
        usual = (*usual, stairs_clue([shapes[k] for k in sorted((i, *like))]))
    clues = (
        heat_clue(record, start),
        state_clue(record, start),
        *beside(changes, change, company[i], shape, (start, end)),
        temperature_clue(survey, change, shape),
        *samples_beside(changes, start, until, shape.size),
        *usual,
    )
    prior = expected_faults(settings.faults_per_year, survey.years)
    alone = unexplained(JEFFREYS, survey.years)
    others = min(alone * worth(alike), alone + alike) if outran else alone + alike
    probe = weigh(prior=prior, chance=change.expected + others, clues=clues)
    quick = (Clue(odds=WITNESS),) if outran and not alike else ()  # a pace this process never has
    return _Judged(
        probe=witnessed(probe, (*clues, *quick)),
        real=prior / (prior + change.expected),
        alike=alike,
        clues=clues,
    )


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
    """Code of the last state other than measuring or recovering that ended at or before `start`; measuring where none did."""
    states = record.states
    ended = np.flatnonzero((states.end <= start) & ~np.isin(states.code, (MEASURING, RECOVERING)))
    return int(states.code[ended[-1]]) if ended.size else MEASURING


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
