"""Changes of level from one sample to the next, among samples rather than blocks.

Method: at every sample the gap between the four values before and the four after: how far the lowest of the
one side lies above the highest of the other.  Noise and single wild samples leave no gap, a slow change a
small one.  The largest gap of each block is one chance; gaps that the tail of the others does not explain
are changes.  This tells a jump from a set-point that is walked to, however often the process does the latter.
"""

from __future__ import annotations

import numpy as np

from excursions.detect.blocks import Blocks
from excursions.detect.live import PIECE, Live
from excursions.detect.scan import SUSPICION, Change
from excursions.detect.tails import expected_each, outlying
from excursions.records import FloatArray

SIDE = 4  # samples on either side
LEAST_NOISE = 2.0  # usual noises that a gap must measure
BESIDE = 16  # samples further out on either side that must show the change as well
KEPT = 0.5  # of the gap that they must still show
FEWEST_BLOCKS = 48


def gaps(value: FloatArray) -> FloatArray:
    """Signed gap before each sample (n,); 0 where the two sides overlap or do not fit."""
    out = np.zeros(value.size)
    for start in range(0, value.size - 2 * SIDE + 1, PIECE):
        part = _gaps(value[start : start + PIECE + 2 * SIDE - 1])
        out[start + SIDE : start + SIDE + part.size] = part
    return out


def _gaps(value: FloatArray) -> FloatArray:
    """Gaps at samples SIDE to n - SIDE of a piece short enough for the processor's own memory."""
    low, high = np.minimum(value[1:], value[:-1]), np.maximum(value[1:], value[:-1])
    low, high = np.minimum(low[2:], low[:-2]), np.maximum(high[2:], high[:-2])
    up, down = low[SIDE:] - high[:-SIDE], low[:-SIDE] - high[SIDE:]
    return np.asarray(np.maximum(up, 0.0) - np.maximum(down, 0.0))  # one of the two is never above 0


def sudden_changes(live: Live, blocks: Blocks, every_gap: FloatArray, *, noise: float) -> tuple[Change, ...]:
    """Changes from sample to sample that no other gap of the record explains.

    Parameters
    ----------
    live, blocks : the record, `blocks` made from `live`
    every_gap : ndarray, shape (n,), from :func:`gaps`; not changed
    noise : float
        Usual noise, the reading's unit.
    """
    if len(blocks) < FEWEST_BLOCKS or len(live) < 4 * len(blocks):
        return ()
    gap = every_gap.copy()
    for away in range(1 - SIDE, SIDE):
        gap[np.clip(np.flatnonzero(live.fresh) + away, 0, gap.size - 1)] = 0.0  # no gap across a break
    held = np.flatnonzero(blocks.count > 0)
    start = blocks.first[held]
    size = np.maximum(np.maximum.reduceat(gap, start), -np.minimum.reduceat(gap, start))
    unit = max(noise, 1e-12)
    mark = outlying(size + unit, at_most=SUSPICION) & (size > LEAST_NOISE * unit)
    chosen = np.flatnonzero(mark)
    chance = expected_each(size[~mark] + unit, size[chosen] + unit)
    found = []
    for i, expected in zip(chosen, chance, strict=True):
        a, b = int(start[i]), int(blocks.first[held[i] + 1])
        at = a + int(np.argmax(np.abs(gap[a:b])))
        change = _change(live, blocks, at, float(gap[at]), unit, float(expected))
        if change is not None:
            found.append(change)
    return tuple(found)


def _change(live: Live, blocks: Blocks, at: int, gap: float, spread: float, expected: float) -> Change | None:
    """The change at a sample, when the samples further out changed with it."""
    before = live.value[max(at - SIDE - BESIDE, 0) : at]
    after = live.value[at + SIDE : at + SIDE + BESIDE]
    if not before.size or not after.size:
        return None
    moved = float(np.median(after) - np.median(before))
    if moved * np.sign(gap) < KEPT * abs(gap):
        return None
    block = blocks.at(int(live.time[at]))
    middle = int(live.time[at]) - int(blocks.start[block])
    place = block if middle < blocks.width // 2 else min(block + 1, len(blocks) - 1)
    return Change(
        at=place, width=2, size=moved, spread=spread, expected=expected, across=bool(blocks.broken[place])
    )


def together(slow: tuple[Change, ...], fast: tuple[Change, ...]) -> tuple[Change, ...]:
    """Both lists as one; a fast change takes the place of slow ones within two blocks of it."""
    kept = [one for one in slow if not any(abs(one.at - other.at) <= 2 for other in fast)]
    return tuple(sorted([*kept, *fast], key=lambda change: change.at))
