"""Switching: from one day on the reading jumps up and down by the same amount, as with a ground loop through a pump.

The pump may run as it likes, so that no period tells; each jump alone is one of many and looks like the process's way.
What sets them apart is that they all are alike, go up and down in turn, come from one sample to the next, and never came
before.  Method: the largest jump of every block, less what the reading walks beside it (:mod:`excursions.detect.series.sudden`);
those far above the noise that become a habit (:mod:`excursions.detect.series.habit`) and are alike are one event.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, duration_text
from excursions.detect.evidence.origin import (
    MOVED,
    Clue,
    companions,
    expected_faults,
    heat_clue,
    moved_together,
    name_origin,
    state_clue,
    unexplained,
    weigh,
    witnessed,
    witnesses_of,
    words_of,
)
from excursions.detect.evidence.severity import severity_of
from excursions.detect.series.groups import group_median
from excursions.detect.series.habit import FEWEST, SHARES, Habit, habit_of
from excursions.detect.series.several import FASTEST_VESSEL_S
from excursions.detect.series.sudden import SIDE
from excursions.detect.series.survey import Survey, jump_loss, jumps_of, survey_of
from excursions.digits import written
from excursions.ranks import median, quantile, scatter_of
from excursions.records import MOVED_NOT, MOVED_TOO, TEMPERATURE, Event, FloatArray, IndexArray, Limit, Record

ALIKE = 0.25  # robust spread of the jumps over their median
IN_TURN = 0.6  # of neighbouring jumps that go opposite ways; by chance half do
FOUND = 0.98  # of the jumps of an offset at the limit
SENSELESS = 2.0  # spans of the record: a limit above is no limit
BESIDE = 0.5  # of the jumps at which another signal moved as well


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchingSettings:
    """When an offset is said to be switched on and off, and whose."""

    noises: float = 8.0  # a jump of the reading must measure
    tolerances: float = 0.5  # smaller jumps mislead nobody
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.3  # a dosing or a side stream that is switched on from one day on (cp)


def detect_switching(record: Record, settings: SwitchingSettings | None = None) -> tuple[Event, ...]:
    """Find an offset that is switched on and off.

    Returns
    -------
    tuple of Event
        At most one, kind ``switching``; size is the offset, without a sign: nobody knows which of the two levels is right.
    """
    settings = settings or SwitchingSettings()
    survey = survey_of(record)
    if survey is None or record.value is None or len(survey.live) < 4 * SIDE:
        return ()
    every = jumps_of(record, survey)
    at = every.at[every.size > _least(record, survey, settings)]
    if not at.size:
        return ()
    block = np.maximum(np.searchsorted(survey.blocks.first, at, side="right") - 1, 0)
    habit = habit_of(block, len(survey.blocks))
    if habit is None:
        return ()
    at, block = at[habit.first : habit.last], block[habit.first : habit.last]
    value = survey.live.value
    moved = group_median(value, at, np.minimum(at + SIDE, value.size)) - group_median(
        value, np.maximum(at - SIDE, 0), at
    )
    if not _is_switched(moved):
        return ()
    return (_event(record, survey, at, block, moved, habit, settings),)


def switching_limits(record: Record, settings: SwitchingSettings) -> tuple[Limit, ...]:
    """Smallest offset of which nearly all jumps stand clear of what the values around them take off."""
    survey = survey_of(record)
    if survey is None or record.value is None:
        return ()
    size = _least(record, survey, settings) + jump_loss(record, survey, share=FOUND)
    unit = record.value.unit
    seen = (
        np.isfinite(size)
        and len(survey.blocks) >= 2 * SHARES
        and size < np.ptp(survey.blocks.level) * SENSELESS
    )
    words = f"an offset of less than {written(size, 2)} {unit} that is switched, or fewer than {FEWEST} times, may not be seen here"
    return (
        Limit(
            kind="switching",
            size=float(size) if seen else np.nan,
            unit=unit,
            lasting_s=0.0,
            sentence=words if seen else "this record cannot show it",
        ),
    )


def _least(record: Record, survey: Survey, settings: SwitchingSettings) -> float:
    """Size from which on a jump counts, the reading's unit."""
    tolerance = record.point.tolerance_at(median(survey.blocks.level))
    return max(settings.noises * survey.noise, 2 * survey.quantum, settings.tolerances * tolerance)


def _is_switched(moved: FloatArray) -> bool:
    """Whether jumps are alike and go up and down in turn."""
    size = np.abs(moved)
    turns = float(np.mean(moved[1:] * moved[:-1] < 0))
    return scatter_of(size) <= ALIKE * median(size) and turns >= IN_TURN


def _event(
    record: Record,
    survey: Survey,
    at: IndexArray,
    block: IndexArray,
    moved: FloatArray,
    habit: Habit,
    settings: SwitchingSettings,
) -> Event:
    size = np.abs(moved)
    start, last = int(survey.live.time[at[0]]), int(survey.live.time[at[-1]])
    end = int(survey.live.time[-1]) if habit.goes_on else last
    clues = (
        heat_clue(record, start),
        state_clue(record, start),
        *_company(record, survey, block),
        Clue(odds=1.0 if survey.interval_s > FASTEST_VESSEL_S else 3.0, words=_pace(survey), inside=True),
    )
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years),
        chance=unexplained(settings.unexplained, survey.years),
        clues=clues,
    )
    probe = witnessed(probe, clues)
    usual = median(size)
    a_day = NS_PER_DAY / survey.blocks.width
    return Event(
        point=record.point.name,
        kind="switching",
        start=start,
        end=max(end, start + 1),
        size=usual,
        size_low=quantile(size, 0.05),
        size_high=quantile(size, 0.95),
        size_unit=record.unit,
        confidence=probe,
        origin=name_origin(probe),
        severity=severity_of(record, median(survey.blocks.level), usual),
        probe=record.probe_at(start),
        onset_uncertainty_s=survey.interval_s,
        open_end=habit.goes_on,
        evidence=(
            f"jumps by {written(usual, 2)} {record.change_unit} up and down in turn, {size.size} times, each as large as the others",
            f"{written(habit.now * a_day, 2)} a day, {written(habit.before * a_day, 2)} before",
            *words_of(clues),
        ),
        witnesses=witnesses_of(clues),
        details={"jumps": float(size.size)},
    )


def _pace(survey: Survey) -> str:
    if survey.interval_s > FASTEST_VESSEL_S:
        return ""
    return f"each from one sample to the next, within {duration_text(survey.interval_s)}"


def _company(record: Record, survey: Survey, block: IndexArray) -> tuple[Clue, ...]:
    """What temperature and neighbours did at the same moments."""
    clues = []
    for other in companions(record, survey):
        ratio = np.array([moved_together(other, int(b), width=1, broken=False) for b in block])
        ratio = ratio[np.isfinite(ratio)]
        if not ratio.size:
            continue
        share = float(np.mean(ratio > MOVED))
        own = other.name == TEMPERATURE
        if share > BESIDE:
            words = f"{other.name} changed at the same moments"
            odds = 0.15 if own else 0.05
            clues.append(Clue(odds=odds, words=words, source=other.name, said=MOVED_TOO))
        else:
            odds = 1.5 if own else 6.0 if other.related else 1.3
            words = f"{other.name} did not change with them"
            clues.append(Clue(odds=odds, words=words, source=other.name, said=MOVED_NOT))
    return tuple(clues)
