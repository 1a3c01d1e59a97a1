"""A temperature element that grows slow: a thermowell that fills with scale, an element that lost its paste.

The temperature then comes late to every change, and all that is compensated by it is wrong for as long.  Method: the
changes of temperature that this process makes all the time, from one still level to another, give a time constant each,
sorted by their two levels, and are searched for the run that stands furthest above the others, as responses of the
reading are (:mod:`excursions.detect.slow.response`).  What heats and cools more slowly does the same; then the reading, which
follows the same batches, mostly comes later as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import Clue, expected_faults, name_origin, weigh, words_of
from excursions.detect.series.scan import windows
from excursions.detect.series.shape import ramp
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.slow.disturbances import (
    LEVELS,
    MOST_USUAL,
    between_stays,
    disturbances,
    evenly_thinned,
    lag_between,
)
from excursions.detect.slow.plateaus import NARROW, sudden
from excursions.detect.slow.response import (
    FEWEST,
    FEWEST_SLOW,
    LEAST_SCATTER,
    against_others,
    by_sort,
    longer_s,
    slowest_run,
)
from excursions.digits import written
from excursions.ranks import median
from excursions.records import BAD, Event, FloatArray, IndexArray, Record, Signal

LEAST_CHANGE_K = 5.0  # a smaller change of temperature says little (cp)
FOLLOWS = 0.5  # share of the rise in the logarithm that the reading shows as well


@dataclass(frozen=True, slots=True, kw_only=True)
class LagSettings:
    """When an element is said to grow slow."""

    ratio: float = 1.25  # the process is part of every change, so the element's own growth is larger (cp)
    suspicion: float = 0.02  # expected number of such runs by chance
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.5  # steam, cooling water and volume do it as often (cp)
    least_confidence: float = 0.3  # below, it is the process as far as the record can tell


def lagging(record: Record) -> tuple[Event, ...]:
    """The stretch in which the temperature comes later to its changes than it did.

    Returns
    -------
    tuple of Event
        At most one, kind ``temperature_fault``; size [K] is how far a usual change is behind when it would have been
        done to 63 % before.
    """
    settings = LagSettings()
    survey = survey_of(record)
    signal = record.temperature
    if survey is None or signal is None or len(signal) < 100:
        return ()
    when, tau, sort, size = changes_of(survey, signal)
    log, usable = by_sort(np.log(tau), sort)
    when, tau, log, sort, size = when[usable], tau[usable], log[usable], sort[usable], size[usable]
    if tau.size < FEWEST:
        return ()
    interval = float(np.median(np.diff(signal.time[:: max(1, len(signal) // 50_000)]))) / NS_PER_S
    i, j, chance = slowest_run(log, max(LEAST_SCATTER, interval / math.sqrt(6) / median(tau)))
    if j <= i or chance > settings.suspicion:
        return ()
    log = against_others(np.log(tau), sort, (i, j))
    rise = float(np.nanmedian(log[i:j]))
    if not rise >= math.log(settings.ratio) or not longer_s(tau, sort, (i, j)) > interval:
        return ()
    while j < when.size and log[j] > rise / 2:
        j += 1
    i = min(i, ramp(np.nan_to_num(log[:j], nan=rise), i)[0]) if i else i  # it may have grown by and by
    return _event(record, survey, (when, tau, size), (i, j), rise, chance, settings)


def changes_of(survey: Survey, signal: Signal) -> tuple[IndexArray, FloatArray, IndexArray, FloatArray]:
    """Times (k,) ns, time constants (k,) s, sorts (k,) and sizes (k,) K of changes from one still temperature to another."""
    blocks, level = survey.blocks, survey.temperature
    nothing = np.empty(0, dtype=np.int64)
    if not np.isfinite(level).all() or float(np.ptp(level)) < LEAST_CHANGE_K:
        return nothing, np.empty(0), nothing, np.empty(0)
    quantum = max(signal.sampling.resolution, signal.sampling.deadband)
    every = sudden(windows(level, blocks.broken, NARROW), len(blocks), quantum=quantum)
    _, lo, hi = between_stays(every, blocks.broken)
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    time, value = signal.time[good], signal.value[good]
    step = max(float(np.ptp(level)) / LEVELS, 1e-12)
    found: list[tuple[int, float, int, float]] = []
    for k in evenly_thinned(lo.size, MOST_USUAL):
        a, first, b = np.searchsorted(time, blocks.start[[lo[k], lo[k] + 1, hi[k]]])
        response = lag_between(time[a:b], value[a:b], int(first - a), max(quantum / 2, 1e-12))
        if response is None:
            continue
        begin, tau, (before, after) = response
        if tau > 0 and abs(after - before) >= LEAST_CHANGE_K:
            ends = [min(int((edge - float(level.min())) / step), LEVELS - 1) for edge in (before, after)]
            found.append((begin, tau, ends[0] * LEVELS + ends[1], after - before))
    return (
        np.array([one[0] for one in found], dtype=np.int64),
        np.array([one[1] for one in found], dtype=np.float64),
        np.array([one[2] for one in found], dtype=np.int64),
        np.array([one[3] for one in found], dtype=np.float64),
    )


def _event(
    record: Record,
    survey: Survey,
    changes: tuple[IndexArray, FloatArray, FloatArray],
    run: tuple[int, int],
    rise: float,
    chance: float,
    settings: LagSettings,
) -> tuple[Event, ...]:
    when, tau, size = changes
    i, j = run
    start = int(when[i])
    end = int(when[j]) if j < when.size else int(survey.live.time[-1])
    clue = _reading_clue(record, survey, start, end, rise)
    probe = weigh(
        prior=expected_faults(settings.faults_per_year, survey.years),
        chance=chance + expected_faults(settings.unexplained, survey.years),
        clues=(clue,),
    )
    if probe < settings.least_confidence:
        return ()
    before, now = median(np.delete(tau, np.s_[i:j])), median(tau[i:j])
    behind = median(np.abs(size[i:j])) * (math.exp(-1 / math.exp(rise)) - math.exp(-1))
    return (
        Event(
            point=record.point.name,
            kind="temperature_fault",
            start=start,
            end=max(end, start + 1),
            size=behind,
            size_unit="K",
            confidence=probe,
            origin=name_origin(probe),
            severity="check",
            probe=record.probe_at(start),
            onset_uncertainty_s=float(when[i] - when[max(i - 1, 0)]) / NS_PER_S,
            open_end=j == when.size,
            evidence=(
                f"the temperature took {duration_text(now)} for 63 % of its changes, {duration_text(before)} at other times",
                f"{j - i} changes against {when.size - (j - i)} others; {written(math.exp(rise), 2)} times as slow at like changes",
                *words_of((clue,)),
            ),
            details={"time_constant_before_s": before, "time_constant_s": now},
        ),
    )


def _reading_clue(record: Record, survey: Survey, start: int, end: int, rise: float) -> Clue:
    """Whether the reading came later to its own changes meanwhile."""
    when, tau, sort = disturbances(record, survey)
    log, usable = by_sort(np.log(tau), sort)
    when, log = when[usable], log[usable]
    inside = (when >= start) & (when < end)
    if min(np.count_nonzero(inside), np.count_nonzero(~inside)) < FEWEST_SLOW:
        return Clue(odds=1.0)
    grown = median(log[inside]) - median(log[~inside])
    if grown > FOLLOWS * rise:
        return Clue(odds=0.15, words="the reading comes later to its changes as well")
    return Clue(odds=6.0, words="the reading comes to its changes as soon as ever")
