"""Which of two related points jumped, where a loop brought the one that jumped back to its set-point.

A controller holds the reading of its own probe.  When that probe jumps, the controller drives the medium until the reading is
back: afterwards the faulty probe reads as ever, and its sound neighbour shows the medium gone the other way.  Levels alone
blame the neighbour.  The samples at the moment it began tell: a fault comes at once, a loop takes its time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.evidence.origin import Clue
from excursions.detect.series.scan import Change
from excursions.detect.series.shape import Transition
from excursions.detect.series.survey import Survey
from excursions.digits import written
from excursions.ranks import NORMAL_MAD
from excursions.records import BAD, Record

SIDE = 2  # samples on either side of a jump; a loop may have taken half of it away after more
JUMPED = 0.5  # of the change: so much came at once
CLEARLY = 2.0  # times what the other point moved in as few samples
BEFORE = 16  # samples that give the level before a jump
LEVEL = 8  # blocks that give the difference before and after, the one it happened in left out
BACK = 0.5  # of the error: a reading nearer to where it was than to where it jumped was brought back
LED = 0.05  # odds for the probe: as a neighbour that moved along (origin.py)


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A jump of a signal: first sample after it [ns], and by how much."""

    time: int
    size: float


def brought_round(record: Record, survey: Survey, name: str, change: Change) -> Transition | None:
    """A jump of this point that a loop took back while neighbour `name` went away, as a transition that stays; None without.

    Parameters
    ----------
    change : Change
        Of the difference to the neighbour, which tells the size of the error; its own window may hold the moment itself.
    """
    blocks, live = survey.blocks, survey.live
    reach = max(change.width, 2)
    start, end = (
        int(blocks.start[max(change.at - reach, 0)]),
        int(blocks.start[min(change.at + reach, len(blocks) - 1)]),
    )
    jump = _first_to_jump(record, "", name, (start, end), change.size)
    if jump is None:
        return None
    apart = dict(apart_from_neighbours(survey)).get(name)
    if apart is None:
        return None
    near = (
        apart[max(change.at - 1 - LEVEL, 0) : max(change.at - 1, 1)],
        apart[change.at + 1 : change.at + 1 + LEVEL],
    )
    if not near[1].size:
        return None
    size = float(np.median(near[1]) - np.median(near[0]))
    scatter = NORMAL_MAD * float(np.median(np.abs(np.concatenate([part - np.median(part) for part in near]))))
    first = min(int(np.searchsorted(live.time, jump.time)), len(live) - 1)
    before = float(np.median(live.value[max(first - BEFORE, 0) : max(first, 1)]))
    now = float(np.median(blocks.level[change.at + 1 : change.at + 1 + LEVEL]))
    if abs(now - before) > BACK * abs(size):
        return None
    return Transition(
        first=first,
        last=first,
        before=before,
        after=before + size,
        size=size,
        error=max(change.spread, scatter),
        length_s=survey.interval_s,
        samples=1,
        sharp=True,
        hidden=False,
        onset_error_s=survey.interval_s,
        held=True,
    )


def led_by(
    record: Record, survey: Survey, names: Iterable[str], span: tuple[int, int], size: float
) -> tuple[Clue, ...]:
    """Neighbours whose jump the other way, taken back by a loop, led this point's reading to go by `size` within `span`."""
    start = span[0] - 2 * survey.blocks.width
    found = {}
    for name in names:
        jump = _first_to_jump(record, name, "", (start, span[1] + 1), -size) if name else None
        if jump is not None:
            by = f"{written(jump.size, 2, signed=True)} {record.neighbours[name].unit}".rstrip()
            words = f"{name} jumped by {by} first, and a loop brought it back by moving the medium"
            found[name] = Clue(odds=LED, words=words, source=name)
    return tuple(found.values())


def _first_to_jump(record: Record, one: str, other: str, span: tuple[int, int], size: float) -> Jump | None:
    """The jump of signal `one` by most of `size` within `span` [ns] that signal `other` did not make; None without.

    Signals go by their neighbour's name, the point's own by the empty one.
    """
    own, beside = _largest(record, one, span), _largest(record, other, span)
    if own is None or own.size * size <= 0 or abs(own.size) < JUMPED * abs(size):
        return None
    if beside is not None and abs(own.size) < CLEARLY * abs(beside.size):
        return None
    return own


def _largest(record: Record, name: str, span: tuple[int, int]) -> Jump | None:
    """The largest difference of the means of two samples on either side, among the samples of a span."""
    signal = record.neighbours.get(name) if name else record.value
    if signal is None:
        return None
    lo, hi = (int(k) for k in np.searchsorted(signal.time, span))
    part = slice(max(lo - SIDE, 0), hi + SIDE)
    good = np.isfinite(signal.value[part]) & (signal.quality[part] != BAD)
    time, value = signal.time[part][good], signal.value[part][good]
    if value.size < 2 * SIDE:
        return None
    at = np.arange(SIDE, value.size - SIDE + 1)
    before = (value[at - 1] + value[at - 2]) / 2
    after = (value[at] + value[at + 1]) / 2
    k = int(np.argmax(np.abs(after - before)))
    near = int(at[k]) + np.array([-1, 0, 1])  # the place is where one sample differs most from the one before
    place = int(near[np.argmax(np.abs(value[near] - value[near - 1]))])
    return Jump(time=int(time[place]), size=float(after[k] - before[k]))
