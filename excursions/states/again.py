"""The same level twice: as found and as left, whatever a probe far off makes of the standard.

A reading that leaves its level, stands at another, goes elsewhere and comes back to that other one within the hour was in
one standard both times.  That holds too where the adjustment leaves the reading at a new level, so that it never "comes
back", and where the standard lies between the old level and the new one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, TimeArray
from excursions.records import FloatArray
from excursions.states.trace import Trace, runs

FEWEST, SHORTEST_MIN, LONGEST_MIN = 3, 2.0, 60.0  # samples and minutes for which a standard is read (cp)
ALIKE = 0.5  # tolerances within which a reading stands, and the same standard is read again (cp)
AWAY = 2.0  # tolerances between a standard and the levels beside it
WITHIN_H = 1.5


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
            made.append((int(time[a]), int(time[past - 1]), float(np.median(value[a:past]))))
    return made
