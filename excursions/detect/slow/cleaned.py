"""Fouling by what logged cleanings bring back: the reading jumps at them, each time the same way, and nowhere else so.

Between two cleanings the process may do anything (storms, set-points).  What a cleaning takes off goes at once: the jump
across it, over what the reading moves just before and just after, has a probability among the same figure over as long at
all other instants of the record.  The run of cleanings with the least probable jumps is judged by Fisher's sum of their
logarithms.

References
----------
.. [1] R. A. Fisher, "Statistical Methods for Research Workers", 4th edition (1932), section 21.1: minus twice the sum of
   the logarithms of k independent probabilities is chi-squared with 2 k degrees of freedom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from excursions.detect.series.cusum import upper_cusum
from excursions.detect.series.groups import group_median
from excursions.detect.series.survey import Survey
from excursions.records import CLEANING, FloatArray, IndexArray, Record

EDGE = 12  # samples that make a level; two such levels at either side of a cleaning show how it moves there
FEWEST = 2  # cleanings that bring back as much
FEWEST_ELSEWHERE = 50  # independent other instants that show how far the reading moves in that time
LIKE = 0.3  # of the usual jump
MOST_ELSEWHERE = 5_000
USUAL_LOG = 2.0  # twice what minus the logarithm of a probability is on average


@dataclass(frozen=True, slots=True, kw_only=True)
class BroughtBack:
    """A run of logged cleanings: first and past block of each fouled stretch that ends with one (k,), the jumps there (k,),
    and the expected number of such runs by chance."""

    lo: IndexArray
    hi: IndexArray
    jump: FloatArray
    expected: float


def brought_back(record: Record, survey: Survey) -> BroughtBack | None:
    """The run of logged cleanings at which the reading jumps back as it does nowhere else; None without one."""
    begin, end = _cleanings(record, survey)
    if begin.size < FEWEST:
        return None
    value, blocks = survey.live.value, survey.blocks
    gap = int(np.median(end - begin))
    at = np.arange(2 * EDGE, value.size - gap - 2 * EDGE, EDGE)
    at = at[np.abs(at[:, None] - begin).min(axis=1) > gap + 4 * EDGE]
    if at.size < FEWEST_ELSEWHERE:
        return None
    at = at[:: max(1, at.size // MOST_ELSEWHERE)]
    scale = max(survey.noise, survey.quantum, 1e-12)
    jump, sharp = _jumps(value, begin, end, scale)
    _, elsewhere = _jumps(value, at, at + gap, scale)
    way = record.point.quantity.fouls
    runs = [_run(sharp * side, elsewhere * side) for side in ((-way,) if way else (1, -1))]
    i, j, expected = min(runs, key=lambda run: run[2])
    while j - i > FEWEST and abs(jump[i]) < LIKE * abs(float(np.median(jump[i:j]))):
        i += 1  # a cleaning that took next to nothing off began the fouling
    after = _level(value, end)[i:j]
    if j - i < FEWEST or float(np.median(np.abs(after - np.median(after)))) > abs(
        float(np.median(jump[i:j]))
    ):
        return None  # a clean probe mostly reads what it read after the cleaning before
    lo, hi = (np.searchsorted(blocks.first, edge) for edge in (np.append(0, end)[i:j], begin[i:j]))
    return BroughtBack(lo=lo, hi=np.maximum(hi, lo + 1), jump=jump[i:j], expected=expected * len(runs))


def _cleanings(record: Record, survey: Survey) -> tuple[IndexArray, IndexArray]:
    """First sample of each logged cleaning and the first after it, those with levels at both sides."""
    spans = record.states.spans(CLEANING)
    logged = np.sort(np.array(record.plant.cleaned_at(record.point.name), dtype=np.int64))
    held = np.searchsorted(logged, spans[:, 1], side="right") > np.searchsorted(logged, spans[:, 0])
    begin = np.searchsorted(survey.live.time, spans[held, 0])
    end = np.searchsorted(survey.live.time, spans[held, 1])
    inside = (begin >= 2 * EDGE) & (end + 2 * EDGE <= len(survey.live))
    return begin[inside], end[inside]


def _level(level: FloatArray, first: IndexArray) -> FloatArray:
    return group_median(level, first, first + EDGE)


def _jumps(
    value: FloatArray, begin: IndexArray, end: IndexArray, scale: float
) -> tuple[FloatArray, FloatArray]:
    """Jump from before `begin` to after `end`, and the same over the larger move beside it."""
    far, near = _level(value, begin - 2 * EDGE), _level(value, begin - EDGE)
    then, later = _level(value, end), _level(value, end + EDGE)
    beside = np.maximum(np.abs(near - far), np.abs(later - then)) + scale
    return then - near, (then - near) / beside


def _run(jump: FloatArray, elsewhere: FloatArray) -> tuple[int, int, float]:
    """Run [i, j) of jumps upward that the changes elsewhere explain least, and how many such runs chance shows."""
    ordered = np.sort(elsewhere)
    beyond = elsewhere.size - np.searchsorted(ordered, jump)
    p = (beyond + EDGE) / (
        elsewhere.size + EDGE
    )  # neighbouring instants share their blocks: one in so many is its own
    sums = upper_cusum(-np.log(p), allowance=USUAL_LOG)
    j = int(np.argmax(sums)) + 1
    nothing = np.flatnonzero(sums[:j] <= 0.0)
    i = int(nothing[-1]) + 1 if nothing.size else 0
    if j <= i:
        return 0, 0, math.inf
    chance = float(gammaincc(j - i, -np.log(p[i:j]).sum()))
    return i, j, chance * jump.size * (jump.size + 1) / 2
