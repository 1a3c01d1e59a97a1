"""The shared base of every detector of live readings: the measuring samples, and blocks of equal time.

A detector searches on blocks (a few thousand of them, however long the record) and then goes back to the
samples to say when.  Blocks hold an interquartile mean, so that a quarter of wild samples moves nothing,
the extremes, the number of changes of value and the noise of the sample-to-sample differences.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.records import (
    BAD,
    MEASURING,
    BoolArray,
    FloatArray,
    IndexArray,
    Record,
    Signal,
    StateLine,
)

SAMPLES_PER_BLOCK = 30  # an interquartile mean of 30 samples is within 0.2 sigma
FEWEST_BLOCKS = 1_500  # short records get smaller blocks, down to one sample each
MOST_BLOCKS = 20_000  # long records get larger ones, so that searching costs the same for all
NORMAL_MAD = 1.4826  # median absolute deviation of a normal law to its standard deviation
SECOND_DIFFERENCE = 6.0**0.5  # standard deviation of x0 - 2 x1 + x2 over that of x, white noise

FEWEST_DIFFERENCES = 8  # a median of fewer says little about the noise of a block
TABLE_CELLS = 2_000_000  # rows are sorted in tables of this size, to bound memory

Counts = NDArray[np.int64]
RowFunction = Callable[[FloatArray, Counts], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """The samples a detector of live readings may see: measuring, finite, not bad, not bridged.

    time (n,), value (n,); index (n,) position in the signal; fresh (n,) True where the sample before is
    not its neighbour in time (a gap, another state or a left-out sample lies between).
    """

    time: TimeArray
    value: FloatArray
    index: IndexArray
    fresh: BoolArray

    def __len__(self) -> int:
        return int(self.time.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Blocks of equal time that hold at least one sample, in time order.

    start (m,) ns; width ns; first (m + 1,) index range in the live samples; slot (m,) running number of
    the block on the unbroken time grid; level, low, high, noise (m,): interquartile mean, extremes,
    standard deviation of the sample-to-sample noise (NaN with fewer than eight usable differences);
    changes (m,): samples that differ from the one before.
    """

    start: TimeArray
    width: int
    slot: IndexArray
    first: IndexArray
    level: FloatArray
    low: FloatArray
    high: FloatArray
    noise: FloatArray
    changes: Counts

    def __len__(self) -> int:
        return int(self.start.size)

    @property
    def count(self) -> Counts:
        """Samples in each block."""
        return np.diff(self.first)


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What is computed once for all detectors of one record.

    interval_s: median time between live samples; quantum: smallest step the record can show (resolution or
    deadband, 0 when continuous); noise: median block noise, at least a quarter of the quantum;
    temperature (m,): median temperature of each block, NaN where none; neighbours: the same by name.
    """

    live: Live
    blocks: Blocks
    interval_s: float
    quantum: float
    noise: float
    temperature: FloatArray
    neighbours: dict[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyedRecord(Record):
    """A record that carries its survey, so that detectors share it without any hidden store."""

    survey: Survey


def surveyed(record: Record) -> Record:
    """Attach the survey; a record without live samples comes back as it is."""
    if isinstance(record, SurveyedRecord):
        return record
    survey = survey_of(record)
    if survey is None:
        return record
    given = {f.name: getattr(record, f.name) for f in fields(Record)}
    return SurveyedRecord(survey=survey, **given)


def survey_of(record: Record) -> Survey | None:
    """The survey of a record: the one it carries, else a new one; None without any live sample."""
    if isinstance(record, SurveyedRecord):
        return record.survey
    if record.value is None:
        return None
    live = live_samples(record.value, record.states)
    if not len(live):
        return None
    interval = float(np.median(np.diff(live.time))) if len(live) > 1 else float(NS_PER_S)
    blocks = make_blocks(live, width=block_width(live))
    sampling = record.value.sampling
    quantum = max(sampling.resolution, sampling.deadband)
    usual = float(np.nanmedian(blocks.noise)) if np.isfinite(blocks.noise).any() else _pooled_noise(live)
    return Survey(
        live=live,
        blocks=blocks,
        interval_s=interval / NS_PER_S,
        quantum=quantum,
        noise=max(usual, quantum / 4),
        temperature=_onto_blocks(record.temperature, blocks),
        neighbours={name: _onto_blocks(signal, blocks) for name, signal in record.neighbours.items()},
    )


def live_samples(signal: Signal, states: StateLine) -> Live:
    """Leave out what is not a live reading; cost linear in samples."""
    time = signal.time
    good = np.isfinite(signal.value) & (signal.quality != BAD) & _measuring(time, states)
    for lo, hi in signal.bridged:
        good[lo:hi] = False
    fresh = np.zeros(time.size, dtype=np.bool_)
    fresh[signal.segments[:, 0]] = True
    index = np.flatnonzero(good)
    if index.size == time.size:
        if index.size:
            fresh[0] = True
        return Live(time=time, value=signal.value, index=index, fresh=fresh)
    kept = fresh[index]
    kept[:1] = True
    kept[1:] |= np.diff(index) != 1
    return Live(time=time[index], value=signal.value[index], index=index, fresh=kept)


def _measuring(time: TimeArray, states: StateLine) -> BoolArray:
    """Mask of the measuring state, by its spans rather than by each sample."""
    edges = np.searchsorted(time, states.spans(MEASURING))
    depth = np.zeros(time.size + 1, dtype=np.int8)
    np.add.at(depth, edges[:, 0], 1)
    np.add.at(depth, edges[:, 1], -1)
    return np.cumsum(depth[:-1], dtype=np.int8) > 0


def block_width(live: Live) -> int:
    """Width of a block in ns: about 30 samples, fewer on short records, more on very long ones.

    The larger of the median and the mean interval is used, so that blocks of a record on exception, whose
    samples come in bursts, hold enough of them.
    """
    n = len(live)
    if n < 2:
        return NS_PER_DAY
    gaps = np.diff(live.time)
    joined = gaps[~live.fresh[1:]]
    usual = int(max(np.median(gaps), joined.mean() if joined.size else 0.0))
    per_block = int(np.clip(n // FEWEST_BLOCKS, 1, SAMPLES_PER_BLOCK))
    widest_needed = -(-int(live.time[-1] - live.time[0]) // MOST_BLOCKS)
    return -(-max(usual * per_block, widest_needed) // usual) * usual


def make_blocks(live: Live, *, width: int) -> Blocks:
    """Cut live samples into blocks of `width` ns; blocks without samples are left out."""
    slot = (live.time - live.time[0]) // width
    first = np.flatnonzero(np.diff(slot, prepend=-1))
    bounds = np.append(first, len(live))
    value = live.value
    moved = np.empty(len(live), dtype=np.bool_)
    moved[0] = False
    np.not_equal(value[1:], value[:-1], out=moved[1:])
    return Blocks(
        start=live.time[0] + slot[first] * width,
        width=width,
        slot=slot[first],
        first=bounds,
        level=midmean(value, first, bounds[1:]),
        low=np.minimum.reduceat(value, first),
        high=np.maximum.reduceat(value, first),
        noise=_block_noise(live, bounds),
        changes=np.add.reduceat(moved, first, dtype=np.int64),
    )


def midmean(value: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Interquartile mean of each value[start:stop] (plain mean below four samples), NaN where empty."""
    return _grouped(value, start, stop, _row_midmean)


