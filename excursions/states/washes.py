"""Automatic washes by their rhythm: short excursions of the reading that return with a constant period.

One short excursion is no wash, and many without a rhythm are none either: they stay for the detectors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray, duration_text
from excursions.ranks import NORMAL_MAD, median, row_median
from excursions.records import WASHING, BoolArray, FloatArray
from excursions.runs import runs
from excursions.states.line import Claim
from excursions.states.reading import Reading
from excursions.states.trace import split_at_gaps

COARSEST_S = 300.0  # a wash of tens of seconds leaves no rhythm in samples further apart
BLOCK_S, BLOCK_SAMPLES, LOOKED_AT = 2_400.0, 32, 64
OUTLYING = 6.0  # robust standard deviations
LONGEST_MIN = 10.0
PERIOD_MIN, PERIOD_LONGEST_H = 20.0, 26.0
PERIOD_BIN = 0.02
STANDS_OUT = 5.0  # times the neighbouring bins
FEWEST = 6
NEXT_FEW = 4  # how many following excursions each is compared with
# Expected accidental partners of an excursion, by the crowd around it, above which it has no beat.
CHANCE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursions:
    """Short excursions: start, end (k,) ns; above (k,) True when the reading went up."""

    start: TimeArray
    end: TimeArray
    above: BoolArray


def washes_by_rhythm(reading: Reading) -> list[Claim]:
    """Claims for washes that keep a constant period; none for unknown quantities or coarse samples."""
    trace = reading.trace
    if not reading.known or trace.interval_s > COARSEST_S or len(trace) < 2 * BLOCK_SAMPLES:
        return []
    found = _one_side(_excursions(reading))
    period = _period(found.start)
    if period is None:
        return []
    member = _in_rhythm(found.start, period, _slack(period, trace.interval_s))
    if np.count_nonzero(member) < FEWEST:
        return []
    text = f"short excursion every {duration_text(period / NS_PER_S)}, {np.count_nonzero(member)} times"
    confidence = min(0.95, 0.6 + 0.02 * np.count_nonzero(member))
    return [
        Claim(start=int(a), end=int(b), code=WASHING, confidence=float(confidence), evidence=text)
        for a, b in zip(found.start[member], found.end[member], strict=True)
    ]


# --- short excursions ----------------------------------------------------------------------------


def _excursions(reading: Reading) -> Excursions:
    trace = reading.trace
    size = max(BLOCK_SAMPLES, round(BLOCK_S / trace.interval_s))
    count = len(trace) // size
    body = trace.value[: count * size].reshape(count, size)
    level, limit = _level_and_limit(body, reading)
    apart = body - level[:, None]
    out = runs((np.abs(apart) > limit[:, None]).ravel())
    out = split_at_gaps(out, trace)
    after = np.minimum(out[:, 1], len(trace) - 1)
    short = trace.time[after] - trace.time[out[:, 0]] <= LONGEST_MIN * NS_PER_MINUTE
    out = out[short]
    return Excursions(
        start=trace.time[out[:, 0]],
        end=trace.time[np.minimum(out[:, 1], len(trace) - 1)],
        above=np.asarray(apart.ravel()[out[:, 0]] > 0),
    )


def _level_and_limit(body: FloatArray, reading: Reading) -> tuple[FloatArray, FloatArray]:
    """Median of each block and how far from it is out of the ordinary there."""
    stride = max(1, body.shape[1] // LOOKED_AT)
    some = body[:, ::stride]
    level = row_median(some)
    spread = NORMAL_MAD * row_median(np.abs(some - level[:, None]))
    moved = np.abs(np.diff(level, prepend=level[:1])) + np.abs(np.diff(level, append=level[-1:]))
    least = max(3 * reading.trace.resolution, 0.5 * reading.point.tolerance_at(median(level)))
    return level, np.maximum(OUTLYING * spread + moved, least)


def _one_side(found: Excursions) -> Excursions:
    """The commoner direction only: a wash always pulls the reading to the same side."""
    up = np.count_nonzero(found.above)
    keep = found.above == (up >= found.above.size - up)
    return Excursions(start=found.start[keep], end=found.end[keep], above=found.above[keep])


# --- rhythm --------------------------------------------------------------------------------------


def _period(start: TimeArray) -> float | None:
    """Period [ns] at which intervals between excursions pile up, None when they do not."""
    if start.size < FEWEST:
        return None
    intervals = np.concatenate([start[k:] - start[:-k] for k in range(1, min(NEXT_FEW, start.size - 1) + 1)])
    low, high = PERIOD_MIN * NS_PER_MINUTE, PERIOD_LONGEST_H * NS_PER_HOUR
    intervals = intervals[(intervals >= low) & (intervals <= high)]
    if intervals.size < FEWEST:
        return None
    bins = np.floor(np.log(intervals / low) / PERIOD_BIN).astype(np.int64)
    count = np.bincount(bins, minlength=int(np.log(high / low) / PERIOD_BIN) + 2)
    pair = count + np.append(count[1:], 0)
    around = np.convolve(count, np.ones(21) / 21, mode="same")
    pile = np.flatnonzero((pair >= FEWEST - 1) & (pair > STANDS_OUT * (around - pair / 21)))
    if not pile.size:
        return None
    shortest = pile[pair[pile] >= 0.6 * pair[pile].max()][0]
    return float(np.median(intervals[(bins == shortest) | (bins == shortest + 1)]))


def _slack(period: float, interval_s: float) -> float:
    """How far an occasion may lie off the beat [ns]: a timer of seconds, and where samples fall."""
    return max(0.01 * period, 2 * interval_s * NS_PER_S, 20.0 * NS_PER_S)


def _in_rhythm(start: TimeArray, period: float, slack: float) -> BoolArray:
    """Excursions with at least two partners one or two periods away."""
    partners = np.zeros(start.size, dtype=np.int64)
    for beats in (-2, -1, 1, 2):
        aim = start + round(beats * period)
        partners += np.searchsorted(start, aim + round(slack)) > np.searchsorted(start, aim - round(slack))
    wide = round(2.5 * period)
    crowd = np.searchsorted(start, start + wide) - np.searchsorted(start, start - wide)
    by_chance = crowd / (5 * period) * 2 * slack * 4  # in a burst of spikes every beat has a partner
    return np.asarray((partners >= 2) & (by_chance <= CHANCE))
