"""The same level twice: as found and as left, whatever a probe far off makes of the standard.

A reading that leaves its level, stands at another, goes elsewhere and comes back to that other one within the hour was in
one standard both times.  That holds too where the adjustment leaves the reading at a new level, so that it never "comes
back", and where the standard lies between the old level and the new one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.ranks import median
from excursions.records import WASHING, FloatArray
from excursions.runs import runs
from excursions.states.line import Claim
from excursions.states.trace import Trace, around_its_level, join

FEWEST, SHORTEST_MIN, LONGEST_MIN = 3, 2.0, 60.0  # samples and minutes for which a standard is read (cp)
ALIKE = 0.5  # tolerances within which a reading stands, and the same standard is read again (cp)
AWAY = 2.0  # tolerances between a standard and the levels beside it
WITHIN_H = 1.5
LONGEST_H, SHORTEST_AWAY_MIN = 4.0, 15.0  # of work in which two standards are read twice (cp)
_GRID_MIN, _LEVEL_H = 5.0, 12.0  # the level of the hours around is the median of three times the longest work
_APART_MIN = 15.0  # from one standard to the next the reading may pass its level
_FINE_S = 30.0  # a value that is recorded on change stands between its samples
_TIMES, _STOOD = 3, 0.5  # a standard is read once more at most, and takes the longer part of the work (cp)
_MOST = 500  # excursions looked at; a reading that is away so often shows no work by being away
_EVERY_D, _FEWEST_DAYS = 4.0, 2  # probes are calibrated on fewer than two days a week (cp)


def twice(
    trace: Trace, around: tuple[int, int], levels: tuple[float, float], tolerance: float, least: float
) -> list[tuple[int, int]]:
    """Spans [ns] from the first to the last stay at one level that is neither of `levels`, the reading elsewhere in between.

    Parameters
    ----------
    around : span in which it is looked for
    levels : of the reading before and after
    least : distance that the reading does not go by itself, for what lies between the two stays
    """
    window = trace.slice(*around)
    time, value = trace.time[window], trace.value[window]
    stays = [
        s
        for s in _stays(time, value, tolerance)
        if all(abs(s[2] - level) > AWAY * tolerance for level in levels)
    ]
    away = max(AWAY * tolerance, least)
    found = []
    for k, (start, end, level) in enumerate(stays):
        later = [
            (a, b)
            for a, b, other in stays[k + 1 :]
            if abs(other - level) <= ALIKE * tolerance and b - start <= WITHIN_H * NS_PER_HOUR
            and bool(np.any(np.abs(value[(time > end) & (time < a)] - level) > away))
        ]  # fmt: skip
        if later:
            found.append((start, later[-1][1]))
    return found


def _stays(time: TimeArray, value: FloatArray, tolerance: float) -> Sequence[tuple[int, int, float]]:
    """(start, end, level) of stretches in which the reading stands for minutes."""
    if value.size < FEWEST:
        return []
    blocks = np.lib.stride_tricks.sliding_window_view(value, FEWEST)
    made = []
    for a, b in runs(np.ptp(blocks, axis=1) <= ALIKE * tolerance):
        past = b + FEWEST - 1
        lasted = time[past - 1] - time[a]
        if SHORTEST_MIN * NS_PER_MINUTE <= lasted <= LONGEST_MIN * NS_PER_MINUTE:
            made.append((int(time[a]), int(time[past - 1]), median(value[a:past])))
    return made


def two_twice(
    trace: Trace, tolerance_at: Callable[[float], float], moves: float
) -> list[list[tuple[int, int]]]:
    """Stays [ns] at two levels, each twice, neither of them where the reading was or went: a list for each piece of work.

    As found and as left in two standards, whatever a worn probe makes of them: the process has no reason for that.  A
    reading that swings comes back oftener, one that wanders stands at other levels most of the time.  Where such spans come
    oftener than probes are calibrated, the process has a reason, and none counts.

    Parameters
    ----------
    tolerance_at : tolerance at a level
    moves : distance that the reading does not go by itself in minutes
    """
    found = []
    spells = _away_spells(trace, tolerance_at, moves)
    for start, end, levels in spells if len(spells) <= _MOST else ():
        tolerance = max(tolerance_at(level) for level in levels)
        reach = round(_GRID_MIN * NS_PER_MINUTE)
        stays = _twice_each(trace, (start - reach, end + reach), levels, tolerance, moves)
        if stays:
            found.append(stays)
    return [] if _oftener_than_calibrated([stays[0][0] for stays in found], trace) else found


def _away_spells(
    trace: Trace, tolerance_at: Callable[[float], float], moves: float
) -> list[tuple[int, int, tuple[float, float]]]:
    """(start, end, levels of the hours before and after) of stretches in which the reading is away from the hours around it."""
    step = round(_GRID_MIN * NS_PER_MINUTE)
    lasts = int(trace.time[-1] - trace.time[0]) if len(trace) else 0
    if lasts < _LEVEL_H * NS_PER_HOUR or trace.interval_s > 60.0 * _GRID_MIN:
        return []
    when, value, level = around_its_level(trace, _GRID_MIN, _LEVEL_H)
    least = max(AWAY * tolerance_at(float(np.median(level))), moves)
    ranges = join(runs(np.abs(value - level) > least), when, 60.0 * _APART_MIN)
    lasted = (ranges[:, 1] - ranges[:, 0]) * step
    fits = (lasted >= SHORTEST_AWAY_MIN * NS_PER_MINUTE) & (lasted <= LONGEST_H * NS_PER_HOUR)
    hour = round(60.0 / _GRID_MIN)
    return [
        (
            int(when[a]),
            int(when[b - 1]) + step,
            (float(np.median(value[max(a - hour, 0) : a])), float(np.median(value[b : b + hour]))),
        )
        for a, b in ranges[fits]
        if a > 0 and b < value.size
    ]


def _twice_each(
    trace: Trace, around: tuple[int, int], levels: tuple[float, float], tolerance: float, moves: float
) -> list[tuple[int, int]]:
    """Stays at two levels beside `levels`, each stood at twice or once more; none where that is not so."""
    fine = round(_FINE_S * NS_PER_S)
    when = np.arange(around[0], around[1], fine, dtype=np.int64)
    value = trace.at(when)
    away = max(AWAY * tolerance, moves)
    stays = [s for s in _stays(when, value, tolerance) if all(abs(s[2] - level) > away for level in levels)]
    groups: list[list[tuple[int, int, float]]] = []
    for stay in sorted(stays, key=lambda s: s[2]):
        if groups and stay[2] - groups[-1][0][2] <= 2.0 * ALIKE * tolerance:
            groups[-1].append(stay)
        else:
            groups.append([stay])
    again = [sorted(group) for group in groups if _left_between(sorted(group), when, value, away)]
    longest = sorted(again, key=lambda group: -sum(end - start for start, end, _ in group))[:2]
    if len(longest) < 2 or any(len(group) > _TIMES for group in longest):
        return []
    every = sorted((start, end) for group in longest for start, end, _ in group)
    stood = sum(end - start for start, end in every)
    return every if stood >= _STOOD * (every[-1][1] - every[0][0]) else []


def _left_between(
    group: Sequence[tuple[int, int, float]], when: TimeArray, value: FloatArray, away: float
) -> bool:
    """Whether the reading left a level between two stays at it."""
    first, last = group[0], group[-1]
    between = value[(when > first[1]) & (when < last[0])]
    return len(group) > 1 and bool(np.any(np.abs(between - first[2]) > away))


def _oftener_than_calibrated(starts: Sequence[int], trace: Trace) -> bool:
    """Whether something begins [ns] on more days than probes are calibrated on: then the process or a wash has the reason."""
    lasts = int(trace.time[-1] - trace.time[0]) if len(trace) else 0
    return len({start // NS_PER_DAY for start in starts}) > max(_FEWEST_DAYS, lasts / (_EVERY_D * NS_PER_DAY))


def as_washes(claims: list[Claim], trace: Trace) -> list[Claim]:
    """Visits that no log enters, on more days than probes are calibrated on, are washes: a probe that an automatic fitting
    draws back into cold acid or water reads as one that is taken to a standard."""
    own = [claim for claim in claims if not claim.helped]
    if not _oftener_than_calibrated([claim.start for claim in own], trace):
        return claims
    washed = [
        replace(
            c,
            code=WASHING,
            evidence=f"{c.evidence}; oftener than probes are calibrated",
            standards=(),
            rests=(),
            stood=math.nan,
        )
        for c in own
    ]
    return [*(claim for claim in claims if claim.helped), *washed]
