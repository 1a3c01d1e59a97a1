"""Periodograms of chunks of an even record over their own background: what a line is looked for in.

References
----------
.. [1] J. D. Scargle, "Studies in astronomical time series analysis II", Astrophysical Journal 263 (1982)
   835: exponential law of the normalised periodogram and its false-alarm probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from excursions.clock import NS_PER_S
from excursions.detect.series.live import Live
from excursions.ranks import median, row_median
from excursions.records import FloatArray, IndexArray

CHUNKS = (1_024, 256)  # samples; the longest of which the record holds sixteen
FEWEST_CHUNKS = 16
GROUP = 16  # neighbouring bins that make the background
MEDIAN_OF_EXPONENTIAL = math.log(2)
HANN_GAIN = 0.5
BEGIN, FEWEST_AT_BEGIN = 4, 4  # a quarter of the chunks is how the record begins, and at least so many chunks


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectra:
    """Ratios to the background (chunks, bins), amplitudes, first sample of each chunk, chunk length, spacing."""

    ratio: FloatArray
    amplitude: FloatArray
    first: IndexArray
    length: int
    step_s: float


def spectra_of(live: Live, *, floor: float) -> Spectra | None:
    """Periodograms of the chunks over their background."""
    if len(live) < FEWEST_CHUNKS * CHUNKS[-1]:
        return None
    length = next(size for size in CHUNKS if len(live) >= FEWEST_CHUNKS * size or size == CHUNKS[-1])
    step = median(np.diff(live.time[:: max(1, len(live) // 100_000)]))
    step /= max(1, len(live) // 100_000)
    first = _even_chunks(live, length, step)
    if first.size < FEWEST_CHUNKS:
        return None
    rows = live.value[first[:, None] + np.arange(length)]
    ramp = np.linspace(-0.5, 0.5, length)
    rows = rows - rows.mean(axis=1, keepdims=True)
    rows -= (rows @ ramp / (ramp @ ramp))[:, None] * ramp
    rows *= np.hanning(length)
    power = np.abs(np.fft.rfft(rows, axis=1)[:, 1 : length // 2 + 1]) ** 2
    power += (floor**2 / 12) * float(np.sum(np.hanning(length) ** 2)) * 0.1 + 1e-300
    ratio = power / _background(power)
    ratio[:, -1] = _of_two(ratio[:, -1])  # two samples a cycle: the last bin
    usual = np.maximum(_usual(ratio) / MEDIAN_OF_EXPONENTIAL, 1.0)
    amplitude = 2 * np.sqrt(power) / (HANN_GAIN * length)
    return Spectra(
        ratio=ratio / usual, amplitude=amplitude, first=first, length=length, step_s=step / NS_PER_S
    )


def _of_two(ratio: FloatArray) -> FloatArray:
    """Ratios of a bin that has a cosine and no sine, brought to the law of those that have both.

    It is chi-squared with one degree of freedom, whose tail is far heavier than the exponential one: each becomes the value
    that is as improbable there.
    """
    return np.asarray(-(math.log(2) + log_ndtr(-np.sqrt(ratio))))


def _usual(ratio: FloatArray) -> FloatArray:
    """Usual ratio of every bin (bins,), of chunks in time order: over the record, or over its first part, where it was less.

    What is there in most of a record but not at its begin came with time, however long it has stayed since.
    """
    first = ratio[: max(len(ratio) // BEGIN, FEWEST_AT_BEGIN)]
    return np.minimum(*(row_median(np.ascontiguousarray(part.T)) for part in (ratio, first)))


def _even_chunks(live: Live, length: int, step: float) -> IndexArray:
    """First samples of chunks without a break and with even spacing, laid end to end in each stretch."""
    start = np.flatnonzero(live.fresh)
    stop = np.append(start[1:], len(live))
    firsts = [
        np.arange(a, b - length + 1, length) for a, b in zip(start, stop, strict=True) if b - a >= length
    ]
    if not firsts:
        return np.empty(0, dtype=np.int64)
    first = np.concatenate(firsts)
    span = (live.time[first + length - 1] - live.time[first]) / (length - 1)
    return np.asarray(first[np.abs(span - step) < 0.02 * step])


def _background(power: FloatArray) -> FloatArray:
    """Median of groups of bins, drawn through their middles on a logarithmic scale, as the mean of an exponential."""
    groups = power.shape[1] // GROUP
    middle = row_median(power[:, : groups * GROUP].reshape(-1, GROUP)).reshape(power.shape[0], groups)
    log = np.log(middle / MEDIAN_OF_EXPONENTIAL)
    place = (np.arange(power.shape[1]) + 0.5) / GROUP - 0.5
    lower = np.clip(np.floor(place).astype(np.int64), 0, groups - 2)
    share = place - lower
    return np.asarray(np.exp(log[:, lower] * (1 - share) + log[:, lower + 1] * share))
