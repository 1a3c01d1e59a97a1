"""Search for changes of level at every width at once, each width judged by what is usual at that width.

Method: moving sums.  For each width w the difference of the means of the w blocks after and before every
block is compared with the same differences elsewhere in the record.  In white noise wide windows see more;
in a wandering process narrow ones do; taking each width against its own spread and its own tail needs no
model of the noise and is right for both, autocorrelation included.  Widths are joined from the narrowest
up.  A difference across a break (cleaning, steaming, missing data) is judged among the breaks.

References
----------
.. [1] P. Bauer, P. Hackl, "The use of MOSUMs for quality control", Technometrics 20 (1978) 431.
.. [2] B. Eichinger, C. Kirch, "A MOSUM procedure for the estimation of multiple random change points",
   Bernoulli 24 (2018) 526: local maxima, several bandwidths joined bottom up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.stats import t as student

from excursions.detect.tails import expected_as_large, outlying
from excursions.records import BoolArray, FloatArray, IndexArray

NORMAL_MAD = 1.4826  # median absolute deviation of a normal law to its standard deviation
INDEPENDENT = 20  # windows side by side needed to measure the spread at a width
WIDEST_SHARE = 3  # the widest window is a third of the series
FEW_PEAKS = 12  # with fewer chances the spread is trusted, the tail is not
FEW_BREAKS = 3  # breaks that show what is usual across them; with fewer, twice the usual elsewhere
FREEDOM = 6  # Student law where the tail cannot be measured
SUSPICION = 0.1  # expected chance number below which a peak is looked at more closely
LEAST_RATIO = 3.0  # and never below three spreads


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of level: first block of the new level, window width in blocks, difference, its usual spread,
    chance number, and whether a break lies exactly there."""

    at: int
    width: int
    size: float
    spread: float
    expected: float
    across: bool = False


