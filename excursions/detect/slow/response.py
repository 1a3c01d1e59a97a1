"""Slower response: after each disturbance the reading takes longer to follow than it did.

Method: the logarithms of the time constants of all disturbances (:mod:`excursions.detect.slow.disturbances`), each less the usual
one of its sort, in order, are searched for the run of disturbances that stands furthest above the others, by a
t statistic with a robust scatter and every possible run counted.  What goes on to the end of the record is held against all
before it as well, for a growth over half of a record is its usual scatter.  A coating that thickens began sooner than
such a run shows, where the disturbances before it were last followed as at first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter
from scipy.special import stdtr

from excursions.clock import NS_PER_S, duration_text
from excursions.detect.evidence.origin import (
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    weigh,
    words_of,
)
from excursions.detect.noise.noise import NoiseSettings, noise_spells
from excursions.detect.noise.over_time import noise_series
from excursions.detect.series.several import pace_s
from excursions.detect.series.short import together
from excursions.detect.series.survey import Survey, survey_of
from excursions.detect.slow.disturbances import LEVELS, SUDDEN, Disturbances, disturbances, phases
from excursions.ranks import median, quantiles, scatter_of
from excursions.records import Event, FloatArray, IndexArray, Record

FEWEST = 12  # disturbances
FEWEST_SLOW = 3
FEWEST_BEFORE = 4  # disturbances that show how it was at first
FEWEST_CALM = 2  # disturbances inside a stretch that is calm for another reason to be suspected
FEWEST_OF_SORT = 4
ALIKE = 1.5  # ratios upward and downward so near are the same
BOTH_WAYS = 2.0  # odds of that: a dose that slows acts one way (cp)
FOLLOWS, ALIVE = 0.8, 4.0  # share of the noise left in a probe that follows less; odds of that
MIDDLE = (0.16, 0.84)  # a standard deviation to either side
SMOOTH = 5  # disturbances whose median shows whether it still takes the usual time
MOST_ALIKE = 0.9  # correlation of neighbours: one in 19 counts; some dozens of disturbances do not show a higher one (cp)
LEAST_SCATTER = 0.1  # of the logarithms: no process follows more evenly (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseSettings:
    """When a response is called slower."""

    ratio: float = 1.25  # the process is part of every response, so the probe's own growth is larger (cp)
    suspicion: float = 0.02  # expected number of such runs by chance
    faults_per_year: float = 0.5  # (cp)
    unexplained: float = 0.5  # as often the process itself responds slower: volume, mixing, throughput (cp)


def detect_slow_response(record: Record, settings: ResponseSettings | None = None) -> tuple[Event, ...]:
    """Find a stretch in which disturbances take longer to settle.

    Returns
    -------
    tuple of Event
        At most one, kind ``slow_response``; size is the time constant then over before.
    """
    settings = settings or ResponseSettings()
    survey = survey_of(record)
    if survey is None or record.value is None:
        return ()
    for every in (disturbances(record, survey), phases(record, survey)):
        event = _slowest(record, survey, every, settings)
        if event is not None:
            return (event,)
    return ()


def _slowest(record: Record, survey: Survey, every: Disturbances, settings: ResponseSettings) -> Event | None:
    """The stretch in which disturbances, all known about as well, take clearly longer."""
    when, tau, sort = every
    log, usable = by_sort(np.log(tau), sort)
    when, tau, log = when[usable], tau[usable], log[usable]
    if tau.size < FEWEST:
        return None
    least = least_scatter(pace_s(record, survey), tau)
    runs = [(*run, None) for run in (slowest_run(log, least), slower_since(log, least))]
    i, j, chance, span = min((*runs, *_where_calm(survey, when, log, least)), key=lambda one: one[2])
    if j <= i or chance > settings.suspicion:
        return None
    i = _begin(log, i) if span is None else i
    log = against_others(np.log(tau), sort[usable], (i, j))
    rise = float(np.nanmedian(log[i:j]))
    if not rise >= math.log(settings.ratio):
        return None
    if not longer_s(tau, sort[usable], (i, j)) > pace_s(record, survey):
        return None
    while span is None and j < when.size and log[j] > rise / 2:
        j += 1  # chance alone leaves off the last few
    calm = span or (int(when[i]), int(when[j]) if j < when.size else int(survey.live.time[-1]))
    clue = _both_ways(log[i:j], sort[usable][i:j])
    return _event(record, survey, when, tau, (i, j), calm, math.exp(rise), chance, clue, settings)


def _begin(log: FloatArray, i: int) -> int:
    """Where a growth that was found from disturbance i on began: after the last one before it that was followed as at first.

    What thickens slowly stands out late; half of what lies before is taken to be as it was.
    """
    first = log[: i // 2]
    if first.size < FEWEST_BEFORE:
        return i
    scatter = max(scatter_of(first), LEAST_SCATTER)
    usual = np.flatnonzero(median_filter(log, SMOOTH, mode="nearest")[:i] <= median(first) + scatter)
    return int(usual[-1]) + 1 if usual.size else i


def against_others(figure: FloatArray, sort: IndexArray, run: tuple[int, int]) -> FloatArray:
    """Figures (n,) less the usual one of their sort outside a run; NaN where a sort is seen in the run alone."""
    outside = np.ones(figure.size, dtype=np.bool_)
    outside[slice(*run)] = False
    out = np.full(figure.size, np.nan)
    for each in np.unique(sort[outside]):
        out[sort == each] = figure[sort == each] - median(figure[outside & (sort == each)])
    return out


def longer_s(tau: FloatArray, sort: IndexArray, run: tuple[int, int]) -> float:
    """By how much the disturbances of a run took longer than others of their sort [s].

    A sample or less is no slower response: it is when, between two samples, the changes happened to come.
    """
    return float(np.nanmedian(against_others(tau, sort, run)[slice(*run)]))


def _both_ways(rise: FloatArray, sort: IndexArray) -> Clue:
    """Whether the reading follows up and down more slowly alike; a dose or a flow that slows acts one way."""
    begin, end = np.divmod(SUDDEN - 1 - sort, LEVELS)
    known = np.isfinite(rise) & (sort < SUDDEN)
    up, down = rise[known & (end > begin)], rise[known & (end < begin)]
    if min(up.size, down.size) < FEWEST_SLOW or abs(np.median(up) - np.median(down)) > math.log(ALIKE):
        return Clue(odds=1.0)
    return Clue(odds=BOTH_WAYS, words="upward and downward alike", inside=True)


def by_sort(log: FloatArray, sort: IndexArray) -> tuple[FloatArray, IndexArray]:
    """Logarithms less the usual one of their sort; sorts with fewer than four are left out."""
    out = log.copy()
    for each in np.unique(sort):
        out[sort == each] -= median(log[sort == each])
    count = np.array([np.count_nonzero(sort == each) for each in sort])
    return out, np.flatnonzero(count >= FEWEST_OF_SORT) if count.size else np.empty(0, dtype=np.int64)


def least_scatter(look_s: float, tau: FloatArray) -> float:
    """Scatter of the logarithms that the time between two looks of the recorder [s] makes alone: both ends are known to one."""
    return max(LEAST_SCATTER, look_s / math.sqrt(6) / float(np.median(tau)))


def slowest_run(log: FloatArray, least: float) -> tuple[int, int, float]:
    """Run [i, j) furthest above the rest, and how many such runs chance would show where one resembles the next as among the rest."""
    n = log.size
    best = (0, 0, float(n))
    total = np.concatenate([[0.0], np.cumsum(log)])
    middle = float(np.median(log))
    scatter = max(scatter_of(log), least)
    for size in range(FEWEST_SLOW, n // 2 + 1):
        rise = (total[size:] - total[:-size]) / size - middle
        i = int(np.argmax(rise))
        others = np.delete(log, np.s_[i : i + size])
        wide = max(scatter, _half_width(others)) * math.sqrt(
            together(others - others.mean(), most=MOST_ALIKE)
        )
        chance = n * n / 2 / size * float(stdtr(max(n // 3, 4), -rise[i] / wide * math.sqrt(size)))
        if chance < best[2]:
            best = (i, i + size, chance)
    return best


def slower_since(log: FloatArray, least: float) -> tuple[int, int, float]:
    """Run [i, n) to the end furthest above all before it, and how many such runs chance would show.

    What is usual is told by the disturbances before alone, which a growth since does not widen: their scatter, and how much one
    resembles the next, by which so many count for fewer.
    """
    n = log.size
    best = (0, 0, float(n))
    for i in range(FEWEST, n - FEWEST_SLOW + 1):
        before, after = log[:i], log[i:]
        wide = max(scatter_of(before), _half_width(before), least)
        error = wide * math.sqrt(together(before - before.mean(), most=MOST_ALIKE) * (1 / i + 1 / (n - i)))
        t = (median(after) - median(before)) / error
        chance = n * float(stdtr(max(i // 3, 4), -t))
        if chance < best[2]:
            best = (i, n, chance)
    return best


def _half_width(others: FloatArray) -> float:
    """Half of what the middle two thirds of the logarithms (n,) take up: their standard deviation, if they are normal.

    Where a process is followed in two ways, quick when it shuts down and slow when it starts, the median absolute deviation
    sees the commoner alone, and the other would be no chance at all.
    """
    low, high = quantiles(others, MIDDLE)
    return (high - low) / 2


def _where_calm(
    survey: Survey, when: IndexArray, log: FloatArray, least: float
) -> list[tuple[int, int, float, tuple[int, int]]]:
    """Runs of disturbances inside stretches of collapsed noise: a slow probe also follows the noise less."""
    noise = noise_series(survey)
    if noise is None:
        return []
    calm = [spell for spell in noise_spells(noise, NoiseSettings()) if spell.rise < 0]
    found = []
    for spell in calm:
        end = int(noise.start[spell.hi - 1]) + noise.width
        i, j = (int(k) for k in np.searchsorted(when, [int(noise.start[spell.lo]), end]))
        others = np.delete(log, np.s_[i:j])
        if j - i < FEWEST_CALM or others.size < FEWEST // 2:
            continue
        scatter = max(scatter_of(others), least)
        t = (float(np.mean(log[i:j])) - float(np.median(others))) / scatter * math.sqrt(j - i)
        chance = len(calm) * float(stdtr(max(others.size // 2, 4), -t))
        found.append((i, j, chance, (int(noise.start[spell.lo]), end)))
    return found


def _follows_less(survey: Survey, start: int, end: int) -> Clue:
    """A slower probe also follows the fast fluctuations less; a slower process leaves them as they are."""
    noises = survey.noises
    inside = (noises.start >= start) & (noises.start < end) & np.isfinite(noises.sigma)
    others = ~inside & np.isfinite(noises.sigma)
    if inside.sum() < 4 or others.sum() < 4:
        return Clue(odds=1.0)
    left = float(np.median(noises.sigma[inside])) / max(float(np.median(noises.sigma[others])), 1e-300)
    if left < FOLLOWS:
        return Clue(odds=ALIVE, words=f"fast fluctuations are down to {100 * left:.0f} % meanwhile")
    return Clue(odds=0.7, words="fast fluctuations are as large as ever")


def _event(
    record: Record,
    survey: Survey,
    when: IndexArray,
    tau: FloatArray,
    run: tuple[int, int],
    span: tuple[int, int],
    ratio: float,
    chance: float,
    both_ways: Clue,
    settings: ResponseSettings,
) -> Event:
    i, j = run
    start, end = span
    clues = (heat_clue(record, start), _follows_less(survey, start, end), both_ways)
    prior = expected_faults(settings.faults_per_year, survey.years)
    probe = weigh(
        prior=prior, chance=chance + expected_faults(settings.unexplained, survey.years), clues=clues
    )
    before, now = float(np.median(np.delete(tau, np.s_[i:j]))), float(np.median(tau[i:j]))
    return Event(
        point=record.point.name,
        kind="slow_response",
        start=start,
        end=end,
        size=ratio,
        size_low=ratio / 1.5,
        size_high=float(tau[i:j].max()) / before,
        size_unit="",
        confidence=probe,
        origin=name_origin(probe),
        severity="check",
        probe=record.probe_at(start),
        onset_uncertainty_s=float(when[i] - when[max(i - 1, 0)]) / NS_PER_S,
        open_end=j == when.size,
        evidence=(
            f"{j - i} disturbances took {duration_text(now)} for 63 % of the way, {when.size - (j - i)} others {duration_text(before)}",
            *words_of(clues),
        ),
        details={"time_constant_before_s": before, "time_constant_s": now},
    )
