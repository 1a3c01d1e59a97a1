"""The two levels of a process that goes back and forth between them: one may walk away while the other stays.

A cell that polarises, a lamp that fades, an electrode that loses slope reads wrong at the far end of its span and right at
the near one.  Batches hide it: each is a jump up and a jump down, and between jumps nothing walks.  Method: where hardly any
block lies between the two levels, the median of those near either end is taken of each day, and a straight walk of it from
somewhere on is tested as that of a whole record is.
"""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY
from excursions.detect.series.survey import Survey
from excursions.ranks import median, quantiles
from excursions.records import FloatArray, IndexArray

FEWEST_DAYS = 24
FEWEST_BLOCKS = 3  # of a day at a level
MIDDLE, FEW = (0.35, 0.65), 0.15  # of the span between the levels; share of the blocks that may lie there
VISITED = 0.05  # share of the blocks at either level


def daily_ends(survey: Survey) -> tuple[tuple[str, IndexArray, FloatArray], ...]:
    """Name, first block of each day (d,) and level (d,) of the upper and the lower level; empty where there are no two.

    The levels are those of two groups, parted half way between them: their medians are asked for again until they keep.
    """
    level = survey.blocks.level
    low, high = quantiles(level, (0.02, 0.98))
    for _ in range(8):
        upper = level > (low + high) / 2
        if not upper.any() or upper.all():
            return ()
        low, high = median(level[~upper]), median(level[upper])
    span = high - low
    between = (level > low + MIDDLE[0] * span) & (level < low + MIDDLE[1] * span)
    share = float(np.mean(upper))
    if span <= 0 or np.mean(between) > FEW or not VISITED <= share <= 1 - VISITED:
        return ()
    found = []
    for name, at in (("upper", np.flatnonzero(upper)), ("lower", np.flatnonzero(~upper))):
        settled = at[1:-1][(np.diff(at)[:-1] == 1) & (np.diff(at)[1:] == 1)]  # no block on the way
        day = survey.blocks.start[settled] // NS_PER_DAY
        _, first, count = np.unique(day, return_index=True, return_counts=True)
        enough = count >= FEWEST_BLOCKS
        first, count = first[enough], count[enough]
        if first.size >= FEWEST_DAYS:
            values = np.array([median(level[settled[a : a + n]]) for a, n in zip(first, count, strict=True)])
            found.append((name, settled[first], values))
    return tuple(found)