def widths(blocks: int) -> tuple[int, ...]:
    """Window widths in blocks: powers of two up to a third of the series."""
    return tuple(2**i for i in range(16) if 2**i <= max(blocks // WIDEST_SHARE, 1))


def differences(level: FloatArray, width: int) -> FloatArray:
    """Mean of `width` blocks from each block on, minus mean of the `width` before; NaN where they do not fit."""
    out = np.full(level.size, np.nan)
    if level.size < 2 * width:
        return out
    total = np.concatenate([[0.0], np.cumsum(level - level.mean())])
    at = np.arange(width, level.size - width + 1)
    at = at[at < level.size]
    out[at] = (total[at + width] - 2 * total[at] + total[at - width]) / width
    return out


def unbroken(broken: BoolArray, width: int) -> BoolArray:
    """Whether the two windows around each block hold no break."""
    count = np.concatenate([[0], np.cumsum(broken)])
    at = np.arange(broken.size)
    upper = count[np.minimum(at + width, broken.size)]
    return np.asarray(upper - count[np.maximum(at - width + 1, 0)] == 0)


def spreads(level: FloatArray, broken: BoolArray, *, floor: float) -> FloatArray:
    """Robust spread of the differences at each of the :func:`widths`, never below `floor`.

    Widths with fewer than twenty windows side by side are extrapolated as a power law from the widths
    that have enough, with the exponent one standard error on the cautious side.
    """
    every = widths(level.size)
    out = np.full(len(every), np.nan)
    for i, width in enumerate(every):
        diff = differences(level, width)
        clean = np.isfinite(diff) & unbroken(broken, width)
        enough = np.count_nonzero(clean) >= INDEPENDENT * width
        diff = diff[clean if enough else np.isfinite(diff)]
        if enough or i < 2 or level.size // width >= INDEPENDENT:
            out[i] = NORMAL_MAD * float(np.median(np.abs(diff))) if diff.size else 0.0
    return _extended(np.maximum(out, floor), level.size)


def _extended(spread: FloatArray, blocks: int) -> FloatArray:
    """Fill the NaN tail by the growth law of the last widths measured."""
    beyond = np.flatnonzero(np.isnan(spread))
    if not beyond.size:
        return spread
    last = np.flatnonzero(np.isfinite(spread) & (spread > 0))[-4:]
    if not last.size:
        return np.nan_to_num(spread)
    slope = -0.5
    if last.size > 1:
        error = 0.5 / math.sqrt(blocks / 2 ** last[-1])
        slope = float(np.polyfit(last, np.log2(spread[last]), 1)[0]) + error
    spread[beyond] = spread[last[-1]] * 2.0 ** (max(slope, -0.5) * (beyond - last[-1]))
    return spread


def changes(
    level: FloatArray, broken: BoolArray, *, floor: float, least: float = SUSPICION
) -> tuple[Change, ...]:
    """Changes of level that the record's own wandering does not explain, in order.

    Parameters
    ----------
    level : ndarray (m,), finite
    broken : ndarray (m,), True where blocks are missing before this one
    floor : float
        Smallest credible spread (resolution of the record), same unit.
    least : float
        Expected chance number below which a difference counts.
    """
    every = widths(level.size)
    spread = spreads(level, broken, floor=floor)
    least = least / math.sqrt(len(every))  # widths overlap, so they are fewer chances than there are of them
    found: list[Change] = []
    for width, s in zip(every, spread, strict=True):
        for one in _at_width(level, broken, width, float(s), least):
            if all(abs(one.at - other.at) >= width for other in found):
                found.append(one)
    return tuple(sorted(found, key=lambda change: change.at))


def _at_width(
    level: FloatArray, broken: BoolArray, width: int, spread: float, least: float
) -> Iterator[Change]:
    """Changes inside, then across breaks; where too few windows are unbroken all are taken as one lot."""
    diff = differences(level, width)
    fits = np.isfinite(diff)
    if not fits.any() or spread <= 0:
        return
    clean = fits & unbroken(broken, width)
    if np.count_nonzero(clean) < INDEPENDENT * width:
        yield from _picked(diff, peaks(diff, fits, width), width, spread, least, level.size, across=False)
        return
    yield from _picked(diff, peaks(diff, clean, width), width, spread, least, level.size, across=False)
    single = np.concatenate([[0], np.cumsum(broken)])
    at = np.flatnonzero(broken & fits)
    lone = single[np.minimum(at + width, level.size)] - single[np.maximum(at - width + 1, 0)] == 1
    at = at[lone]
    if at.size >= FEW_BREAKS:
        spread = max(2 * spread, NORMAL_MAD * float(np.median(np.abs(diff[at]))))
    else:
        spread = 2 * spread
    yield from _picked(diff, at, width, spread, least, 2 * width * at.size, across=True)


def peaks(diff: FloatArray, usable: BoolArray, width: int) -> IndexArray:
    """Blocks where the difference is the largest within a window either way."""
    size = np.where(usable, np.abs(diff), 0.0)
    return np.flatnonzero((size > 0) & (size == maximum_filter1d(size, 2 * width + 1)))


def _picked(
    diff: FloatArray, at: IndexArray, width: int, spread: float, least: float, blocks: int, *, across: bool
) -> Iterator[Change]:
    """Those of the candidates that their own lot does not explain."""
    ratio = np.abs(diff[at]) / spread
    if at.size >= FEW_PEAKS:
        mark = outlying(ratio, at_most=least) & (ratio > LEAST_RATIO)
        bulk = ratio[~mark]
        expected = [expected_as_large(bulk, float(r)) for r in ratio[mark]]
    else:
        chance = blocks / width * 2 * student.sf(ratio, FREEDOM)
        mark = (chance <= least) & (ratio > LEAST_RATIO)
        expected = [float(c) for c in chance[mark]]
    for k, chance_number in zip(at[mark], expected, strict=True):
        yield Change(
            at=int(k), width=width, size=float(diff[k]), spread=spread, expected=chance_number, across=across
        )
