"""Slow changes of a series: where they begin and end, how large, and what undoes them.

Three ways to find them: levels that differ over wide windows in a record whose sudden changes are taken out
(:mod:`excursions.detect.scan`, :mod:`excursions.detect.plateaus`); stretches that walk more steadily than
any other (:mod:`excursions.detect.slopes`); a straight walk over the whole record, or from somewhere on to its
end, by its slope.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY
from excursions.detect.ends import daily_ends
from excursions.detect.laboratory import disagreements
from excursions.detect.plateaus import EDGE, Joined, joined_apart, joined_rest
from excursions.detect.scan import SUSPICION, changes_among
from excursions.detect.shape import BETTER, ramp, ramp_around
from excursions.detect.slopes import steady_runs
from excursions.detect.survey import Survey
from excursions.detect.unmoved import unmoved_neighbour
from excursions.detect.votes import outvoted
from excursions.records import FloatArray, Record

FEWEST_BLOCKS = 32
BINS = 96  # points a record is brought down to for the test of a straight walk
STRAIGHT_T = 6.0  # slope over its standard error for a walk over the whole record, or to its end
SHORTEST_SHARE = 4  # of the record that such a walk takes at least: shorter ones are found by their windows
SAME_SLOPE = 0.5  # of a slope: one before it that differs by less is the same
STAYED = 0.3  # of the walk of one of two levels: the other moved by less
HINGES = 10.0  # places at which it may begin: a tenth of the record apart they are nearly the same
FASTEST_S, FASTEST_BLOCKS = 6 * 3_600.0, 6  # a change faster than this is a step
TAKEN_OUT = (0.4, 1.6)  # share of a walk that a reset must undo
PIECE = 0.5  # of the time over which samples part: a shorter walk is a piece of what they show
LEAST_INNER = (
    0.4  # of a walk, in the middle halves of its teeth: half where it is straight, less where dirt settles
)
UNLIKELY = 0.05  # chance that the middle halves go the way of the walk, where they go less
SAW = 2  # returns that make a walk a saw-tooth


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A slow change [lo, hi) in blocks: from `before` by `size`, its chance number.

    basis: neighbour it was found against, or empty; joints, returns: sudden changes it goes on through, and
    those that undo it; uneven: variance of the levels right after the returns over that right
    before them; straight: over the whole record or to its end; sampled: by how much laboratory samples part, where
    they alone show it; agreed_again: whether they did so more than once, and agreed in between; end: the ``upper`` or
    ``lower`` of two levels, where that one alone walks."""

    lo: int
    hi: int
    before: float
    size: float
    spread: float
    expected: float
    basis: str = ""
    joints: int = 0
    returns: int = 0
    uneven: float = 1.0
    straight: bool = False
    sampled: float = 0.0
    agreed_again: bool = False
    end: str = ""


def find_walks(record: Record, survey: Survey, series: tuple[tuple[str, FloatArray], ...]) -> list[Walk]:
    """Walks of the named series (neighbour it is apart from, or empty), then of laboratory samples; no overlaps."""
    found: list[Walk] = []
    sampled = _by_samples(record, survey)
    for name, values in series:
        own = _surest(values, _walks(survey, values, name), _straight(survey, values, name))
        own = [walk for walk in own if _is_new(walk, found) and not _contradicted(walk, sampled)]
        found.extend(walk for walk in own if not (walk.basis and _the_others(record, survey, walk)))
    found.extend(walk for walk in sampled if _is_new(walk, found))
    found.extend(walk for walk in _of_one_end(survey) if _is_new(walk, found))
    return found


AS_WELL = 1.1  # times the scatter that the windows' walks leave: the straight one tells the series as well


def _surest(series: FloatArray, walks: list[Walk], straight: list[Walk]) -> list[Walk]:
    """Walks found by their windows, or the straight one that is surer than each of them and tells the series as well.

    A walk over more than half of a record is the usual slope of it for windows: what these then find is the rest.
    """
    if not walks or not straight:
        return walks or straight
    saw = any(walk.returns >= SAW for walk in walks)
    surer = not saw and all(straight[0].expected < walk.expected for walk in walks)
    return straight if surer and _left(series, straight) < AS_WELL * _left(series, walks) else walks


def _left(series: FloatArray, walks: list[Walk]) -> float:
    """What walks, each straight from its begin to its end, leave of a series (n,): its scatter about them."""
    at = np.arange(series.size)
    told = sum(walk.size * np.clip((at - walk.lo) / max(walk.hi - walk.lo, 1), 0.0, 1.0) for walk in walks)
    return float(np.nanstd(series - told))


