"""Who may have caused a shift: events grouped into causes, each with the ways it may have acted.

A cause has one or more *variants* (a step that is all zero, or partly slope; heat that did much, or little; fouling
that was cleaned off before the calibration).  Variants of one cause exclude one another; different causes may act
together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from excursions.conclusions import Levels
from excursions.kinds import HEAT_KINDS
from excursions.link.beliefs import Beliefs
from excursions.link.effects import Variant, variants
from excursions.link.intervals import Interval
from excursions.link.priors import CONSEQUENCE_KINDS, CONSEQUENCE_WITHIN_NS
from excursions.plant import Plant
from excursions.records import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A candidate: the leading event, events that are its consequence, and its variants."""

    event: Event
    consequences: tuple[Event, ...]
    variants: tuple[Variant, ...]

    @property
    def chance(self) -> float:
        """Chance before any calibration that it acted."""
        return sum(variant.chance for variant in self.variants)


def grouped(events: Sequence[Event]) -> tuple[tuple[Event, tuple[Event, ...]], ...]:
    """Join changes of the reading that begin within a day after heat to the heat that led to them.

    A normal sterilisation is routine and leads nothing: what begins after it stands for itself.  Nor does heat lead
    what is laid to the process.
    """
    heat = [e for e in events if e.kind in HEAT_KINDS and e.kind != "sterilisation" and e.origin != "routine"]
    leader: dict[str, Event] = {}
    for event in events:
        if event.kind not in CONSEQUENCE_KINDS or event.origin in ("routine", "process"):
            continue
        before = [
            h
            for h in heat
            if h.point == event.point and h.start <= event.start <= h.end + CONSEQUENCE_WITHIN_NS
        ]
        if before:
            leader[event.id] = before[-1]
    return tuple(
        (event, tuple(e for e in events if leader.get(e.id) is event))
        for event in events
        if event.id not in leader
    )


def causes(
    interval: Interval, plant: Plant, levels: Mapping[str, Levels], beliefs: Beliefs | None = None
) -> tuple[Cause, ...]:
    """Candidates of an interval that may have changed the probe at all, in time order."""
    made = []
    for event, consequences in grouped(interval.events):
        ways = variants(event, consequences, interval.shifts, plant, levels, beliefs or Beliefs())
        if ways:
            made.append(Cause(event=event, consequences=consequences, variants=ways))
    return tuple(made)


def with_chances(found: Sequence[Cause], chances: Mapping[str, float]) -> tuple[Cause, ...]:
    """Causes of which more is known than the table says of how likely they acted (event id -> chance), their ways in proportion.

    What is known of a change that followed heat is known of the heat.
    """
    made = []
    for one in found:
        known = [chances[e.id] for e in (one.event, *one.consequences) if e.id in chances]
        if known and one.chance > 0:
            ways = tuple(replace(w, chance=w.chance * max(known) / one.chance) for w in one.variants)
            one = replace(one, variants=ways)
        made.append(one)
    return tuple(made)
