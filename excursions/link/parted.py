"""Two neighbours that part: one of the two probes did it, or neither; next to never both.

Each point is searched by itself, so that a difference that opens between two probes of one water is found at both, each
time as the fault of the other's neighbour, or at one of them only.  What the one that stayed saw alone is told at the one that
went.  Here the two are weighed against each other: either the one failed and the
other did not, or the other way round, or neither did; what samples, heat or calibrations say of one speaks for the other.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product

from excursions.clock import NS_PER_HOUR, NS_PER_S, duration_text, shared
from excursions.detect.catalogue import quieted
from excursions.detect.evidence.origin import name_origin
from excursions.detect.evidence.severity import graded
from excursions.detect.evidence.stairs import EXCHANGED
from excursions.digits import number
from excursions.plant import Plant, Point
from excursions.records import (
    MOVED_INSTEAD,
    MOVED_NOT,
    THEIR_CONFIDENCE,
    THEIR_LEVEL,
    THEIR_SIZE,
    Event,
    Witness,
)

KINDS = ("step", "drift", "fouling")
ALIKE = 2.0  # sizes that differ by less than this factor are the same difference, seen from both ends
NEAR_NS = 2 * NS_PER_HOUR  # a control loop takes about so long to follow the probe it believes (cp)
TOGETHER = 0.5  # share of a slow change that the other's covers


def weighed_in_pairs(events: Sequence[Event], plant: Plant) -> tuple[Event, ...]:
    """The events, those of two neighbours that part by the same amount at the same time weighed against each other.

    A walk of the other one, weighed as such, is told there and is none of the reading that stayed where it was.
    """
    beside = {frozenset((point.name, other)) for point in plant.points for other in point.neighbours}
    events = (*events, *_seen_by_the_other(events, plant))
    asked = [e for e in events if e.kind in KINDS and e.may_be_probe]
    now: dict[int, Event] = {}
    for one, other in _parted(asked, beside):
        p, q = one.confidence, other.confidence
        both = p * (1 - q) + q * (1 - p) + (1 - p) * (1 - q)
        now[id(one)] = _said(one, other, p * (1 - q) / both)
        now[id(other)] = _said(other, one, q * (1 - p) / both)
    others = {key for key, event in now.items() if _stayed(event)}
    return tuple(now.get(id(event), event) for event in events if id(event) not in others)


def _stayed(event: Event) -> bool:
    """Whether a difference laid to the other one left this reading where it was."""
    return event.origin == "process" and any(witness.said == MOVED_INSTEAD for witness in event.witnesses)


def _seen_by_the_other(events: Sequence[Event], plant: Plant) -> Iterator[Event]:
    """Walks that a point saw as its neighbour's, as events of that neighbour, where its own record shows none over that time."""
    for event in events:
        for witness in event.witnesses:
            other = plant.point(witness.source) if witness.said == MOVED_INSTEAD else None
            if other is None or THEIR_SIZE not in event.details:
                continue
            theirs = _theirs(event, other, plant)
            rows = (one for one in events if one.point == other.name and one.kind in KINDS)
            if theirs.origin != "process" and not any(_goes_along(theirs, one) for one in rows):
                yield theirs


def _goes_along(theirs: Event, one: Event) -> bool:
    """Whether an event is the walk, or some of it, as that one's own record shows it; no batch or cleaning within it is."""
    if one.kind == "step" and not _as_large(theirs, one):
        return False
    return one.size * theirs.size > 0 and one.start < theirs.end and theirs.start < one.end


def _theirs(event: Event, other: Point, plant: Plant) -> Event:
    """The walk of a neighbour, as a point that stayed saw it."""
    size, sure = event.details[THEIR_SIZE], event.details[THEIR_CONFIDENCE]
    times = size / event.size
    half = abs(times) * (event.size_high - event.size_low) / 2
    tolerance = other.tolerance_at(event.details[THEIR_LEVEL])
    stayed = f"this reading went away, {event.point} stayed where it was"
    lasted = duration_text((event.end - event.start) / NS_PER_S)
    seen = f"{number(size, half, signed=True)} {event.size_unit}".rstrip()
    return replace(
        event,
        point=other.name,
        kind=event.kind if "stretches" in event.details else "drift",
        size=size,
        size_low=size - half,
        size_high=size + half,
        confidence=sure,
        origin=name_origin(sure),
        severity=graded(tolerance, size),
        probe=plant.probe_at(other.name, event.start) or "",
        evidence=(f"walked by {seen} in {lasted}, as seen against {event.point}", stayed),
        details={
            name: value * (times if name == "rate_per_day" else 1.0)
            for name, value in event.details.items()
            if name not in (THEIR_CONFIDENCE, THEIR_SIZE, THEIR_LEVEL)
        },
        parts=(),
        witnesses=(Witness(source=event.point, said=MOVED_NOT, words=stayed),),
    )


def _parted(events: Sequence[Event], beside: set[frozenset[str]]) -> Iterator[tuple[Event, Event]]:
    """Pairs of events of two neighbours, each event in one pair at most, the nearest in time first."""
    by_point: dict[str, list[Event]] = defaultdict(list)
    for event in events:
        by_point[event.point].append(event)
    pairs = [
        (one, other)
        for a, b in sorted(tuple(sorted(pair)) for pair in beside if len(pair) == 2)
        for one, other in product(by_point[a], by_point[b])
        if _opposite(one, other)
    ]
    taken: set[int] = set()
    for one, other in sorted(pairs, key=lambda pair: abs(pair[0].start - pair[1].start)):
        if id(one) not in taken and id(other) not in taken:
            taken |= {id(one), id(other)}
            yield one, other


def _opposite(one: Event, other: Event) -> bool:
    if _exchanged(one, other):
        return False
    if one.size * other.size >= 0 or not _as_large(one, other):
        return False
    if one.kind == other.kind == "step":
        unsure = round((one.onset_uncertainty_s + other.onset_uncertainty_s) * NS_PER_S)
        return abs(one.start - other.start) <= NEAR_NS + unsure
    return shared(one, other) >= TOGETHER * max(one.end - one.start, other.end - other.start)


def _as_large(one: Event, other: Event) -> bool:
    return bool(other.size) and 1 / ALIKE <= abs(one.size / other.size) <= ALIKE


def _exchanged(one: Event, other: Event) -> bool:
    """Whether two steps took each other's level: then both readings are wrong, and neither speaks for the other."""
    if not one.kind == other.kind == "step":
        return False
    room = EXCHANGED * min(abs(one.size), abs(other.size))
    crossed = (("before", "after"), ("after", "before"))
    return all(abs(one.details.get(a, math.nan) - other.details.get(b, math.nan)) <= room for a, b in crossed)


def _said(event: Event, other: Event, probe: float) -> Event:
    """The event with its probability beside the other's."""
    origin = name_origin(probe)
    if origin == "process":
        words = f"it parted from {other.point}, and what else is known lays the difference to that one"
    else:
        words = f"it parted from {other.point}: one of the two probes did it"
    return quieted(
        replace(
            event,
            origin=origin,
            confidence=1 - probe if origin == "process" else probe,
            evidence=(words, *event.evidence),
        )
    )
