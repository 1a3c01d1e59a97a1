"""Broken glass: a pH electrode that goes to its zero point, near 7, and stays there whatever the process does.

A cracked membrane lets both sides meet: the potential is that of the zero point, and only the reference goes on wandering a
little.  Such a reading is not still to the digit, so it is known by what it no longer does: while the temperature goes
through its batches as before, the level of the reading keeps to a narrow band, which it never did with such a temperature.
Without a temperature that moves, or where the reading often rests meanwhile, nothing can be told and nothing is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.survey import Survey, survey_of
from excursions.digits import written
from excursions.records import BoolArray, Event, FloatArray, IndexArray, Record
from excursions.states.trace import runs

SHARE = 60  # windows of this share of the record; a batch should fit in
NARROWEST = 8  # blocks of a window


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSettings:
    """When a reading that follows no more is called broken glass."""

    near: float = 0.5  # pH: zero points lie within 7 +- 0.5 (cp)
    band: float = 0.3  # pH: what a broken electrode may still wander within a window (cp)
    times: float = 2.0  # the quietest live window elsewhere is this many times as wide
    fewest: int = 4  # live windows inside
    fewest_others: int = 12  # and elsewhere
    live: float = 0.5  # of the largest swings of the temperature: with so much the process is at work
    least_swing_k: float = 3.0  # smaller swings are weather (cp)
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.05  # neutral, quiet products that came once (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Windows:
    """Half-overlapping windows of blocks: first (w,), width, range of the reading and whether the process is at work (w,)."""

    first: IndexArray
    width: int
    range: FloatArray
    live: BoolArray


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
    if survey is None or math.isnan(zero) or len(survey.blocks) < 4 * NARROWEST:
        return ()
    windows = _windows(survey, settings)
    if np.count_nonzero(windows.live) < settings.fewest + settings.fewest_others:
        return ()
    quiet = windows.range <= settings.band
    found = []
    for a, b in runs(quiet):
        lo, past = int(windows.first[a]), int(windows.first[b - 1]) + windows.width
        level = float(np.median(survey.blocks.level[lo:past]))
        inside = np.zeros(quiet.size, dtype=np.bool_)
        inside[a:b] = True
        beside = inside.copy()
        beside[max(a - 2, 0) : b + 2] = True  # the windows at its ends hold part of it
        own, others = windows.range[inside & windows.live], windows.range[~beside & windows.live]
        if abs(level - zero) > settings.near or a == 0:
            continue
        if own.size < settings.fewest or others.size < settings.fewest_others:
            continue
        if float(others.min()) < settings.times * float(own.max()):
            continue
        found.append(_event(record, survey, (lo, past), level, own, others, settings))
    return tuple(found)


def _windows(survey: Survey, settings: GlassSettings) -> _Windows:
    level, temperature = survey.blocks.level, survey.temperature
    width = max(level.size // SHARE, NARROWEST)
    first = np.arange(0, level.size - width + 1, max(width // 2, 1))
    swing = _ranges(temperature, first, width)
    swing[~np.isfinite(swing)] = 0.0
    least = max(settings.live * float(np.quantile(swing, 0.9)), settings.least_swing_k)
    return _Windows(first=first, width=width, range=_ranges(level, first, width), live=swing >= least)


def _ranges(value: FloatArray, first: IndexArray, width: int) -> FloatArray:
    """Range of each window, NaN where it holds a NaN."""
    return np.asarray(np.ptp(np.lib.stride_tricks.sliding_window_view(value, width)[first], axis=1))


def _event(
    record: Record,
    survey: Survey,
    stay: tuple[int, int],
    level: float,
    own: FloatArray,
    others: FloatArray,
    settings: GlassSettings,
) -> Event:
    live = survey.live
    first, last = _samples(survey, stay, level, settings.band)
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
        size=level,
        size_unit=record.value.unit if record.value is not None else "",
        confidence=probe,
        origin=name_origin(probe),
        severity="act",
        probe=record.plant.probe_at(record.point.name, start) or "",
        open_end=open_end,
        onset_uncertainty_s=survey.blocks.width_s,
        evidence=(
            f"keeps to pH {level:.2f} for {duration_text((end - start) / NS_PER_S)} and follows the process no more,"
            " as with broken glass",
            f"moved by {written(float(own.max()), 2)} pH at most while the temperature swung; with such swings it moved by"
            f" {written(float(others.min()), 2)} pH or more in all {others.size} other windows of this record",
            *words_of(tuple(clues)),
        ),
        details={"samples": float(last - first + 1), "held_s": (end - start) / NS_PER_S},
    )


def _samples(survey: Survey, stay: tuple[int, int], level: float, band: float) -> tuple[int, int]:
    """First and last sample of a stay: it reaches out block by block, then sample by sample, while the level keeps."""
    blocks, value = survey.blocks, survey.live.value
    away = np.abs(blocks.level - level) > band
    before, after = np.flatnonzero(away[: stay[0]]), stay[1] + np.flatnonzero(away[stay[1] :])
    lo = int(before[-1]) if before.size else 0
    past = int(after[0]) + 1 if after.size else len(blocks)
    a, b = int(blocks.first[lo]), int(blocks.first[past])
    far = np.flatnonzero(np.abs(value[a:b] - level) > max(band, 6 * survey.noise))
    middle = (int(blocks.first[stay[0]]) + int(blocks.first[stay[1]])) // 2 - a
    ahead, behind = far[far < middle], far[far >= middle]
    first = a + int(ahead[-1]) + 1 if ahead.size else a
    return first, a + int(behind[0]) - 1 if behind.size else b - 1
