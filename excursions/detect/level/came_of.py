"""What came of a change of level: it stayed, went back by itself, or was taken out by a calibration or cleaning."""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import returned_at, stayed, went_back
from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.evidence.beside import SAMPLES_AFTER, Changes
from excursions.detect.evidence.laboratory import FEWEST, UNDONE, sample_errors
from excursions.detect.evidence.origin import Clue, is_adjusted, next_reset
from excursions.detect.series.scan import Change
from excursions.detect.series.several import FASTEST_VESSEL_S
from excursions.detect.series.shape import Transition
from excursions.ranks import median
from excursions.records import RETURNED, Record

FAST = 3.0  # a change that takes up to three times as long is as fast
SLOW_RETURN = 0.5  # what came at once, held its level and went back by and by may be two things (cp)
BACK = (0.6, 1.6)  # a return undoes 60 to 160 % of a step
BACK_AT_ONCE = (0.8, 1.25)  # a jump that undoes a jump is as large: both are known to the sample


def way_back(changes: Changes, change: Change) -> Change | None:
    """The next change, when it goes back by about as much."""
    later = [other for other in changes.every if other.at > change.at]
    if not later:
        return None
    low, high = BACK_AT_ONCE if change.sudden and later[0].sudden else BACK
    return later[0] if low <= -later[0].size / change.size <= high else None


def returned(changes: Changes, change: Change, shape: Transition, start: int) -> dict[str, float]:
    """After how long [s] the reading was back where it had been, where it went back by itself."""
    if shape.held:
        return {}
    survey = changes.survey
    blocks = survey.blocks
    reset = next_reset(changes.record, start)
    until = blocks.at(reset) if reset is not None else len(blocks)
    back = way_back(changes, change)
    at = back.at if back is not None and back.at < until else None
    if at is not None and is_adjusted(changes.record, int(blocks.start[at])):
        return {}
    if at is None:
        at = _back_since(changes, change, shape, until)
    if at is not None and _still_off(changes, change, start, at, reset, shape.size):
        return {}
    return {} if at is None else {RETURNED: (int(blocks.start[at]) - start) / NS_PER_S}


def _back_since(changes: Changes, change: Change, shape: Transition, until: int) -> int | None:
    """Block from which the reading was back where it had been before block `until`; None where it was not."""
    survey = changes.survey
    if not went_back(survey, change.at, until, shape.before, shape.size):
        return None
    at = returned_at(survey, change.at, until, shape.before, shape.size)
    return (change.at + until) // 2 if at is None else at


def _still_off(changes: Changes, change: Change, start: int, at: int, reset: int | None, size: float) -> bool:
    """Whether the error lasts though the reading is back from block `at` on: the process went back, by itself or by a loop that
    drives it until the reading is.

    Samples say so, before the step and since; or a neighbour that usually goes along, and went back as far without having come.
    """
    survey = changes.survey
    since, end = int(survey.blocks.start[at]), reset or int(survey.live.time[-1])
    errors = sample_errors(changes.record, survey)
    before = errors.error[errors.time <= start][-FEWEST:]
    inside = (errors.time >= since) & (errors.time <= min(end, since + SAMPLES_AFTER))
    if before.size >= FEWEST and inside.any():
        return (median(errors.error[inside]) - median(before)) / size >= UNDONE
    day = max(1, round(NS_PER_DAY / survey.blocks.width))
    there, here = (
        slice(max(change.at - day, 0), change.at),
        slice(at, min(at + day, survey.blocks.at(end) + 1)),
    )
    for _, apart in apart_from_neighbours(survey):
        was, now = (part[np.isfinite(part)] for part in (apart[there], apart[here]))
        if was.size and now.size and (median(now) - median(was)) / size >= UNDONE:
            return True
    return False


_WITH_THE_PROCESS = Clue(
    odds=2.0, words="the reading went back with the process, its error did not", inside=True
)


def stay_clue(changes: Changes, shapes: list[Transition], i: int, start: int) -> Clue:
    """Whether it stays, comes back by itself, or is taken out by a calibration or cleaning."""
    change, shape = changes.every[i], shapes[i]
    if shape.held:
        return Clue(odds=1.0)  # the reading is back and its error is not
    survey, record = changes.survey, changes.record
    back = way_back(changes, change)
    reset = next_reset(record, start)
    blocks = survey.blocks
    if back is not None:
        when = int(blocks.start[back.at])
        if is_adjusted(record, when) or (
            reset is not None and abs(when - reset) <= 2 * blocks.width + _length(record, reset)
        ):
            return Clue(odds=8.0, words="a calibration or cleaning took it out again")
        if reset is None or when < reset:
            if _still_off(changes, change, start, back.at, reset, shape.size):
                return _WITH_THE_PROCESS
            away_s, slow_s = (when - start) / NS_PER_S, shapes[changes.every.index(back)].length_s
            words = f"came back by itself after {duration_text(away_s)}"
            quick = shape.sharp and (shape.samples <= 2 or shape.length_s <= FASTEST_VESSEL_S)
            if quick and slow_s > FAST * shape.length_s and away_s > FAST * slow_s:
                return Clue(odds=SLOW_RETURN, words=f"{words}, much slower than it had gone", inside=True)
            return Clue(odds=0.15, words=words, inside=True)
    until = blocks.at(reset) if reset is not None else len(blocks)
    at = _back_since(changes, change, shape, until)
    if at is not None:
        if _still_off(changes, change, start, at, reset, shape.size):
            return _WITH_THE_PROCESS
        return Clue(odds=0.2, words="the reading went back by itself", inside=True)
    if stayed(survey, change.at, until, shape.size):
        return Clue(odds=2.0, words="did not come back", inside=True)
    return Clue(odds=1.0)


def _length(record: Record, reset: int) -> int:
    """Length of the state that begins at `reset`, and of those that follow it up to measuring, ns."""
    spans = record.states
    later = np.flatnonzero((spans.start > reset) & (spans.code == 0))
    return int(spans.start[later[0]]) - reset if later.size else 0
