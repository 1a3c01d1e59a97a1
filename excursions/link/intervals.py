"""Shifts of one probe between the same two calibrations, together with the events in between."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from excursions.kinds import GRADUAL
from excursions.link.ageing import owner_of
from excursions.records import Event, Shift


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """One probe from one calibration to the next: what shifted, and what happened meanwhile."""

    shifts: tuple[Shift, ...]
    events: tuple[Event, ...]

    @property
    def coated(self) -> bool:
        """Whether a coating did it that a cleaning took off."""
        return any(s.coated for s in self.shifts)

    @property
    def start(self) -> int:
        """Time of the earlier calibration."""
        return self.shifts[0].start

    @property
    def end(self) -> int:
        """Time of the later calibration."""
        return self.shifts[0].end


def is_of(event: Event, probe: str, point: str) -> bool:
    """Whether an event belongs to a probe; by the point where either side names no probe."""
    return event.probe == probe if event.probe and probe else event.point == point


def _acts_in(event: Event, start: int, end: int) -> bool:
    """Whether an event can have changed something between two calibrations: it began there, or still went on.

    A slow change that was back before the later one left nothing to find; what was back only after it, it may have put right.
    """
    if event.kind in GRADUAL and event.back_at is not None and event.back_at <= end:
        return False
    goes_on = event.kind in GRADUAL and event.start <= start < event.end
    return start < event.start < end or goes_on


def intervals(shifts: Sequence[Shift], events: Sequence[Event]) -> tuple[Interval, ...]:
    """Group shifts by probe and pair of calibrations, each with that probe's events between them."""
    groups: dict[tuple[str, int, int], list[Shift]] = {}
    for shift in shifts:
        groups.setdefault((owner_of(shift), shift.start, shift.end), []).append(shift)
    by_probe: dict[str, list[Event]] = {}
    by_point: dict[str, list[Event]] = {}
    for event in sorted(events, key=lambda e: (e.start, e.point, e.kind)):
        by_point.setdefault(event.point, []).append(event)
        if event.probe:
            by_probe.setdefault(event.probe, []).append(event)
    made = []
    for rows in groups.values():
        first = rows[0]
        # Events that name another probe are not this one's, even when they were seen at its point.
        near = list(by_probe.get(first.probe, [])) if first.probe else []
        near += [e for e in by_point.get(first.point, []) if not e.probe or not first.probe]
        inside = sorted(
            (e for e in near if _acts_in(e, first.start, first.end)), key=lambda e: (e.start, e.kind)
        )
        made.append(Interval(shifts=tuple(rows), events=tuple(inside)))
    return tuple(made)


def newest(spans: Sequence[Interval]) -> list[bool]:
    """Whether each interval is the last one of its probe up to its end: a one-point calibration parts that of the zero, not of the slope."""
    last: dict[tuple[str, int], int] = {}
    owners = [(owner_of(span.shifts[0]), span.end) for span in spans]
    for owner, span in zip(owners, spans, strict=True):
        last[owner] = max(last.get(owner, span.start), span.start)
    return [span.start == last[owner] for owner, span in zip(owners, spans, strict=True)]
