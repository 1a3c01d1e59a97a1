"""What else moved around a moment: differences of hourly levels, against how often this record shows such ones.

A change is called unusual when few spans of the whole record hold one as large; that needs no model of the
process and no threshold in its unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, TimeArray
from excursions.records import FloatArray

WINDOW_H = 6  # hours averaged on either side: shorter than a shift of people, longer than a disturbance
LEAST_HOURS = 2  # of each window that must hold a level
LEAST_SPANS = 40  # spans from which "how often" means something
UNUSUAL = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How a level changed from before `start` to after `end`.

    change : after minus before; share : share of spans of the record that changed by as much or more;
    spans : how many there were.
    """

    before: float
    after: float
    share: float
    spans: int

    @property
    def change(self) -> float:
        """After minus before."""
        return self.after - self.before

    @property
    def unusual(self) -> bool:
        """Whether so large a change is rare in this record."""
        return self.share <= UNUSUAL


def move(time: TimeArray, level: FloatArray, start: int, end: int) -> Move | None:
    """The change of an hourly level across [start, end], or None where the record cannot say.

    Parameters
    ----------
    time, level : ndarrays, shape (n,)
        Hours [ns] and their level; hours without one are left out or NaN.
    start, end : int
        Instants [ns]; the windows compared are the hours before `start` and those after `end`.
    """
    grid, first = hourly(time, level)
    if grid.size == 0:
        return None
    means = _window_means(grid)
    left = int(start // NS_PER_HOUR - first) - WINDOW_H
    right = int(-(-end // NS_PER_HOUR) - first)
    if not (0 <= left < means.size and 0 <= right < means.size):
        return None
    before, after = float(means[left]), float(means[right])
    lag = right - left
    differences = np.abs(means[lag:] - means[: means.size - lag])
    differences = differences[np.isfinite(differences)]
    if not np.isfinite(after - before) or differences.size < LEAST_SPANS:
        return None
    # The span asked about is itself one of those counted; a lone one must still come out as rare.
    share = float((differences >= abs(after - before) * (1 - 1e-9)).mean())
    return Move(before=before, after=after, share=share, spans=int(differences.size))


def hourly(time: TimeArray, level: FloatArray) -> tuple[FloatArray, int]:
    """Levels on an unbroken grid of hours (NaN where none), and the number of its first hour since 1970."""
    good = np.isfinite(level)
    if not good.any():
        return np.empty(0), 0
    hours = time[good] // NS_PER_HOUR
    first = int(hours[0])
    grid = np.full(int(hours[-1]) - first + 1, np.nan)
    grid[hours - first] = level[good]
    return grid, first


def _window_means(grid: FloatArray) -> FloatArray:
    """Mean of the `WINDOW_H` hours from each hour on; NaN where too few hold a level."""
    good = np.isfinite(grid)
    padded = np.concatenate([np.where(good, grid, 0.0), np.zeros(WINDOW_H)])
    counts = np.concatenate([good.astype(np.int64), np.zeros(WINDOW_H, np.int64)])
    sums = np.concatenate([[0.0], np.cumsum(padded)])
    held = np.concatenate([[0], np.cumsum(counts)])
    total = sums[WINDOW_H:-1] - sums[: -WINDOW_H - 1]
    number = held[WINDOW_H:-1] - held[: -WINDOW_H - 1]
    enough = number >= LEAST_HOURS
    means: FloatArray = np.where(enough, total / np.maximum(number, 1), np.nan)
    return means
