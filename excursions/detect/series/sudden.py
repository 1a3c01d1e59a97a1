"""Changes of level from one sample to the next, among samples rather than blocks.

Method: at every sample the gap between the four values before and the four after: how far the lowest of the
one side lies above the highest of the other.  Noise and single wild samples leave no gap, a slow change a
small one.  What the values on either side walk between two samples is taken off: a medium that follows a
set-point keeps moving after its fastest moment, a probe that jumps does not.  The largest gap of each block is
one chance; gaps that the tail of the others does not explain are changes.  This tells a jump from a set-point
that is walked to, however often the process does the latter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.blocks import Blocks
from excursions.detect.series.live import PIECE, Live
from excursions.detect.series.scan import SUSPICION, Change
from excursions.detect.series.tails import expected_each, outlying
from excursions.ranks import at_rank, median, quantile
from excursions.records import FloatArray, IndexArray, Sampling

SIDE = 4  # samples on either side
LEAST_NOISE = 2.0  # usual noises that a gap must measure
BESIDE = 16  # samples further out on either side that must show the change as well
KEPT = 0.5  # of the gap that they must still show
FEWEST_BLOCKS = 48
TALLEST = 200  # jumps that show how tall jumps of this record thin out
LATE = 2.0  # scans within which a swinging door keeps the sample before a jump


def gaps(value: FloatArray) -> FloatArray:
    """Signed gap before each sample (n,); 0 where the two sides overlap or do not fit."""
    out = np.zeros(value.size)
    for start in range(0, value.size - 2 * SIDE + 1, PIECE):
        part = _gaps(value[start : start + PIECE + 2 * SIDE - 1])
        out[start + SIDE : start + SIDE + part.size] = part
    return out


def _gaps(value: FloatArray) -> FloatArray:
    """Gaps at samples SIDE to n - SIDE of a piece short enough for the processor's own memory."""
    low, high = np.minimum(value[1:], value[:-1]), np.maximum(value[1:], value[:-1])
    low, high = np.minimum(low[2:], low[:-2]), np.maximum(high[2:], high[:-2])
    up, down = low[SIDE:] - high[:-SIDE], low[:-SIDE] - high[SIDE:]
    return np.asarray(np.maximum(up, 0.0) - np.maximum(down, 0.0))  # one of the two is never above 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What a recorder did between two samples: the last value held until `longest_s` before the next one
    (kept on exception), or a line drawn of which a jump has `drawn_s` (swinging door); infinite otherwise [s]."""

    longest_s: float = math.inf
    drawn_s: float = math.inf

    @staticmethod
    def of(sampling: Sampling) -> Way:
        """From how a signal was recorded."""
        short = sampling.shortest_s if sampling.shortest_s > 0 else math.inf
        if sampling.kind == "swinging":
            return Way(drawn_s=LATE * short)
        return Way(longest_s=short) if sampling.kind == "exception" else Way()

    def share(self, live: Live, at: IndexArray) -> FloatArray:
        """Share of each change before samples `at` that can have come at once."""
        return np.asarray(np.minimum(1.0, self.drawn_s / np.maximum(_between(live, at), 1e-9)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Jumps:
    """The largest jump of every block that holds samples: at (k,) its first sample after, gap (k,) signed gap
    there, size (k,) what is left of it when the walk on either side is taken off, never below nil."""

    at: IndexArray
    gap: FloatArray
    size: FloatArray


def jumps(live: Live, blocks: Blocks, every_gap: FloatArray, way: Way) -> Jumps:
    """One jump a block.

    Parameters
    ----------
    live, blocks : the record, `blocks` made from `live`
    every_gap : ndarray, shape (n,), from :func:`gaps`; not changed
    way : Way
        What the recorder did between two samples.
    """
    gap = every_gap.copy()
    breaks = np.flatnonzero(live.fresh)
    for away in range(1 - SIDE, SIDE):
        gap[np.clip(breaks + away, 0, gap.size - 1)] = 0.0  # no gap across a break
    held = np.flatnonzero(blocks.count > 0)
    start = blocks.first[held]
    high, low = np.maximum.reduceat(gap, start), -np.minimum.reduceat(gap, start)
    most = np.maximum(high, low)
    hit = np.flatnonzero(np.abs(gap) == np.repeat(most, np.diff(np.append(start, gap.size))))
    at = hit[np.searchsorted(hit, start)]
    return Jumps(at=at, gap=gap[at], size=np.maximum(most * way.share(live, at) - walked(live, at, way), 0.0))


def walked(live: Live, at: IndexArray, way: Way) -> FloatArray:
    """What the values on either side of samples `at` (k,) walk in the time the jump can have taken."""
    before, moment = np.maximum(at - 1, 0), np.minimum(at, len(live) - 1)
    last, first = np.maximum(at - SIDE, 0), np.minimum(at + SIDE - 1, len(live) - 1)
    pace = np.maximum(_pace(live, last, before), _pace(live, moment, first))
    return np.asarray(pace * np.minimum(_between(live, at), way.longest_s))


def loss(live: Live, way: Way, *, share: float) -> float:
    """What the values around it take off the size of a jump in this share of the record, by putting jumps everywhere.

    A jump S leaves S less what the one side reaches over the other, less the walk: that is counted over at
    most 20 000 samples, for jumps up and down.
    """
    if len(live) < 4 * SIDE:
        return math.inf
    at = np.arange(SIDE, len(live) - SIDE, max(1, len(live) // 10_000))
    near = live.value[at + np.arange(-SIDE, SIDE)[:, None]]  # compared sample beside sample
    before, after = near[:SIDE], near[SIDE:]
    up, down = before.max(axis=0) - after.min(axis=0), after.max(axis=0) - before.min(axis=0)
    return quantile(np.concatenate([up, down]) + np.tile(walked(live, at, way), 2), share)


def _between(live: Live, at: IndexArray) -> FloatArray:
    """Seconds between each sample and the one before."""
    before, moment = np.maximum(at - 1, 0), np.minimum(at, len(live) - 1)
    return np.asarray((live.time[moment] - live.time[before]) / NS_PER_S)


def _pace(live: Live, lo: IndexArray, hi: IndexArray) -> FloatArray:
    """How fast the reading walks between two samples, unit per second."""
    span = np.maximum(live.time[hi] - live.time[lo], 1) / NS_PER_S
    return np.asarray(np.abs(live.value[hi] - live.value[lo]) / span)


def sudden_changes(live: Live, blocks: Blocks, every: Jumps, *, noise: float) -> tuple[Change, ...]:
    """Changes from sample to sample that no other jump of the record explains.

    Parameters
    ----------
    live, blocks : the record, `blocks` made from `live`
    every : from :func:`jumps`
    noise : float
        Usual noise, the reading's unit.
    """
    if len(blocks) < FEWEST_BLOCKS or len(live) < 4 * len(blocks):
        return ()
    unit = max(noise, 1e-12)
    chosen, bulk = standing_out(every.size, unit)
    chance = expected_each(bulk, every.size[chosen] + unit)
    found = []
    for i, expected in zip(chosen, chance, strict=True):
        change = _change(live, blocks, int(every.at[i]), float(every.gap[i]), unit, float(expected))
        if change is not None:
            found.append(change)
    return tuple(found)


def standing_out(size: FloatArray, unit: float) -> tuple[IndexArray, FloatArray]:
    """Jumps (k,) that the tallest of the others do not explain, and those others, one noise higher each."""
    tall = _tallest(size)
    mark = outlying(size[tall] + unit, at_most=SUSPICION) & (size[tall] > LEAST_NOISE * unit)
    return tall[mark], np.sort(size[tall[~mark]] + unit)


def _tallest(size: FloatArray) -> IndexArray:
    """Places of the largest sizes (k,), in order; of equal ones the last."""
    if size.size <= TALLEST:
        return np.arange(size.size)
    least = at_rank(size, size.size - TALLEST)
    larger = np.flatnonzero(size > least)
    return np.sort(np.concatenate([larger, np.flatnonzero(size == least)[larger.size - TALLEST :]]))


def _change(live: Live, blocks: Blocks, at: int, gap: float, spread: float, expected: float) -> Change | None:
    """The change at a sample, when the samples further out changed with it."""
    before = live.value[max(at - SIDE - BESIDE, 0) : at]
    after = live.value[at + SIDE : at + SIDE + BESIDE]
    if not before.size or not after.size:
        return None
    moved = median(after) - median(before)
    if moved * np.sign(gap) < KEPT * abs(gap):
        return None
    block = blocks.at(int(live.time[at]))
    middle = int(live.time[at]) - int(blocks.start[block])
    place = block if middle < blocks.width // 2 else min(block + 1, len(blocks) - 1)
    return Change(
        at=place,
        width=2,
        size=moved,
        spread=spread,
        expected=expected,
        across=bool(blocks.broken[place]),
        sudden=True,
    )


def together(slow: tuple[Change, ...], fast: tuple[Change, ...]) -> tuple[Change, ...]:
    """Both lists as one; a fast change takes the place of slow ones within two blocks of it."""
    kept = [one for one in slow if not any(abs(one.at - other.at) <= 2 for other in fast)]
    return tuple(sorted([*kept, *fast], key=lambda change: change.at))
