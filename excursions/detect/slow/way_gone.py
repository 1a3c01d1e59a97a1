"""What became of a slow change, and whether the reading goes as far in as long at other times."""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE, LEFT, LONGEST, WIDE, returned_at
from excursions.detect.evidence.origin import Clue, next_reset
from excursions.detect.series.pattern import running_mean
from excursions.detect.series.straight import FEWEST_BLOCKS
from excursions.detect.series.survey import Survey
from excursions.detect.slow.plateaus import EDGE, joined_rest
from excursions.detect.slow.taken_back import STAYED
from excursions.detect.slow.walks import SAW, Walk
from excursions.ranks import median
from excursions.records import RETURNED, Record

LONGEST_WAY_BACK = 3 * NS_PER_DAY  # what rain or a batch threw off is back within days (cp)
AS_FAR = (0.8, 3.0)  # of a walk: moves as far; what is larger is something else
STAYS = 2.0  # odds of a slow change that does not turn round, as for a step that does not come back (cp)
NEW_LEVEL = 3.0  # usual wanderings that a change must measure for its level to be new
NEARBY = 0.2  # of the change: as near as that is the same level


def tooth(walk: Walk) -> float:
    """Change from clean to dirty: the whole walk shared among its teeth."""
    return walk.size / (walk.returns + 1) if walk.returns >= SAW else walk.size


def gone_as_far(survey: Survey, walk: Walk) -> int:
    """How often else the reading went as far the same way within as long, be it sooner: batches do, each in its own time.

    Of walks, or teeth, of up to a week; over longer times set-points come and go as well.
    """
    size = tooth(walk)
    lag = (walk.hi - walk.lo) // (walk.returns + 1 if walk.returns >= SAW else 1)
    if not 0 < lag * survey.blocks.width <= LONGEST or walk.sampled or walk.basis:
        return 0
    level = running_mean(survey.rest, max(lag // 8, 1))
    moved = (level[lag:] - level[:-lag]) * np.sign(size)
    like = (moved >= AS_FAR[0] * abs(size)) & (moved <= AS_FAR[1] * abs(size))
    like[max(walk.lo - lag, 0) : walk.hi] = False
    return int(np.count_nonzero(np.diff(like.astype(np.int8), prepend=0) == 1))


def stays_away(survey: Survey, walk: Walk) -> tuple[Clue, ...]:
    """A walk straight to the end of the record, or that came to a level and stayed; and a level never seen before.

    A process that wanders turns round; what wears out, or is poisoned, does not.
    """
    if walk.returns >= SAW or walk.sampled or walk.basis:
        return ()
    if walk.joints and own_way(survey, walk) * np.sign(walk.size) < LEFT * abs(walk.size):
        return ()
    level, size = survey.rest, abs(walk.size)
    later, earlier = level[walk.hi :], level[: walk.lo + 1]
    clues = []
    if walk.straight:
        clues.append(Clue(odds=STAYS, inside=True))  # told in words of its own
    elif later.size >= max((walk.hi - walk.lo) // 2, FEWEST_BLOCKS):
        ended = median(later[: max(later.size // 8, 2)])
        if np.abs(running_mean(later, later.size // 8) - ended).max() < GONE * size:
            clues.append(Clue(odds=STAYS, words=STAYED, inside=True))
    ended = median(level[walk.hi - 2 :])
    if size >= NEW_LEVEL * survey.wander and not (np.abs(earlier - ended) < NEARBY * size).any():
        clues.append(Clue(odds=1.5, words="the record was never at that level before", inside=True))
    return tuple(clues)


def turned_back(record: Record, survey: Survey, walk: Walk) -> tuple[tuple[Clue, ...], dict[str, float]]:
    """That the reading came back by and by, before anybody touched the probe, and after how long [s]; nothing where it did not.

    What dirt or wear did stays until somebody takes it off, and then it goes at once.  A reading that wanders as far as it
    walked may come back with the error still in it: that says less, and ends nothing.
    """
    if walk.returns >= SAW or walk.sampled or walk.basis or walk.hi >= len(survey.blocks) - 2:
        return (), {}
    begun, ended = (int(survey.blocks.start[at]) for at in (walk.lo, walk.hi))
    reset = next_reset(record, ended)
    until = survey.blocks.at(reset) if reset is not None else len(survey.blocks)
    edge = max((walk.hi - walk.lo) // 8, 2)
    before = median(survey.blocks.level[max(walk.lo - edge, 0) : walk.lo + 1])
    back = returned_at(survey, walk.hi, until, before, walk.size)
    if back is None or _at_once(survey, walk, back):
        return (), {}
    back_s = (int(survey.blocks.start[back]) - begun) / NS_PER_S
    clear = abs(walk.size) > WIDE * survey.wander
    words = f"the reading came back by and by, {duration_text(back_s)} after it began to walk"
    return (Clue(odds=0.2 if clear else 0.4, words=words, inside=True),), {RETURNED: back_s} if clear else {}


def _at_once(survey: Survey, walk: Walk, back: int) -> bool:
    """Whether a sudden change between the end of a walk and its return undid most of it, as a cleaning does."""
    pieces = joined_rest(survey)
    when = pieces.block[np.minimum(pieces.joint, pieces.block.size - 1)]
    near = (when >= walk.hi - EDGE) & (when <= back + EDGE)
    return bool(np.any(-pieces.jump[near] * np.sign(walk.size) > LEFT * abs(walk.size)))


def own_way(survey: Survey, walk: Walk) -> float:
    """How far the reading itself went over a walk, sudden changes and all."""
    edge = max((walk.hi - walk.lo) // 8, 2)
    level = survey.rest  # less its daily round
    before, after = level[max(walk.lo - edge, 0) : walk.lo + 1], level[walk.hi : walk.hi + edge]
    return float(np.median(after) - np.median(before)) if after.size else walk.size
