"""How a historian drops samples: dead band with heartbeat, and swinging door.

Both rules are sequential, so a record is cut into lanes that run side by side, each from a guess of what
the lane before it left behind.  Lanes whose guess was wrong run again until none changes: the result
equals the plain loop, sample for sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sample_data.simulator.grid import FloatArray

BoolArray = NDArray[np.bool_]
IndexArray = NDArray[np.int64]


def _lanes(n: int) -> tuple[int, int]:
    """Number of lanes and their length for n samples."""
    count = int(np.clip(np.sqrt(n) / 4, 1, 256))
    return count, -(-n // count)


def exception(t: FloatArray, x: FloatArray, deadband: float, heartbeat: float) -> BoolArray:
    """Samples a dead-band recorder keeps: moved by more than `deadband` since the last kept one, or `heartbeat` seconds passed.

    NaN counts as a state of its own: going into and out of it is kept.
    """
    n = t.size
    keep = np.zeros(n, dtype=bool)
    if n == 0:
        return keep
    if np.count_nonzero(np.abs(np.diff(x)) > deadband) < 0.02 * n and deadband > 0:
        return _look_ahead(t, x, deadband, heartbeat)
    count, length = _lanes(n)
    starts = np.arange(count) * length
    last = np.maximum(starts - 1, 0)
    todo = np.arange(count)
    ends = np.empty(count, np.int64)
    for _ in range(count + 1):
        ends[todo] = _exception_pass(t, x, deadband, heartbeat, starts[todo], length, last[todo], keep)
        wanted = np.concatenate([[0], ends[:-1]])
        todo = np.flatnonzero(wanted != last)
        last = wanted
        if not todo.size:
            break
    keep[0] = True
    return keep


def _look_ahead(t: FloatArray, x: FloatArray, deadband: float, heartbeat: float) -> BoolArray:
    """The same rule for quiet signals: from each kept sample search forward in doubling windows."""
    n = t.size
    keep = np.zeros(n, dtype=bool)
    keep[0] = True
    now, reached, window = 0, 0, 32
    missing = np.isnan(x)
    while reached < n - 1:
        ahead = slice(reached + 1, min(reached + 1 + window, n))
        with np.errstate(invalid="ignore"):
            moved = np.abs(x[ahead] - x[now]) > deadband
        hit = np.flatnonzero(moved | (missing[ahead] != missing[now]) | (t[ahead] - t[now] >= heartbeat))
        if hit.size:
            now = reached = ahead.start + int(hit[0])
            keep[now] = True
            window = 32
        else:
            reached, window = ahead.stop - 1, 2 * window
    return keep


def _exception_pass(
    t: FloatArray,
    x: FloatArray,
    deadband: float,
    heartbeat: float,
    starts: IndexArray,
    length: int,
    last: IndexArray,
    keep: BoolArray,
) -> IndexArray:
    now = last.copy()
    n = t.size
    for offset in range(length):
        index = np.minimum(starts + offset, n - 1)
        missing, before = np.isnan(x[index]), np.isnan(x[now])
        with np.errstate(invalid="ignore"):
            moved = np.abs(x[index] - x[now]) > deadband
        hit = (moved | (missing != before) | (t[index] - t[now] >= heartbeat)) & (starts + offset < n)
        keep[index[starts + offset < n]] = hit[starts + offset < n]
        now = np.where(hit, index, now)
    return now


def swinging_door(t: FloatArray, x: FloatArray, deviation: float, heartbeat: float) -> BoolArray:
    """Samples a swinging-door recorder keeps: straight lines through them stay within `deviation` of every sample.

    The door opens at the kept sample with two pivots `deviation` above and below it; when the slopes to
    the samples since then cross, the sample before is kept and the door opens anew there.
    """
    finite = np.isfinite(x)
    keep = np.zeros(t.size, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], finite, [False]]).astype(np.int8)))
    for first, end in edges.reshape(-1, 2):
        keep[first:end] = _swing(t[first:end], x[first:end], deviation, heartbeat)
        if end < t.size:
            keep[end] = True
    return keep


def _swing(t: FloatArray, x: FloatArray, deviation: float, heartbeat: float) -> BoolArray:
    """One stretch without holes: find each door's closing by looking ahead in doubling windows."""
    n = t.size
    keep = np.zeros(n, dtype=bool)
    anchor = 0
    keep[0] = keep[-1] = True
    window = 32
    while anchor < n - 1:
        ahead = slice(anchor + 1, min(anchor + 1 + window, n))
        run = t[ahead] - t[anchor]
        low = np.maximum.accumulate((x[ahead] - deviation - x[anchor]) / run)
        high = np.minimum.accumulate((x[ahead] + deviation - x[anchor]) / run)
        closed = np.flatnonzero((low > high) | (run > heartbeat))
        if closed.size:
            kept = max(int(closed[0]), 1)
            window = max(2 * kept, 8)
        elif ahead.stop == n:
            break
        else:
            window *= 2
            continue
        anchor += kept
        keep[anchor] = True
    return keep
