"""A record with its sudden changes taken out: what is left walks slowly, or not at all.

Set-points, batches and returns after cleaning make a reading jump; a drift goes on through all of them.
So the pieces between sudden changes and breaks are shifted to join end to end.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.ndimage import maximum_filter1d

from excursions.detect.evidence.apart import differences_apart
from excursions.detect.series.scan import Windows, differences, spreads, windows
from excursions.detect.series.survey import Survey, differences_of
from excursions.ranks import median, scatter_of
from excursions.records import BoolArray, FloatArray, IndexArray

NARROW = (1, 2, 4, 8)  # blocks; a change seen over so few is sudden
SUDDEN = 6.0  # usual changes
EDGE = 6  # blocks at either side of a joint that are made to meet
WINDOWS = 50  # stretches of a record that show its usual slope
CERTAIN = 0.7  # scatters of a stretch's walk: five standard errors of the median of fifty
SHARED = 0.75  # of the way over six blocks on either side that the middle of a walk makes: of one over six blocks 0.7
TALLEST = 0.4  # of that way which one block makes at most: of a walk over six blocks a sixth, and its noise
MOST_SLOW = 6  # places; more steep walks than a few are the way of a process
CLEAR = 2  # blocks at either side of a sudden change that belong to neither level


@dataclass(frozen=True, kw_only=True)
class Joined:
    """The pieces joined: block (k,) kept blocks, level (k,) joined levels, joint (j,) index into `block` of
    each piece's begin, jump (j,) what was taken out there."""

    block: IndexArray
    level: FloatArray
    joint: IndexArray
    jump: FloatArray

    @property
    def broken(self) -> BoolArray:
        """Nothing is missing between pieces joined (k,)."""
        return np.zeros(self.level.size, dtype=np.bool_)

    @cached_property
    def differences(self) -> tuple[Windows, ...]:
        """Differences of the joined levels at all widths, worked out at the first asking."""
        return differences(self.level, self.broken)


def sudden(every: tuple[Windows, ...], size: int, *, quantum: float) -> IndexArray:
    """Blocks at which the level of a series (size,) changes suddenly, by its differences at narrow widths."""
    taken = np.zeros(size, dtype=np.bool_)
    found = []
    for one, spread in zip(every, spreads(every, size, floor=max(0.3 * quantum, 1e-12)), strict=True):
        at = one.clean_peaks
        at = at[(np.abs(one.diff[at]) > SUDDEN * spread) & ~taken[at]]
        found.append(at)
        near = np.zeros(size, dtype=np.bool_)
        near[at] = True
        taken |= maximum_filter1d(near, 2 * (2 * one.width + CLEAR) + 1)
    return np.sort(np.concatenate(found)) if found else np.empty(0, dtype=np.int64)


def joined_rest(survey: Survey) -> Joined:
    """The pieces of a record's own levels, worked out once for all who ask."""
    return survey.once(
        "pieces",
        lambda: joined(
            survey.rest, survey.blocks.broken, quantum=survey.quantum, every=differences_of(survey)
        ),
    )


def joined_apart(survey: Survey, name: str, apart: FloatArray) -> Joined:
    """The pieces of the reading less a neighbour's share in it, worked out once for all who ask.

    Where two probes follow a set-point one after the other, their difference twitches and is where it was; joined end to end,
    a drift would lose a piece of its way at each.
    """
    every = differences_apart(survey, name, apart)
    return survey.once(
        f"pieces apart from {name}",
        lambda: joined(apart, survey.blocks.broken, quantum=survey.quantum, every=every, twitches=True),
    )


def joined(
    level: FloatArray,
    broken: BoolArray,
    *,
    quantum: float,
    every: tuple[Windows, ...] = (),
    twitches: bool = False,
) -> Joined:
    """Take sudden changes and breaks out and join what is left end to end; `every`: its differences, where known.

    twitches : whether a sudden change after which the level is about where it was is left out alone, and shifts nothing
    """
    n = level.size
    cut = np.zeros(n, dtype=np.bool_)
    narrow = every[: len(NARROW)] if len(every) >= len(NARROW) else windows(level, broken, NARROW)
    at = sudden(narrow, n, quantum=quantum)
    slow = _on_their_way(level, broken, at)
    at = at if np.count_nonzero(slow) > MOST_SLOW else at[~slow]
    cut[np.clip(at[:, None] + np.arange(-CLEAR, CLEAR), 0, n - 1)] = True
    begins = cut & ~np.roll(cut, 1)
    start = np.zeros(n, dtype=np.bool_)
    start[0] = True
    start |= broken | begins
    piece = np.cumsum(start)
    block = np.flatnonzero(~cut)
    size = np.bincount(piece[block])
    block = block[size[piece[block]] >= 2 * EDGE]
    if not block.size:
        empty = np.empty(0, dtype=np.int64)
        return Joined(block=empty, level=empty.astype(float), joint=empty, jump=empty.astype(float))
    joint = np.flatnonzero(np.diff(piece[block], prepend=-1))
    stop = np.append(joint[1:], block.size)
    own = level[block]
    jump = np.zeros(joint.size)
    for i in range(1, joint.size):
        before = own[max(stop[i - 1] - EDGE, joint[i - 1]) : stop[i - 1]]
        jump[i] = median(own[joint[i] : joint[i] + EDGE]) - median(before)
    if twitches:
        jump[np.abs(jump) <= SUDDEN * narrow[-1].spread] = 0.0
    shift = np.repeat(np.cumsum(jump), stop - joint)
    return Joined(block=block, level=_untilted(own - shift), joint=joint, jump=jump)


def _on_their_way(level: FloatArray, broken: BoolArray, at: IndexArray) -> BoolArray:
    """Which sudden changes (k,) are the middle of a steep walk: the level moves the same way by and by on either side.

    Where blocks are hours long, a walk of days passes the bar of a sudden change; a step has flat sides, stairs have
    one block that takes most of it.
    """
    slow = np.zeros(at.size, dtype=np.bool_)
    whole = np.flatnonzero((at >= EDGE) & (at + EDGE < level.size))
    if not whole.size:
        return slow
    around = at[whole][:, None] + np.arange(-EDGE, EDGE + 1)
    own = level[around]
    total = own[:, -1] - own[:, 0]
    inner = own[:, EDGE + CLEAR] - own[:, EDGE - CLEAR - 1]
    tallest = np.abs(np.diff(own, axis=1)).max(axis=1)
    shared = (np.abs(inner) <= SHARED * np.abs(total)) & (inner * total > 0)
    slow[whole] = shared & (tallest <= TALLEST * np.abs(total)) & ~broken[around[:, 1:]].any(axis=1)
    return slow


def _untilted(level: FloatArray) -> FloatArray:
    """Take off the usual slope, where there is one: what every batch does between its jumps is no drift."""
    step = max(1, level.size // WINDOWS)
    moves = level[step:] - level[:-step]
    if moves.size < WINDOWS // 2:
        return level
    usual = median(moves)
    if abs(usual) < CERTAIN * scatter_of(moves):
        return level
    return level - usual / step * np.arange(level.size)
