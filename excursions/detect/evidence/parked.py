"""A reading that keeps to a narrow band while a witness shows that the process goes on: where, and how unusual that is.

Windows of the record in which the witness (a temperature, or a probe that measures the same) is at work are compared: inside
of a stay the reading keeps to its band in all of them, elsewhere it never did.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import Clue, expected_faults, name_origin, unexplained, weigh, words_of
from excursions.detect.series.survey import Survey
from excursions.digits import written
from excursions.records import BoolArray, Event, FloatArray, IndexArray, Record
from excursions.runs import runs

SHARE = 60  # windows of this share of the record; a batch should fit in
NARROWEST = 8  # blocks of a window
FEWEST, FEWEST_OTHERS = 4, 12  # windows with a process at work inside of a stay, and elsewhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Half-overlapping windows of blocks: the level (m,) they look at, first (w,), width, its range in them (w,)."""

    level: FloatArray
    first: IndexArray
    width: int
    range: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Blocks [lo, past) of a stay, its level, and the ranges of the reading in the live windows inside and elsewhere."""

    lo: int
    past: int
    level: float
    own: FloatArray
    others: FloatArray
    inside: BoolArray


def windows_of(level: FloatArray) -> Windows | None:
    """Windows of a level on the blocks of a record; None where it is too short for them."""
    if level.size < 4 * NARROWEST:
        return None
    width = max(level.size // SHARE, NARROWEST)
    first = np.arange(0, level.size - width + 1, max(width // 2, 1))
    return Windows(level=level, first=first, width=width, range=ranges(level, first, width))


def ranges(value: FloatArray, first: IndexArray, width: int) -> FloatArray:
    """Range of each window, NaN where it holds a NaN."""
    return np.asarray(np.ptp(np.lib.stride_tricks.sliding_window_view(value, width)[first], axis=1))


def swings(witness: FloatArray, windows: Windows) -> FloatArray:
    """Range of a witness on the blocks in each window, 0 where it is not known."""
    swing = ranges(witness, windows.first, windows.width)
    swing[~np.isfinite(swing)] = 0.0
    return swing


def stays(windows: Windows, live: BoolArray, *, band: float, times: float) -> Iterator[Stay]:
    """Stays within `band` while windows are live: in the others the reading moved at least so many `times` as far.

    One that begins with the record has nothing before it to be told from, and is none.
    """
    if np.count_nonzero(live) < FEWEST + FEWEST_OTHERS:
        return
    quiet = windows.range <= band
    for a, b in runs(quiet):
        lo, past = int(windows.first[a]), int(windows.first[b - 1]) + windows.width
        inside = np.zeros(quiet.size, dtype=np.bool_)
        inside[a:b] = True
        beside = inside.copy()
        beside[max(a - 2, 0) : b + 2] = True  # the windows at its ends hold part of it
        own, others = windows.range[inside & live], windows.range[~beside & live]
        if a == 0 or own.size < FEWEST or others.size < FEWEST_OTHERS:
            continue
        if float(others.min()) >= times * float(own.max()):
            level = float(np.median(windows.level[lo:past]))
            yield Stay(lo=lo, past=past, level=level, own=own, others=others, inside=inside)


def samples_of(survey: Survey, stay: Stay, band: float) -> tuple[int, int]:
    """First and last sample of a stay: it reaches out block by block, then sample by sample, while the level keeps."""
    blocks, value, level = survey.blocks, survey.live.value, stay.level
    away = np.abs(blocks.level - level) > band
    before, after = np.flatnonzero(away[: stay.lo]), stay.past + np.flatnonzero(away[stay.past :])
    lo = int(before[-1]) if before.size else 0
    past = int(after[0]) + 1 if after.size else len(blocks)
    a, b = int(blocks.first[lo]), int(blocks.first[past])
    far = np.flatnonzero(np.abs(value[a:b] - level) > max(band, 6 * survey.noise))
    middle = (int(blocks.first[stay.lo]) + int(blocks.first[stay.past])) // 2 - a
    ahead, behind = far[far < middle], far[far >= middle]
    first = a + int(ahead[-1]) + 1 if ahead.size else a
    return first, a + int(behind[0]) - 1 if behind.size else b - 1


def stay_event(
    record: Record,
    survey: Survey,
    stay: Stay,
    *,
    band: float,
    witnesses: Sequence[Clue],
    ended: Clue,
    against: Sequence[Clue] = (),
    faults_per_year: float,
    unexplained_per_year: float,
    keeps_to: str,
    swung: str,
    as_with: str = "",
) -> Event:
    """The event of a stay: a reading that follows its process no more.

    Parameters
    ----------
    band : how far a sample may lie from the level of the stay and still belong to it, unit of the reading
    witnesses : what shows that the process went on; ended : what speaks where the stay is over before the record;
        against : what else speaks for or against the probe
    faults_per_year, unexplained_per_year : how often probes do this, and processes, in a year of a point
    keeps_to, swung, as_with : the level, the witnesses and what it is like, as its evidence names them
    """
    first, last = samples_of(survey, stay, band)
    start, end = survey.span_of(first, last)
    open_end = last == len(survey.live) - 1
    over = Clue(odds=2.0, words="goes on to the end of the record") if open_end else ended
    clues = (*witnesses, over, *against)
    probe = weigh(
        prior=expected_faults(faults_per_year, survey.years),
        chance=unexplained(unexplained_per_year, survey.years),
        clues=clues,
    )
    return Event(
        point=record.point.name,
        kind="stuck",
        start=start,
        end=end,
        size=stay.level,
        size_unit=record.unit,
        confidence=probe,
        origin=name_origin(probe),
        severity="act",
        probe=record.probe_at(start),
        open_end=open_end,
        onset_uncertainty_s=survey.blocks.width_s,
        evidence=(
            f"keeps to {keeps_to} for {duration_text((end - start) / NS_PER_S)} and follows the process no more{as_with}",
            f"moved by {written(float(stay.own.max()), 2)} {record.change_unit} at most while {swung} swung; with such swings"
            f" it moved by {written(float(stay.others.min()), 2)} {record.change_unit} or more in all {stay.others.size} other"
            " windows of this record",
            *words_of(clues),
        ),
        details={"samples": float(last - first + 1), "held_s": (end - start) / NS_PER_S},
    )
