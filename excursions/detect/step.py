"""Step: the reading changes level within samples or minutes and stays there.

Method: moving sums over all widths (:mod:`excursions.detect.scan`) find changes of level that the record's
own wandering does not explain.  Each is fitted as a straight transition between two levels; what takes
hours is left to the drift detector.  The onset is then the split of the raw samples that two levels
explain best, walked back to the first sample that leaves the old level.  Whether probe or process did it
is weighed from what can be counted (how many such changes this record shows) and from the clues of
:mod:`excursions.detect.origin`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.origin import (
    Clue,
    company_clues,
    expected_faults,
    heat_clue,
    name_origin,
    next_reset,
    shared,
    state_clue,
    weigh,
    words_of,
)
from excursions.detect.pattern import running_mean
from excursions.detect.scan import Change, changes
from excursions.detect.severity import severity_of
from excursions.detect.shape import Transition, transition_of
from excursions.detect.survey import Survey, survey_of
from excursions.records import CALIBRATING, Event, Record

FEWEST_BLOCKS = 12
LIKE = 0.5  # a change of half the size or more is of the same kind
JEFFREYS = 0.5  # a change more than was seen is always possible: half a count
BACK = (0.6, 1.6)  # a return undoes 60 to 160 % of a step


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSettings:
    """When a change of level is called a step, and whose."""

    faults_per_year: float = 1.0  # how often a probe that somebody looks into steps (cp)
    slowest_s: float = 6 * 3_600.0  # a change that takes longer is a drift
    slowest_blocks: int = 6
    most_process: int = 12  # process steps are named one by one up to this number
    least_confidence: float = 0.1  # below this chance alone explains it


@dataclass(frozen=True, slots=True, kw_only=True)
class _Context:
    """What all steps of a record are weighed against."""

    record: Record
    survey: Survey
    settings: StepSettings
    every: tuple[Change, ...]


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
    context = _Context(record=record, survey=survey, settings=settings, every=level_changes(survey))
    found = []
    for change in context.every:
        shape = transition_of(survey, change)
        limit = max(settings.slowest_s, settings.slowest_blocks * survey.blocks.width_s)
        if shape.length_s <= limit:
            found.extend(_event(context, change, shape))
    process = sum(event.origin == "process" for event in found)
    return tuple(e for e in found if e.origin != "process" or process <= settings.most_process)


def level_changes(survey: Survey) -> tuple[Change, ...]:
    """Changes of level of a record, daily pattern taken out."""
    return changes(survey.rest, survey.blocks.broken, floor=0.3 * survey.quantum)


def _event(context: _Context, change: Change, shape: Transition) -> list[Event]:
    record, survey, settings = context.record, context.survey, context.settings
    start, end = int(survey.live.time[shape.first]), int(survey.live.time[shape.last])
    if change.across and _state_before(record, start) == CALIBRATING:
        return []
    alike = _alike(context, change)
    prior = expected_faults(settings.faults_per_year, survey.years)
    clues = _clues(context, change, shape, start)
    usual = shared(_usual_clues(context, change, shape, start), alike)
    probe = weigh(prior=prior, chance=change.expected + alike + JEFFREYS, clues=(*clues, *usual))
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
            size_unit=record.value.unit if record.value else "",
            confidence=confidence,
            origin=origin,
            severity=severity_of(record, shape.before, shape.size),
            probe=record.plant.probe_at(record.point.name, start) or "",
            onset_uncertainty_s=shape.onset_error_s,
            evidence=(
                f"level went from {shape.before:.4g} to {shape.after:.4g} within {duration_text(shape.length_s)}",
                f"usual change over that time {change.spread:.2g}; {alike} other changes of that size in the record",
                *words_of((*clues, *usual)),
            ),
            details={"before": shape.before, "after": shape.after, "transition_s": shape.length_s},
        )
    ]


def _alike(context: _Context, change: Change) -> int:
    """Other changes of like size in this record (those that undo this one are counted as its return)."""
    back = _return(context, change)
    return sum(
        other is not change and other is not back and abs(other.size) >= LIKE * abs(change.size)
        for other in context.every
    )


def _return(context: _Context, change: Change) -> Change | None:
    """The next change, when it goes back by about as much."""
    later = [other for other in context.every if other.at > change.at]
    if not later:
        return None
    ratio = -later[0].size / change.size
    return later[0] if BACK[0] <= ratio <= BACK[1] else None


def _clues(context: _Context, change: Change, shape: Transition, start: int) -> tuple[Clue, ...]:
    """What happened beside it: heat, a change of state, other signals."""
    survey, record = context.survey, context.record
    company = company_clues(survey, change.at, width=min(change.width, 8), broken=change.across)
    return (heat_clue(record, start), state_clue(record, start), *company)


def _usual_clues(context: _Context, change: Change, shape: Transition, start: int) -> tuple[Clue, ...]:
    """How it looks in itself; other changes of this record may well look the same."""
    return (_speed(shape), _stay(context, change, shape, start), _place(context.survey, change, shape))


def _speed(shape: Transition) -> Clue:
    """At once, while the process is slow; or as slowly as a process moves."""
    if not shape.sharp:
        return Clue(odds=1.0)
    if shape.samples <= 2:
        return Clue(odds=3.0, words="at once, from one sample to the next")
    if shape.samples >= 8:
        return Clue(odds=0.5, words=f"took {duration_text(shape.length_s)}")
    return Clue(odds=1.5)


def _stay(context: _Context, change: Change, shape: Transition, start: int) -> Clue:
    """Whether it stays, comes back by itself, or is taken out by a calibration or cleaning."""
    survey, record = context.survey, context.record
    back = _return(context, change)
    reset = next_reset(record, start)
    blocks = survey.blocks
    if back is not None:
        when = int(blocks.start[back.at])
        if reset is not None and abs(when - reset) <= 2 * blocks.width + _length(record, reset):
            return Clue(odds=8.0, words="a calibration or cleaning took it out again")
        if reset is None or when < reset:
            length = duration_text((when - start) / NS_PER_S)
            return Clue(odds=0.15, words=f"came back by itself after {length}")
    until = blocks.at(reset) if reset is not None else len(blocks)
    if abs(shape.size) > 3 * survey.wander and _went_back(survey, change.at, until, shape):
        return Clue(odds=0.2, words="the reading went back by itself")
    left = len(blocks) - change.at
    if left >= STAYS_BLOCKS and left >= change.width:
        return Clue(odds=2.0, words="did not come back")
    return Clue(odds=1.0)


STAYS_BLOCKS = 24
GONE = 0.3  # share of a step that is left when it counts as gone


def _went_back(survey: Survey, at: int, until: int, shape: Transition) -> bool:
    """Whether the level comes back to where it was, by and by, before anybody touched the probe."""
    after = running_mean(survey.blocks.level[at:until], 8) if until - at >= 8 else survey.blocks.level[at:at]
    return bool(np.any(np.abs(after - shape.before) < GONE * abs(shape.size)))


def _length(record: Record, reset: int) -> int:
    """Length of the state that begins at `reset`, and of those that follow it up to measuring, ns."""
    spans = record.states
    later = np.flatnonzero((spans.start > reset) & (spans.code == 0))
    return int(spans.start[later[0]]) - reset if later.size else 0


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
        return Clue(odds=0.3, words=f"the record was at that level {visits} times before")
    if not earlier.any():
        return Clue(odds=1.5, words="the record was never at that level before")
    return Clue(odds=1.0)


VISITED = 0.02
