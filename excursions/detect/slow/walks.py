"""Slow changes of a series: where they begin and end, how large, and what undoes them.

Three ways to find them: levels that differ over wide windows in a record whose sudden changes are taken out
(:mod:`excursions.detect.series.scan`, :mod:`excursions.detect.slow.plateaus`); stretches that walk more steadily than
any other (:mod:`excursions.detect.series.slopes`); a straight walk over the whole record, or from somewhere on to its
end, by its slope (:mod:`excursions.detect.series.straight`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtr

from excursions.clock import NS_PER_DAY
from excursions.detect.evidence.laboratory import FEWEST, Disagreement, disagreements, sample_errors
from excursions.detect.evidence.unmoved import unmoved_neighbour
from excursions.detect.evidence.votes import outvoted
from excursions.detect.series.scan import FREEDOM, SUSPICION, changes_among
from excursions.detect.series.shape import ramp, ramp_around
from excursions.detect.series.slopes import steady_runs
from excursions.detect.series.straight import FEWEST_BLOCKS, brought_down, line_to_end
from excursions.detect.series.survey import Survey
from excursions.detect.slow.asleep import one_stood
from excursions.detect.slow.ends import daily_ends
from excursions.detect.slow.plateaus import EDGE, Joined, joined_apart, joined_rest
from excursions.ranks import NORMAL_MAD
from excursions.records import FloatArray, IndexArray, Record

STAYED = 0.3  # of the walk of one of two levels: the other moved by less
FASTEST_S, FASTEST_BLOCKS = 6 * 3_600.0, 6  # a change faster than this is a step
TAKEN_OUT = (0.4, 1.6)  # share of a walk that a reset must undo
PIECE = 0.5  # of the time over which samples part: a shorter walk is a piece of what they show
# Of a walk, in the middle halves of its teeth: half where it is straight, less where dirt settles.
LEAST_INNER = 0.4
SHORTEST_LAG = 4  # a quarter of a walk: over less nobody knows how it moves over all of it
UNLIKELY = 0.05  # chance that the middle halves go the way of the walk, where they go less
SAW = 2  # returns that make a walk a saw-tooth


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A slow change [lo, hi) in blocks: from `before` by `size`, its chance number.

    basis: neighbour it was found against, or empty; joints, returns: sudden changes it goes on through, and
    those that undo it; uneven: variance of the levels right after the returns over that right
    before them; straight: over the whole record or to its end; sampled: by how much laboratory samples part, where
    they alone show it; agreed_again: whether they did so more than once, and agreed in between; taken_back: whether a sudden
    change at its end put the reading right, as they show; end: the ``upper`` or
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
    taken_back: bool = False
    end: str = ""


def find_walks(record: Record, survey: Survey, series: tuple[tuple[str, FloatArray], ...]) -> list[Walk]:
    """Walks of the named series (neighbour it is apart from, or empty), then of laboratory samples; no overlaps."""
    found: list[Walk] = []
    sampled = _by_samples(record, survey)
    drawn = np.searchsorted(survey.blocks.start, sample_errors(record, survey).time, side="right") - 1
    for name, values in series:
        own = _surest(values, _walks(survey, values, name), _straight(survey, values, name))
        own = [walk for walk in own if _is_new(walk, found) and not _contradicted(walk, sampled, drawn)]
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


def _contradicted(walk: Walk, sampled: list[Walk], drawn: IndexArray) -> bool:
    """Whether samples part over the same time by another amount, several times or for much longer, or agree for long in its
    course: they tell the error, the walk guesses, and a piece of the way is not all of it.  drawn (k,): their blocks."""
    over = [one for one in sampled if walk.lo < one.hi and one.lo < walk.hi]
    return len(over) > 1 or any(
        not TAKEN_OUT[0] <= walk.size / one.size <= TAKEN_OUT[1]
        or walk.hi - walk.lo < PIECE * (one.hi - one.lo)
        or (
            one.lo - walk.lo > PIECE * (one.hi - one.lo)
            and np.count_nonzero((drawn >= walk.lo) & (drawn <= one.lo)) >= FEWEST
        )
        for one in over
    )


def _the_others(record: Record, survey: Survey, walk: Walk) -> bool:
    """Whether a walk against a neighbour is that one's: by a third, because it followed nothing then, or because one of the two
    stood still."""
    rests = unmoved_neighbour(record, survey, walk.basis)
    return (
        one_stood(survey, walk.basis, walk.lo, walk.hi)
        or outvoted(survey, walk.basis, *ends_of(walk))
        or any(lo < walk.hi and walk.lo < past for lo, past in rests)
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
    joints = int(np.count_nonzero((pieces.joint > begin) & (pieces.joint < end)))
    amiss = math.sqrt(joints) * _joint_error(pieces)
    usual = math.hypot(_usual_outside(level, begin, end), amiss)
    by_joints = 2 * pieces.joint.size * float(stdtr(FREEDOM, -abs(size) / amiss)) if amiss > 0 else 0.0
    returns, uneven, inner = _returns(survey, pieces, begin, end, size)
    if returns >= SAW and inner.sum() < LEAST_INNER * abs(size) and _one_sided(inner) > UNLIKELY:
        return None
    return Walk(
        lo=first,
        hi=max(last, first + 1),
        before=float(survey.blocks.level[first]),
        size=size,
        spread=spread if math.isfinite(spread) else usual,
        expected=expected + by_joints,
        basis=name,
        joints=joints,
        returns=returns,
        uneven=uneven,
    )


def _usual_outside(level: FloatArray, begin: int, end: int) -> float:
    """Usual change of a series (n,) over as long as a walk [begin, end), where it did not walk.

    Moves that reach into the walk show the walk: one of a third of a record would be as large as its own usual change.
    Where the record outside of it is too short, moves over half of that are taken, grown as a random walk does.
    """
    length = end - begin
    longest = max(begin, level.size - end)
    lag = min(length, longest // 2)
    if lag < length // SHORTEST_LAG or lag < 1:
        return NORMAL_MAD * float(np.median(np.abs(level[length:] - level[:-length])))
    sides = (level[:begin], level[end:])
    moved = np.concatenate([np.abs(part[lag:] - part[:-lag]) for part in sides if part.size > lag])
    return NORMAL_MAD * float(np.median(moved)) * math.sqrt(length / lag)


def _joint_error(pieces: Joined) -> float:
    """How far two pieces may be joined amiss: the usual change from a few blocks to the next."""
    near = next((one for one in pieces.differences if one.width >= EDGE), None)
    return near.spread if near is not None and math.isfinite(near.spread) else 0.0


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
        taken = one.taken_at >= 0
        lo = survey.blocks.at(one.before)
        hi = one.taken_at if taken else survey.blocks.at(one.end)
        window = np.flatnonzero((pieces.block >= 2 * lo - hi) & (pieces.block <= hi))
        if hi - lo < 2 or window.size < 8:
            continue
        begin, end = ramp(pieces.level[window], window.size // 2)
        shown = survey.blocks.at(one.start)  # the first sample that disagrees: by then it was under way
        at_once = _came_at_once(survey, lo, shown, one)
        inner = (
            not at_once
            and (pieces.level[window[end:]].mean() - pieces.level[window[: begin + 1]].mean()) * one.shift > 0
        )
        found.append(
            Walk(
                lo=max(
                    min(int(pieces.block[window[begin]]), shown) if inner and end > begin else lo,
                    found[-1].hi if found else 0,  # before that they agreed again
                    _set_between(record, survey, one),
                ),
                hi=hi,
                before=float(survey.blocks.level[lo]),
                size=one.shift,
                spread=one.scatter,
                expected=one.expected,
                sampled=one.shift,
                agreed_again=sum(other.grows and other.shift * one.shift > 0 for other in every) > 1,
                taken_back=taken,
            )
        )
    return found


def _came_at_once(survey: Survey, lo: int, start: int, one: Disagreement) -> bool:
    """Whether an error that stands may have come with a sudden change of about its size: what walked afterwards is not it."""
    shares = [c.size / one.shift for c in survey.changes if c.sudden and lo < c.at <= start]
    return not one.grows and any(TAKEN_OUT[0] <= share <= TAKEN_OUT[1] for share in shares)


def _set_between(record: Record, survey: Survey, one: Disagreement) -> int:
    """Block after the last calibration between the sample that agreed and the first that did not; 0 without one.

    An error that was there before it was put right by it, so that this one came with it or after it.
    """
    entered = [when for when in record.plant.noted_at(record.point.name) if one.before < when < one.start]
    return survey.blocks.at(max(entered)) + 1 if entered else 0


def _straight(survey: Survey, series: FloatArray, name: str) -> list[Walk]:
    """A straight walk over the whole record, or from somewhere on to its end, by its slope against autocorrelated scatter."""
    first, level = brought_down(series)
    told = line_to_end(survey.blocks.start[first] / NS_PER_DAY, level)
    if told is None:
        return []
    begin, size, spread, chance, before = told
    return [
        Walk(
            lo=int(first[begin]),
            hi=len(survey.blocks) - 1,
            before=before,
            size=size,
            spread=spread,
            expected=chance,
            basis=name,
            straight=True,
        )
    ]


def _of_one_end(survey: Survey) -> list[Walk]:
    """A straight walk of the upper or of the lower level of a process that goes between two, while the other stays."""
    ends = daily_ends(survey)
    told = [line_to_end(survey.blocks.start[at] / NS_PER_DAY, level) for _, at, level in ends]
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
