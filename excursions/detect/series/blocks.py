"""Blocks of equal time: what detectors search on before they go back to the samples to say when.

There are a few thousand of them, however long the record.  Each holds an interquartile mean, so that a
quarter of wild samples moves nothing, the extremes and the number of changes of value; groups of them hold
the noise of the sample-to-sample differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.detect.series.groups import Counts, group_median, midmean, trimmed_mean
from excursions.detect.series.live import Live, bends
from excursions.ranks import median
from excursions.records import BAD, BoolArray, FloatArray, IndexArray, Signal

SAMPLES_PER_BLOCK = 30  # an interquartile mean of 30 samples is within 0.2 sigma
FEWEST_BLOCKS = 1_500  # short records get smaller blocks, down to one sample each
MOST_BLOCKS = 20_000  # long records get larger ones, so that searching costs the same for all
FEWEST_DIFFERENCES = 8  # a mean of fewer says little about the noise of a block
EVEN = 32  # instants a block at which a thinned record is read
SAMPLES_PER_NOISE = 24  # second differences that make one noise figure, good to about 20 %
SECOND_DIFFERENCE = 6.0**0.5  # standard deviation of x0 - 2 x1 + x2 over that of x, white noise
# Mean of the lower nine tenths of |x|, x standard normal: (2/0.9)(phi(0) - phi(1.645)).
TRIMMED_HALF_NORMAL = 0.6574


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Blocks of equal time in which the record is known, in time order.

    A block without samples is kept where the recorder was merely silent (its level is then drawn between
    the samples around it, or held) and left out where data are missing or the point was not measuring.

    start (m,) ns; width ns; slot (m,) running number of the block on the unbroken time grid;
    first (m + 1,) index range in the live samples; level, low, high (m,): interquartile mean and extremes;
    changes (m,): samples that differ from the one before; broken (m,): True where blocks are missing
    between this one and the one before.
    """

    start: TimeArray
    width: int
    slot: IndexArray
    first: IndexArray
    level: FloatArray
    low: FloatArray
    high: FloatArray
    changes: Counts
    broken: BoolArray

    def __len__(self) -> int:
        return int(self.start.size)

    @property
    def count(self) -> Counts:
        """Samples in each block."""
        return np.diff(self.first)

    @property
    def width_s(self) -> float:
        """Width in seconds."""
        return self.width / NS_PER_S

    def at(self, instant: int) -> int:
        """Index of the block that holds this instant, or of the last one before it."""
        return max(int(np.searchsorted(self.start, instant, side="right")) - 1, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseBlocks:
    """Noise of stretches long enough to have one: every `step`-th block, joined.

    start (k,) ns; block (k + 1,) index range in the blocks; sigma (k,): standard deviation of the
    sample-to-sample noise, NaN with too few usable differences; samples (k,): differences used.
    """

    start: TimeArray
    block: IndexArray
    sigma: FloatArray
    samples: Counts

    def __len__(self) -> int:
        return int(self.start.size)


def usual_interval(live: Live) -> float:
    """Median time between samples, ns, from at most 50 000 of them spread over the record."""
    stride = max(1, len(live) // 50_000)
    return median(live.time[1::stride] - live.time[:-1:stride])


def block_width(live: Live) -> int:
    """Width of a block in ns: about 30 samples, fewer on short records, more on very long ones.

    The larger of the median and the mean interval is used, so that blocks of a record on exception, whose
    samples come in bursts, hold enough of them.
    """
    n = len(live)
    if n < 2:
        return NS_PER_DAY
    joined = int(live.time[-1]) - int(live.time[0]) - int(np.sum(np.diff(live.time)[live.fresh[1:]]))
    pairs = n - 1 - int(np.count_nonzero(live.fresh[1:]))
    usual = int(max(usual_interval(live), joined / pairs if pairs else 0.0))
    per_block = int(np.clip(n // FEWEST_BLOCKS, 1, SAMPLES_PER_BLOCK))
    widest_needed = -(-(int(live.time[-1]) - int(live.time[0])) // MOST_BLOCKS)
    return -(-max(usual * per_block, widest_needed) // usual) * usual


def make_blocks(live: Live, *, width: int, drawn: bool = True) -> Blocks:
    """Cut live samples into blocks of `width` ns.

    Parameters
    ----------
    live : Live, at least one sample
    width : int, ns
    drawn : bool
        Whether a silent block's level lies on the line between the samples around it (else the last one holds).
    """
    slot, first, count = _occupied(live, width)
    silent = _silent_slots(live, slot, first)
    every = np.sort(np.concatenate([slot, silent])) if silent.size else slot
    place = np.searchsorted(every, slot)
    stop = np.zeros(every.size, dtype=np.int64)
    stop[place] = count
    bounds = np.concatenate([[0], np.cumsum(stop)])
    value = live.value
    level = midmean(value, bounds[:-1], bounds[1:])
    low, high = level.copy(), level.copy()
    low[place], high[place] = np.minimum.reduceat(value, first), np.maximum.reduceat(value, first)
    changes = np.zeros(every.size, dtype=np.int64)
    changes[place] = np.add.reduceat(_moved(value), first, dtype=np.int64)
    if silent.size:
        _fill_silent(live, live.time[0] + every * width, bounds, level, width=width, drawn=drawn)
        low, high = (np.where(np.isnan(edge), level, edge) for edge in (low, high))
    return Blocks(
        start=live.time[0] + every * width,
        width=width,
        slot=every,
        first=bounds,
        level=level,
        low=low,
        high=high,
        changes=changes,
        broken=np.diff(every, prepend=every[0] - 1) > 1,
    )


def _occupied(live: Live, width: int) -> tuple[IndexArray, IndexArray, Counts]:
    """Slots that hold samples, the first sample of each and how many."""
    since = (live.time - live.time[0]).view(np.uint64)  # a span past 292 years still fits unsigned
    begins = np.arange(int(since[-1]) // width + 1, dtype=np.uint64) * np.uint64(width)
    first = np.searchsorted(since, begins)
    count = np.diff(first, append=since.size)
    slot = np.flatnonzero(count)
    return slot, first[slot], count[slot]


def _silent_slots(live: Live, slot: IndexArray, first: IndexArray) -> IndexArray:
    """Empty slots before a sample that continues the one before it."""
    missing = np.diff(slot, prepend=slot[0] - 1) - 1
    silent = np.flatnonzero((missing > 0) & ~live.fresh[first])
    if not silent.size:
        return np.empty(0, dtype=np.int64)
    length = missing[silent]
    offset = np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length)
    return np.asarray(np.repeat(slot[silent] - length, length) + offset)


def _moved(value: FloatArray) -> BoolArray:
    """Whether each sample differs from the one before."""
    moved = np.empty(value.size, dtype=np.bool_)
    moved[0] = False
    np.not_equal(value[1:], value[:-1], out=moved[1:])
    return moved


def _fill_silent(
    live: Live, start: TimeArray, bounds: IndexArray, level: FloatArray, *, width: int, drawn: bool
) -> None:
    """Give silent blocks the level of the last sample before them, or that of the line to the next one."""
    empty = np.flatnonzero(np.isnan(level))
    before = bounds[empty] - 1
    level[empty] = live.value[before]
    if not drawn:
        return
    after = np.minimum(before + 1, len(live) - 1)
    run = np.maximum(live.time[after] - live.time[before], 1)
    share = np.clip((start[empty] + width // 2 - live.time[before]) / run, 0.0, 1.0)
    level[empty] += share * (live.value[after] - live.value[before])


def noise_blocks(live: Live, blocks: Blocks) -> NoiseBlocks:
    """Noise from second differences, in which ramps vanish and a step is two odd ones out.

    A trimmed mean of their sizes rather than a median, so that a value rounded to a coarse lattice still
    tells more noise from less.  `live` may be another signal than the one the blocks were made from.
    """
    bend, broken = bends(live)
    inner = np.searchsorted(live.time[1:-1], np.append(blocks.start, blocks.start[-1] + blocks.width))
    inner -= np.searchsorted(broken, inner)  # by the middle of each triple, the broken ones left out
    usual = float(np.mean(np.diff(inner))) if len(blocks) else 0.0
    step = max(1, int(np.ceil(SAMPLES_PER_NOISE / max(usual, 1e-9)))) if usual > 0 else len(blocks)
    edge = np.append(np.arange(0, len(blocks), min(step, len(blocks))), len(blocks))
    lo, hi = inner[edge[:-1]], inner[edge[1:]]
    sigma = trimmed_mean(bend, lo, hi) / (TRIMMED_HALF_NORMAL * SECOND_DIFFERENCE)
    sigma[hi - lo < FEWEST_DIFFERENCES] = np.nan
    return NoiseBlocks(start=blocks.start[edge[:-1]], block=edge, sigma=sigma, samples=hi - lo)


def evenly(live: Live, blocks: Blocks, *, drawn: bool) -> Live:
    """A thinned record as it stood at 32 even instants of each block: held, or drawn between its samples.

    Across missing data and other states it stood nowhere: what is drawn there is broken off, and has no noise.
    """
    offset = ((np.arange(EVEN) + 0.5) * blocks.width / EVEN).astype(np.int64)
    time = (blocks.start[:, None] + offset).ravel()
    before = np.clip(np.searchsorted(live.time, time, side="right") - 1, 0, len(live) - 1)
    value = np.interp(time, live.time, live.value) if drawn else live.value[before]
    fresh = np.zeros(time.size, dtype=np.bool_)
    fresh[::EVEN] = blocks.broken
    fresh |= live.fresh[np.minimum(before + 1, len(live) - 1)] & (before + 1 < len(live))
    fresh[1:] |= live.fresh[before[1:]] & (before[1:] != before[:-1])
    fresh[:1] = True
    return Live(time=time, value=value, index=before, fresh=fresh)


def onto_blocks(signal: Signal | None, blocks: Blocks) -> FloatArray:
    """Median of another signal over each block; the last value held through a block without samples."""
    if signal is None or not len(signal):
        return np.full(len(blocks), np.nan)
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    time, value = (signal.time, signal.value) if good.all() else (signal.time[good], signal.value[good])
    lo, hi = np.searchsorted(time, blocks.start), np.searchsorted(time, blocks.start + blocks.width)
    median = group_median(value, lo, hi)
    held = np.where(lo > 0, value[np.maximum(lo - 1, 0)], np.nan) if time.size else median
    return np.where(np.isfinite(median), median, held)
