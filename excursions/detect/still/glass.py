"""Broken glass: a pH electrode that goes to its zero point, near 7, and stays there whatever the process does.

A cracked membrane lets both sides meet: the potential is that of the zero point, and only the reference goes on wandering a
little.  Such a reading is not still to the digit, so it is known by what it no longer does: while the temperature goes
through its batches as before, the level of the reading keeps to a narrow band, which it never did with such a temperature.
Without a temperature that moves, or where the reading often rests meanwhile, nothing can be told and nothing is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.detect.evidence.origin import Clue
from excursions.detect.evidence.parked import Stay, stay_event, stays, swings, windows_of
from excursions.detect.series.survey import Survey, survey_of
from excursions.ranks import quantile
from excursions.records import Event, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSettings:
    """When a reading that follows no more is called broken glass."""

    near: float = 0.5  # pH: zero points lie within 7 +- 0.5 (cp)
    band: float = 0.3  # pH: what a broken electrode may still wander within a window (cp)
    times: float = 2.0  # the quietest live window elsewhere is this many times as wide
    live: float = 0.5  # of the largest swings of the temperature: with so much the process is at work
    least_swing_k: float = 3.0  # smaller swings are weather (cp)
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.05  # neutral, quiet products that came once (cp)


def detect_glass(record: Record, settings: GlassSettings | None = None) -> tuple[Event, ...]:
    """Find stays near pH 7 during which the reading no longer follows a process that goes on.

    Returns
    -------
    tuple of Event
        Kind ``stuck``; size is the level.  None for electrodes without glass and points without a temperature.
    """
    settings = settings or GlassSettings()
    survey = survey_of(record)
    zero = record.point.quantity.glass_reads
    windows = windows_of(survey.blocks.level) if survey is not None else None
    if survey is None or windows is None or math.isnan(zero):
        return ()
    swing = swings(survey.temperature, windows)
    live = swing >= max(settings.live * quantile(swing, 0.9), settings.least_swing_k)
    every = stays(windows, live, band=settings.band, times=settings.times)
    near = [stay for stay in every if abs(stay.level - zero) <= settings.near]
    return tuple(_event(record, survey, stay, settings) for stay in near)


def _event(record: Record, survey: Survey, stay: Stay, settings: GlassSettings) -> Event:
    return stay_event(
        record,
        survey,
        stay,
        band=settings.band,
        witnesses=[Clue(odds=3.0, words="the temperature goes on as before")],
        ended=Clue(odds=0.3, words="ended"),
        faults_per_year=settings.faults_per_year,
        unexplained_per_year=settings.unexplained,
        keeps_to=f"pH {stay.level:.2f}",
        swung="the temperature",
        as_with=", as with broken glass",
    )
