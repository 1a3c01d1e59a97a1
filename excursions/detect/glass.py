"""Broken glass: a pH electrode that goes to its zero point, near 7, and stays there whatever the process does.

A cracked membrane lets both sides meet: the potential is that of the zero point, and only the reference goes on wandering a
little.  Such a reading is not still to the digit, so it is known by what it no longer does: while the temperature goes
through its batches as before, the level of the reading keeps to a narrow band, which it never did with such a temperature.
Without a temperature that moves, or where the reading often rests meanwhile, nothing can be told and nothing is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.parked import Stay, samples_of, stays, swings, windows_of
from excursions.detect.survey import Survey, survey_of
from excursions.digits import written
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
    live = survey.live
    first, last = samples_of(survey, stay, settings.band)
    open_end = last == len(live) - 1
    start, end = int(live.time[first]), int(live.time[last]) + round(survey.interval_s * NS_PER_S)
    clues = [Clue(odds=3.0, words="the temperature goes on as before")]
    clues.append(
        Clue(odds=2.0, words="goes on to the end of the record")
        if open_end
        else Clue(odds=0.3, words="ended")
    )
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years),
        chance=unexplained(settings.unexplained, survey.years),
        clues=tuple(clues),
    )
    return Event(
        point=record.point.name,
        kind="stuck",
        start=start,
        end=end,
        size=stay.level,
        size_unit=record.value.unit if record.value is not None else "",
        confidence=probe,
        origin=name_origin(probe),
        severity="act",
        probe=record.plant.probe_at(record.point.name, start) or "",
        open_end=open_end,
        onset_uncertainty_s=survey.blocks.width_s,
        evidence=(
            f"keeps to pH {stay.level:.2f} for {duration_text((end - start) / NS_PER_S)} and follows the process no more,"
            " as with broken glass",
            f"moved by {written(float(stay.own.max()), 2)} pH at most while the temperature swung; with such swings it moved by"
            f" {written(float(stay.others.min()), 2)} pH or more in all {stay.others.size} other windows of this record",
            *words_of(tuple(clues)),
        ),
        details={"samples": float(last - first + 1), "held_s": (end - start) / NS_PER_S},
    )
