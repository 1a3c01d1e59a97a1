"""Drift: the reading walks away slowly.  Fouling: it does, and a cleaning brings it back.

Method: slow changes are what the search over all widths (:mod:`excursions.detect.scan`) finds and a ramp of
hours or more explains better than a step; ramps that continue one another are one.  A straight walk over
the whole record, which has no level before it, is tested by its slope against the long-run scatter around
it.  The value alone cannot say whose drift it is: a neighbour that stays, laboratory samples that disagree,
or a calibration or cleaning that takes it out can.

References
----------
.. [1] R. J. Hyndman, G. Athanasopoulos, "Forecasting: principles and practice", on regression with
   autocorrelated errors; the slope's variance is inflated by (1 + r)/(1 - r), r the lag-one autocorrelation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.origin import (
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    related,
    weigh,
    words_of,
)
from excursions.detect.scan import Change, changes
from excursions.detect.severity import severity_of
from excursions.detect.shape import ramp, transition_of
from excursions.detect.survey import Survey, survey_of
from excursions.records import CALIBRATING, CLEANING, WASHING, Event, FloatArray, Record

FEWEST_BLOCKS = 32
BINS = 96  # points a record is brought down to for the test of a straight walk
TAKEN_OUT = (0.4, 1.6)  # share of a drift that a reset must undo


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftSettings:
    """When a slow change is a drift, and whose."""

    drifts_per_year: float = 1.0  # how often a probe that somebody looks into drifts (cp)
    unexplained: float = 0.5  # slow changes of the process itself to be expected in a record (cp)
    fastest_s: float = 6 * 3_600.0  # a faster change is a step
    fastest_blocks: int = 6
    straight_t: float = 6.0  # slope over its standard error for a walk over the whole record
    least_confidence: float = 0.1
    most: int = 6  # more slow changes than this are the process's way


@dataclass(frozen=True, slots=True, kw_only=True)
class _Walk:
    """A slow change [lo, hi) in blocks: from `before` by `size`, its chance number and the basis of finding it."""

    lo: int
    hi: int
    before: float
    size: float
    spread: float
    expected: float
    basis: str = ""


def detect_drift(record: Record, settings: DriftSettings | None = None) -> tuple[Event, ...]:
    """Find slow changes of the reading.

    Returns
    -------
    tuple of Event
        Kind ``drift``, or ``fouling`` when a cleaning undoes it; size is the change over the event.
        Confidence of an undecided drift is the probability that the probe did it.
    """
    settings = settings or DriftSettings()
    survey = survey_of(record)
    if survey is None or len(survey.blocks) < FEWEST_BLOCKS:
        return ()
    walks = _against_neighbours(survey, settings)
    for walk in _own(survey, settings):
        if not any(walk.lo < other.hi and other.lo < walk.hi for other in walks):
            walks.append(walk)
    if len(walks) > settings.most:
        return ()
    events = [_event(record, survey, walks, walk, settings) for walk in walks]
    return tuple(sorted((e for e in events if e is not None), key=lambda event: event.start))


def _own(survey: Survey, settings: DriftSettings) -> list[_Walk]:
    """Slow changes of the reading itself."""
    every = changes(survey.rest, survey.blocks.broken, floor=0.3 * survey.quantum)
    found = _joined(survey, every, settings)
    return found or _straight(survey, settings)


def _joined(survey: Survey, every: tuple[Change, ...], settings: DriftSettings) -> list[_Walk]:
    """Ramps of slow changes; those that overlap and go the same way are one."""
    shortest = max(settings.fastest_s, settings.fastest_blocks * survey.blocks.width_s)
    found: list[_Walk] = []
    for change in every:
        shape = transition_of(survey, change)
        if shape.length_s <= shortest or change.across:
            continue
        lo = survey.blocks.at(int(survey.live.time[shape.first]))
        hi = survey.blocks.at(int(survey.live.time[shape.last]))
        walk = _Walk(
            lo=lo,
            hi=max(hi, lo + 1),
            before=shape.before,
            size=shape.size,
            spread=change.spread,
            expected=change.expected,
        )
        last = found[-1] if found else None
        if last is not None and walk.lo <= last.hi and walk.size * last.size > 0:
            found[-1] = max(last, walk, key=lambda one: abs(one.size))
        else:
            found.append(walk)
    return found


def _straight(survey: Survey, settings: DriftSettings) -> list[_Walk]:
    """A straight walk over the whole record, by its slope against autocorrelated scatter."""
    n = min(BINS, len(survey.rest))
    edge = np.linspace(0, len(survey.rest), n + 1).astype(np.int64)
    level = np.add.reduceat(survey.rest, edge[:-1]) / np.diff(edge)
    time = survey.blocks.start[edge[:-1]] / NS_PER_DAY
    slope, error = slope_and_error(time, level)
    if not abs(slope) > settings.straight_t * error:
        return []
    span = float(time[-1] - time[0])
    chance = 2 * float(student.sf(abs(slope) / error / 2, 8))
    size = slope * span
    return [
        _Walk(
            lo=0,
            hi=len(survey.blocks) - 1,
            before=float(level.mean() - size / 2),
            size=size,
            spread=error * span,
            expected=chance,
            basis="a straight walk over the whole record",
        )
    ]


def slope_and_error(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope and its standard error under first-order autocorrelated residuals.

    Parameters
    ----------
    x, y : ndarray (n,), evenly spaced up to gaps

    Returns
    -------
    slope, error : unit of y per unit of x; error is infinite below eight points
    """
    n = x.size
    if n < 8:
        return 0.0, math.inf
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    rest = y - y.mean() - slope * dx
    variance = float(rest @ rest) / (n - 2)
    if variance <= 0:
        return slope, abs(slope) * 1e-9
    r = float(rest[1:] @ rest[:-1] / (rest @ rest))
    r = min(max(r + (1 + 4 * r) / n, 0.0), 0.98)
    return slope, math.sqrt(variance / float(dx @ dx) * (1 + r) / (1 - r))


