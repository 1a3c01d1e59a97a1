"""How a signal was recorded, measured from the record itself: no setting, no guess from a name but "average"."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_S, TimeArray
from excursions.records import BAD, ByteArray, FloatArray, Sampling

STATISTIC = 100_000  # differences that quantiles are taken from; extremes are always exact
GRID_SHARE = 0.8  # a grid: this share of intervals is the usual one
GRID_TOLERANCE = 0.1
ODD_SHARE = 0.001  # other intervals below this share are holes, whatever the changes look like
SHARP = 0.45
SPARSE_SAMPLES = 12  # fewer samples show no rule of recording
GRID_GAP = 3.5  # two samples in a row may be late before data count as missing
SILENT_GAP = 10.0  # times the 99 % quantile: without a heartbeat only an absurd silence is missing data
HEARTBEAT_GAP = 1.5  # a heartbeat may be late by half
HEARTBEAT_BIN = 0.03
HALVING = 24  # bins from half an interval to just below it
_AVERAGE = re.compile(r"(?<![a-z])(avg|average|mean|mittel|mw)(?![a-z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Steps:
    """An evenly thinned view on intervals [s] and changes of a record."""

    interval: FloatArray
    change: FloatArray


def describe(
    time: TimeArray, value: FloatArray, quality: ByteArray, *, resolution: float, words: str = ""
) -> Sampling:
    """Describe the recording rule of one signal.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Strictly increasing, ns UTC.
    value, quality : ndarray, shape (n,)
        Canonical unit, NaN where bad.
    resolution : float
        Smallest step, same unit as `value`.
    words : str
        Tag name and description; only a word for "average" in them is used.
    """
    bad = float(np.count_nonzero(quality == BAD) / time.size) if time.size else 0.0
    if time.size < 2:
        return Sampling(kind="sparse", resolution=resolution, share_bad=bad)
    steps = _thinned(time, value)
    usual = float(np.median(steps.interval))
    longest = float(np.diff(time).max()) / NS_PER_S
    heartbeat = _heartbeat(steps.interval)
    if time.size < SPARSE_SAMPLES:
        kind = "sparse"
    elif _is_grid(steps, usual, heartbeat):
        kind, heartbeat = _grid_kind(value, words, resolution), math.nan
    else:
        kind = _sparing_kind(steps, heartbeat)
    return Sampling(
        kind=kind,
        interval_s=usual,
        heartbeat_s=heartbeat,
        gap_s=_gap(kind, steps.interval, usual, heartbeat),
        resolution=resolution,
        deadband=_deadband(steps, heartbeat) if kind in ("exception", "swinging") else 0.0,
        longest_silence_s=longest,
        share_bad=bad,
    )


def _thinned(time: TimeArray, value: FloatArray) -> _Steps:
    stride = max(1, time.size // STATISTIC)
    interval = (time[1::stride] - time[:-1:stride]) / NS_PER_S
    return _Steps(interval=interval, change=np.abs(value[1::stride] - value[:-1:stride]))


def _is_grid(steps: _Steps, usual: float, heartbeat: float) -> bool:
    """Whether samples were taken by the clock rather than by the size of the change.

    A busy signal recorded on exception also shows mostly its scan interval, a quiet one mostly its
    heartbeat.  They differ from a clock in the other samples: among those small changes never occur.
    """
    near = np.abs(steps.interval - usual) <= GRID_TOLERANCE * usual
    if np.mean(near) < GRID_SHARE:
        return False
    early = steps.interval[steps.interval < (1 - GRID_TOLERANCE) * usual]
    if (
        early.size > 0.01 * near.size
        and np.mean(np.abs(early / np.median(early) - 1) <= GRID_TOLERANCE) < GRID_SHARE
    ):
        return False  # a clock may change its rate, but it has no early samples of all lengths
    if np.mean(~near) <= ODD_SHARE:
        return True
    return not _begins_sharply(
        _moves(_Steps(interval=steps.interval[~near], change=steps.change[~near]), heartbeat)
    )


def _begins_sharply(moved: FloatArray) -> bool:
    """Whether sizes of changes begin at a threshold instead of reaching down to nothing.

    For a law with some density at zero the 1 % quantile is a tenth of the 10 % quantile; behind a dead band
    both lie close to it.
    """
    if moved.size < SPARSE_SAMPLES:
        return False
    least, low = np.quantile(moved, [0.01, 0.1])
    return bool(least > SHARP * low)


def _grid_kind(value: FloatArray, words: str, resolution: float) -> str:
    if _AVERAGE.search(words.lower().replace("_", " ")):
        return "averages"
    return "interpolated" if _share_straight(value, resolution) > 0.3 else "grid"


def _share_straight(value: FloatArray, resolution: float) -> float:
    """Share of samples that lie exactly half way between different neighbours, where steps are well resolved."""
    stride = max(1, value.size // STATISTIC)
    before, here, after = value[:-2:stride], value[1:-1:stride], value[2::stride]
    moving = np.abs(after - before) > 20 * resolution  # else rounding makes straight lines by itself
    moving &= np.isfinite(before) & np.isfinite(here) & np.isfinite(after) & (after != before)
    if np.count_nonzero(moving) < max(SPARSE_SAMPLES, 0.01 * here.size):
        return 0.0
    bend = np.abs(after - 2 * here + before)[moving]
    size = np.abs(after)[moving] + np.abs(before)[moving]
    return float(np.mean(bend <= np.maximum(resolution * 1.01, 1e-12 * size)))


def _heartbeat(interval: FloatArray) -> float:
    """Longest silence the recorder allows itself [s]: a pile of equal intervals with almost none longer."""
    logs = np.log(interval)
    bins = np.floor((logs - logs.min()) / HEARTBEAT_BIN).astype(np.int64)
    count = np.bincount(bins)
    paired = count + np.append(count[1:], 0)  # a pile may straddle an edge
    longer = interval.size - np.cumsum(count) - np.append(count[1:], 0)
    before = np.concatenate([np.zeros(HALVING), np.cumsum(count)])
    usual = (
        2 * (before[HALVING - 1 : -1] - before[:-HALVING]) / (HALVING - 1)
    )  # a pair of bins, from half to here
    enough = paired >= max(3.0, 0.002 * interval.size)
    rare = longer <= np.maximum(0.01 * interval.size, 0.2 * paired)
    shorter = np.cumsum(count) - count  # a scan interval is a pile too, but nothing is shorter than it
    early = shorter >= max(3.0, 0.01 * interval.size)
    pile = np.flatnonzero(enough & rare & early & (paired > 4 * usual))
    if not pile.size:
        return math.nan
    top = pile[np.argmax(paired[pile])]
    inside = (bins == top) | (bins == top + 1)
    return float(np.median(interval[inside]))


def _sparing_kind(steps: _Steps, heartbeat: float) -> str:
    """Exception, swinging door or plain sparse: by how sharply the sizes of the changes begin."""
    moved = _moves(steps, heartbeat)
    if moved.size < SPARSE_SAMPLES:
        return "exception" if math.isfinite(heartbeat) else "sparse"
    return "exception" if _begins_sharply(moved) else "swinging"


def _moves(steps: _Steps, heartbeat: float) -> FloatArray:
    """Sizes of the changes that the recorder itself chose to record."""
    free = np.isfinite(steps.change)
    if math.isfinite(heartbeat):
        free &= steps.interval < heartbeat * (1 - HEARTBEAT_BIN)
    return steps.change[free]


def _deadband(steps: _Steps, heartbeat: float) -> float:
    """Change below which nothing is recorded, from what is just about never seen to be smaller."""
    moved = _moves(steps, heartbeat)
    moved = moved[moved > 0]
    return float(np.quantile(moved, 0.01)) if moved.size >= SPARSE_SAMPLES else 0.0


def _gap(kind: str, interval: FloatArray, usual: float, heartbeat: float) -> float:
    if kind in ("grid", "averages", "interpolated"):
        return max(GRID_GAP * usual, 2.5 * float(np.quantile(interval, 0.95)))
    if math.isfinite(heartbeat):
        return HEARTBEAT_GAP * heartbeat
    if interval.size < SPARSE_SAMPLES:
        return SILENT_GAP * float(interval.max())
    return SILENT_GAP * float(np.quantile(interval, 0.99))
