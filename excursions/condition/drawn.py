"""Marks of values that were worked out rather than measured: lines between samples, means of many, repeats."""

from __future__ import annotations

import numpy as np

from excursions.condition.threshold import FEWEST, threshold
from excursions.ranks import median
from excursions.records import FloatArray

STATISTIC = 100_000
WELL_RESOLVED = 20  # steps of the resolution that a move must span to show whether it is straight
STRAIGHT = 0.3
KINKED = 0.4  # of the bends that are no rounding, those below three roundings at most: a drawn line breaks off sharply
BETWEEN_LINES = 0.4  # of the bends, where 0.3 of the moves are straight; noise of a few steps has a third of them by chance
# Numbers of values in a mean that leave a mark: with two and five alone a mean is a decimal like any other, with
# nine it may be a change of unit (degF to degC, per hour to per second).
MEANS_OF = (3, 6, 12, 15, 24, 30, 60, 120, 300, 600)
DECIMALS = (0, 1, 2, 3, 4)
ON_LATTICE = 0.98
WIDEST = 0.1  # half width, in steps of the lattice, beyond which everything lies on it
FEWEST_LEVELS = 20
SLACK = 0.02
FINEST = 7
MOST_PLAIN = 2.2  # times the share 1/k that lies on the plain step by chance
FINE = 100  # steps between neighbours beyond which a step is no transmitter's


def share_straight(value: FloatArray, resolution: float) -> float:
    """Share of samples that lie half way between different neighbours, among moves that are well resolved.

    A smooth signal is nearly straight everywhere and bends a little; a drawn one is straight and then breaks.
    Where small bends beyond rounding are common beside large ones, the record is called smooth (0); so is one that
    bends at sample after sample wherever it is not moving far: there only the ramps of a controller are straight.
    """
    stride = max(1, value.size // STATISTIC)
    before, here, after = value[:-2:stride], value[1:-1:stride], value[2::stride]
    moving = np.abs(after - before) > WELL_RESOLVED * resolution
    moving &= np.isfinite(before) & np.isfinite(here) & np.isfinite(after) & (after != before)
    if np.count_nonzero(moving) < max(FEWEST, 0.01 * here.size):
        return 0.0
    bend = np.abs(after - 2 * here + before)[moving]
    size = np.abs(after)[moving] + np.abs(before)[moving]
    rounding = np.maximum(resolution * 1.01, 1e-12 * size)
    straight = bend <= rounding
    broken = ~straight
    small = broken & (bend <= 3 * rounding)
    if resolution > 0 and small.sum() > KINKED * max(int(broken.sum()), 1):
        return 0.0
    share = float(np.mean(straight))
    return share if share <= STRAIGHT or _joined_by_lines(value, resolution) else 0.0


def _joined_by_lines(value: FloatArray, resolution: float) -> bool:
    """Whether the bends of a record stand between straight samples, wherever in the record they are.

    Lines are drawn from one recorded value to the next: a bend has a line on either side of it, or is one of two where
    the recorded value lay between them.
    """
    value = value[: 4 * STATISTIC]
    bend = np.abs(value[2:] - 2 * value[1:-1] + value[:-2])
    rounding = np.maximum(resolution * 1.01, 2e-12 * np.abs(value[1:-1]))
    straight = np.concatenate([[False, False], bend <= rounding, [False, False]])
    last, last_but_one = straight[1:-3], straight[:-4]
    following, next_but_one = straight[3:-1], straight[4:]
    held = (last & (following | next_but_one)) | (last_but_one & following)
    bent = bend > 3 * rounding
    return int(np.count_nonzero(bent)) < FEWEST or float(np.mean(held[bent])) > BETWEEN_LINES


def mean_of(value: FloatArray, resolution: float) -> tuple[int, float]:
    """How many values of which step each value is the mean of; (0, 0.0) where that does not show.

    The mean of k values with a decimal step r is a whole multiple of r / k.  It shows when k holds a three and
    the values are printed finely enough.
    """
    levels = np.unique(value[:: max(1, value.size // 20_000)])
    levels = levels[np.isfinite(levels)]
    if levels.size < FEWEST_LEVELS:
        return 0, 0.0
    printed = 0.51 * resolution + 4e-13 * float(np.abs(levels).max())
    if _plain_decimals(levels, printed):
        return 0, 0.0
    for count in MEANS_OF:
        for decimals in DECIMALS:
            scale = count * 10.0**decimals
            if printed * scale > WIDEST:
                continue
            lattice = _share_on(levels * scale, printed * scale) >= ON_LATTICE
            if lattice and not _too_plain(levels, printed, count, decimals):
                return count, 10.0**-decimals
    return 0, 0.0


def _plain_decimals(levels: FloatArray, printed: float) -> bool:
    """Whether a decimal step coarser than the printing fits all values: then no fraction shows."""
    scales = [10.0**d for d in range(FINEST + 1) if printed * 10.0**d <= WIDEST]
    return any(_share_on(levels * scale, printed * scale) >= ON_LATTICE for scale in scales)


def _too_plain(levels: FloatArray, printed: float, count: int, decimals: int) -> bool:
    """Whether more values are plain decimals than means are by chance, as of lines drawn between samples many are."""
    for coarser in range(decimals + 1):
        chance = 10.0 ** (coarser - decimals) / count
        if _share_on(levels * 10.0**coarser, printed * 10.0**coarser) > MOST_PLAIN * chance + SLACK:
            return True
    return False


def _share_on(scaled: FloatArray, tolerance: float) -> float:
    return float(np.mean(np.abs(scaled - np.rint(scaled)) <= max(tolerance, 1e-6)))


def repeats_from(value: FloatArray, resolution: float) -> float:
    """Dead band of a record whose last value was repeated on a grid until the next; 0 where that does not show.

    Only where most neighbours are equal and the changes between the others begin well above one step.
    """
    stride = max(1, value.size // STATISTIC)
    change = np.abs(value[1::stride] - value[:-1:stride])
    change = change[np.isfinite(change)]
    moved = change[change > 0]
    if moved.size < FEWEST or moved.size > 0.7 * change.size:
        return 0.0
    band = threshold(moved)
    return band if band > 1.5 * resolution > 0 or (resolution == 0 and band > 0) else 0.0


def finely_stepped(value: FloatArray, resolution: float) -> bool:
    """Whether the values carry far more digits than their own unrest, as means and drawn values do."""
    if resolution == 0:
        return True
    stride = max(1, value.size // STATISTIC)
    change = np.abs(value[1::stride] - value[:-1:stride])
    change = change[np.isfinite(change)]
    return bool(change.size) and median(change) > FINE * resolution
