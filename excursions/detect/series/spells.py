"""Spells: stretches where the value stays within a narrow band, and a signal's own clock to time them by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.detect.series.blocks import Blocks
from excursions.detect.series.live import PIECE, Live
from excursions.detect.series.stillness import Bins
from excursions.detect.series.survey import Survey
from excursions.ranks import median, quantile, quantiles
from excursions.records import BoolArray, FloatArray, IndexArray
from excursions.runs import runs

DAY_CELLS, WEEK_CELLS = 24, 168
FEWEST_ROUNDS = 4  # days (weeks) of record before a daily (weekly) pattern is believed
FEWEST_ON_LINE, FEWEST_LINES = 4, 8
MOVES, SMALLEST = 50_000, 0.02  # changes looked at, and the share of them that is smaller than a count
NEAR_END, SELDOM = 0.15, 0.95  # of a silence; share of a record's intervals that are shorter
INTERRUPTED = 0.1  # share of their lengths that may lie between two stretches of one standstill (cp)
SLOWEST_CLOCK = 0.02  # a quiet hour still counts for this share of a usual one


@dataclass(frozen=True, slots=True, kw_only=True)
class Spells:
    """Spells in time order: sample ranges [first, last], middle of the band, seconds they held."""

    first: IndexArray
    last: IndexArray
    level: FloatArray
    held_s: FloatArray

    def __len__(self) -> int:
        return int(self.first.size)

    def take(self, index: IndexArray) -> Spells:
        """These spells only."""
        return Spells(
            first=self.first[index], last=self.last[index], level=self.level[index], held_s=self.held_s[index]
        )


NO_SPELLS = Spells(
    first=np.empty(0, np.int64), last=np.empty(0, np.int64), level=np.empty(0), held_s=np.empty(0)
)


def covered_s(live: Live, *, thinned: bool, beside: TimeArray | None = None) -> FloatArray:
    """Seconds of unbroken record up to each sample (n,): missing data and other states do not count.

    On a `thinned` record (exception, swinging door) a long silence counts when the sample that ends it
    repeats the value: that is a recorder reporting no change, not a hole.  Where the temperature of the point, whose
    instants [ns] are `beside`, says nothing either from one end of it to the other, it may as well be the recorder that
    was silent (an outage, the hour that summer time takes away), and does not count.
    """
    step = np.diff(live.time, prepend=live.time[:1]) / NS_PER_S
    hole = live.fresh.copy()
    if thinned:
        hole[1:] &= (np.diff(live.value) != 0) | (np.diff(live.index) != 1)
        hole[1:] |= _silent(live.time, beside)
    step[hole] = 0.0
    return np.cumsum(step)


def _silent(time: TimeArray, beside: TimeArray | None) -> BoolArray:
    """Whether another record, which goes on before and afterwards, has nothing but near its ends between each sample and the
    next (n - 1,), and is seldom silent for so long: two signals recorded on change are not silent from the same instant on.
    """
    if beside is None or beside.size < 2:
        return np.zeros(max(time.size - 1, 0), dtype=np.bool_)
    near = (np.diff(time) * NEAR_END).astype(np.int64)
    past = np.searchsorted(beside, time[:-1] + near, side="right")
    none = (past == np.searchsorted(beside, time[1:] - near)) & (past > 0) & (past < beside.size)
    if none.any():
        steps = np.diff(beside)
        none[none] = steps[past[none] - 1] > quantile(steps.astype(np.float64), SELDOM)
    return np.asarray(none)


def unchanged(live: Live, covered: FloatArray, *, held_between: bool) -> Spells:
    """Runs of exactly the same value; other states and gaps neither end them nor count.

    Without `held_between` a run has two samples or more.

    Parameters
    ----------
    live : Live
    covered : ndarray (n,), from :func:`covered_s`
    held_between : bool
        True when silence means that the value held until the next sample.
    """
    same = live.value[1:] == live.value[:-1]
    if held_between:
        first = np.flatnonzero(np.concatenate([[True], ~same]))
        last = np.append(first[1:] - 1, len(live) - 1)
        until = covered[np.minimum(last + 1, len(live) - 1)]
    else:
        first, last = runs(same).T
        until = covered[last]
    return Spells(first=first, last=last, level=live.value[first], held_s=until - covered[first])


def nearly_still(bins: Bins, covered: FloatArray, *, band: float) -> Spells:
    """Runs of whole bins within `band`, together within twice the band; those that a moment parts are one."""
    middle = (bins.low + bins.high) / 2
    quiet = bins.high - bins.low <= band * (1 + 1e-9)
    joined = quiet & np.roll(quiet, 1) & (np.abs(np.diff(middle, prepend=np.nan)) <= band)
    start = np.flatnonzero(quiet & ~joined)
    if not start.size:
        return NO_SPELLS
    edge = np.flatnonzero(~joined)
    stop = np.append(edge, len(bins))[np.searchsorted(edge, start, side="right")]
    low, high = _extremes(bins, start, stop)
    keep = (high - low <= 2 * band * (1 + 1e-9)) & (bins.first[stop] > bins.first[start])
    if not keep.any():
        return NO_SPELLS
    start, stop = _across_moments(bins, start[keep], stop[keep], band)
    low, high = _extremes(bins, start, stop)
    first, last = bins.first[start], bins.first[stop] - 1
    return Spells(first=first, last=last, level=(low + high) / 2, held_s=covered[last] - covered[first])


def _across_moments(
    bins: Bins, start: IndexArray, stop: IndexArray, band: float
) -> tuple[IndexArray, IndexArray]:
    """Runs [start, stop) of bins (k,), those in a row joined that short interruptions part and that keep to one level.

    A slow sway as wide as the band cuts one long rest into pieces, each of which would then speak for the others being a habit.
    """
    long = stop - start
    apart = start[1:] - stop[:-1] > INTERRUPTED * (long[1:] + long[:-1])
    begin = np.flatnonzero(np.append(True, apart))
    end = np.append(begin[1:], start.size) - 1
    low, high = _extremes(bins, start[begin], stop[end])
    one = high - low <= 2 * 2 * band * (1 + 1e-9)  # twice what a run may span
    inside = np.repeat(one, end - begin + 1)
    head, tail = np.zeros(start.size, np.bool_), np.zeros(start.size, np.bool_)
    head[begin], tail[end] = True, True
    return start[head | ~inside], stop[tail | ~inside]


def grown(spells: Spells, live: Live, covered: FloatArray) -> Spells:
    """Let each spell reach out sample by sample, by up to its own length, while the value stays in its band."""
    first, last = spells.first.copy(), spells.last.copy()
    for i in range(len(spells)):
        part = live.value[first[i] : last[i] + 1]
        low, high, reach = part.min(), part.max(), part.size
        ahead = live.value[last[i] + 1 : last[i] + 1 + reach]
        behind = live.value[max(first[i] - reach, 0) : first[i]][::-1]
        last[i] += _leading((ahead >= low) & (ahead <= high))
        first[i] -= _leading((behind >= low) & (behind <= high))
    return Spells(first=first, last=last, level=spells.level, held_s=covered[last] - covered[first])


def drawn_line(survey: Survey) -> float:
    """Longer drawn lines of a record [s], looked for once."""
    return survey.once("drawn line", lambda: drawn_line_s(survey.live, survey.quantum))


def drawn_line_s(live: Live, quantum: float) -> float:
    """Length [s] of the longer straight lines that an export draws between recorded values; 0 where it draws none
    or the values are rounded to `quantum`, so that it cannot be told.

    Four samples on one slope, to the last bits of the numbers, do not happen in a measured signal whose values
    are not on a lattice.  A flat stretch no longer than such a line is one whose two ends happen to be equal.
    """
    if quantum > 0:
        return 0.0  # on a lattice measured values lie on straight lines as well
    straight = np.zeros(len(live), dtype=np.bool_)  # of the triple that begins at each sample
    for start in range(0, len(live) - 2, PIECE):
        part = slice(start, start + PIECE + 2)
        found = _straight(live.value[part], live.fresh[part])
        straight[start + 1 : start + 1 + found.size] = found
    edge = np.flatnonzero(straight[1:] != straight[:-1])
    first, past = edge[::2], edge[1::2]
    long = past - first >= FEWEST_ON_LINE - 2
    if np.count_nonzero(long) < FEWEST_LINES:
        return 0.0
    return float(np.quantile((live.time[past[long] + 1] - live.time[first[long]]) / NS_PER_S, 0.95))


def _straight(value: FloatArray, fresh: BoolArray) -> BoolArray:
    """Whether each unbroken triple lies on one slope, to the last bits, and climbs."""
    slope = np.diff(value)
    bend, slope = np.abs(np.diff(slope)), np.abs(slope[1:])
    size = np.abs(value[1:-1]) + slope
    return np.asarray((bend <= 1e-9 * size) & (slope > 1e-6 * size) & ~(fresh[1:-1] | fresh[2:]))


def least_move(live: Live) -> float:
    """What all but a fiftieth of the changes from sample to sample reach; nil without changes."""
    at = np.arange(0, len(live) - 1, max(1, len(live) // MOVES))
    moves = np.abs(live.value[at + 1] - live.value[at])
    moves = moves[(moves > 0) & np.isfinite(moves)]
    return quantile(moves, SMALLEST) if moves.size else 0.0


def _leading(inside: BoolArray) -> int:
    """How many entries are True before the first False."""
    return int(inside.size if inside.all() else np.argmin(inside))


def _extremes(bins: Bins, start: IndexArray, stop: IndexArray) -> tuple[FloatArray, FloatArray]:
    bounds = np.column_stack([start, stop]).ravel()
    if bounds[-1] == len(bins):
        bounds = bounds[:-1]
    return np.minimum.reduceat(bins.low, bounds)[::2], np.maximum.reduceat(bins.high, bounds)[::2]


def own_clock(blocks: Blocks) -> FloatArray | None:
    """Speed (m,) of the signal's own clock in each block: changes it usually makes then, 1 on average.

    By hour of the week where the record holds four weeks, by hour of the day where it holds four days,
    from the middle of what those hours showed, so that one odd week does not move it; None where neither
    makes a difference or the record is too short.
    """
    span = int(blocks.start[-1]) - int(blocks.start[0]) + blocks.width
    busy = blocks.changes / np.maximum(1, median(blocks.count[blocks.count > 0]))
    for period, cells in ((7 * NS_PER_DAY, WEEK_CELLS), (NS_PER_DAY, DAY_CELLS)):
        cell_ns = period // cells
        if span >= FEWEST_ROUNDS * period and blocks.width <= cell_ns * 4:
            speed = _by_cell(busy, (blocks.start // cell_ns) % cells, blocks.start // period, cells)
            if _differs(speed):
                return speed
    return None


def _by_cell(busy: FloatArray, cell: IndexArray, turn: IndexArray, cells: int) -> FloatArray:
    """Typical busyness of each block's cell: the middle half of the rounds, averaged."""
    rounds = turn - turn.min()
    shape = (int(rounds.max()) + 1, cells)
    place = rounds * cells + cell
    total = np.bincount(place, weights=busy, minlength=shape[0] * cells).reshape(shape)
    count = np.bincount(place, minlength=shape[0] * cells).reshape(shape)
    with np.errstate(invalid="ignore"):
        each = np.sort(np.where(count > 0, total / count, np.nan), axis=0)
    known = np.sum(np.isfinite(each), axis=0)
    order = np.arange(shape[0])[:, None]
    middle = (order >= known // 4) & (order < known - known // 4)
    typical = np.nansum(np.where(middle, each, 0.0), axis=0) / np.maximum(middle.sum(axis=0), 1)
    overall = float(typical[known > 0].mean()) if (known > 0).any() else 0.0
    speed = np.maximum(typical, SLOWEST_CLOCK * overall)[cell]
    return speed / speed.mean() if overall > 0 else np.ones(busy.size)


def _differs(speed: FloatArray) -> bool:
    low, high = quantiles(speed, (0.1, 0.9))
    return bool(high > 2 * low)


def on_clock(spells: Spells, blocks: Blocks, live: Live, speed: FloatArray) -> FloatArray:
    """Length of each spell on the signal's own clock [s]."""
    reading = np.concatenate([[0.0], np.cumsum(speed)])

    def at(index: IndexArray) -> FloatArray:
        block = np.clip(np.searchsorted(blocks.start, live.time[index], side="right") - 1, 0, len(blocks) - 1)
        part = np.clip((live.time[index] - blocks.start[block]) / blocks.width, 0.0, 1.0)
        return np.asarray(reading[block] + part * speed[block])

    ratio = (at(spells.last) - at(spells.first)) * blocks.width / NS_PER_S
    wall = np.maximum((live.time[spells.last] - live.time[spells.first]) / NS_PER_S, 1e-9)
    return np.asarray(spells.held_s * np.where(spells.last > spells.first, ratio / wall, 1.0))
