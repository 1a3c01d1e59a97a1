"""How a signal was recorded, measured from the record itself: no setting, no guess from a name but "average"."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from excursions.clock import NS_PER_S, TimeArray
from excursions.condition.drawn import (
    STRAIGHT,
    finely_stepped,
    mean_of,
    repeats_from,
    share_straight,
)
from excursions.condition.threshold import threshold
from excursions.digits import written
from excursions.ranks import median, quantile
from excursions.read.text.aggregates import noted
from excursions.records import BAD, ByteArray, FloatArray, IndexArray, Sampling
from excursions.runs import runs

STATISTIC = 100_000  # differences that quantiles are taken from; extremes are always exact
GRID_SHARE = 0.8  # a grid: this share of intervals is the usual one
GRID_TOLERANCE = 0.1
JITTER = 0.5  # a clock that trembles keeps nearly all intervals within this of the usual one
JITTER_SHARE = 0.98
ODD_SHARE = 0.001  # other intervals below this share are holes, whatever the changes look like
SPARSE_SAMPLES = 12  # fewer samples show no rule of recording
GRID_GAP = 3.5  # two samples in a row may be late before data count as missing
SILENT_GAP = 10.0  # times the 99 % quantile: without a heartbeat only an absurd silence is missing data
HEARTBEAT_GAP = 1.5  # a heartbeat may be late by half
HEARTBEAT_BIN = 0.03
HALVING = 24  # bins from half an interval to just below it
PARTS = 12
# Samples that a swinging door keeps are corners: few of them lie near the line between their neighbours.  Where
# nearly all samples are kept, bends begin at about 1.7 times the deviation the door allows; where few are, half
# the bends are smaller than 1.2 times it.  Both figures were found on made records, within a factor of two.
CORNERS_BELOW = 0.15
BEND_BEGINS = 1.7
BEND_MEDIAN = 1.2
BEATS_MOVE = 0.3
BEATS_REST = 0.2  # of the time in heartbeats: no clock fails for so long, each time for the same length
FEW_MOVES = 40  # with fewer changes their sizes show a rule only by accident
_AVERAGE = re.compile(
    r"(?<![a-z])(avg|average|mean|mittel|mittelwert|mw|moyenne|moy|promedio|gemiddelde|medelv[aä]rde)(?![a-z])"
)


@dataclass(frozen=True, kw_only=True)
class _Steps:
    """An evenly thinned view on intervals [s] and changes of a record; every `stride`-th of them."""

    time: TimeArray
    value: FloatArray
    stride: int
    interval: FloatArray

    @cached_property
    def change(self) -> FloatArray:
        """Sizes of the changes; few records kept by the clock need them."""
        return np.abs(self.value[1 :: self.stride] - self.value[: -1 : self.stride])

    @cached_property
    def bend(self) -> FloatArray:
        """How far samples lie off the line between their neighbours."""
        return _bends(self.time, self.value, self.stride)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """What was made of the steps: kind, whether it is sure, the evidence, dead band and heartbeat."""

    kind: str
    why: str
    sure: bool = True
    deadband: float = 0.0
    heartbeat_s: float = math.nan
    changed: bool = False  # a part of the record was kept by the clock and another was not


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
        Tag name and description; only a word for "average" in them is used, and the note of the reading room.
    """
    bad = float(np.count_nonzero(quality == BAD) / time.size) if time.size else 0.0
    if time.size < 2:
        few = "a single sample shows no rule" if time.size else "no samples"
        return Sampling(kind="sparse", resolution=resolution, share_bad=bad, sure=False, why=few)
    steps = _thinned(time, value)
    silence = np.diff(time)
    longest = int(silence.argmax())
    usual = median(steps.interval)
    rule = _rule(steps, usual, words, resolution)
    rule = _unsure_where_it_changes(rule, time, value, silence)
    return Sampling(
        kind=rule.kind,
        interval_s=usual,
        heartbeat_s=rule.heartbeat_s,
        gap_s=_gap("" if rule.changed else rule.kind, steps.interval, usual, rule.heartbeat_s),
        resolution=resolution,
        deadband=rule.deadband,
        longest_silence_s=float(silence[longest]) / NS_PER_S,
        longest_silence_at=int(time[longest]),
        shortest_s=quantile(steps.interval, 0.01),
        share_bad=bad,
        flat_usual_s=_flat_usual(time, value),
        sure=rule.sure,
        why=rule.why,
    )


