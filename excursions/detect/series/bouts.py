"""Bouts: moments that follow one another closely enough to be one trouble, and whether it goes on.

What comes at random comes after pauses of very different length: of n of them the longest is about ln n mean pauses.
So a pause ends a bout only where it is longer than chance makes it at the rate of the moments around it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, TimeArray
from excursions.records import IndexArray

UNLIKELY = 5.0  # mean pauses on top of the logarithm: exceeded once in 150 bouts of an exponential law
LONGEST_S = 7 * 86_400.0  # a week without any is an end (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bout:
    """Positions (k,) of the moments of one bout, and whether it still goes on when the record ends."""

    index: IndexArray
    goes_on: bool


def bouts(time: TimeArray, *, within_s: float, fewest: int, end: int) -> tuple[list[Bout], IndexArray]:
    """Group moments into bouts.

    Parameters
    ----------
    time : ndarray (n,)
        Ordered instants [ns].
    within_s : float
        Moments so close [s] are one bout whatever their rate.
    fewest : int
        Moments that make a bout.
    end : int
        End of the record [ns].

    Returns
    -------
    list of Bout, ndarray (r,)
        Bouts in time order, and the positions of the moments that belong to none.
    """
    parts = np.split(np.arange(time.size), np.flatnonzero(np.diff(time) > within_s * NS_PER_S) + 1)
    joined: list[IndexArray] = []
    lone: list[IndexArray] = []
    for part in parts:
        if part.size < fewest:
            lone.append(part)
        elif joined and _is_one(time, joined[-1], part, within_s):
            joined[-1] = np.concatenate([joined[-1], part])
        else:
            joined.append(part)
    found = [
        Bout(
            index=part,
            goes_on=bool((end - time[part[-1]]) / NS_PER_S <= longest_pause_s(time[part], within_s)),
        )
        for part in joined
    ]
    return found, np.concatenate(lone).astype(np.int64) if lone else np.empty(0, dtype=np.int64)


def longest_pause_s(time: TimeArray, within_s: float) -> float:
    """Longest pause [s] that moments at the rate of these would make by chance, at most a week, at least the mean."""
    if time.size < 2:
        return 0.0
    pause = np.diff(time) / NS_PER_S
    mean = float(np.median(pause)) / math.log(2.0)
    return min(mean * (math.log(time.size) + UNLIKELY), max(LONGEST_S, within_s))


def _is_one(time: TimeArray, before: IndexArray, after: IndexArray, within_s: float) -> bool:
    pause = float(time[after[0]] - time[before[-1]]) / NS_PER_S
    both = np.concatenate([before, after])
    return pause <= longest_pause_s(time[both], within_s)
