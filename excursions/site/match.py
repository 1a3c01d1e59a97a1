"""Which event of tonight is which event of the ledger: names stay although more data move onsets and change kinds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from excursions.clock import NS_PER_HOUR, shared
from excursions.records import Event

# Onsets further apart than this, of events that share less than half their time, are two events.
ONSET_SLACK = 2 * NS_PER_HOUR
SHARED = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """An event as the ledger holds it: its name, and where it was when last seen."""

    name: str
    kind: str
    start: int
    end: int


def match(seen: Sequence[Seen], events: Sequence[Event]) -> dict[int, str]:
    """Names for tonight's events of one point, by their place in `events`; events without a match are left out.

    First those that did not move, then those of the same kind that overlap, nearest onset first, then those of
    another kind that cover the same time: what was called a drift is now called fouling.
    """
    free = {row.name: row for row in seen}
    named: dict[int, str] = {}
    for same_kind, fits in ((True, _unmoved), (True, _overlaps), (False, _covers)):
        pairs = sorted(
            (abs(row.start - event.start), row.name, number)
            for number, event in enumerate(events)
            if number not in named
            for row in free.values()
            if (row.kind == event.kind) is same_kind and fits(row, event)
        )
        for _, name, number in pairs:
            if name in free and number not in named:
                named[number] = name
                del free[name]
    return named


def _unmoved(row: Seen, event: Event) -> bool:
    return row.start == event.start


def _overlaps(row: Seen, event: Event) -> bool:
    return shared(row, event) > 0 or abs(row.start - event.start) <= _slack(event)


def _covers(row: Seen, event: Event) -> bool:
    """The same time, nearly: half of the longer one is shared, or both begin together and overlap."""
    both = shared(row, event)
    longer = max(row.end - row.start, event.end - event.start, 1)
    return both / longer >= SHARED or (both > 0 and abs(row.start - event.start) <= _slack(event))


def _slack(event: Event) -> int:
    return max(ONSET_SLACK, int(event.onset_uncertainty_s * 1e9))
