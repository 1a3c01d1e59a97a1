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
from functools import cached_property

import numpy as np
from scipy.special import stdtr

from excursions.detect.series.tails import expected_each, outlying
from excursions.ranks import NORMAL_MAD, median
from excursions.records import BoolArray, FloatArray, IndexArray

INDEPENDENT = 20  # windows side by side needed to measure the spread at a width
OVERLAP = 8  # windows this share of a width apart are nearly the same: the spread needs no more of them
ENOUGH = 3_000  # differences are enough for a spread
WIDEST_SHARE = 3  # the widest window is a third of the series
FEW_PEAKS = 12  # with fewer chances the spread is trusted, the tail is not
FEW_BREAKS = 3  # breaks that show what is usual across them; with fewer, twice the usual elsewhere
WALK = 0.5  # exponent with which such differences of a random walk grow with the width
FREEDOM = 6  # Student law where the tail cannot be measured
SUSPICION = 0.1  # expected chance number below which a peak is looked at more closely
LEAST_RATIO = 3.0  # and never below three spreads


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of level: first block of the new level, window width in blocks, difference, its usual spread,
    chance number, whether a break lies exactly there, and whether it was found by how suddenly it came."""

    at: int
    width: int
    size: float
    spread: float
    expected: float
    across: bool = False
    sudden: bool = False


def widths(blocks: int) -> tuple[int, ...]:
    """Window widths in blocks: powers of two up to a third of the series."""
    return tuple(2**i for i in range(16) if 2**i <= max(blocks // WIDEST_SHARE, 1))


@dataclass(frozen=True, kw_only=True)
class Windows:
    """Differences at one width: diff (m,) mean after less mean before each block, NaN where they do not fit;
    fits, clean (m,): whether they do, and whether they hold no break as well; breaks (m,): breaks in them.

    What is usual at the width is worked out at the first asking: a detector and its limit ask the same.
    """

    width: int
    diff: FloatArray
    fits: BoolArray
    clean: BoolArray
    breaks: IndexArray

    @cached_property
    def peaks(self) -> IndexArray:
        """Blocks where the difference is the largest within a window either way."""
        return peaks(self.diff, self.fits, self.width)

    @cached_property
    def clean_peaks(self) -> IndexArray:
        """The same among the differences without a break."""
        return self.peaks if self.clean is self.fits else peaks(self.diff, self.clean, self.width)

    @cached_property
    def sure(self) -> bool:
        """Whether windows without a break lie side by side often enough to say what is usual."""
        return int(np.count_nonzero(self.clean)) >= INDEPENDENT * self.width

    @cached_property
    def spread(self) -> float:
        """Robust spread of the differences; NaN where a wide window fits too rarely to tell."""
        if not self.sure and self.width > 2 and self.diff.size // self.width < INDEPENDENT:
            return math.nan
        diff = self.diff[self.clean if self.sure else self.fits]
        return _spread(diff[:: max(self.width // OVERLAP, diff.size // ENOUGH, 1)])


def windows(level: FloatArray, broken: BoolArray, every: tuple[int, ...]) -> tuple[Windows, ...]:
    """Differences of neighbouring windows at each width.

    Parameters
    ----------
    level : ndarray (m,), finite
    broken : ndarray (m,), True where blocks are missing before this one
    every : widths in blocks
    """
    n = level.size
    total = np.concatenate([[0.0], np.cumsum(level - (level.mean() if n else 0.0))])
    count = np.concatenate([[0], np.cumsum(broken)])
    found = []
    for width in every:
        lo, hi = min(width, n), max(n - width + 1, 0)
        hi = min(hi, n)
        diff = np.full(n, np.nan)
        breaks = np.zeros(n, dtype=np.int64)
        fits = np.zeros(n, dtype=np.bool_)
        if lo < hi:
            fits[lo:hi] = True
            diff[lo:hi] = (
                total[lo + width : hi + width] - 2 * total[lo:hi] + total[lo - width : hi - width]
            ) / width
            breaks[lo:hi] = count[lo + width : hi + width] - count[lo - width + 1 : hi - width + 1]
        clean = fits & (breaks == 0) if count[-1] else fits
        found.append(Windows(width=width, diff=diff, fits=fits, clean=clean, breaks=breaks))
    return tuple(found)


def differences(level: FloatArray, broken: BoolArray) -> tuple[Windows, ...]:
    """Differences of neighbouring windows at all widths that a series of this length has."""
    return windows(level, broken, widths(level.size))


def spreads(every: tuple[Windows, ...], blocks: int, *, floor: float) -> FloatArray:
    """Robust spread of the differences at each width, never below `floor`.

    Widths with fewer than twenty windows side by side are extrapolated as a power law from the widths
    that have enough, with the exponent one standard error on the cautious side.
    """
    return _extended(np.maximum([one.spread for one in every], floor), blocks)


def _spread(diff: FloatArray) -> float:
    return NORMAL_MAD * median(np.abs(diff)) if diff.size else 0.0


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
    spread[beyond] = spread[last[-1]] * 2.0 ** (min(max(slope, -0.5), WALK) * (beyond - last[-1]))
    return spread


def changes(
    level: FloatArray, broken: BoolArray, *, floor: float, least: float = SUSPICION
) -> tuple[Change, ...]:
    """Changes of level of a series (m,), finite, as :func:`changes_among` has them."""
    return changes_among(differences(level, broken), broken, floor=floor, least=least)


def changes_among(
    every: tuple[Windows, ...], broken: BoolArray, *, floor: float, least: float = SUSPICION
) -> tuple[Change, ...]:
    """Changes of level that the record's own wandering does not explain, in order.

    Parameters
    ----------
    every : differences of the series at all widths, as of :func:`differences`
    broken : ndarray (m,), True where blocks are missing before this one
    floor : float
        Smallest credible spread (resolution of the record), same unit.
    least : float
        Expected chance number below which a difference counts.
    """
    spread = spreads(every, broken.size, floor=floor)
    least = least / math.sqrt(len(every))  # widths overlap, so they are fewer chances than there are of them
    found: list[Change] = []
    for one, s in zip(every, spread, strict=True):
        for change in _at_width(one, broken, float(s), least):
            if all(abs(change.at - other.at) >= one.width for other in found):
                found.append(change)
    return tuple(sorted(found, key=lambda change: change.at))


def _at_width(one: Windows, broken: BoolArray, spread: float, least: float) -> Iterator[Change]:
    """Changes inside, then across breaks; where too few windows are unbroken all are taken as one lot."""
    if not one.fits.any() or spread <= 0:
        return
    if not one.sure:
        yield from _picked(one, one.peaks, spread, least, broken.size, across=False)
        return
    yield from _picked(one, one.clean_peaks, spread, least, broken.size, across=False)
    at = np.flatnonzero(broken & one.fits & (one.breaks == 1))
    spread = max(2 * spread, _spread(one.diff[at]) if at.size >= FEW_BREAKS else 0.0)
    yield from _picked(one, at, spread, least, 2 * one.width * at.size, across=True)


def peaks(diff: FloatArray, usable: BoolArray, width: int) -> IndexArray:
    """Blocks where the difference is the largest within a window either way."""
    size = np.where(usable, np.abs(diff), 0.0)
    return np.flatnonzero((size > 0) & (size == _largest_around(size, width)))


def _largest_around(size: FloatArray, width: int) -> FloatArray:
    """Largest of the sizes (m,), none below 0, up to `width` places either way: of two runs that double until they cover it."""
    whole, run = 2 * width + 1, 1
    largest = np.zeros(size.size + 2 * width)
    largest[width : width + size.size] = size
    while 2 * run <= whole:
        largest = np.maximum(largest[:-run], largest[run:])
        run *= 2
    return np.asarray(np.maximum(largest[: size.size], largest[whole - run :]))


def _picked(
    one: Windows, at: IndexArray, spread: float, least: float, blocks: int, *, across: bool
) -> Iterator[Change]:
    """Those of the candidates that their own lot does not explain."""
    ratio = np.abs(one.diff[at]) / spread
    if not (ratio > LEAST_RATIO).any():
        return
    if at.size >= FEW_PEAKS:
        mark = outlying(ratio, at_most=least) & (ratio > LEAST_RATIO)
        expected = expected_each(ratio[~mark], ratio[mark])
    else:
        chance = blocks / one.width * 2 * stdtr(FREEDOM, -ratio)
        mark = (chance <= least) & (ratio > LEAST_RATIO)
        expected = chance[mark]
    for k, chance_number in zip(at[mark], expected, strict=True):
        yield Change(
            at=int(k),
            width=one.width,
            size=float(one.diff[k]),
            spread=spread,
            expected=float(chance_number),
            across=across,
        )
