"""The shape of one change of level: where it begins and ends, how large, at once or by and by."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.scan import Change
from excursions.detect.series.short import together
from excursions.detect.series.sudden import gaps
from excursions.detect.series.survey import Survey
from excursions.ranks import NORMAL_MAD, median, quantile
from excursions.records import BoolArray, FloatArray, IndexArray

MOST_POINTS = 256  # a longer series is averaged down before ramps are fitted
# Means within which a thinned series does not tell a step from a ramp: a step inside one mean leaves that one between the
# levels, noise may move either end by another, and then the full series is asked (cp).
BLURRED = 4
BESIDE = 8  # means on either side that say what the levels are; twice as many as are in question
EDGES = 24  # positions tried for begin and for end of a transition
BETTER = 0.85  # a ramp must leave this share of a step's squares to be preferred
LEAVING = 0.15  # share of the size at which a sample has left the old level
HIDDEN = 3.0  # intervals without a live sample behind which a change hides
JUMP_SHARE, JUMP_NOISE = 0.35, 3.0  # of the size and of the noise: a gap that is the change
AT_ONCE = 0.5  # share of a change that makes it a jump
SHARP_NOISE = 6.0  # sizes below this many noises do not show how fast they came


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """From `before` to `after`: samples first (first changed) to last (first settled) of the live record.

    error: standard error of the size; samples: how many the change took; sharp: whether noise lets one see
    how fast it was; hidden: it happened while the reading was not live; held: a loop brought the reading back, not the error.
    """

    first: int
    last: int
    before: float
    after: float
    size: float
    error: float
    length_s: float
    samples: int
    sharp: bool
    hidden: bool
    onset_error_s: float
    held: bool = False


def transition_of(survey: Survey, change: Change) -> Transition:
    """Fit a change of level on blocks, then on samples."""
    blocks = survey.blocks
    lo, hi, begin, end = ramp_around(survey.rest, change.at, change.width)
    unsure = 0.0
    if end - begin > RAW_BLOCKS or _is_vague(survey.rest, change, begin, end):
        place, unsure = _at_break(survey, lo, hi, begin, end)
        if place is not None:
            begin = end = place
            change = replace(change, at=place, across=True)
    if end - begin > RAW_BLOCKS:
        quick = _quick_part(survey.rest, begin, end)
        if quick is not None:
            (begin, end), unsure = quick, 0.0  # it is seen where it is
            change = replace(change, at=begin + 1, width=min(change.width, BESIDE_QUICK))
    if end - begin <= RAW_BLOCKS:
        found = _on_samples(survey, change, begin, end)
        return replace(found, onset_error_s=max(found.onset_error_s, unsure * blocks.width_s))
    level = blocks.level
    first, last = int(blocks.first[begin]), int(blocks.first[min(end, len(blocks) - 1)])
    before, after = (
        float(np.mean(level[lo:begin])) if begin > lo else float(level[lo]),
        float(np.mean(level[end:hi])),
    )
    return Transition(
        first=first,
        last=last,
        before=before,
        after=after,
        size=after - before,
        error=change.spread,
        length_s=(end - begin) * blocks.width_s,
        samples=last - first,
        sharp=True,
        hidden=False,
        onset_error_s=0.1 * (end - begin) * blocks.width_s,
    )


def _is_vague(level: FloatArray, change: Change, begin: int, end: int) -> bool:
    """Whether a step found by wide windows cannot be seen where it was placed, amid a level that wanders as far."""
    wide = change.width > VAGUE * RAW_BLOCKS and not change.across
    return (
        wide and _quick_part(level, max(begin - RAW_BLOCKS, 0), min(end + RAW_BLOCKS, level.size - 1)) is None
    )


def _at_break(survey: Survey, lo: int, hi: int, begin: int, end: int) -> tuple[int | None, float]:
    """The break (steaming, cleaning, missing data) near a change at which a step tells the window as well; None without.

    A change may begin and end anywhere, a break is one of few places.  So the step may fit worse by as much as the best
    of so many changes fits better by chance: by likelihoods, with as many independent blocks as what is left shows.
    Beside it, how many blocks the place of a step is unsure by either way, at nine in ten.
    """
    part = survey.rest[lo:hi]
    rise = _rise(np.arange(part.size), np.array([begin - lo]), np.array([end - lo]))[0]
    rest = part - np.polyval(np.polyfit(rise, part, 1), rise)
    left = float(rest @ rest)
    if left <= 0:
        return None, 0.0
    independent = max(part.size / together(rest, most=MOST_ALIKE), FEWEST_INDEPENDENT)
    stepped = step_squares(part)
    as_good = np.flatnonzero(stepped <= stepped.min() * math.exp(LIKELY / independent))
    unsure = (int(as_good[-1]) - int(as_good[0])) / 2
    is_step = end - begin <= RAW_BLOCKS
    first, past = (lo + 1, hi - 1) if is_step else (begin, end)
    breaks = first + np.flatnonzero(survey.blocks.broken[first:past])
    if not breaks.size or breaks.size > MOST_BREAKS:
        return None, unsure
    best = int(breaks[np.argmin(stepped[breaks - lo - 1])])
    free = part.size if is_step else independent**2 / 2  # places of a step, of a ramp
    allowed = left * max(free / breaks.size, 1.0) ** (2 / independent)
    return (best if stepped[best - lo - 1] <= allowed else None), unsure


def _quick_part(level: FloatArray, begin: int, end: int) -> tuple[int, int] | None:
    """The two blocks within a ramp in which most of it happens, faster than the record usually moves; None without."""
    moved = level[2:] - level[:-2]
    lo, hi = max(begin - 1, 0), min(end, moved.size)
    if hi <= lo:
        return None
    size = float(level[min(end, level.size - 1)] - level[max(begin - 1, 0)])
    inside = moved[lo:hi] * np.sign(size)
    usual = NORMAL_MAD * median(np.abs(moved[:: max(1, moved.size // 4_000)]))
    best = int(np.argmax(inside))
    if inside[best] < QUICK_SHARE * abs(size) or inside[best] < QUICK_USUAL * usual:
        return None
    return lo + best, lo + best + 2


RAW_BLOCKS = 3
MOST_BREAKS = 8  # more breaks are anywhere
FEWEST_INDEPENDENT, MOST_ALIKE = 8.0, 0.98  # blocks; their first autocorrelation
QUICK_SHARE = 0.5  # of a ramp that two blocks must make for the ramp to be a step amid wandering
QUICK_USUAL = 4.0  # usual moves over two blocks that they must make as well
BESIDE_QUICK = 2  # blocks on either side that give the levels of such a step
VAGUE = 4  # times RAW_BLOCKS: windows as wide do not place a step by themselves
LIKELY = 2.706  # of chi-squared with one degree of freedom, nine in ten are below
WIDENINGS = 8
MINIMAL_HALF = 4


def ramp_around(level: FloatArray, at: int, width: int) -> tuple[int, int, int, int]:
    """Window [lo, hi) around a change and the ramp in it; widened while the ramp fills it."""
    half = width
    for _ in range(WIDENINGS):
        lo, hi = max(at - half, 0), min(at + half, level.size)
        begin, end = ramp(level[lo:hi], at - lo)
        inside = (begin > half // 8 or lo == 0) and (end < hi - lo - 1 - half // 8 or hi == level.size)
        if begin == end or inside or half < MINIMAL_HALF:
            break
        half *= 2
    return lo, hi, lo + begin, lo + end


def ramp(level: FloatArray, at: int) -> tuple[int, int]:
    """Begin and end of the straight transition between two levels that fits best; equal for a step.

    A step at the best place is kept unless a ramp leaves clearly less unexplained.  Long series are thinned
    to means first; the search is made twice, the second time around the best of the first.  What takes no longer than
    a few means is looked at again around them, for a mean across a step makes a ramp of it.
    """
    if level.size < 8:
        return at, at
    group = -(-level.size // MOST_POINTS)
    short = np.add.reduceat(level, np.arange(0, level.size, group)) / group
    short[-1] = level[(short.size - 1) * group :].mean()
    n, near = short.size, min(max(round(at / group), 1), short.size - 1)
    place = np.unique(np.append(np.linspace(1, n - 1, EDGES).astype(np.int64), near))
    begin, end = _best_pair(short, place, place)
    reach = -(-n // EDGES)
    begin, end = _best_pair(short, _around(begin, reach, n), _around(end, reach, n))
    if group > 1 and end - begin <= BLURRED:
        lo, hi = max(begin - BESIDE, 0) * group, min((end + BESIDE) * group, level.size)
        begin, end = ramp(level[lo:hi], min(max(at, lo + 1), hi - 1) - lo)
        return lo + begin, lo + end
    return begin * group, min(end * group, level.size - 1)


def _around(at: int, reach: int, n: int) -> IndexArray:
    return np.unique(np.linspace(max(at - reach, 1), min(at + reach, n - 1), EDGES // 2).astype(np.int64))


def _best_pair(level: FloatArray, begins: IndexArray, ends: IndexArray) -> tuple[int, int]:
    """The pair with the least squares; the best single place when no ramp is clearly better."""
    i, j = (grid.ravel() for grid in np.meshgrid(begins, ends, indexing="ij"))
    i, j = i[i <= j], j[i <= j]
    single = np.union1d(begins, ends)
    i, j = np.concatenate([i, single]), np.concatenate([j, single])
    squares = _ramp_squares(level, i, j)
    steps = np.flatnonzero(i == j)
    step = steps[np.argmin(squares[steps])]
    best = int(np.argmin(squares))
    if squares[best] > BETTER * squares[step]:
        return int(i[step]), int(i[step])
    return int(i[best]), int(j[best])


def _ramp_squares(level: FloatArray, begin: IndexArray, end: IndexArray) -> FloatArray:
    """Residual squares of the two-level ramp with least-squares levels, for each (begin, end)."""
    rise = _rise(np.arange(level.size), begin, end)
    y = level - level.mean()
    mean_rise = rise.mean(axis=1)
    centred = rise - mean_rise[:, None]
    norm = np.maximum(np.sum(centred * centred, axis=1), 1e-12)
    return np.asarray(np.sum(y * y) - (centred @ y) ** 2 / norm)


def step_squares(level: FloatArray) -> FloatArray:
    """Residual squares of two levels that part before each block but the first."""
    y = level - level.mean()
    before = np.arange(1, y.size)
    moved = np.cumsum(y)[:-1]
    return np.asarray(np.sum(y * y) - moved**2 * (1 / before + 1 / before[::-1]))


def _rise(at: IndexArray, begin: IndexArray, end: IndexArray) -> FloatArray:
    """Share of the way from one level to the other at each block, for each (begin, end)."""
    rise = np.clip((at - begin[:, None]) / np.maximum(end - begin, 1)[:, None], 0.0, 1.0)
    return np.where((begin == end)[:, None], at >= begin[:, None], rise)


def _on_samples(survey: Survey, change: Change, begin: int, end: int) -> Transition:
    """Onset to the sample: best split of the samples around it, walked out to where the levels are left."""
    blocks, live = survey.blocks, survey.live
    near = max(2, change.width)
    lo, hi = max(begin - 1, 0), min(max(end, begin) + 2, len(blocks))
    before = _level(survey, max(lo - near, 0), max(lo, 1))
    after = before + _rest(survey, min(hi, len(blocks) - 1), min(hi + near, len(blocks)))
    after -= _rest(survey, max(lo - near, 0), max(lo, 1))
    first, last = int(blocks.first[lo]), int(blocks.first[hi])
    part = live.value[first:last]
    size = after - before
    noise = max(survey.noise, survey.quantum / 2)
    split = _split(part, before, after, noise)
    start, settle = 0, _still_coming(part, split, noise)
    if not _at_once(part, split, size) or _goes_on(survey, first + split, size):
        margin = LEAVING * abs(size) + 2 * noise
        start = _walk((part[:split] - before)[::-1] * np.sign(size) > margin)
        settle = _walk((after - part[split:]) * np.sign(size) > margin)
    onset, settled = first + split - start, min(first + split + settle, len(live) - 1)
    length = (live.time[settled] - live.time[onset]) / NS_PER_S
    unseen = (live.time[onset] - live.time[max(onset - 1, 0)]) / NS_PER_S
    hidden = change.across or (unseen > HIDDEN * survey.interval_s and bool(live.fresh[onset]))
    length = max(length, unseen) if hidden else length
    sharp = abs(size) > SHARP_NOISE * noise and not hidden
    error = change.spread
    if sharp and settled - onset <= 3:
        before, after, unsure = _beside(survey, onset, settled, (before, after))
        size, error = after - before, math.hypot(error, unsure)
    if change.across:
        onset = int(blocks.first[change.at])
        settled, length = max(settled, onset), unseen
    return Transition(
        first=onset,
        last=max(settled, onset),
        before=before,
        after=after,
        size=size,
        error=error,
        length_s=max(float(length), survey.interval_s),
        samples=settled - onset + 1,
        sharp=sharp,
        hidden=hidden,
        onset_error_s=survey.interval_s * max(1.0, (2 * noise / max(abs(size), noise / 10, 1e-300)) ** 2),
    )


def _split(part: FloatArray, before: float, after: float, noise: float) -> int:
    """Sample at which the level changes: a jump that stands out, else the split that two levels explain best."""
    if part.size < 2:
        return 0
    size = after - before
    gap = gaps(part) * np.sign(size)
    jump = int(np.argmax(gap))
    if gap[jump] > max(JUMP_SHARE * abs(size), JUMP_NOISE * noise):
        return jump
    gain = np.cumsum((part - after) ** 2 - (part - before) ** 2)
    return int(np.argmax(np.concatenate([[0.0], gain[:-1]])))


def _at_once(part: FloatArray, split: int, size: float) -> bool:
    """Whether the three samples on either side of a split already show most of the change."""
    if split < 3 or split + 3 > part.size:
        return False
    moved = median(part[split : split + 3]) - median(part[split - 3 : split])
    return bool(moved * np.sign(size) > AT_ONCE * abs(size))


def _goes_on(survey: Survey, at: int, size: float) -> bool:
    """Whether the change goes on on either side of a split: the samples next to it make too little of it a jump."""
    before, after, _ = _beside(survey, at, at, (0.0, size))
    return bool((after - before) * np.sign(size) < AT_ONCE * abs(size))


def _still_coming(part: FloatArray, split: int, noise: float) -> int:
    """How many samples after a jump are still on their way to the level right behind it, as through a damped output."""
    before, after = part[max(split - NEXT // 2, 0) : split], part[split + 3 : split + 3 + NEXT // 2]
    if min(before.size, after.size) < 3:
        return 0
    level = median(after)
    size = level - median(before)
    way = (level - part[split : split + 3]) * np.sign(size) > LEAVING * abs(size) + 2 * noise
    return int(np.argmin(np.append(way, False)))


def _beside(
    survey: Survey, onset: int, settled: int, levels: tuple[float, float]
) -> tuple[float, float, float]:
    """Levels right before and right after a jump, from the samples next to it, and the standard error of their difference.

    As many samples as make that difference the least unsure, by what it is at other times of this record: many where
    noise is white, few where the process walks.  The sample just before the jump may hold a part of it, as averages do.
    """
    number, unsure = survey.once("levels beside", lambda: _usual_beside(survey.live.value))
    value = survey.live.value
    left, right = value[max(onset - 1 - number, 0) : max(onset - 1, 0)], value[settled : settled + number]
    if not number or left.size < number or right.size < number:
        return (*levels, 0.0)
    return float(np.median(left)), float(np.median(right)), unsure


def _usual_beside(value: FloatArray) -> tuple[int, float]:
    """How many samples at either side make a difference of levels least unsure, and its standard error; 0 where too few.

    The error is such that 1.645 of it hold nine in ten of the differences that the record shows, whatever their law.
    """
    reach = NEXT + 1
    if value.size < 4 * reach:
        return 0, 0.0
    at = np.linspace(reach, value.size - NEXT, min(PLACES, value.size - reach - NEXT)).astype(np.int64)
    before = value[at[:, None] - 2 - np.arange(NEXT)]
    after = value[at[:, None] + np.arange(NEXT)]
    best = (0, math.inf)
    for number in NUMBERS:
        moved = np.median(after[:, :number], axis=1) - np.median(before[:, :number], axis=1)
        unsure = quantile(np.abs(moved), NINE_IN_TEN) / 1.645
        if unsure < best[1]:
            best = (number, unsure)
    return best


NEXT = 16  # samples
NUMBERS = (16, 8, 4, 2, 1)
PLACES = 500  # looked at: a share of nine in ten is then known to 1.3 %
NINE_IN_TEN = 0.9


def _walk(outside: BoolArray) -> int:
    """How many samples in a row are outside, one stray allowed."""
    if not outside.size:
        return 0
    calm = ~outside
    twice = calm[:-1] & calm[1:] if calm.size > 1 else calm
    return int(np.argmax(twice)) if twice.any() else int(outside.size)


def _level(survey: Survey, lo: int, hi: int) -> float:
    return float(np.mean(survey.blocks.level[lo:hi]))


def _rest(survey: Survey, lo: int, hi: int) -> float:
    return float(np.mean(survey.rest[lo:hi]))
