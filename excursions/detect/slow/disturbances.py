"""Disturbances: everything a reading had to follow, and how long it took for 63 % of the way.

Every end of a cleaning, steaming, hold or calibration, every change of medium inside a cleaning
(:mod:`excursions.detect.slow.phases`), and every sudden change of level.  Where changes of level are the habit
of a process, as in batches, those from one still level to another that look like a lag are taken, sorted by the two levels.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_S
from excursions.detect.series.scan import Change
from excursions.detect.series.survey import Survey, differences_of
from excursions.detect.slow.phases import phase_changes
from excursions.detect.slow.plateaus import NARROW, sudden
from excursions.ranks import median
from excursions.records import BAD, MEASURING, NO_DATA, RECOVERING, BoolArray, FloatArray, IndexArray, Record

SUDDEN = -1  # sort of a disturbance that is a change of level unlike the others of the record
LEVELS = 5  # into which the range of a reading is cut to sort its usual changes
BEFORE, AFTER = 2, 16  # blocks on either side that are looked at, at most up to the next change
STILL = 0.1  # of the change: most that the levels on either side may walk
WAY = 1 - math.exp(-1)
LAG = (1.4, 3.5)  # 86 % of the way over 63 %: 2 for one lag, 1.7 for two alike, 1.37 for a straight ramp
FEWEST_ON_WAY = 4  # samples to 63 % from which on that can be told
LONGEST = 12 * NS_PER_HOUR  # a response that takes longer is not followed
SETTLED_SHARE = 4  # the last quarter of the way is where it settles
CLEAR = 12.0  # noises that a disturbance must measure
MOST, MOST_USUAL = 300, 1_000  # disturbances, and usual changes looked at; more are thinned evenly

Disturbances = tuple[IndexArray, FloatArray, IndexArray]


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
    found = [found[k] for k in evenly_thinned(len(found), MOST)]
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
    at, lo, hi = between_stays(every, blocks.broken)
    named = np.array([change.at for change in survey.changes], dtype=np.int64)
    new = np.abs(at[:, None] - named).min(axis=1, initial=BEFORE + 1) > BEFORE
    lo, hi = lo[new], hi[new]
    thinned = record.value is not None and record.value.sampling.on_change
    least = 0.0 if thinned else survey.interval_s
    low = float(np.min(blocks.level))
    step = max((float(np.max(blocks.level)) - low) / LEVELS, 1e-12)
    found = []
    for k in evenly_thinned(lo.size, MOST_USUAL):
        a, b = int(blocks.first[lo[k]]), int(blocks.first[hi[k]])
        response = lag_between(
            live.time[a:b], live.value[a:b], int(blocks.first[lo[k] + 1]) - a, survey.noise
        )
        if response is not None:
            begin, tau, levels = response
            ends = [min(int((level - low) / step), LEVELS - 1) for level in levels]
            found.append((begin, max(tau, least), SUDDEN - 1 - ends[0] * LEVELS - ends[1]))
    return found


def between_stays(every: IndexArray, broken: BoolArray) -> tuple[IndexArray, IndexArray, IndexArray]:
    """Of marks of sudden changes among blocks, those (k,) with room and no break to either side: first block, and window [lo, hi).

    Marks next to each other are one change that takes longer than a block.
    """
    new = np.append(True, np.diff(every) > BEFORE) if every.size else np.empty(0, dtype=np.bool_)
    first, past = every[new], every[np.append(new[1:], True)] if every.size else every
    lo = np.maximum(first - BEFORE, np.append(0, past[:-1]) + 1)
    hi = np.minimum(past + AFTER, np.append(first[1:], broken.size) - 1)
    breaks = np.append(0, np.cumsum(broken))
    usable = (lo < first) & (hi > past + 1) & (breaks[hi] == breaks[lo + 1])
    return first[usable], lo[usable], hi[usable]


def evenly_thinned(count: int, most: int) -> IndexArray:
    """Which of so many are looked at, where no more than `most` are."""
    return np.arange(count) if count <= most else np.linspace(0, count - 1, most).astype(np.int64)


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