def _contradicted(walk: Walk, sampled: list[Walk]) -> bool:
    """Whether samples part over the same time by another amount, several times or for much longer: they tell the error,
    the walk guesses, and a piece of the way is not all of it."""
    over = [one for one in sampled if walk.lo < one.hi and one.lo < walk.hi]
    return len(over) > 1 or any(
        not TAKEN_OUT[0] <= walk.size / one.size <= TAKEN_OUT[1]
        or walk.hi - walk.lo < PIECE * (one.hi - one.lo)
        for one in over
    )


def _the_others(record: Record, survey: Survey, walk: Walk) -> bool:
    """Whether a walk against a neighbour is that one's: by a third, or because it followed nothing then."""
    rests = unmoved_neighbour(record, survey, walk.basis)
    return outvoted(survey, walk.basis, *ends_of(walk)) or any(
        lo < walk.hi and walk.lo < past for lo, past in rests
    )


def ends_of(walk: Walk) -> tuple[tuple[int, int], tuple[int, int]]:
    """Blocks about its begin and about its end, between which others are compared with it."""
    edge = max((walk.hi - walk.lo) // 8, 1)
    return (max(walk.lo - edge, 0), walk.lo + edge), (walk.hi - edge, walk.hi + edge)


def _is_new(walk: Walk, found: list[Walk]) -> bool:
    return not any(walk.lo < other.hi and other.lo < walk.hi for other in found)


def _walks(survey: Survey, series: FloatArray, name: str) -> list[Walk]:
    """Slow ramps of a series whose sudden changes are taken out; those that go on as one are one."""
    own = series is survey.rest
    pieces = joined_rest(survey) if own else joined_apart(survey, name, series)
    if pieces.block.size < FEWEST_BLOCKS:
        return []
    shortest = max(FASTEST_S / survey.blocks.width_s, FASTEST_BLOCKS)
    level = pieces.level
    places = [
        (c.at, c.width, c.spread, c.expected)
        for c in changes_among(pieces.differences, pieces.broken, floor=0.3 * survey.quantum)
    ]
    places += [
        ((run.lo + run.hi) // 2, run.hi - run.lo, math.nan, run.expected)
        for run in steady_runs(level, at_most=SUSPICION)
    ]
    ramps = []
    for at, width, spread, expected in sorted(places):
        _, _, begin, end = ramp_around(level, at, width)
        if end - begin >= shortest:
            way = float(np.sign(_mean(level, end, end + EDGE) - _mean(level, begin - EDGE, begin)))
            ramps.append(_Ramp(begin=begin, end=end, way=way, spread=spread, expected=expected))
    found: list[Walk] = []
    for one in _clusters(ramps):
        place = ramp_around(level, (one.begin + one.end) // 2, one.end - one.begin)
        if place[3] - place[2] >= shortest:
            walk = _walk(survey, pieces, name, place, one.spread, one.expected)
            found.extend(() if walk is None else (walk,))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ramp:
    begin: int
    end: int
    way: float
    spread: float
    expected: float


def _clusters(ramps: list[_Ramp]) -> list[_Ramp]:
    """Ramps that overlap, or nearly so, and go the same way, as one each."""
    found: list[_Ramp] = []
    for one in sorted(ramps, key=lambda ramp: (ramp.begin, ramp.end)):
        last = found[-1] if found else None
        if last is None or one.way != last.way or one.begin > last.end + (last.end - last.begin) // 4:
            found.append(one)
            continue
        surest = min(last, one, key=lambda ramp: ramp.expected)
        found[-1] = replace(surest, begin=last.begin, end=max(last.end, one.end))
    return found


def _walk(
    survey: Survey,
    pieces: Joined,
    name: str,
    place: tuple[int, int, int, int],
    spread: float,
    expected: float,
) -> Walk | None:
    """The walk between `begin` and `end` of the joined pieces, seen in the window [lo, hi).

    None where it hardly walks between returns that undo it, but right before and after them: the returns are the tops
    of what fluctuates about one level, and taking them out alone makes it walk.
    """
    lo, hi, begin, end = place
    level = pieces.level
    size = _mean(level, end, hi) - _mean(level, lo, begin)
    first, last = int(pieces.block[begin]), int(pieces.block[min(end, level.size - 1)])
    usual = 1.4826 * float(np.median(np.abs(level[end - begin :] - level[: begin - end])))
    returns, uneven, inner = _returns(survey, pieces, begin, end, size)
    if returns >= SAW and inner.sum() < LEAST_INNER * abs(size) and _one_sided(inner) > UNLIKELY:
        return None
    return Walk(
        lo=first,
        hi=max(last, first + 1),
        before=float(survey.blocks.level[first]),
        size=size,
        spread=spread if math.isfinite(spread) else usual,
        expected=expected,
        basis=name,
        joints=int(np.count_nonzero((pieces.joint > begin) & (pieces.joint < end))),
        returns=returns,
        uneven=uneven,
    )


def _mean(level: FloatArray, lo: int, hi: int) -> float:
    """Mean over a stretch, or the nearest value where it is empty."""
    lo, hi = max(lo, 0), min(hi, level.size)
    return float(np.mean(level[lo:hi])) if hi > lo else float(level[min(lo, level.size - 1)])


def _returns(
    survey: Survey, pieces: Joined, begin: int, end: int, size: float
) -> tuple[int, float, FloatArray]:
    """Sudden changes inside a walk that undo what was walked since the one before, as a cleaning does.

    With them goes how uneven they are: variance of the levels after them over that of the levels before.
    A cleaning starts each tooth anew from the clean level; a storm starts each fall from another height.
    Last comes how far each tooth goes, the way of the walk, in its middle half.
    """
    since, after, before, inner = begin, [], [], []
    for at, jump in zip(pieces.joint, pieces.jump, strict=True):
        if not begin < at < end:
            continue
        walked = float(pieces.level[at] - pieces.level[since])
        if (
            walked * size > 0
            and TAKEN_OUT[0] <= -jump / walked <= TAKEN_OUT[1]
            and abs(walked) > 0.1 * abs(size)
        ):
            inner.append(_inner(pieces.level[since:at]))
            since = int(at)
            own = survey.blocks.level[pieces.block]
            after.append(float(np.median(own[at : at + EDGE])))
            before.append(float(np.median(own[max(at - EDGE, 0) : at])))
    inner.append(_inner(pieces.level[since:end]))
    uneven = float((np.var(after) + 1e-12) / (np.var(before) + 1e-12)) if len(after) >= SAW else 1.0
    return len(after), uneven, math.copysign(1.0, size) * np.array(inner)


def _inner(level: FloatArray) -> float:
    """Walk of the middle half of a tooth (k,), by the means of the eighths that end it."""
    eighth = level.size // 8
    if not eighth:
        return float(level[-1] - level[0]) / 2 if level.size else 0.0
    return float(np.mean(level[5 * eighth : 7 * eighth]) - np.mean(level[eighth : 3 * eighth]))


def _one_sided(x: FloatArray) -> float:
    """p value of a t test that the mean of two or more is above nil."""
    error = max(float(x.std(ddof=1)), 1e-12) / math.sqrt(x.size)
    return float(stdtr(x.size - 1, -float(x.mean()) / error))


def _by_samples(record: Record, survey: Survey) -> list[Walk]:
    """A stretch in which laboratory samples disagree, with its onset from the reading where it shows one."""
    found: list[Walk] = []
    pieces = joined_rest(survey)
    every = sorted(disagreements(record, survey), key=lambda one: one.start)
    for one in every:
        lo, hi = survey.blocks.at(one.before), survey.blocks.at(one.end)
        window = np.flatnonzero((pieces.block >= 2 * lo - hi) & (pieces.block <= hi))
        if hi - lo < 2 or window.size < 8:
            continue
        begin, end = ramp(pieces.level[window], window.size // 2)
        inner = (pieces.level[window[end:]].mean() - pieces.level[window[: begin + 1]].mean()) * one.shift > 0
        found.append(
            Walk(
                lo=max(
                    int(pieces.block[window[begin]]) if inner and end > begin else lo,
                    found[-1].hi if found else 0,  # before that they agreed again
                ),
                hi=hi,
                before=float(survey.blocks.level[lo]),
                size=one.shift,
                spread=one.scatter,
                expected=one.expected,
                sampled=one.shift,
                agreed_again=sum(other.grows and other.shift * one.shift > 0 for other in every) > 1,
            )
        )
    return found


def _straight(survey: Survey, series: FloatArray, name: str) -> list[Walk]:
    """A straight walk over the whole record, or from somewhere on to its end, by its slope against autocorrelated scatter."""
    n = min(BINS, series.size)
    edge = np.linspace(0, series.size, n + 1).astype(np.int64)
    level = np.add.reduceat(series, edge[:-1]) / np.diff(edge)
    time = survey.blocks.start[edge[:-1]] / NS_PER_DAY
    told = _line(time, level)
    if told is None:
        return []
    begin, size, spread, chance, before = told
    return [
        Walk(
            lo=int(edge[begin]),
            hi=len(survey.blocks) - 1,
            before=before,
            size=size,
            spread=spread,
            expected=chance,
            basis=name,
            straight=True,
        )
    ]


def _line(time: FloatArray, level: FloatArray) -> tuple[int, float, float, float, float] | None:
    """Where a straight walk of a series (n,) to its end begins, its size, spread, chance number and the level before; None without."""
    begin = _hinge(time, level)
    along = np.maximum(time - time[begin], 0.0)
    slope, error = slope_and_error(along, level)
    if not abs(slope) > STRAIGHT_T * error:
        return None
    if _split_squares(level) < float(np.sum((level - np.polyval(np.polyfit(along, level, 1), along)) ** 2)):
        return None  # two levels tell it better: it happened somewhere, not all along
    span = float(along[-1])
    chance = 2 * float(stdtr(8, -abs(slope) / error / 2)) * (HINGES if begin else 1.0)
    return begin, slope * span, error * span, chance, float(level.mean() - slope * along.mean())


def _of_one_end(survey: Survey) -> list[Walk]:
    """A straight walk of the upper or of the lower level of a process that goes between two, while the other stays."""
    ends = daily_ends(survey)
    told = [_line(survey.blocks.start[at] / NS_PER_DAY, level) for _, at, level in ends]
    if len(ends) < 2:
        return []
    found = []
    for (name, at, _), line, other in zip(ends, told, reversed(told), strict=True):
        if line is None or (other is not None and abs(other[1]) > STAYED * abs(line[1])):
            continue
        begin, size, spread, chance, before = line
        lo = int(at[begin]) if begin else 0
        walk = Walk(
            lo=lo, hi=len(survey.blocks) - 1, before=before, size=size, spread=spread, expected=chance
        )
        found.append(replace(walk, straight=True, end=name))
    return found


def walks_straight(survey: Survey, other: FloatArray, lo: int) -> bool:
    """Whether another signal on the blocks walks straight from block `lo` to the end of the record as well.

    One that went the same way just as fast before, as a season does, has not to do with what began at `lo`.
    """
    slope, error = _slope_between(survey, other, lo, other.size)
    if not abs(slope) > STRAIGHT_T * error:
        return False
    before, error = _slope_between(survey, other, max(2 * lo - other.size, 0), lo)
    return not abs(before - slope) < SAME_SLOPE * abs(slope) or not abs(before) > STRAIGHT_T * error


def _slope_between(survey: Survey, other: FloatArray, lo: int, hi: int) -> tuple[float, float]:
    """Slope a day of a signal (n,) over the blocks [lo, hi), and its standard error; infinite where they are too few."""
    part = other[lo:hi]
    n = min(BINS, part.size)
    if n < FEWEST_BLOCKS or not np.isfinite(part).all():
        return 0.0, math.inf
    edge = np.linspace(0, part.size, n + 1).astype(np.int64)
    level = np.add.reduceat(part, edge[:-1]) / np.diff(edge)
    return slope_and_error(survey.blocks.start[lo + edge[:-1]] / NS_PER_DAY, level)


def _hinge(time: FloatArray, level: FloatArray) -> int:
    """Where a straight walk to the end of a series (n,) begins; 0 unless a level before it tells clearly more."""
    n = level.size
    places = np.arange(0, n - n // SHORTEST_SHARE)
    along = np.maximum(time - time[places][:, None], 0.0)
    along -= along.mean(axis=1, keepdims=True)
    y = level - level.mean()
    squares = float(y @ y) - (along @ y) ** 2 / np.maximum(np.sum(along * along, axis=1), 1e-300)
    best = int(np.argmin(squares))
    return best if squares[best] < BETTER * squares[0] else 0


def _split_squares(y: FloatArray) -> float:
    """Least residual squares of a series (n,) told as two levels."""
    n = np.arange(1, y.size)
    left, right = np.cumsum(y)[:-1], np.sum(y) - np.cumsum(y)[:-1]
    return float(np.sum(y * y) - np.max(left**2 / n + right**2 / (y.size - n)))


def slope_and_error(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Least-squares slope and its standard error under first-order autocorrelated residuals.

    Parameters
    ----------
    x, y : ndarray (n,), evenly spaced up to gaps

    Returns
    -------
    slope, error : unit of y per unit of x; error is infinite below eight points

    References
    ----------
    .. [1] G. V. Bayley, J. M. Hammersley, "The 'effective' number of independent observations in an
       autocorrelated time series", Supplement to the Journal of the Royal Statistical Society 8 (1946) 184:
       the variance grows by (1 + r) / (1 - r), r the lag-one autocorrelation.
    """
    n = x.size
    if n < 8:
        return 0.0, math.inf
    dx = x - x.mean()
    slope = float(dx @ y / (dx @ dx))
    rest = y - y.mean() - slope * dx
    variance = float(rest @ rest) / (n - 2)
    if variance <= 0:
        return slope, abs(slope) * 1e-9
    r = float(rest[1:] @ rest[:-1] / (rest @ rest))
    r = min(max(r + (1 + 4 * r) / n, 0.0), 0.98)
    return slope, math.sqrt(variance / float(dx @ dx) * (1 + r) / (1 - r))
