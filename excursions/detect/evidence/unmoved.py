"""Unmoved: a reading that keeps to a narrow band while probes that measure the same go on as before.

A broken membrane, a plugged cell, a cap left on, a cable that became wet: the reading is not still to the digit, but it
follows nothing.  A neighbour that usually goes along says that there was something to follow.  A process that stands still
stands still at both; so the neighbour must swing as it does elsewhere in the record, where this reading always went along.
A part of the plant that was shut off while the other went on looks the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.detect.evidence.origin import Clue
from excursions.detect.evidence.parked import Stay, stay_event, stays, swings, windows_of
from excursions.detect.series.alike import gain, related
from excursions.detect.series.survey import Survey, survey_of
from excursions.digits import written
from excursions.ranks import NORMAL_MAD, quantile
from excursions.records import Event, FloatArray, Record

SHOWN = 0.5  # of its length that must be known on either side of a stay
AWAY = 2.0  # usual changes over as long


@dataclass(frozen=True, slots=True, kw_only=True)
class UnmovedSettings:
    """When a reading that keeps still beside others follows no more."""

    band: float = 3.0  # tolerances: what a probe that follows nothing may still wander within a window (cp)
    times: float = 2.0  # the quietest live window elsewhere is this many times as wide
    live: float = 0.5  # of the largest swings of the neighbour: with so much the process is at work
    wildest: float = (
        2.0  # of its largest swings elsewhere: a neighbour that goes further is itself the odd one
    )
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.3  # one of the two shut off while the other went on (cp)


def detect_unmoved(record: Record, settings: UnmovedSettings | None = None) -> tuple[Event, ...]:
    """Find stays in a narrow band during which neighbours that usually go along go on.

    Returns
    -------
    tuple of Event
        Kind ``stuck``; size is the level.  None without a neighbour that measures the same and usually goes along.
    """
    settings = settings or UnmovedSettings()
    survey = survey_of(record)
    if survey is None:
        return ()
    level, found = survey.blocks.level, list[tuple[Stay, list[str]]]()
    witnesses = _witnesses(survey)
    for name in witnesses:
        for stay in _stays(record, level, abs(gain(level, witnesses[name])) * witnesses[name], settings):
            same = next((one for one in found if one[0].lo < stay.past and stay.lo < one[0].past), None)
            if same is None:
                found.append((stay, [name]))
            else:
                same[1].append(name)
    return tuple(_event(record, survey, stay, names, len(witnesses), settings) for stay, names in found)


def unmoved_neighbour(record: Record, survey: Survey, name: str) -> list[tuple[int, int]]:
    """Blocks [lo, past) in which a neighbour follows nothing while this reading goes on: it says nothing of this one."""
    other = _witnesses(survey).get(name)
    if other is None:
        return []
    level = survey.blocks.level
    scaled = abs(gain(level, other)) * other
    found = survey.once(f"{name} unmoved", lambda: _stays(record, scaled, level, asked_for(survey)))
    return [(stay.lo, stay.past) for stay in found]


def asked_for(survey: Survey, settings: UnmovedSettings | None = None) -> UnmovedSettings:
    """The settings by which neighbours are looked at as well: those first given for this record, else the defaults."""
    return survey.once("unmoved settings", lambda: settings or UnmovedSettings())


def _witnesses(survey: Survey) -> dict[str, FloatArray]:
    """Levels on the blocks of those that measure the same and usually go along, worked out once for all who ask."""
    return survey.once("witnesses", lambda: _going_along(survey))


def _going_along(survey: Survey) -> dict[str, FloatArray]:
    level = survey.blocks.level
    every = ((name, survey.neighbours[name]) for name in sorted(survey.redundant))
    return {name: other for name, other in every if np.isfinite(other).any() and related(level, other)}


def _stays(record: Record, level: FloatArray, witness: FloatArray, settings: UnmovedSettings) -> list[Stay]:
    """Stays of a level beside a witness, both (m,), whose swings inside are no wilder than elsewhere."""
    windows = windows_of(level)
    if windows is None:
        return []
    swing = swings(witness, windows)
    band = settings.band * record.point.tolerance_at(float(np.nanmedian(level)))
    live = swing >= max(settings.live * quantile(swing, 0.9), band)
    every = stays(windows, live, band=band, times=settings.times)
    return [
        stay
        for stay in every
        if float(np.max(swing[stay.inside])) <= settings.wildest * float(np.max(swing[~stay.inside]))
    ]


def _shut_off(survey: Survey, stay: Stay) -> tuple[Clue, ...]:
    """Whether the temperature went elsewhere with the stay and came back with its end: a line that is shut off goes to that
    of the room; a probe that follows nothing keeps its own."""
    length, warm = stay.past - stay.lo, survey.temperature
    parts = warm[max(stay.lo - length, 0) : stay.lo], warm[stay.lo : stay.past], warm[stay.past :][:length]
    if not all(part.size >= SHOWN * length and np.isfinite(part).all() for part in parts):
        return ()
    before, meanwhile, after = (float(np.median(part)) for part in parts)
    usual = max(NORMAL_MAD * float(np.nanmedian(np.abs(warm[length:] - warm[:-length]))), 1e-12)
    went, back = (meanwhile - before) / usual, (meanwhile - after) / usual
    if min(went, back) < AWAY and max(went, back) > -AWAY:
        return ()
    words = f"the temperature stayed at {meanwhile:.0f} °C meanwhile, before and afterwards at {(before + after) / 2:.0f} °C"
    return (Clue(odds=0.2, words=words),)


def _event(
    record: Record, survey: Survey, stay: Stay, names: list[str], asked: int, settings: UnmovedSettings
) -> Event:
    clues = [Clue(odds=3.0, words=f"{name} goes on as before") for name in names]
    if asked > len(names):
        clues.append(Clue(odds=0.5, words="not every neighbour shows it"))
    return stay_event(
        record,
        survey,
        stay,
        band=max(settings.times * float(stay.own.max()), survey.quantum),
        witnesses=clues,
        ended=Clue(odds=0.15, words="followed again afterwards"),
        against=_shut_off(survey, stay),
        faults_per_year=settings.faults_per_year,
        unexplained_per_year=settings.unexplained,
        keeps_to=f"{written(stay.level, 3)} {record.unit}",
        swung="neighbours",
    )
