"""A flat stretch where the export drew other points' readings at the same time is drawn as well, and no frozen reading.

An export that joins the last sample before an outage and the first after it by a ruled line draws a flat one where the two
are alike.  That proves nothing alone; signals of one point are looked at together when they are conditioned, points here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from excursions.clock import shared
from excursions.records import Event

# Of the time that either of the two takes up.  What is recorded on change may have stood still beside the outage for a
# while; a reading that froze at another time does not begin and end with it.
TOGETHER = 0.8


def laid_to_export(events: Sequence[Event]) -> tuple[Event, ...]:
    """Standstills that begin and end with an outage another point shows, named the record's; all else as it was."""
    drawn = [event for event in events if event.kind == "bridged"]
    return tuple(_weighed(event, drawn) if event.kind == "stuck" else event for event in events)


def _weighed(event: Event, drawn: Sequence[Event]) -> Event:
    beside = [one for one in drawn if one.point != event.point and _together(one, event) >= TOGETHER]
    if not beside or not event.may_be_probe:
        return event
    best = max(beside, key=lambda one: (_together(one, event), one.point))
    words = f"the export drew a line across missing data of {best.point} at that time, and a flat one here"
    return replace(
        event,
        origin="record",
        confidence=best.confidence,
        severity="note",
        evidence=(words, *event.evidence),
    )


def _together(one: Event, other: Event) -> float:
    """Share of the time either of two events takes up that both do."""
    either = max(one.end, other.end) - min(one.start, other.start)
    return max(shared(one, other), 0) / max(either, 1)
