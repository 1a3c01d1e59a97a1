"""A walk that a step at its end, or later, takes back: the step is the end of the walk, not another error.

Somebody cleaned or adjusted the probe and wrote nothing down, or what had settled on it came off; the reading is where
it was before.  A film that has grown stays until then, so the step may come a while after.  What went by and by and came back at
once speaks for the probe: a process comes back as it went.  Of a step that the process made nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from excursions.clock import NS_PER_HOUR, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE
from excursions.detect.evidence.origin import WITHOUT
from excursions.digits import written
from excursions.kinds import GRADUAL, MOVES
from excursions.records import RETURNED, Event

AT_END = 0.1  # of the walk: how far before its end the step may lie, because the end of a walk is known no better (cp)
LATER = 1.0  # of the walk: how long what has settled may stay before it is taken off (cp)
# Share of a walk, within its interval, that a step later undoes: the process went on meanwhile, but a step that is nearer
# to nothing or to twice the walk is another change (cp).
UNDONE = (0.6, 1.6)
AT_ONCE = 3.0  # odds for the probe, as of any change that comes at once in a process that takes its time (cp)
STAYED = "it stayed where it had gone"
WALKED = frozenset(GRADUAL) & frozenset(MOVES)


def taken_back(events: Sequence[Event]) -> tuple[Event, ...]:
    """The same events, without the steps that are the end of a walk; such a walk says when it went back.

    Parameters
    ----------
    events : of one point, in order of start

    Returns
    -------
    tuple of Event
        In the same order.
    """
    ends: dict[str, Event] = {}
    taken: set[str] = set()
    for walk in events:
        if walk.kind in WALKED and walk.may_be_probe and not walk.went_back:
            end = next((one for one in events if one.id not in taken and _ends(walk, one)), None)
            if end is not None:
                ends[walk.id] = end
                taken.add(end.id)
    return tuple(_ended(one, ends.get(one.id)) for one in events if one.id not in taken)


def _ends(walk: Event, step: Event) -> bool:
    if step.kind != "step" or not step.may_be_probe or step.went_back:
        return False
    length = walk.end - walk.start
    near = max(AT_END * length, NS_PER_HOUR)
    if abs(step.start - walk.end) <= near and abs(walk.size + step.size) <= GONE * abs(walk.size):
        return True
    return walk.end < step.start <= walk.end + LATER * length and _undoes(walk, step)


def _undoes(walk: Event, step: Event) -> bool:
    """Whether a step goes back by about as much as a walk, which is known to its interval, had gone."""
    half = walk.size_high - walk.size if walk.size_high > walk.size else 0.0
    low, high = UNDONE[0] * (abs(walk.size) - half), UNDONE[1] * (abs(walk.size) + half)
    return walk.size * step.size < 0 and low <= abs(step.size) <= high


def _ended(walk: Event, step: Event | None) -> Event:
    if step is None:
        return walk
    words = f"a step of {written(step.size)} at its end took it back to where it had been"
    if walk.end < step.start - AT_END * (walk.end - walk.start):
        words = f"a step of {written(step.size)} took it back, {duration_text((step.start - walk.end) / NS_PER_S)} after its end"
    odds = AT_ONCE * walk.confidence / max(1.0 - walk.confidence, 1e-12)
    alone = walk.origin == "undecided"
    return replace(
        walk,
        confidence=max(walk.confidence, min(odds / (1.0 + odds), WITHOUT)) if alone else walk.confidence,
        parts=tuple(sorted({*walk.parts, step.id, *step.parts})),
        evidence=(*(said for said in walk.evidence if said != STAYED), words),
        details={**walk.details, RETURNED: (step.start - walk.start) / NS_PER_S},
    )