def group_median(value: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Median of each value[start:stop], NaN where empty; NaN samples must have been left out."""
    return _grouped(value, start, stop, _row_median)


def _row_midmean(rows: FloatArray, count: Counts) -> FloatArray:
    """Mean of the middle half of each sorted row; `count` valid entries stand first."""
    cut = count // 4
    total = np.cumsum(rows, axis=1)
    line = np.arange(rows.shape[0])
    upper = total[line, count - cut - 1]
    lower = np.where(cut > 0, total[line, np.maximum(cut - 1, 0)], 0.0)
    return np.asarray((upper - lower) / (count - 2 * cut))


def _row_median(rows: FloatArray, count: Counts) -> FloatArray:
    line = np.arange(rows.shape[0])
    return np.asarray((rows[line, (count - 1) // 2] + rows[line, count // 2]) / 2)


def _grouped(value: FloatArray, start: IndexArray, stop: IndexArray, reduce: RowFunction) -> FloatArray:
    """Apply a row function to the sorted groups, groups of like size together in one padded table."""
    count = stop - start
    out = np.full(count.size, np.nan)
    size_class = np.where(count > 0, np.ceil(np.log2(np.maximum(count, 1))).astype(np.int64), -1)
    for each in np.unique(size_class[size_class >= 0]):
        chosen = np.flatnonzero(size_class == each)
        widest = int(count[chosen].max())
        for part in np.array_split(chosen, 1 + chosen.size * widest // TABLE_CELLS):
            out[part] = reduce(_sorted_rows(value, start[part], count[part], widest), count[part])
    return out


def _sorted_rows(value: FloatArray, start: IndexArray, count: Counts, widest: int) -> FloatArray:
    """Table of sorted groups, padded with +inf."""
    column = np.arange(widest)
    rows = value[np.minimum(start[:, None] + column, value.size - 1)]
    if (count < widest).any():
        rows[column >= count[:, None]] = np.inf
    rows.sort(axis=1)
    return rows


def _bends(live: Live) -> tuple[FloatArray, IndexArray]:
    """Absolute second differences over unbroken triples of samples, and the position of their middle."""
    bend = np.abs(live.value[2:] - 2 * live.value[1:-1] + live.value[:-2])
    usable = ~(live.fresh[2:] | live.fresh[1:-1])
    return bend[usable], np.flatnonzero(usable) + 1


def _block_noise(live: Live, first: IndexArray) -> FloatArray:
    """Noise of each block from the median size of second differences: ramps and steps drop out."""
    bend, at = _bends(live)
    inner = np.searchsorted(at, first)
    noise = group_median(bend, inner[:-1], inner[1:]) * NORMAL_MAD / SECOND_DIFFERENCE
    noise[np.diff(inner) < FEWEST_DIFFERENCES] = np.nan
    return noise


def _pooled_noise(live: Live) -> float:
    """Noise of a record whose blocks are too small to have their own."""
    bend, _ = _bends(live)
    return float(np.median(bend) * NORMAL_MAD / SECOND_DIFFERENCE) if bend.size else 0.0


def _onto_blocks(signal: Signal | None, blocks: Blocks) -> FloatArray:
    """Median of another signal over each block; the last value held through a block without samples."""
    if signal is None or not len(signal):
        return np.full(len(blocks), np.nan)
    good = np.isfinite(signal.value) & (signal.quality != BAD)
    time, value = signal.time[good], signal.value[good]
    lo, hi = np.searchsorted(time, blocks.start), np.searchsorted(time, blocks.start + blocks.width)
    median = group_median(value, lo, hi)
    held = np.where(lo > 0, value[np.maximum(lo - 1, 0)], np.nan) if time.size else median
    return np.where(np.isfinite(median), median, held)
