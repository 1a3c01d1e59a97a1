"""What the temperature explains of a change of the reading, by the rest of the record: seasons, hot and cold batches.

A reading that has followed the temperature all the year follows it in spring as well, be it by the solubility of oxygen,
the dissociation of water or whatever lives in it.  So a line of the reading over the temperature is fitted to the part
of the record that the change leaves alone; where it tells most of what happens there, it foretells what the temperature
did to the reading over the change.  Nothing is taken out of the record: a probe may fail in spring too.
"""

from __future__ import annotations

import math

import numpy as np

from excursions.clock import NS_PER_DAY
from excursions.detect.evidence.origin import Clue
from excursions.detect.series.survey import Survey
from excursions.physics.oxygen import saturation_mg_l
from excursions.records import FloatArray, Record

MOST_BINS = 96
FEWEST_BINS = 12  # outside of a change
FOLLOWS = 0.7  # correlation from which the temperature tells about half of what a reading does
BEYOND = 2.0  # spans of the temperature elsewhere that a line is trusted to reach
EXPLAINED = (0.4, 1.6)  # share of a change that is explained
WATER = (0.0, 40.0)  # degC in which the solubility of oxygen is known
ODDS = 0.15  # as for a temperature that changed at the same time


def along_clue(survey: Survey, before: tuple[int, int], after: tuple[int, int], size: float) -> Clue:
    """Whether the temperature foretells a change of `size` between two ranges of blocks [lo, hi)."""
    share = explained_share(survey, before, after, size)
    if not EXPLAINED[0] <= share <= EXPLAINED[1]:
        return Clue(odds=1.0)
    words = f"by the rest of the record the temperature explains {100 * min(share, 1.0):.0f} % of it"
    return Clue(odds=ODDS, words=words)


def solubility_clue(
    record: Record, survey: Survey, before: tuple[int, int], after: tuple[int, int], size: float
) -> Clue:
    """Whether a change of dissolved oxygen [mg/L] is what warmer or colder water holds less or more, at the same saturation."""
    unit = record.unit
    warm = [survey.temperature[slice(*part)] for part in (before, after)]
    if record.point.quantity.key != "oxygen" or unit != record.point.quantity.unit or not size:
        return Clue(odds=1.0)
    if not all(part.size and np.isfinite(part).all() for part in warm):
        return Clue(odds=1.0)
    was, now = (float(np.mean(part)) for part in warm)
    if not (WATER[0] <= min(was, now) and max(was, now) <= WATER[1]):
        return Clue(odds=1.0)
    level = float(np.mean(survey.blocks.level[slice(*before)]))
    share = level * (saturation_mg_l(now) / saturation_mg_l(was) - 1.0) / size
    if not EXPLAINED[0] <= share <= EXPLAINED[1]:
        return Clue(odds=1.0)
    words = f"that water of {now:.0f} °C holds another amount than of {was:.0f} °C explains {100 * min(share, 1.0):.0f} % of it"
    return Clue(odds=ODDS, words=words)


def explained_share(survey: Survey, before: tuple[int, int], after: tuple[int, int], size: float) -> float:
    """Share of a change that the temperature explains by the blocks before `before` and past `after`; NaN where these cannot tell."""
    temperature = survey.temperature
    if size == 0 or not np.isfinite(temperature).all():
        return math.nan
    outside = np.concatenate([_bins(survey, 0, before[0]), _bins(survey, after[1], len(survey.blocks))])
    if outside.shape[0] < FEWEST_BINS:
        return math.nan
    x, y = outside[:, 0], outside[:, 1]
    if not (np.ptp(x) > 0 and np.ptp(y) > 0) or abs(float(np.corrcoef(x, y)[0, 1])) < FOLLOWS:
        return math.nan
    moved = float(np.mean(temperature[slice(*after)]) - np.mean(temperature[slice(*before)]))
    if abs(moved) > BEYOND * float(np.ptp(x)):
        return math.nan
    dx = x - x.mean()
    return float(dx @ y / (dx @ dx)) * moved / size


def _bins(survey: Survey, lo: int, hi: int) -> FloatArray:
    """Mean temperature and level (k, 2) of bins of whole days between two blocks."""
    blocks = survey.blocks
    a_day = NS_PER_DAY / blocks.width
    width = math.ceil(max(1.0, len(blocks) / MOST_BINS / a_day) * a_day)
    edge = np.arange(lo, hi - width + 1, width)
    if not edge.size:
        return np.empty((0, 2))
    both = np.column_stack([survey.temperature, blocks.level])[lo : int(edge[-1]) + width]
    return np.asarray(np.add.reduceat(both, edge - lo, axis=0) / width)