def _thinned(time: TimeArray, value: FloatArray, statistic: int = STATISTIC) -> _Steps:
    stride = max(1, time.size // statistic)
    interval = (time[1::stride] - time[:-1:stride]) / NS_PER_S
    return _Steps(time=time, value=value, stride=stride, interval=interval)


def _bends(time: TimeArray, value: FloatArray, stride: int) -> FloatArray:
    before, here, after = time[:-2:stride], time[1:-1:stride], time[2::stride]
    low, high = value[:-2:stride], value[2::stride]
    line = low + (here - before) / (after - before) * (high - low)
    bend = np.abs(value[1:-1:stride] - line)
    return bend[np.isfinite(bend)]


def _rule(steps: _Steps, usual: float, words: str, resolution: float) -> _Rule:
    value = steps.value
    if value.size < SPARSE_SAMPLES:
        return _Rule(kind="sparse", sure=False, why=f"{value.size} samples show no rule")
    heartbeat = _heartbeat(steps.interval)
    clocked = _by_the_clock(steps, usual, heartbeat)
    return _grid_rule(value, words, resolution, clocked) if clocked else _sparing_rule(steps, heartbeat)


def _by_the_clock(steps: _Steps, usual: float, heartbeat: float) -> str:
    """What shows that samples were taken by the clock rather than by the size of the change; empty when nothing.

    A busy signal recorded on exception also shows mostly its scan interval, a quiet one mostly its
    heartbeat.  They differ from a clock in the sizes of the changes: small ones never occur.
    """
    off = np.abs(steps.interval / usual - 1)
    near = off <= GRID_TOLERANCE
    share = float(np.mean(near))
    if share < GRID_SHARE:
        trembling = float(np.mean(off <= JITTER)) >= JITTER_SHARE and not _threshold_of(steps, heartbeat)
        return "nearly all intervals lie within half of the usual one" if trembling else ""
    early = steps.interval[steps.interval < (1 - GRID_TOLERANCE) * usual]
    if (
        early.size > 0.01 * near.size
        and np.mean(np.abs(early / np.median(early) - 1) <= GRID_TOLERANCE) < GRID_SHARE
    ):
        return ""  # a clock may change its rate, but it has no early samples of all lengths
    if _rests_on(steps, heartbeat, usual):
        return ""
    odd = float(np.mean(~near))
    if odd > ODD_SHARE and (
        _threshold_of(steps, heartbeat)
        or threshold(_leaps(steps, heartbeat))
        or threshold(steps.bend, below=CORNERS_BELOW)
    ):
        return ""
    return f"{_percent(share)} of the intervals are equal"


def _rests_on(steps: _Steps, heartbeat: float, usual: float) -> bool:
    """Whether much of the time passed in silences of one greatest length over which the reading hardly moved.

    A recorder that keeps every sample of a reading that is noisy while it is high, and next to none while it is low, has
    mostly its scan interval, and spends its time in heartbeats.
    """
    if not heartbeat > GRID_GAP * usual:
        return False
    beats = np.abs(steps.interval / heartbeat - 1) <= HEARTBEAT_BIN
    moved = steps.change[beats & np.isfinite(steps.change)]
    rests = float(steps.interval[beats].sum() / steps.interval.sum())
    usually = float(np.nanmedian(steps.change[~beats])) if (~beats).any() else 0.0
    return rests > BEATS_REST and bool(moved.size) and float(np.median(moved)) <= usually


def _percent(share: float) -> str:
    return "all" if share == 1 else f"{written(min(share * 100, 99.9))} %"


def _threshold_of(steps: _Steps, heartbeat: float) -> float:
    """Size at which changes begin among those that the recorder chose; 0 where they reach down to nothing."""
    return threshold(_moves(steps, heartbeat))


def _grid_rule(value: FloatArray, words: str, resolution: float, clocked: str) -> _Rule:
    said, why = noted(words)
    if why or _AVERAGE.search(said.lower().replace("_", " ")):
        return _Rule(kind="averages", why=why or "its name or description says so")
    straight = share_straight(value, resolution)
    if straight > STRAIGHT:
        why = f"{_percent(straight)} of the samples that move lie on a line between their neighbours"
        return _Rule(kind="interpolated", why=why)
    count, step = mean_of(value, resolution)
    if count:
        return _Rule(
            kind="averages", why=f"values are whole multiples of {step:g} / {count}: means of {count} or more"
        )
    band = repeats_from(value, resolution)
    if band:
        why = f"{clocked}, but the value stays until it has changed by {written(band)}: the last value was repeated"
        return _Rule(kind="grid", why=why, deadband=band)
    if not _changes(value):
        return _Rule(
            kind="grid",
            sure=False,
            why=f"{clocked}, and nothing changes: heartbeats alone would look the same",
        )
    if finely_stepped(value, resolution):
        doubt = "; values carry no step of a transmitter: averages, or values interpolated from a busy record, would look the same"
        return _Rule(kind="grid", sure=False, why=clocked + doubt)
    return _Rule(kind="grid", why=clocked)


def _changes(value: FloatArray) -> bool:
    for looked_at in (value[:: max(1, value.size // STATISTIC)], value):  # a few show most changes
        finite = looked_at[np.isfinite(looked_at)]
        if finite.size and (finite != finite[0]).any():
            return True
    return False


def _sparing_rule(steps: _Steps, heartbeat: float) -> _Rule:
    """Exception, swinging door or plain sparse: by how sharply the sizes of the changes begin."""
    moved = _moves(steps, heartbeat)
    beat = (
        f"; no silence is longer than the heartbeat of {written(heartbeat, 4)} s"
        if math.isfinite(heartbeat)
        else ""
    )
    if moved.size < SPARSE_SAMPLES:
        kind = "exception" if math.isfinite(heartbeat) else "sparse"
        return _Rule(
            kind=kind, heartbeat_s=heartbeat, sure=False, why=f"{moved.size} changes show no rule{beat}"
        )
    band = threshold(moved)
    if band and _beats_move(steps, heartbeat, band):
        why = f"changes begin there, but those {written(heartbeat, 4)} s apart are of all sizes: part of it kept by the clock"
        return _Rule(kind="exception", deadband=band, why=why, sure=False)
    if band:
        why = f"changes begin there and smaller ones are next to none{beat}"
        return _Rule(kind="exception", heartbeat_s=heartbeat, deadband=band, why=why)
    if band := threshold(_leaps(steps, heartbeat)):
        why = f"changes begin there, where each is written with the look before it{beat}"
        return _Rule(kind="exception", heartbeat_s=heartbeat, deadband=band, why=why)
    why = f"uneven intervals, and changes of all sizes{beat}"
    if moved.size < FEW_MOVES:
        why += f"; {moved.size} changes are too few to be sure"
    return _Rule(
        kind="swinging",
        heartbeat_s=heartbeat,
        deadband=_deviation(steps),
        why=why,
        sure=moved.size >= FEW_MOVES,
    )


def _beats_move(steps: _Steps, heartbeat: float, band: float) -> bool:
    """Whether the reading moved by the dead band over many a heartbeat, which a recorder on change had not let pass."""
    beats = steps.change[np.abs(steps.interval / heartbeat - 1) <= HEARTBEAT_BIN]
    return bool(beats.size) and float(np.mean(beats >= band)) > BEATS_MOVE


def _deviation(steps: _Steps) -> float:
    """About how far a compressed record may lie off what was measured; 0 when it has no bends."""
    begins = threshold(steps.bend, below=CORNERS_BELOW)
    if begins:
        return begins / BEND_BEGINS
    return float(np.median(steps.bend)) / BEND_MEDIAN if steps.bend.size else 0.0


def _unsure_where_it_changes(rule: _Rule, time: TimeArray, value: FloatArray, silence: TimeArray) -> _Rule:
    """Say so where one part of the record was kept by the clock and another was not."""
    if time.size < PARTS * 50 or _even(silence):
        return rule
    by_count = [time.size * part // PARTS for part in range(PARTS + 1)]
    instants = np.linspace(float(time[0]), float(time[-1]) + 1, PARTS + 1)
    by_time = np.searchsorted(time, instants.astype(np.int64)).tolist()
    if not any(_both_ways(cuts, time, value, rule) for cuts in (by_count, by_time)):
        return rule
    doubt = "part of the record looks kept by the clock and part on change: the recorder was set differently"
    return replace(rule, changed=True, sure=False, why=f"{rule.why}; but {doubt}")


def _both_ways(cuts: list[int], time: TimeArray, value: FloatArray, rule: _Rule) -> bool:
    """Whether two parts in a row were kept by the clock and two others were not."""
    clocked = [_part_clocked(time[lo:hi], value[lo:hi], rule) for lo, hi in pairwise(cuts)]
    return (
        min(
            _longest_run([kept is True for kept in clocked]),
            _longest_run([kept is False for kept in clocked]),
        )
        >= 2
    )


def _part_clocked(time: TimeArray, value: FloatArray, rule: _Rule) -> bool | None:
    """Whether a part was kept by the clock; None where that cannot be told: too few samples, or heartbeats only."""
    if time.size <= 2 * SPARSE_SAMPLES:
        return None
    steps = _thinned(time, value, STATISTIC // PARTS)
    even = _even(steps.interval)
    usual = float(steps.interval[0] if even else median(steps.interval))
    if math.isfinite(rule.heartbeat_s) and abs(usual / rule.heartbeat_s - 1) < 2 * HEARTBEAT_BIN:
        return None
    return even or bool(_by_the_clock(steps, usual, _heartbeat(steps.interval)))


def _even(interval: IndexArray | FloatArray) -> bool:
    """Whether all intervals are the same."""
    return bool((interval == interval[0]).all())


def _longest_run(marks: list[bool]) -> int:
    best = run = 0
    for mark in marks:
        run = run + 1 if mark else 0
        best = max(best, run)
    return best


def _flat_usual(time: TimeArray, value: FloatArray) -> float:
    """What 99 of 100 stretches without a change stay below [s]; NaN where there are none of two samples."""
    first, last = runs(value[1:] == value[:-1]).T
    if not first.size:  # NaN differs from everything, itself included
        return math.nan
    lasting = time[last] - time[first]
    return quantile(lasting, 0.99) / NS_PER_S


def _heartbeat(interval: FloatArray) -> float:
    """Longest silence the recorder allows itself [s]: a pile of equal intervals with almost none longer."""
    if interval.min() == interval.max():
        return math.nan  # nothing is shorter than the one pile
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
    return median(interval[inside])


def _moves(steps: _Steps, heartbeat: float) -> FloatArray:
    """Sizes of the changes that the recorder itself chose to record."""
    free = np.isfinite(steps.change)
    if math.isfinite(heartbeat):
        free &= steps.interval < heartbeat * (1 - HEARTBEAT_BIN)
    return steps.change[free]


def _leaps(steps: _Steps, heartbeat: float) -> FloatArray:
    """Sizes of the changes from before a silence to the second sample after it, where that came at once.

    Many a recorder on change writes with a change the last look before it as well, so that a line between samples tells the
    truth.  Such a look lies within the dead band of the sample before the silence, the next one beyond it; among looks
    written in a row the sizes show nothing.  What ends with a heartbeat was no change.
    """
    interval = np.diff(steps.time) / NS_PER_S
    at_once = interval <= (1 + GRID_TOLERANCE) * quantile(interval, 0.01)
    silent = ~at_once
    if math.isfinite(heartbeat):
        silent &= interval < heartbeat * (1 - HEARTBEAT_BIN)
    before = np.flatnonzero(silent[:-1] & at_once[1:])
    leaps = np.abs(steps.value[before + 2] - steps.value[before])
    return leaps[np.isfinite(leaps)]


def _gap(kind: str, interval: FloatArray, usual: float, heartbeat: float) -> float:
    if kind in ("grid", "averages", "interpolated"):
        return max(GRID_GAP * usual, 2.5 * quantile(interval, 0.95))
    if math.isfinite(heartbeat):
        return HEARTBEAT_GAP * heartbeat
    if interval.size < SPARSE_SAMPLES:
        return SILENT_GAP * float(interval.max())
    return SILENT_GAP * quantile(interval, 0.99)
