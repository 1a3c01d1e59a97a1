"""Pinned at an end of the stated range: the output cannot say more, however short the stay.

A reading rounded to its resolution meets the very end of its scaled range only by clipping, so two or three
samples exactly there are enough.  Whether the process was beyond the range or the probe, its cable or its input
failed shows in the way there: a process arrives at its own pace, a failing circuit within one sample.

The pace is the record's own: the tail of the differences between samples says how often the process moves as far
at once (:mod:`excursions.detect.series.tails`).  Stays entered step by step, and a process that is often near that end,
speak for the process.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    expected_faults,
    name_origin,
    unexplained,
    weigh,
    witnesses_of,
    words_of,
)
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.series.tails import expected_as_large
from excursions.digits import chance_text, written
from excursions.ranks import median, quantile
from excursions.records import MOVED_TOO, TEMPERATURE, Event, FloatArray, IndexArray, Record
from excursions.runs import runs

NEAR_END = 0.1  # of the range: a process that is this near an end may well go over it
SAME_STAY = 0.3  # of a stay: one that lasted as long is of the same kind
NEARER = 0.5  # of the usual distance to the end: and so may one that comes half way nearer than it usually is
BESIDE, FEWEST_BESIDE, FEWEST_INSIDE = 60, 12, 3  # samples of the temperature before a stay, and in it
MOST_SPANS = 20_000
LEFT_K = 1.0  # smaller moves of the temperature are weather (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class PinnedSettings:
    """When a stay at the end of the range is an event, and whose."""

    fewest: int = 2  # samples; one alone is a spike
    at_once: float = 0.02  # of the range (or half the usual way to its end): a smaller step into it is the process arriving
    noises: float = 20.0  # and so is one that is not far out of the noise
    most_near: float = 0.05  # share of the record near that end from which on it is where the process is
    most: int = 12  # more stays than this are one bout
    bout_s: float = 21_600.0  # stays within six hours are one bout (cp)
    faults_per_year: float = 1.0  # (cp)
    unexplained: float = 0.1  # such jumps of a process that nothing foretells (cp)


def detect_pinned(record: Record, settings: PinnedSettings | None = None) -> tuple[Event, ...]:
    """Find stays exactly at an end of the range that the register states.

    Parameters
    ----------
    record : Record
    settings : PinnedSettings, optional

    Returns
    -------
    tuple of Event
        Kind ``pinned``; size is the level.  None without a stated range.
    """
    settings = settings or PinnedSettings()
    survey = survey_of(record)
    if survey is None or record.point.range is None or len(survey.live) < 16:
        return ()
    low, high = record.point.range
    usual = median(survey.blocks.level)
    below = min(NEAR_END * (high - low), NEARER * max(usual - low, 0.0))
    above = min(NEAR_END * (high - low), NEARER * max(high - usual, 0.0))
    found: list[Event] = []
    for level, near in ((low, low + below), (high, high - above)):
        if near != level:
            found += _at_end(record, survey, settings, level, near)
    return tuple(sorted(found, key=lambda event: event.start))


def _at_end(
    record: Record, survey: Survey, settings: PinnedSettings, level: float, near: float
) -> list[Event]:
    """Bouts at one end of the range."""
    value = survey.live.value
    at_end = value <= level if level < near else value >= level
    stays = runs(at_end)
    stays = stays[stays[:, 1] - stays[:, 0] >= settings.fewest]
    if not stays.size:
        return []
    close = value <= near if level < near else value >= near
    others = np.count_nonzero(~at_end)
    if np.count_nonzero(close & ~at_end) > settings.most_near * others or at_end.mean() > 0.5:
        return []
    entered = np.abs(value[np.maximum(stays[:, 0] - 1, 0)] - level)
    low, high = record.point.range or (0.0, 0.0)
    way = NEARER * abs(float(np.median(survey.blocks.level)) - level)
    least = max(min(settings.at_once * (high - low), way), settings.noises * survey.noise)
    jumped = stays[(entered >= least) & (stays[:, 0] > 0)]
    arrivals = stays[(entered < least) | (stays[:, 0] == 0)]
    within = settings.bout_s * NS_PER_S
    start, end = survey.live.time[jumped[:, 0]], survey.live.time[jumped[:, 1] - 1]
    cuts = np.flatnonzero(start[1:] - end[:-1] > within) + 1
    bouts = [bout for bout in np.split(jumped, cuts) if bout.size]
    bouts = [jumped] if len(bouts) > settings.most else bouts
    usual = _usual_jumps(survey, at_end)
    return [_event(record, survey, settings, bout, level, _as_long(arrivals, bout), usual) for bout in bouts]


def _as_long(arrivals: IndexArray, bout: IndexArray) -> int:
    """How many stays that a process came to at its own pace lasted about as long: minutes beyond the range foretell no day."""
    longest = int((bout[:, 1] - bout[:, 0]).max())
    return int(np.count_nonzero(arrivals[:, 1] - arrivals[:, 0] >= SAME_STAY * longest))


def _usual_jumps(survey: Survey, at_end: np.ndarray) -> FloatArray:
    """Largest difference between neighbouring samples in each block, those into and out of the end left out."""
    live, blocks = survey.live, survey.blocks
    size = np.abs(np.diff(live.value, prepend=live.value[:1]))
    size[live.fresh | at_end | np.roll(at_end, 1)] = 0.0
    held = np.flatnonzero(blocks.count > 0)
    return np.asarray(np.maximum.reduceat(size, blocks.first[held]))


def _event(
    record: Record,
    survey: Survey,
    settings: PinnedSettings,
    bout: IndexArray,
    level: float,
    arrived: int,
    usual: FloatArray,
) -> Event:
    live = survey.live
    first, last = int(bout[0, 0]), int(bout[-1, 1]) - 1
    start, end = survey.span_of(first, last)
    end = min(end, int(live.time[last + 1])) if last + 1 < len(live) else end
    jump = abs(float(live.value[first - 1]) - level)
    chance = expected_as_large(usual, jump)
    clues = _clues(record, (first, last), arrived, survey)
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years),
        chance=chance + arrived + unexplained(settings.unexplained, survey.years),
        clues=clues,
    )
    samples = int((bout[:, 1] - bout[:, 0]).sum())
    unit = record.unit
    times = f", {bout.shape[0]} times" if bout.shape[0] > 1 else ""
    return Event(
        point=record.point.name,
        kind="pinned",
        start=start,
        end=end,
        size=level,
        size_unit=unit,
        confidence=probe if name_origin(probe) != "process" else 1 - probe,
        origin=name_origin(probe),
        severity="act",
        probe=record.probe_at(start),
        open_end=last == len(live) - 1,
        onset_uncertainty_s=float(start - int(live.time[first - 1])) / NS_PER_S,
        evidence=(
            f"{samples} samples exactly at the end of the range, {level:g} {unit}{times}, within {duration_text((end - start) / NS_PER_S)}",
            f"entered by a jump of {written(jump)} {unit} between two samples; this record shows {chance_text(chance)} so large by chance",
            *words_of(clues),
        ),
        witnesses=witnesses_of(clues),
        details={"samples": float(samples), "stays": float(bout.shape[0])},
    )


def _clues(record: Record, stay: tuple[int, int], arrived: int, survey: Survey) -> tuple[Clue, ...]:
    clues = []
    if arrived:
        clues.append(
            Clue(
                odds=0.3,
                words=f"the reading came to this end step by step {arrived} other times, for as long",
            )
        )
    start, end = (int(survey.live.time[at]) for at in stay)
    if _temperature_left(record, start, end):
        words = "the temperature went another way meanwhile: the probe was out of the medium, or the medium was another"
        clues.append(Clue(odds=0.1, words=words, source=TEMPERATURE, said=MOVED_TOO))
    elif _temperature_moved(record, start, survey):
        words = "the temperature changed at the same time"
        clues.append(Clue(odds=0.3, words=words, source=TEMPERATURE, said=MOVED_TOO))
    return tuple(clues)


def _temperature_left(record: Record, start: int, end: int) -> bool:
    """Whether the temperature left its level during a stay, further than in 99 of 100 other spans as long."""
    signal = record.temperature
    if signal is None:
        return False
    lo, hi = (int(at) for at in np.searchsorted(signal.time, [start, end]))
    before, inside = signal.value[max(lo - BESIDE, 0) : lo], signal.value[lo : hi + 1]
    before, inside = before[np.isfinite(before)], inside[np.isfinite(inside)]
    span = max(hi - lo, 1)
    if before.size < FEWEST_BESIDE or inside.size < FEWEST_INSIDE or signal.value.size < 100 * span:
        return False
    stride = max(1, (signal.value.size - span) // MOST_SPANS)
    moves = np.abs(signal.value[span::stride] - signal.value[:-span:stride])
    moves = moves[np.isfinite(moves)]
    away = float(np.max(np.abs(inside - median(before))))
    return bool(moves.size) and away > max(2 * quantile(moves, 0.99), LEFT_K)


def _temperature_moved(record: Record, at: int, survey: Survey) -> bool:
    """Whether the temperature moves more between the blocks beside it than in 99 of 100 other places."""
    level = survey.temperature
    step = np.abs(np.diff(level))
    known = step[np.isfinite(step)]
    k = survey.blocks.at(at)
    if record.temperature is None or known.size < 100 or not 0 < k < level.size - 1:
        return False
    return bool(np.nanmax(step[k - 1 : k + 1], initial=0.0) > 2 * np.quantile(known, 0.99))
