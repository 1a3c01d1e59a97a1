"""From detections to events: what has one cause becomes one event."""

from __future__ import annotations

from excursions.records import Event, Record


def merge(record: Record, found: tuple[Event, ...]) -> tuple[Event, ...]:
    """Order detections by time."""
    return tuple(sorted(found, key=lambda event: (event.start, event.kind, event.end)))
