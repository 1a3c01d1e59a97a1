"""Stretches that an export drew: straight ramps across missing data, told from ramps that were measured.

An interpolating export joins the last sample before an outage and the first after it by a ruled line.  A
measured ramp bends and trembles; how often this record is ruled-straight by itself is counted from the
record, and only a straight stretch that is improbable for it is called bridged.  A flat line is no ramp.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import TimeArray
from excursions.records import BoolArray, FloatArray, IndexArray, Sampling
from excursions.runs import runs

HOPS = (4, 8, 16)  # samples a chord spans: the shortest that this record seldom shows straight is taken
SELDOM = 0.02
FEWEST_CHORDS = 2
TRIMMED = 2  # chords at either end of a run that may belong to the measured signal
MOVES = 3.0  # a ruled line must climb this many steps of the resolution to be a ramp at all
IMPROBABLE = 1e-4  # expected number of such stretches in the whole record, by chance
COMMON = 0.05  # above this share of straight chords the record's own long runs are the measure
TIMES_USUAL = 6.0
FEWEST_RUNS = 8  # straight runs that show how long they usually are
JITTER = 0.02  # relative unevenness of time steps that a drawn grid may show


def bridged_stretches(
    time: TimeArray, value: FloatArray, segments: IndexArray, sampling: Sampling
) -> IndexArray:
    """Index ranges [from, to), shape (b, 2), of the samples drawn across missing data.

    Only the drawn samples belong to a stretch: the two measured ends do not.

    Parameters
    ----------
    time, value : ndarray, shape (n,)
    segments : ndarray, shape (k, 2)
        Unbroken index ranges.
    sampling : Sampling
        Only evenly sampled records can be bridged; others give none.
    """
    none = np.empty((0, 2), dtype=np.int64)
    if sampling.kind not in ("grid", "averages", "interpolated") or value.size < FEWEST_CHORDS * HOPS[0] + 1:
        return none
    tolerance = rounding(value, sampling.resolution)
    hop, straight = _chords(value, tolerance)
    lines = runs(straight)
    lines = lines[lines[:, 1] - lines[:, 0] >= FEWEST_CHORDS]
    if not lines.size:
        return none
    shortest = straight if hop == HOPS[0] else _straight_chords(value, tolerance, HOPS[0])
    lines = lines[_improbable(lines, straight, loose=_loose(shortest, lines * hop))] * hop
    found = [_whole_line(time, value, (int(lo), int(hi) + 1), hop, tolerance, sampling) for lo, hi in lines]
    kept = sorted({line for line in found if line is not None and _in_one_segment(line, segments)})
    return np.array(kept, dtype=np.int64).reshape(-1, 2)


def rounding(value: FloatArray, resolution: float) -> float:
    """How far a drawn and printed line may lie off a line between two printed points: a rounding at each."""
    finite = value[:: max(1, value.size // 100_000)]
    finite = finite[np.isfinite(finite)]
    size = float(np.abs(finite).max()) if finite.size else 0.0
    return resolution * 1.01 + 4e-12 * size


def _chords(value: FloatArray, tolerance: float) -> tuple[int, BoolArray]:
    """Span of the chords [samples] and which of them are straight."""
    for hop in HOPS:
        straight = _straight_chords(value, tolerance, hop)
        if straight.size < 1 / SELDOM or np.mean(straight) <= SELDOM:
            break
    return hop, straight


def _straight_chords(value: FloatArray, tolerance: float, hop: int) -> BoolArray:
    """Whether the samples inside each chord of `hop` steps lie on it."""
    count = (value.size - 1) // hop
    ends = value[: count * hop + 1 : hop]
    low, rise = ends[:-1], np.diff(ends) / hop
    inner = value[: count * hop].reshape(count, hop)
    straight = np.isfinite(rise)
    for step in range(1, hop):
        straight &= np.abs(inner[:, step] - (low + step * rise)) <= tolerance
    return np.asarray(straight, dtype=np.bool_)


def _loose(straight: BoolArray, runs: IndexArray) -> float:
    """Share of the shortest chords outside of runs (k, 2), samples, that are straight: how often the signal itself is."""
    steps = np.zeros(straight.size + 1, dtype=np.int8)
    steps[runs[:, 0] // HOPS[0]] = 1  # a run begins and ends with a chord, and no other begins where one ends
    steps[runs[:, 1] // HOPS[0]] = -1
    outside = np.cumsum(steps[:-1], dtype=np.int8) == 0
    return float(np.mean(straight[outside])) if outside.any() else 1.0


def _improbable(runs: IndexArray, straight: BoolArray, *, loose: float) -> BoolArray:
    """Which runs this record would hardly show by itself.

    The chance of a straight chord is taken from the record without its own longest stretches; where
    straight chords are common, the usual length of a run is the measure instead, because runs then cluster.  A few
    runs in a record that else is hardly ever straight are no habit, however much of it they take.
    """
    length = runs[:, 1] - runs[:, 0]
    total, ruled = straight.size, int(np.count_nonzero(straight))
    elsewhere = np.maximum(ruled - length, 0) + 1.0
    chance = np.minimum(elsewhere / (total - length + 2.0), 1 - 1e-9)
    rare = math.log(total) + length * np.log(chance) < math.log(IMPROBABLE)
    if ruled > COMMON * total and (len(runs) >= FEWEST_RUNS or loose > COMMON):
        rare &= length > TIMES_USUAL * np.quantile(length, 0.75)
    return np.asarray(rare, dtype=np.bool_)


def _whole_line(
    time: TimeArray, value: FloatArray, span: tuple[int, int], hop: int, tolerance: float, sampling: Sampling
) -> tuple[int, int] | None:
    """The longest ruled line around a run of straight chords: index range of the samples between its ends."""
    trimmed = _trimmed(value, span, hop, tolerance)
    if trimmed is None:
        return None
    lo, hi = trimmed
    slope = (value[hi - 1] - value[lo]) / (hi - 1 - lo)
    if not _even(time[lo:hi], sampling.interval_s):
        return None
    reach = HOPS[-1] + 1
    before = np.arange(max(lo - reach, 0), lo)[::-1]
    after = np.arange(hi, min(hi + reach, value.size))
    left = np.abs(value[before] - (value[lo] - slope * (lo - before))) <= tolerance
    right = np.abs(value[after] - (value[hi - 1] + slope * (after - hi + 1))) <= tolerance
    first = lo - (int(np.argmin(left)) if not left.all() else left.size)
    last = hi - 1 + (int(np.argmin(right)) if not right.all() else right.size)
    climbed = abs(value[last] - value[first])
    if climbed <= MOVES * max(sampling.resolution, tolerance) or last - first < 2:
        return None
    return first + 1, last


def _trimmed(value: FloatArray, span: tuple[int, int], hop: int, tolerance: float) -> tuple[int, int] | None:
    """The run without chords at its ends that are straight by chance only; None when it is no single line."""
    for tail in range(TRIMMED + 1):
        for head in range(TRIMMED + 1):
            lo, hi = span[0] + head * hop, span[1] - tail * hop
            if hi - lo > FEWEST_CHORDS * hop and on_line(value[lo:hi], tolerance).all():
                return lo, hi
    return None


def on_line(stretch: FloatArray, tolerance: float) -> BoolArray:
    """Whether each value (n,) lies on the straight line from the first to the last, to within `tolerance`."""
    line = np.linspace(stretch[0], stretch[-1], stretch.size)
    return np.asarray(np.abs(stretch - line) <= tolerance)


def _even(time: TimeArray, interval_s: float) -> bool:
    steps = np.diff(time) / 1e9
    return bool(np.all(np.abs(steps - interval_s) <= max(JITTER * interval_s, 1e-3)))


def _in_one_segment(line: tuple[int, int], segments: IndexArray) -> bool:
    owner = int(np.searchsorted(segments[:, 0], line[0], side="right")) - 1
    return line[1] <= int(segments[owner, 1])