def _against_neighbours(survey: Survey, settings: DriftSettings) -> list[_Walk]:
    """Slow changes of the difference to a neighbour that usually goes along."""
    found: list[_Walk] = []
    for name, other in survey.neighbours.items():
        if not related(survey.blocks.level, other) or not np.isfinite(other).all():
            continue
        gain = _gain(survey.blocks.level, other)
        apart = survey.blocks.level - gain * other
        for change in changes(apart, survey.blocks.broken, floor=0.3 * survey.quantum):
            half = 2 * change.width
            lo, hi = max(change.at - half, 0), min(change.at + half, len(apart))
            begin, end = ramp(apart[lo:hi], change.at - lo)
            if (
                end - begin
            ) * survey.blocks.width_s <= settings.fastest_s or end - begin < settings.fastest_blocks:
                continue
            before, after = (
                float(np.mean(apart[lo : lo + max(begin, 1)])),
                float(np.mean(apart[lo + end : hi])),
            )
            found.append(
                _Walk(
                    lo=lo + begin,
                    hi=lo + end,
                    before=float(survey.blocks.level[lo + begin]),
                    size=after - before,
                    spread=change.spread,
                    expected=change.expected,
                    basis=name,
                )
            )
    return found


def _gain(level: FloatArray, other: FloatArray) -> float:
    """Median ratio of the changes of two signals that go together (Theil-Sen over neighbouring blocks)."""
    step = max(1, level.size // 500)
    dy, dx = level[step:] - level[:-step], other[step:] - other[:-step]
    large = np.abs(dx) >= np.quantile(np.abs(dx), 0.5)
    usable = large & (dx != 0)
    return float(np.median(dy[usable] / dx[usable])) if usable.any() else 1.0


def _event(
    record: Record, survey: Survey, walks: list[_Walk], walk: _Walk, settings: DriftSettings
) -> Event | None:
    blocks = survey.blocks
    start = int(survey.live.time[blocks.first[walk.lo]])
    end = int(survey.live.time[min(int(blocks.first[walk.hi]), len(survey.live) - 1)])
    alike = sum(other is not walk and abs(other.size) > 0.5 * abs(walk.size) for other in walks)
    reset = _taken_out(record, survey, walk)
    clues = (
        heat_clue(record, start),
        *_reset_clue(reset),
        *_company(survey, walk),
        *_samples_clue(record, survey, start, end, walk),
        *(
            (Clue(odds=8.0, words=f"against {walk.basis}, which usually goes along"),)
            if _by_neighbour(walk, survey)
            else ()
        ),
    )
    prior = expected_faults(settings.drifts_per_year, survey.years)
    probe = weigh(prior=prior, chance=walk.expected + alike + settings.unexplained, clues=clues)
    origin = name_origin(probe)
    confidence = probe if origin != "process" else (1 - probe) * prior / (prior + walk.expected)
    if prior < walk.expected or confidence < settings.least_confidence or end <= start:
        return None
    days = (end - start) / NS_PER_DAY
    open_end = walk.hi >= len(blocks) - 2
    return Event(
        point=record.point.name,
        kind="fouling" if reset in (CLEANING, WASHING) else "drift",
        start=start,
        end=end,
        size=walk.size,
        size_low=walk.size - 1.645 * walk.spread,
        size_high=walk.size + 1.645 * walk.spread,
        size_unit=record.value.unit if record.value else "",
        confidence=confidence,
        origin=origin,
        severity=severity_of(record, walk.before, walk.size),
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=0.1 * (end - start) / NS_PER_S,
        open_start=walk.lo == 0,
        open_end=open_end,
        evidence=(
            f"walked by {walk.size:.3g} in {duration_text((end - start) / NS_PER_S)}",
            f"usual change over that time {walk.spread:.2g}; {alike} other slow changes of that size",
            *((walk.basis,) if walk.basis.startswith("a straight") else ()),
            *words_of(clues),
        ),
        details={"rate_per_day": walk.size / days},
    )


def _by_neighbour(walk: _Walk, survey: Survey) -> bool:
    return walk.basis in survey.neighbours


def _taken_out(record: Record, survey: Survey, walk: _Walk) -> int | None:
    """State (cleaning, washing, calibrating) that undid the walk: the level jumps back across it."""
    blocks = survey.blocks
    ended = int(blocks.start[min(walk.hi, len(blocks) - 1)])
    for code in (CALIBRATING, CLEANING, WASHING):
        for begin, end in record.states.spans(code):
            if end <= int(blocks.start[walk.lo]) or begin > ended + 4 * (ended - int(blocks.start[walk.lo])):
                continue
            at = int(np.searchsorted(blocks.start, end))
            before = blocks.level[
                max(int(np.searchsorted(blocks.start, begin)) - 6, 0) : int(
                    np.searchsorted(blocks.start, begin)
                )
            ]
            after = blocks.level[at : at + 6]
            if before.size and after.size:
                undone = (float(np.median(before)) - float(np.median(after))) / walk.size
                if TAKEN_OUT[0] <= undone <= TAKEN_OUT[1]:
                    return code
    return None


def _reset_clue(reset: int | None) -> tuple[Clue, ...]:
    if reset is None:
        return ()
    name = "calibration" if reset == CALIBRATING else "cleaning"
    return (Clue(odds=12.0, words=f"a {name} took it out again"),)


def _company(survey: Survey, walk: _Walk) -> tuple[Clue, ...]:
    """Whether temperature or neighbours walked over the same time."""
    if _by_neighbour(walk, survey):
        return ()
    clues = []
    for name, other in (("the temperature", survey.temperature), *survey.neighbours.items()):
        ratio = _walked(other, walk)
        if math.isfinite(ratio):
            moved = ratio > 2.5
            close = name != "the temperature"
            odds = (0.1 if close else 0.3) if moved else (2.0 if close else 1.2)
            clues.append(Clue(odds=odds, words=f"{name} {'walked too' if moved else 'did not walk with it'}"))
    return tuple(clues)


def _walked(other: FloatArray, walk: _Walk) -> float:
    """Change of another signal over the walk, in its usual changes over as long."""
    length = walk.hi - walk.lo
    if not np.isfinite(other).any() or length >= other.size // 2:
        return math.nan
    edge = max(length // 8, 1)
    before, after = other[max(walk.lo - edge, 0) : walk.lo + edge], other[walk.hi - edge : walk.hi + edge]
    usual = np.abs(other[length:] - other[:-length])
    usual = usual[np.isfinite(usual)]
    if not (np.isfinite(before).any() and np.isfinite(after).any() and usual.size):
        return math.nan
    moved = abs(float(np.nanmean(after)) - float(np.nanmean(before)))
    return moved / max(1.4826 * float(np.median(usual)), 1e-12)


def _samples_clue(record: Record, survey: Survey, start: int, end: int, walk: _Walk) -> tuple[Clue, ...]:
    """What laboratory samples before and after say of the error of the reading."""
    if record.sample_time.size < 2:
        return ()
    at = np.clip(
        np.searchsorted(survey.blocks.start, record.sample_time, side="right") - 1, 0, len(survey.blocks) - 1
    )
    error = survey.blocks.level[at] - record.sample_value
    before, after = error[record.sample_time <= start], error[record.sample_time >= (start + end) // 2]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if not before.size or not after.size:
        return ()
    share = (float(np.median(after)) - float(np.median(before))) / walk.size
    if share > 0.4:
        return (Clue(odds=10.0, words="laboratory samples did not go along"),)
    if share < 0.2:
        return (Clue(odds=0.1, words="laboratory samples went along"),)
    return ()
