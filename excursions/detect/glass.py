"""Broken glass of a pH electrode: the reading goes to about 7 and hardly follows the process any more.

Method: windows of sixteen blocks whose levels span far less than such windows usually do are calm; a stretch of
calm windows near pH 7, entered by a jump, at a level where this process is hardly ever, is broken glass or a
wet plug.  Calm stretches at other levels in the same record are the process at rest, and count against it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.origin import Clue, expected_faults, heat_clue, name_origin, weigh, words_of
from excursions.detect.survey import Survey, survey_of
from excursions.records import BoolArray, Event, Record

WINDOW = 16  # blocks
LIKE = 0.5  # a calm stretch elsewhere counts from this share of the length on
NEUTRAL, AROUND = 7.0, 0.6  # pH at which broken glass reads, and how far off it may


@dataclass(frozen=True, slots=True, kw_only=True)
class GlassSettings:
    """When a calm stretch near pH 7 is broken glass."""

    calm: float = (
        0.25  # of the usual span of a window; a glass that follows a little is broken all the same (cp)
    )
    shortest_s: float = 6 * 3_600.0
    least_jump: float = 0.15  # pH, and ten usual noises
    most_visited: float = 0.15  # share of the rest of the record at that level
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.1  # (cp)
    least_confidence: float = 0.3


def detect_glass(record: Record, settings: GlassSettings | None = None) -> tuple[Event, ...]:
    """Find stretches of broken glass in a pH record (kind ``stuck``; size is the level it reads)."""
    settings = settings or GlassSettings()
    survey = survey_of(record)
    if record.point.measurand != "ph" or survey is None or len(survey.blocks) < 8 * WINDOW:
        return ()
    level = survey.blocks.level
    span = np.ptp(sliding_window_view(level, WINDOW), axis=1)
    usual = float(np.median(span))
    calm = _covered(span <= settings.calm * usual, level.size)
    near = np.abs(level - NEUTRAL) <= AROUND
    length = settings.shortest_s / survey.blocks.width_s
    elsewhere = [hi - lo for lo, hi in _runs(calm & ~near)]
    found = []
    for lo, hi in _runs(calm & near):
        if hi - lo >= length and _entered(survey, lo, settings) and _seldom(survey, lo, hi, settings):
            alike = sum(rest >= LIKE * (hi - lo) for rest in elsewhere)
            found.append(_event(record, survey, (lo, hi), usual, alike, settings))
    return tuple(event for event in found if event.confidence >= settings.least_confidence)


def _covered(windows: BoolArray, size: int) -> BoolArray:
    """Blocks that some chosen window covers."""
    edge = np.zeros(size + 1, dtype=np.int64)
    at = np.flatnonzero(windows)
    np.add.at(edge, at, 1)
    np.add.at(edge, at + WINDOW, -1)
    return np.asarray(np.cumsum(edge[:-1]) > 0)


def _runs(mark: BoolArray) -> list[tuple[int, int]]:
    """Runs [lo, hi) of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], mark, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _entered(survey: Survey, lo: int, settings: GlassSettings) -> bool:
    """Whether the reading jumped to the level of the stretch."""
    before = survey.blocks.level[max(lo - 6, 0) : max(lo - 1, 0)]
    after = survey.blocks.level[lo + 2 : lo + 8]
    if not before.size:
        return False
    jump = abs(float(np.median(after) - np.median(before)))
    return jump >= max(settings.least_jump, 10 * survey.noise)


def _seldom(survey: Survey, lo: int, hi: int, settings: GlassSettings) -> bool:
    """Whether the process is hardly ever at that level otherwise."""
    level = survey.blocks.level
    others = np.delete(level, np.s_[lo:hi])
    near = np.abs(others - np.median(level[lo:hi])) <= max(float(np.ptp(level[lo:hi])), 0.05)
    return others.size > 0 and float(np.mean(near)) <= settings.most_visited


def _event(
    record: Record,
    survey: Survey,
    run: tuple[int, int],
    usual: float,
    alike: int,
    settings: GlassSettings,
) -> Event:
    lo, hi = run
    live, blocks = survey.live, survey.blocks
    first, last = int(blocks.first[lo]), max(int(blocks.first[hi]) - 1, int(blocks.first[lo]))
    start, end = int(live.time[first]), int(live.time[last]) + round(survey.interval_s * NS_PER_S)
    level = float(np.median(blocks.level[lo:hi]))
    span = float(np.median(np.ptp(sliding_window_view(blocks.level[lo:hi], min(WINDOW, hi - lo)), axis=1)))
    clues = (
        heat_clue(record, start),
        Clue(odds=3.0, words=f"jumped to pH {level:.2f}, where it is hardly ever"),
    )
    prior = expected_faults(settings.faults_per_year, survey.years)
    probe = weigh(prior=prior, chance=settings.unexplained * (1 + alike), clues=clues)
    return Event(
        point=record.point.name,
        kind="stuck",
        start=start,
        end=end,
        size=level,
        size_unit=record.value.unit if record.value else "",
        confidence=probe,
        origin=name_origin(probe),
        severity="act",
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=blocks.width_s,
        open_end=hi == len(blocks),
        evidence=(
            f"reads about pH {level:.2f} for {duration_text((end - start) / NS_PER_S)}, as with broken glass or a wet plug",
            f"its level spans {span:.2g} over a while, usually {usual:.2g}",
            *words_of(clues),
        ),
        details={"samples": float(last - first + 1)},
    )
