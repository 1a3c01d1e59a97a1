"""A signal as the states see it: finite samples only, with spells above a limit and time-weighted quantiles."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import median_filter

from excursions.clock import NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.once import Once
from excursions.ranks import at_rank, quantile, quantiles
from excursions.records import FloatArray, IndexArray, Signal
from excursions.runs import runs

WEIGHED = 200_000  # samples that quantiles are taken from, evenly spread
SAMPLED = 64  # even instants of a stretch that show what it is like
TOLD = 200  # instants of the passed time that tell shares of it to half a percent


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Finite samples of a signal: time (n,) ns, value (n,), and how it was recorded.

    interval_s: time between samples where it is busy [s]; usual_s: median time between samples [s]; gap_s:
    longer silence is missing data [s]; held: a value stands until the next sample (recorded on change);
    drawn: a straight line joins two samples (any rule but exception); holes: samples that follow a longer silence,
    None where they were not looked for; once: what several ask of it.
    """

    time: TimeArray
    value: FloatArray
    interval_s: float
    usual_s: float
    gap_s: float
    resolution: float
    held: bool
    drawn: bool
    holes: IndexArray | None = None
    once: Once = field(init=False, default_factory=Once, compare=False, repr=False)

    def __len__(self) -> int:
        return int(self.time.size)

    def slice(self, start: int, end: int) -> slice:
        """Index range of the samples in [start, end)."""
        lo, hi = np.searchsorted(self.time, (start, end))
        return slice(int(lo), int(hi))

    def last_at(self, when: TimeArray) -> IndexArray:
        """The last sample at or before instants (k,); -1 before the first."""
        every = self.once("every", lambda: _even_step(self.time))
        if every:  # an export on a clock without a hole: where a sample stands is a division
            return np.asarray(np.clip((when - self.time[0]) // every, -1, len(self) - 1))
        return np.searchsorted(self.time, when, side="right") - 1

    def sampled(self, start: int, end: int) -> FloatArray:
        """What the record says at even instants of [start, end), also where it kept no sample; gaps left out."""
        value = self.at(start + ((np.arange(SAMPLED) + 0.5) * ((end - start) / SAMPLED)).astype(np.int64))
        return value[~np.isnan(value)]

    def at(self, when: TimeArray) -> FloatArray:
        """What the record says at instants (n,): held between samples, or on the line that joins them; NaN in gaps and outside of it."""
        found = np.full(when.size, np.nan)
        before = self.last_at(when)
        inside = (before >= 0) & (when <= self.time[-1])
        when, before = when[inside], before[inside]
        after = np.minimum(before + 1, len(self) - 1)
        apart = self.time[after] - self.time[before]
        value = self.value[before]
        if self.drawn:
            share = (when - self.time[before]) / np.maximum(apart, 1)
            value = value + share * (self.value[after] - value)
        found[inside] = np.where(apart <= self.gap_s * NS_PER_S, value, np.nan)
        return found


def _even_step(time: TimeArray) -> int:
    """Time between samples [ns] where it is always the same, else 0."""
    step = np.diff(time)
    return int(step[0]) if step.size and (step == step[0]).all() else 0


def trace_of(signal: Signal | None) -> Trace | None:
    """Finite samples of a signal, None when there are none; bridged samples are left out, nobody measured them."""
    if signal is None or not len(signal):
        return None
    return signal.once("trace", lambda: _trace_of(signal))


def _trace_of(signal: Signal) -> Trace | None:
    good = np.isfinite(signal.value)
    for lo, hi in signal.bridged:
        good[lo:hi] = False
    every = bool(good.all())
    if not every and not good.any():
        return None
    sampling = signal.sampling
    usual = sampling.interval_s if math.isfinite(sampling.interval_s) else 60.0
    held = sampling.on_change
    time = signal.time if every else signal.time[good]
    return Trace(
        time=time,
        value=signal.value if every else signal.value[good],
        interval_s=min(usual, _busy_interval_s(time)) if held else usual,
        usual_s=usual,
        gap_s=sampling.gap_s if math.isfinite(sampling.gap_s) else math.inf,
        resolution=sampling.resolution,
        held=held,
        drawn=sampling.kind != "exception",
        holes=holes_in(time, sampling.gap_s),
    )


def holes_in(time: TimeArray, gap_s: float) -> IndexArray:
    """Samples before which the record was silent for longer than `gap_s`."""
    if not math.isfinite(gap_s):
        return np.empty(0, dtype=np.int64)
    return np.flatnonzero(np.diff(time) > gap_s * NS_PER_S) + 1


def _busy_interval_s(time: TimeArray) -> float:
    """Interval that one sample in a hundred does not exceed [s]: about the scan interval of a sparing recorder."""
    if time.size < 2:
        return math.inf
    steps = np.diff(time)
    return quantile(steps[:: max(1, steps.size // WEIGHED)], 0.01) / NS_PER_S


@dataclass(frozen=True, slots=True)
class Weighed:
    """Values (n,) that time was spent at, and how the time passed goes with their ranks.

    passed : (n,) seconds passed at or below each value, which then stand in order; None where all weigh alike or nothing
    each : how long [ns] each value stood where all weigh alike, in whatever order they are; 0 where no time passed
    """

    value: FloatArray
    passed: FloatArray | None = None
    each: int = 0

    def ranks(self, shares: Sequence[float]) -> list[int]:
        """Ranks of the values at or below which these shares of the time were spent; where time passed."""
        last = self.value.size - 1
        if self.passed is not None:
            at = np.searchsorted(self.passed, np.array(shares) * self.passed[-1])
            return [min(int(rank), last) for rank in at]
        everything = self._passed(last)
        return [bisect_left(range(last), share * everything, key=self._passed) for share in shares]

    def _passed(self, rank: int) -> float:
        return float(self.each * (rank + 1)) / NS_PER_S


def time_quantiles(trace: Trace, shares: tuple[float, ...]) -> tuple[float, ...]:
    """Time-weighted quantiles: each sample counts for the time until the next (a gap counts as none)."""
    return trace.once(f"quantiles {shares}", lambda: _time_quantiles(trace, shares))


def _time_quantiles(trace: Trace, shares: tuple[float, ...]) -> tuple[float, ...]:
    seen = trace.once("weighed", lambda: _weighed(trace))
    if seen.passed is not None:
        return tuple(float(seen.value[rank]) for rank in seen.ranks(shares))
    if seen.each:
        return tuple(at_rank(seen.value, rank) for rank in seen.ranks(shares))
    return quantiles(seen.value, shares)


def share_within(trace: Trace, low: float, high: float) -> float:
    """Share of the time that the record spends at values in [low, high], told to half a percent."""
    shares = np.linspace(0.5 / TOLD, 1 - 0.5 / TOLD, TOLD).tolist()
    seen = trace.once("weighed", lambda: _weighed(trace))
    if seen.passed is not None:
        first, past = np.searchsorted(seen.value, low), np.searchsorted(seen.value, high, side="right")
    elif seen.each:
        first, past = np.count_nonzero(seen.value < low), np.count_nonzero(seen.value <= high)
    else:
        return float(np.mean([low <= at <= high for at in quantiles(seen.value, shares)]))
    ranks = trace.once("ranks told", lambda: seen.ranks(shares))
    return float(np.mean([first <= rank < past for rank in ranks]))


def _weighed(trace: Trace) -> Weighed:
    stride = max(1, len(trace) // WEIGHED)
    value = trace.value[::stride]
    weight = np.diff(trace.time[::stride], append=trace.time[-1])
    if weight.max() / NS_PER_S > stride * trace.gap_s:
        weight[weight / NS_PER_S > stride * trace.gap_s] = 0
    each = int(weight.max())
    if not each:
        return Weighed(value)
    alike = weight == each
    if np.count_nonzero(alike) == np.count_nonzero(weight):  # a rank is found without putting all in order
        return Weighed(value[alike], each=each)
    order = np.argsort(value)  # whole nanoseconds add up to the same sum in whatever order equal values stand
    return Weighed(value[order], np.cumsum(weight[order]) / NS_PER_S)


def between(cuts: IndexArray, size: int) -> IndexArray:
    """Index ranges [from, to), shape (k, 2), into which `cuts` divide `size` samples."""
    ranges = np.empty((cuts.size + 1, 2), dtype=np.int64)
    ranges[0, 0], ranges[-1, 1] = 0, size
    ranges[1:, 0] = ranges[:-1, 1] = cuts
    return ranges


def spells(trace: Trace, *, on: float, off: float) -> IndexArray:
    """Index ranges, shape (k, 2), of the stretches at or above `off` that reach `on`; a gap ends a stretch."""
    ranges = split_at_gaps(runs(trace.value >= off), trace)
    if not ranges.size:
        return ranges
    edges = ranges.ravel()
    inner = edges[:-1] if edges[-1] == len(trace) else edges
    highest = np.maximum.reduceat(trace.value, inner)[::2]
    return ranges[highest >= on]


def split_at_gaps(ranges: IndexArray, trace: Trace) -> IndexArray:
    """Cut index ranges where a silence longer than the gap lies between two samples."""
    if not ranges.size or not math.isfinite(trace.gap_s):
        return ranges
    gaps = trace.holes if trace.holes is not None else holes_in(trace.time, trace.gap_s)
    owner = np.searchsorted(ranges[:, 0], gaps, side="right") - 1
    inside = (
        (owner >= 0) & (gaps > ranges[np.maximum(owner, 0), 0]) & (gaps < ranges[np.maximum(owner, 0), 1])
    )
    cuts = gaps[inside]
    return np.sort(np.concatenate([ranges.ravel(), cuts, cuts])).reshape(-1, 2)


def join(ranges: IndexArray, time: TimeArray, within_s: float) -> IndexArray:
    """Join index ranges whose samples are at most `within_s` apart."""
    if ranges.shape[0] < 2:
        return ranges
    apart = time[ranges[1:, 0]] - time[ranges[:-1, 1] - 1] > within_s * NS_PER_S
    return np.column_stack([ranges[np.append(True, apart), 0], ranges[np.append(apart, True), 1]])


def crossing(trace: Trace, before: int, after: int, limit: float) -> int:
    """Instant (ns) at which the line from sample `before` to sample `after` passes `limit`.

    Outside the record, and where the line does not pass the limit between the two, the sample inside counts.
    """
    if before < 0 or after >= len(trace):
        return int(trace.time[after if before < 0 else before])
    t0, t1 = int(trace.time[before]), int(trace.time[after])
    v0, v1 = float(trace.value[before]), float(trace.value[after])
    share = (limit - v0) / (v1 - v0) if v1 != v0 else 0.0
    return t0 + round(min(max(share, 0.0), 1.0) * (t1 - t0))


def around_its_level(
    trace: Trace, every_min: float, level_h: float
) -> tuple[TimeArray, FloatArray, FloatArray]:
    """Even instants (n,) of a record, its value there, as held since the last sample, and the median of the hours around each."""
    step = round(every_min * NS_PER_MINUTE)
    when = trace.time[0] + np.arange(int(trace.time[-1] - trace.time[0]) // step, dtype=np.int64) * step
    value = trace.value[trace.last_at(when)]
    return when, value, median_filter(value, size=round(level_h * 60.0 / every_min) | 1, mode="nearest")
