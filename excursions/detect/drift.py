"""Drift: the reading walks away slowly.  Fouling: it does, and a cleaning brings it back.

Method: slow changes are what the search over all widths (:mod:`excursions.detect.scan`) finds in a record
whose sudden changes are taken out (:mod:`excursions.detect.plateaus`), and a ramp of hours or more explains
better than a step, and the stretches that walk more steadily than any other (:mod:`excursions.detect.slopes`).  A straight walk over
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
from excursions.detect.apart import apart_from_neighbours
from excursions.detect.laboratory import disagreements, samples_clue
from excursions.detect.origin import (
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    weigh,
    words_of,
)
from excursions.detect.plateaus import Joined, joined
from excursions.detect.scan import SUSPICION, changes
from excursions.detect.severity import severity_of
from excursions.detect.shape import ramp, ramp_around
from excursions.detect.slopes import steady_runs
from excursions.detect.survey import Survey, survey_of
from excursions.records import CALIBRATING, CLEANING, WASHING, Event, FloatArray, Record

FEWEST_BLOCKS = 32
SAW = 2  # returns that make a walk a saw-tooth
TRIFLE = 0.5  # of the tolerance: smaller changes are not reported
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
    """A slow change [lo, hi) in blocks: from `before` by `size`, its chance number.

    basis: neighbour it was found against, or empty; joints, returns: sudden changes it goes on through, and
    those that undo it; straight: over the whole record."""

    lo: int
    hi: int
    before: float
    size: float
    spread: float
    expected: float
    basis: str = ""
    joints: int = 0
    returns: int = 0
    straight: bool = False


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
    walks: list[_Walk] = []
    for name, series in (*apart_from_neighbours(survey), ("", survey.rest)):
        for walk in _walks(survey, series, name, settings) or _straight(survey, series, name, settings):
            if not any(walk.lo < other.hi and other.lo < walk.hi for other in walks):
                walks.append(walk)
    for walk in _by_samples(record, survey):
        if not any(walk.lo < other.hi and other.lo < walk.hi for other in walks):
            walks.append(walk)
    if len(walks) > settings.most:
        return ()
    events = [_event(record, survey, walks, walk, settings) for walk in walks]
    return tuple(sorted((e for e in events if e is not None), key=lambda event: event.start))


def _walks(survey: Survey, series: FloatArray, name: str, settings: DriftSettings) -> list[_Walk]:
    """Slow ramps of a series whose sudden changes are taken out; those that go on as one are one."""
    pieces = joined(series, survey.blocks.broken, quantum=survey.quantum)
    if pieces.block.size < FEWEST_BLOCKS:
        return []
    shortest = max(settings.fastest_s / survey.blocks.width_s, settings.fastest_blocks)
    level = pieces.level
    places = [
        (c.at, c.width, c.spread, c.expected)
        for c in changes(level, pieces.block < 0, floor=0.3 * survey.quantum)
    ]
    places += [
        ((run.lo + run.hi) // 2, run.hi - run.lo, math.nan, run.expected)
        for run in steady_runs(level, at_most=SUSPICION)
    ]
    found: list[_Walk] = []
    for at, width, spread, expected in sorted(places):
        lo, hi, begin, end = ramp_around(level, at, width)
        if end - begin < shortest:
            continue
        size = _mean(level, end, hi) - _mean(level, lo, begin)
        lo_block, hi_block = int(pieces.block[begin]), int(pieces.block[min(end, level.size - 1)])
        usual = 1.4826 * float(np.median(np.abs(level[end - begin :] - level[: begin - end])))
        walk = _Walk(
            lo=lo_block,
            hi=hi_block,
            before=float(survey.blocks.level[lo_block]),
            size=size,
            spread=spread if math.isfinite(spread) else usual,
            expected=expected,
            basis=name,
            joints=int(np.count_nonzero((pieces.joint > begin) & (pieces.joint < end))),
            returns=_returns(pieces, begin, end, size),
        )
        if found and walk.lo <= found[-1].hi and walk.size * found[-1].size > 0:
            found[-1] = max(found[-1], walk, key=lambda one: abs(one.size))
        else:
            found.append(walk)
    return found


def _by_samples(record: Record, survey: Survey) -> list[_Walk]:
    """A stretch in which laboratory samples disagree, with its onset from the reading where it shows one."""
    found = []
    pieces = joined(survey.rest, survey.blocks.broken, quantum=survey.quantum)
    for one in disagreements(record, survey):
        lo, hi = survey.blocks.at(one.before), survey.blocks.at(one.end)
        window = np.flatnonzero((pieces.block >= 2 * lo - hi) & (pieces.block <= hi))
        if hi - lo < 2 or window.size < 8:
            continue
        begin, end = ramp(pieces.level[window], window.size // 2)
        inner = (pieces.level[window[end:]].mean() - pieces.level[window[: begin + 1]].mean()) * one.shift > 0
        found.append(
            _Walk(
                lo=int(pieces.block[window[begin]]) if inner and end > begin else lo,
                hi=hi,
                before=float(survey.blocks.level[lo]),
                size=one.shift,
                spread=one.scatter,
                expected=one.expected,
            )
        )
    return found


def _mean(level: FloatArray, lo: int, hi: int) -> float:
    """Mean over a stretch, or the nearest value where it is empty."""
    return float(np.mean(level[lo:hi])) if hi > lo else float(level[min(lo, level.size - 1)])


def _returns(pieces: Joined, begin: int, end: int, size: float) -> int:
    """Sudden changes inside a walk that undo what was walked since the one before, as a cleaning does."""
    count, since = 0, begin
    for at, jump in zip(pieces.joint, pieces.jump, strict=True):
        if not begin < at < end:
            continue
        walked = float(pieces.level[at] - pieces.level[since])
        if (
            walked * size > 0
            and TAKEN_OUT[0] <= -jump / walked <= TAKEN_OUT[1]
            and abs(walked) > 0.1 * abs(size)
        ):
            count, since = count + 1, int(at)
    return count


def _straight(survey: Survey, series: FloatArray, name: str, settings: DriftSettings) -> list[_Walk]:
    """A straight walk over the whole record, by its slope against autocorrelated scatter."""
    n = min(BINS, series.size)
    edge = np.linspace(0, series.size, n + 1).astype(np.int64)
    level = np.add.reduceat(series, edge[:-1]) / np.diff(edge)
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
            basis=name,
            straight=True,
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
        *samples_clue(record, survey, *_error_span(start, end, walk), _error_shift(walk)),
        *_walk_clues(walk),
    )
    prior = expected_faults(settings.drifts_per_year, survey.years)
    probe = weigh(prior=prior, chance=walk.expected + alike + settings.unexplained, clues=clues)
    origin = name_origin(probe)
    confidence = probe if origin != "process" else (1 - probe) * prior / (prior + walk.expected)
    if prior < walk.expected or confidence < settings.least_confidence or end <= start:
        return None
    days, size = (end - start) / NS_PER_DAY, _tooth(walk)
    if abs(size) < TRIFLE * record.point.tolerance_at(walk.before):
        return None
    open_end = walk.hi >= len(blocks) - 2
    return Event(
        point=record.point.name,
        kind="fouling" if reset in (CLEANING, WASHING) or walk.returns >= SAW else "drift",
        start=start,
        end=end,
        size=size,
        size_low=size - 1.645 * walk.spread,
        size_high=size + 1.645 * walk.spread,
        size_unit=record.value.unit if record.value else "",
        confidence=confidence,
        origin=origin,
        severity=severity_of(record, walk.before, size),
        probe=record.plant.probe_at(record.point.name, start) or "",
        onset_uncertainty_s=0.1 * (end - start) / NS_PER_S,
        open_start=walk.lo == 0,
        open_end=open_end,
        evidence=(
            f"walked by {walk.size:.3g} in {duration_text((end - start) / NS_PER_S)}",
            f"usual change over that time {walk.spread:.2g}; {alike} other slow changes of that size",
            *(("a straight walk over the whole record",) if walk.straight else ()),
            *words_of(clues),
        ),
        details={
            "rate_per_day": walk.size / days,
            **({"stretches": walk.returns + 1.0} if walk.returns >= SAW else {}),
        },
    )


def _error_span(start: int, end: int, walk: _Walk) -> tuple[int, int]:
    """Span in which samples show the error: the later half of a walk and a while after; all of a saw-tooth."""
    return (start, end) if walk.returns >= SAW else ((start + end) // 2, end + (end - start) // 4)


def _error_shift(walk: _Walk) -> float:
    return 0.5 * _tooth(walk) if walk.returns >= SAW else 0.8 * walk.size


def _tooth(walk: _Walk) -> float:
    """Change from clean to dirty: the whole walk shared among its teeth."""
    return walk.size / (walk.returns + 1) if walk.returns >= SAW else walk.size


def _walk_clues(walk: _Walk) -> tuple[Clue, ...]:
    """What the walk itself shows of its cause."""
    clues = []
    if walk.basis:
        clues.append(Clue(odds=8.0, words=f"against {walk.basis}, which usually goes along"))
    if walk.returns >= SAW:
        clues.append(Clue(odds=6.0, words=f"sudden returns undid it {walk.returns} times, as cleaning does"))
    elif walk.joints >= 2:
        clues.append(Clue(odds=2.5, words=f"it went on through {walk.joints} sudden changes of the process"))
    return tuple(clues)


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
    if walk.basis:
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
