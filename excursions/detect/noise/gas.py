"""Gas caught in a conductivity cell: it reads low at once, restless, and is back at once where it was when the gas leaves.

A process that dilutes and thickens comes and goes by and by, and ends at another level.
"""

from __future__ import annotations

import numpy as np

from excursions.detect.evidence.origin import Clue
from excursions.detect.series.survey import Survey
from excursions.records import FloatArray

FEWEST = 3  # noise figures inside, before and after
BESIDE = 12  # noise figures before and after that show the level
# Share of the reading that is lost; of that, most that does not come back (cp).
LEAST_LOST, NOT_BACK = 0.02, 0.25
EDGE = 0.5  # of the loss that a sudden change at either end makes
ODDS = 4.0  # (cp)


def gas_clue(
    survey: Survey, level: FloatArray, within: tuple[int, int], edges: tuple[int, int], *, near: int
) -> Clue | None:
    """Clue for a restless stretch, None where it is none of gas.

    Parameters
    ----------
    level : ndarray (k,), the reading at each noise figure
    within : noise figures [lo, hi) of the stretch
    edges : its begin and end [ns]; `near`: how far [ns] from them the reading falls and rises at once
    """
    lo, hi = within
    inside, before, after = level[lo:hi], level[max(lo - BESIDE, 0) : lo], level[hi + 1 : hi + 1 + BESIDE]
    if min(inside.size, before.size, after.size) < FEWEST:
        return None
    was, low, back = (float(np.median(part)) for part in (before, inside, after))
    lost = was - low
    if lost < LEAST_LOST * abs(was) or abs(back - was) > NOT_BACK * lost:
        return None
    for way, edge in zip((-1.0, 1.0), edges, strict=True):
        jumps = [c.at for c in survey.changes if c.sudden and c.size * way > EDGE * lost]
        if not any(abs(int(survey.blocks.start[at]) - edge) <= near for at in jumps):
            return None
    return Clue(
        odds=ODDS,
        words="fell at once, was restless and came back at once to where it had been: as gas in the cell does",
    )
