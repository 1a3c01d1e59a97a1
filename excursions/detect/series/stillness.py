"""Stillness: how many stretches of this record move as little as a given one by chance.

Method: the range (highest less lowest value) of all stretches of the same length, half-overlapping, is this record's own
law of how far a live reading goes in that time, its noise, its wandering, its quiet nights and its rests included.  The
logarithm of how much less than usual a stretch moves has a tail (:mod:`excursions.detect.series.tails`); from it follows the
expected number of stretches as still, at any of the lengths a record has room for.  That is the false-alarm rate of
whatever is called still at that number.  A stretch longer than a twentieth of the record is judged by what is usual over
that twentieth: it contains many of those, none of which moves more than the whole, so that its chance is no larger.

A reading on a lattice (rounded, or recorded on change by a dead band) hides moves of less than a step: ranges are spread
evenly over the step they stand for, and none counts as less than half a step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from excursions.detect.series.blocks import Blocks
from excursions.detect.series.live import Live
from excursions.detect.series.tails import Tail, expected_as_large, outlying, tail_of, unsuspected
from excursions.once import Once
from excursions.records import FloatArray, IndexArray

BIN = 8  # samples
MOST_BINS = 40_000  # of a long record; its bins are larger
WIDEST_SHARE = 20  # longer stretches are judged by a twentieth of the record
FEWEST_STRETCHES = 12  # others that show what is usual over a length
GOLDEN = (5**0.5 - 1) / 2  # its multiples spread evenly over the unit interval
NIL = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Bins:
    """Neighbouring live samples in lots: first (m + 1,) index range in them; low, high (m,) extremes, the reading's unit.

    once: extremes of longer runs and what is usual over a length, worked out at the first asking.
    """

    first: IndexArray
    low: FloatArray
    high: FloatArray
    once: Once = field(init=False, default_factory=Once, compare=False, repr=False)

    def __len__(self) -> int:
        return int(self.low.size)

    def within(self, first: int, last: int) -> tuple[int, int]:
        """Bins [lo, past) that lie wholly in the samples [first, last]."""
        lo = int(np.searchsorted(self.first, first))
        return lo, max(lo, int(np.searchsorted(self.first, last + 1, side="right")) - 1)

    def ranges(self, width: int, every: int = 1) -> FloatArray:
        """Highest less lowest value of every `every`-th run of `width` bins, shape ((m - width) // every + 1,).

        Two runs of a power of two cover any width, so that wide ones cost no more than narrow ones.
        """
        rank = width.bit_length() - 1
        low, high = self._extremes(rank)
        one = slice(0, len(self) - width + 1, every)
        other = slice(width - (1 << rank), low.size, every)
        return np.asarray(np.maximum(high[one], high[other]) - np.minimum(low[one], low[other]))

    def _extremes(self, rank: int) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest value of every run of 2 to the power of `rank` bins."""
        if not rank:
            return self.low, self.high

        def doubled() -> tuple[FloatArray, FloatArray]:
            low, high = self._extremes(rank - 1)
            half = 1 << (rank - 1)
            return np.minimum(low[:-half], low[half:]), np.maximum(high[:-half], high[half:])

        return self.once(f"extremes {rank}", doubled)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """How still a stretch is beside the others of the record.

    expected : number of stretches as still by chance, at any length; infinite where the record is too short to say
    others : how many of its length, or of a twentieth of the record, it was compared with
    least : how far the stillest of them goes, the reading's unit
    """

    expected: float
    others: int
    least: float


def bins_of(live: Live, blocks: Blocks, *, thinned: bool) -> Bins:
    """Eight samples a bin on a clock, more on long records; the blocks where the recorder leaves samples out."""
    size = max(BIN, -(-len(live) // MOST_BINS))
    if thinned or len(live) < 2 * size:
        return Bins(first=blocks.first, low=blocks.low, high=blocks.high)
    whole = len(live) // size
    part = np.ascontiguousarray(live.value[: whole * size].reshape(whole, size).T)  # compared bin beside bin
    return Bins(first=np.arange(whole + 1) * size, low=part.min(axis=0), high=part.max(axis=0))


def stillness(
    bins: Bins,
    lo: int,
    past: int,
    *,
    step: float,
    at_most: float,
    seen: float | None = None,
    suspect: Sequence[tuple[int, int]] = (),
) -> Stillness:
    """How still the bins [lo, past) are.

    Other stretches that stand off as much (`at_most` of them expected) may have the same fault and are left out.

    Parameters
    ----------
    bins : Bins
    lo, past : int, at least one bin
    step : float
        What a move must reach to be seen at all, the reading's unit; 0 where every move is.
    seen : float, optional
        The same within this stretch, where it was recorded in full; `step` by default.
    suspect : sequence of (int, int)
        Bins of other stretches under suspicion: they show as little of what is usual as this one does.
    """
    width = max(1, min(past - lo, len(bins) // WIDEST_SHARE))
    moved, every = _moved(bins, width, step)
    apart = (every + width <= lo) | (every >= past)
    for first, after in suspect:
        apart &= (every + width <= first) | (every >= after)
    if np.count_nonzero(apart) < FEWEST_STRETCHES:
        return Stillness(expected=math.inf, others=int(np.count_nonzero(apart)), least=math.nan)
    own = max(
        float(bins.high[lo:past].max() - bins.low[lo:past].min()), (step if seen is None else seen) / 2, NIL
    )
    usual = moved[apart & ~outlying(np.log(moved.max() / moved), at_most=at_most)]
    expected = _expected(usual, own, len(bins))
    return Stillness(expected=expected, others=int(usual.size), least=float(usual.min()))


def least_width(bins: Bins, moves: float, *, step: float, at_most: float) -> int | None:
    """Fewest bins over which a reading that moves by `moves` is stiller than the record ever is.

    `at_most` is the expected number of such stretches by chance; None where no width up to a twentieth of the record does.
    """
    width, own = 1, max(moves, step / 2, NIL)
    while width * WIDEST_SHARE <= len(bins):
        if _expected_usually(bins, width, own, step=step, at_most=at_most) <= at_most:
            return width
        width = width + 1 if width < BIN else width * 5 // 4
    return None


def _expected_usually(bins: Bins, width: int, own: float, *, step: float, at_most: float) -> float:
    """Expected number of stretches of `width` bins that move as little as `own`, by all that are not outlying."""

    def law() -> tuple[float, Tail]:
        moved, _ = _moved(bins, width, step)
        most = float(moved.max())
        return most, tail_of(unsuspected(np.log(most / moved), at_most=at_most))

    most, tail = bins.once(f"usual {width} {step} {at_most}", law)
    if own > most:
        return float(_octaves(len(bins)) * tail.bulk.size)
    return _octaves(len(bins)) * tail.expected(math.log(most / own))


def _moved(bins: Bins, width: int, step: float) -> tuple[FloatArray, IndexArray]:
    """Range of half-overlapping stretches, spread evenly over the step each stands for, and their first bins."""
    every = np.arange(0, len(bins) - width + 1, max(width // 2, 1))
    spread = np.arange(every.size) * GOLDEN
    spread = spread - np.floor(spread) - 0.5
    moved = bins.ranges(width, max(width // 2, 1))
    return np.maximum(np.where(moved > 0, moved + step * spread, step * np.abs(spread)), NIL), every


def _expected(others: FloatArray, own: float, bins: int) -> float:
    """Expected number of stretches that move as little as `own`, by the tail of the `others`, at any length."""
    scale = max(float(others.max()), own)
    return _octaves(bins) * expected_as_large(np.log(scale / others), math.log(scale / own))


def _octaves(bins: int) -> float:
    """How many lengths, each twice the one before, a record of so many bins has room for."""
    return math.log2(max(bins / WIDEST_SHARE, 2.0))
