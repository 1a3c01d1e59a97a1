"""Two neighbours walk apart: which of the two went, and which stayed?

What a process does both show.  So the probe that is right shows the process, and the walk is told by how the other one's
reading went.  A process that stayed over the whole walk is likelier than one that walked for months as far as the probe
failed, the other way, and hid it.  Each reading is fitted by the shape of the walk; how many standard errors it went is
weighed by the heavy tail of Cauchy's law, since nobody knows how a process wanders over months.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.detect.evidence.origin import Clue
from excursions.detect.series.alike import gain
from excursions.detect.series.straight import brought_down, slope_and_error
from excursions.detect.series.survey import Survey
from excursions.detect.slow.walks import Walk
from excursions.detect.slow.way_gone import tooth
from excursions.records import MOVED_INSTEAD, FloatArray

MOST = 20.0  # odds either way: one pair in twenty is otherwise, for reasons no record shows (cp)
WORTH_SAYING = 2.0


def whose_clue(survey: Survey, walk: Walk) -> Clue:
    """Odds that a walk apart from a neighbour is this reading's rather than the neighbour's."""
    other = survey.neighbours.get(walk.basis)
    if other is None or not np.isfinite(other).all():
        return Clue(odds=1.0)
    level = survey.blocks.level
    own, theirs = _errors(level, walk), _errors(gain(level, other) * other, walk)
    odds = float(np.clip((1 + own**2) / (1 + theirs**2), 1 / MOST, MOST))
    if odds >= WORTH_SAYING:
        return Clue(odds=odds, words=f"this reading went away, {walk.basis} stayed where it was")
    if odds <= 1 / WORTH_SAYING:
        words = f"{walk.basis} went away, this reading stayed where it was"
        return Clue(odds=odds, words=words, source=walk.basis, said=MOVED_INSTEAD)
    return Clue(odds=odds)


def went_instead(survey: Survey, walk: Walk, clues: Sequence[Clue]) -> tuple[float, Clue] | None:
    """By how much the neighbour went where its going parts the two, in its unit, and what this reading's staying says of that
    one's probe; None where nothing tells so."""
    own = next((clue for clue in clues if clue.source == walk.basis and clue.said == MOVED_INSTEAD), None)
    if own is None:
        return None
    return -tooth(walk) / gain(survey.blocks.level, survey.neighbours[walk.basis]), Clue(odds=1 / own.odds)


def _errors(level: FloatArray, walk: Walk) -> float:
    """How far a series on the blocks goes along with the shape of a walk, in standard errors."""
    shape = np.clip((np.arange(level.size) - walk.lo) / (walk.hi - walk.lo), 0.0, 1.0)
    slope, error = slope_and_error(brought_down(shape)[1], brought_down(level)[1])
    return slope / error if error > 0 else 0.0
