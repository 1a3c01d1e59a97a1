"""A walk that a step at its end takes back: the step is the end of the walk, not another error.

Somebody cleaned or adjusted the probe and wrote nothing down, or what had settled on it came off; the reading is where
it was before.  Of a step that the process made nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from excursions.clock import NS_PER_HOUR, NS_PER_S
from excursions.detect.evidence.afterwards import GONE
from excursions.digits import written
from excursions.kinds import GRADUAL, MOVES
from excursions.records import RETURNED, Event

AT_END = 0.1  # of the walk: how far from its end the step may lie, because the end of a walk is known no better (cp)
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
    near = max(AT_END * (walk.end - walk.start), NS_PER_HOUR)
    return abs(step.start - walk.end) <= near and abs(walk.size + step.size) <= GONE * abs(walk.size)


def _ended(walk: Event, step: Event | None) -> Event:
    if step is None:
        return walk
    words = f"a step of {written(step.size)} at its end took it back to where it had been"
    return replace(
        walk,
        parts=tuple(sorted({*walk.parts, step.id, *step.parts})),
        evidence=(*(said for said in walk.evidence if said != STAYED), words),
        details={**walk.details, RETURNED: (step.start - walk.start) / NS_PER_S},
    )
