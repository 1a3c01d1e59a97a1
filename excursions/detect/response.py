"""Slower response: after each disturbance the reading takes longer to follow than it did.

Method: every end of a cleaning, steaming, hold or calibration, every change of medium inside a cleaning
(:mod:`excursions.detect.phases`), and every sudden change of level, is a disturbance; its time constant is the time after which 63 % of the way is done.  Where changes of level are the habit
of a process, as in batches, those from one still level to another that look like a lag are taken, sorted by the two
levels.  The logarithms of the time constants, each less the usual one of its sort, in order, are searched for the run of disturbances that stands furthest above the others, by a
t statistic with a robust scatter and every possible run counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_HOUR, NS_PER_S, duration_text
from excursions.detect.noise import NoiseSettings, noise_spells
from excursions.detect.noise_series import noise_series
from excursions.detect.origin import (
    Clue,
    expected_faults,
    heat_clue,
    name_origin,
    weigh,
    words_of,
)
from excursions.detect.phases import phase_changes
from excursions.detect.plateaus import NARROW, sudden
from excursions.detect.scan import Change
from excursions.detect.survey import THINNED, Survey, differences_of, survey_of
from excursions.ranks import median
from excursions.records import BAD, MEASURING, NO_DATA, RECOVERING, Event, FloatArray, IndexArray, Record

FEWEST = 12  # disturbances
FEWEST_SLOW = 3
FEWEST_CALM = 2  # disturbances inside a stretch that is calm for another reason to be suspected
FEWEST_OF_SORT = 4
SUDDEN = -1  # sort of a disturbance that is a change of level unlike the others of the record
LEVELS = 5  # into which the range of a reading is cut to sort its usual changes
BEFORE, AFTER = 2, 16  # blocks on either side that are looked at, at most up to the next change
STILL = 0.1  # of the change: most that the levels on either side may walk
ALIKE = 1.5  # ratios upward and downward so near are the same
BOTH_WAYS = 2.0  # odds of that: a dose that slows acts one way (cp)
WAY = 1 - math.exp(-1)
LAG = (1.4, 3.5)  # 86 % of the way over 63 %: 2 for one lag, 1.7 for two alike, 1.37 for a straight ramp
FEWEST_ON_WAY = 4  # samples to 63 % from which on that can be told
FOLLOWS, ALIVE = 0.8, 4.0  # share of the noise left in a probe that follows less; odds of that
LONGEST = 12 * NS_PER_HOUR  # a response that takes longer is not followed
SETTLED_SHARE = 4  # the last quarter of the way is where it settles
CLEAR = 12.0  # noises that a disturbance must measure
LEAST_SCATTER = 0.1  # of the logarithms: no process follows more evenly (cp)
MOST, MOST_USUAL = 300, 1_000  # disturbances, and usual changes looked at; more are thinned evenly


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


Disturbances = tuple[IndexArray, FloatArray, IndexArray]


def _slowest(record: Record, survey: Survey, every: Disturbances, settings: ResponseSettings) -> Event | None:
    """The stretch in which disturbances, all known about as well, take clearly longer."""
    when, tau, sort = every
    log, usable = by_sort(np.log(tau), sort)
    when, tau, log = when[usable], tau[usable], log[usable]
    if tau.size < FEWEST:
        return None
    least = least_scatter(survey, tau)
    best = (*slowest_run(log, least), None)
    i, j, chance, span = min((best, *_where_calm(survey, when, log, least)), key=lambda one: one[2])
    if j <= i or chance > settings.suspicion:
        return None
    log = against_others(np.log(tau), sort[usable], (i, j))
    rise = float(np.nanmedian(log[i:j]))
    if not rise >= math.log(settings.ratio):
        return None
    while span is None and j < when.size and log[j] > rise / 2:
        j += 1  # chance alone leaves off the last few
    calm = span or (int(when[i]), int(when[j]) if j < when.size else int(survey.live.time[-1]))
    clue = _both_ways(log[i:j], sort[usable][i:j])
    return _event(record, survey, when, tau, (i, j), calm, math.exp(rise), chance, clue, settings)


def against_others(log: FloatArray, sort: IndexArray, run: tuple[int, int]) -> FloatArray:
    """Logarithms less the usual one of their sort outside a run; NaN where a sort is seen in the run alone."""
    outside = np.ones(log.size, dtype=np.bool_)
    outside[slice(*run)] = False
    out = np.full(log.size, np.nan)
    for each in np.unique(sort[outside]):
        out[sort == each] = log[sort == each] - np.median(log[outside & (sort == each)])
    return out


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


def disturbances(record: Record, survey: Survey) -> Disturbances:
    """Everything the reading had to follow, as :func:`_disturbances` gives it, worked out once for all who ask."""
    return survey.once("disturbances", lambda: _disturbances(record, survey))


def _disturbances(record: Record, survey: Survey) -> Disturbances:
    """Times (k,) ns, time constants (k,) s and sorts (k,) of everything the reading had to follow, in order.

    The sort is the state it came back from, :data:`SUDDEN` for a change of level unlike the others, below that
    for the changes that are usual.
    """
    found = [
        *_after_states(record, survey),
        *_after_changes(survey, survey.changes),
        *_after_usual_changes(record, survey),
    ]
    return _in_order(found)


def phases(record: Record, survey: Survey) -> Disturbances:
    """Changes of medium inside cleanings, as :func:`_disturbances` gives the others: known to a sample, where that takes long."""
    return survey.once("phases", lambda: _in_order(phase_changes(record, survey.noise)))


def _in_order(found: list[tuple[int, float, int]]) -> Disturbances:
    found = sorted(one for one in found if one[1] > 0)
    if len(found) > MOST:
        found = [found[k] for k in np.linspace(0, len(found) - 1, MOST).astype(np.int64)]
    return (
        np.array([one[0] for one in found], dtype=np.int64),
        np.array([one[1] for one in found]),
        np.array([one[2] for one in found], dtype=np.int64),
    )


def _after_states(record: Record, survey: Survey) -> list[tuple[int, float, int]]:
    """Returns from states other than measuring, recovery included."""
    signal = record.value
    if signal is None:
        return []
    states = record.states
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    time, value = signal.time[good], signal.value[good]
    returning = np.isin(states.code, (MEASURING, RECOVERING))
    found = []
    for k in np.flatnonzero(returning):
        if k == 0 or returning[k - 1] or states.code[k - 1] == NO_DATA:
            continue
        stop = k
        while stop + 1 < returning.size and returning[stop + 1]:
            stop += 1
        begin, end = int(states.start[k]), min(int(states.end[stop]), int(states.start[k]) + LONGEST)
        lo, hi = np.searchsorted(time, [begin, end])
        tau = time_constant(time[lo:hi], value[lo:hi], noise=survey.noise)
        found.append((begin, tau, int(states.code[k - 1])))
    return found


def _after_changes(survey: Survey, every: tuple[Change, ...]) -> list[tuple[int, float, int]]:
    """Responses to sudden changes of level while measuring."""
    blocks, live = survey.blocks, survey.live
    found = []
    for change in every:
        if change.across:
            continue
        lo = max(change.at - 2, 0)
        hi = min(change.at + max(change.width, 4), len(blocks))
        a, b = int(blocks.first[lo]), int(blocks.first[hi])
        time, value = live.time[a:b], live.value[a:b]
        if value.size < 16:
            continue
        before, after = (
            median(value[: value.size // 8 + 1]),
            median(value[-(value.size // 4) :]),
        )
        if abs(after - before) <= CLEAR * survey.noise:
            continue
        way = (value - before) / (after - before)
        done = int(np.argmax(way > WAY))
        idle = np.flatnonzero(way[:done] <= STILL)  # what wanders before it is not under way yet
        start = int(idle[-1]) + 1 if idle.size else 0
        if done > start:
            found.append((int(time[start]), float(time[done] - time[start]) / NS_PER_S, SUDDEN))
    return found


def _after_usual_changes(record: Record, survey: Survey) -> list[tuple[int, float, int]]:
    """Responses to changes of level that this process makes all the time, from one still level to another.

    Samples kept on exception or by a swinging door show a change only as far as it was worth a sample; there a
    change within one interval has no length.
    """
    blocks, live = survey.blocks, survey.live
    every = sudden(differences_of(survey)[: len(NARROW)], len(blocks), quantum=survey.quantum)
    named = np.array([change.at for change in survey.changes], dtype=np.int64)
    edges = np.concatenate([[0], every, [len(blocks)]])
    lo = np.maximum(every - BEFORE, edges[:-2] + 1)
    hi = np.minimum(every + AFTER, edges[2:] - 1)
    new = np.array([not np.any(np.abs(named - at) <= BEFORE) for at in every], dtype=np.bool_)
    usable = np.flatnonzero(new & (lo < every) & (hi > every + 1))
    if usable.size > MOST_USUAL:
        usable = usable[np.linspace(0, usable.size - 1, MOST_USUAL).astype(np.int64)]
    kind = record.value.sampling.kind if record.value is not None else ""
    least = 0.0 if kind in THINNED else survey.interval_s
    low = float(np.min(blocks.level))
    step = max((float(np.max(blocks.level)) - low) / LEVELS, 1e-12)
    found = []
    for k in usable:
        if blocks.broken[lo[k] + 1 : hi[k]].any():
            continue
        a, b = int(blocks.first[lo[k]]), int(blocks.first[hi[k]])
        response = lag_between(
            live.time[a:b], live.value[a:b], int(blocks.first[lo[k] + 1]) - a, survey.noise
        )
        if response is not None:
            begin, tau, levels = response
            ends = [min(int((level - low) / step), LEVELS - 1) for level in levels]
            found.append((begin, max(tau, least), SUDDEN - 1 - ends[0] * LEVELS - ends[1]))
    return found


def lag_between(
    time: IndexArray, value: FloatArray, first: int, noise: float
) -> tuple[int, float, tuple[float, float]] | None:
    """Begin [ns], time constant [s] and levels of a change whose `first` samples and last quarter stand still.

    None where they do not, or where the way between them is no lag.
    """
    last = value.size // SETTLED_SHARE
    if min(first, last) < FEWEST_ON_WAY:
        return None
    before, after = median(value[:first]), median(value[-last:])
    size = after - before
    if abs(size) <= CLEAR * noise:
        return None
    way = (value - before) / size
    if max(float(np.ptp(way[:first])), float(np.ptp(way[-last:]))) > STILL:
        return None
    done = int(np.argmax(way > WAY))
    start = int(np.flatnonzero(way[:done] <= STILL)[-1]) + 1 if done else 0
    late = int(np.argmax(way > 1 - (1 - WAY) ** 2))
    if done - start >= FEWEST_ON_WAY and not LAG[0] <= (late - start) / (done - start) <= LAG[1]:
        return None
    return int(time[start]), float(time[done] - time[start]) / NS_PER_S, (before, after)


def time_constant(time: IndexArray, value: FloatArray, *, noise: float) -> float:
    """Time [s] until 63 % of the way from the first reading to the settled one is done; 0 when it cannot be told."""
    if value.size < 16:
        return 0.0
    settled = median(value[-(value.size // SETTLED_SHARE) :])
    way = value - settled
    first = median(way[:2])
    if abs(first) < CLEAR * max(noise, 1e-12):
        return 0.0
    left = way / first
    done = np.flatnonzero(left < 1 - WAY)
    if not done.size or done[0] == 0 or done[0] > value.size // 2:
        return 0.0
    k = int(done[0])
    late = np.flatnonzero(left < (1 - WAY) ** 2)
    if k >= FEWEST_ON_WAY and not (late.size and LAG[0] <= int(late[0]) / k <= LAG[1]):
        return 0.0  # no lag: the process was under way meanwhile
    step = float(time[k] - time[k - 1])
    share = (left[k - 1] - (1 - WAY)) / max(left[k - 1] - left[k], 1e-12)
    return (float(time[k - 1] - time[0]) + float(min(share, 1.0)) * step) / NS_PER_S


def least_scatter(survey: Survey, tau: FloatArray) -> float:
    """Scatter of the logarithms that the distance of the samples alone makes: both ends are known to one of them."""
    return max(LEAST_SCATTER, survey.interval_s / math.sqrt(6) / float(np.median(tau)))


def slowest_run(log: FloatArray, least: float) -> tuple[int, int, float]:
    """Run [i, j) furthest above the rest, and how many such runs chance would show."""
    n = log.size
    best = (0, 0, float(n))
    total = np.concatenate([[0.0], np.cumsum(log)])
    middle = float(np.median(log))
    scatter = max(1.4826 * float(np.median(np.abs(log - middle))), least)
    for size in range(FEWEST_SLOW, n // 2 + 1):
        rise = (total[size:] - total[:-size]) / size - middle
        i = int(np.argmax(rise))
        chance = n * n / 2 / size * float(stdtr(max(n // 3, 4), -rise[i] / scatter * math.sqrt(size)))
        if chance < best[2]:
            best = (i, i + size, chance)
    return best


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
        scatter = max(1.4826 * float(np.median(np.abs(others - np.median(others)))), least)
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
