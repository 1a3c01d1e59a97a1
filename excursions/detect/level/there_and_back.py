"""Steps of the process that lead away and back again, as one event each."""

from __future__ import annotations

from dataclasses import replace

from excursions.clock import NS_PER_DAY, NS_PER_S, duration_text
from excursions.detect.evidence.afterwards import GONE
from excursions.records import RETURNED, Event

MOST_WAY_BACK, LONGEST_AWAY = 3, 7 * NS_PER_DAY  # steps and time of a stay away that is one event (cp)


def there_and_back(found: list[Event]) -> list[Event]:
    """Steps of the process that lead away and, within a few, back to where it was, as one event each.

    A valve that was closed for a shift is one thing that happened, not two or three.
    """
    out: list[Event] = []
    ordered = sorted(found, key=lambda event: event.start)
    taken = 0
    for i, first in enumerate(ordered):
        if i < taken:
            continue
        more = _way_back(ordered[i : i + 1 + MOST_WAY_BACK])
        if more:
            last = ordered[i + more]
            words = f"back where it was after {duration_text((last.end - first.start) / NS_PER_S)}"
            first = replace(
                first,
                end=last.end,
                details={**first.details, RETURNED: (last.start - first.start) / NS_PER_S},
                parts=tuple(event.id for event in ordered[i + 1 : i + more + 1]),
                evidence=(*first.evidence, words),
            )
            taken = i + more + 1
        out.append(first)
    return out


def _way_back(steps: list[Event]) -> int:
    """How many steps after the first undo it; 0 when they do not, or are not all the process's."""
    total = 0.0
    for k, event in enumerate(steps):
        if event.origin != "process" or event.start - steps[0].start > LONGEST_AWAY:
            return 0
        total += event.size
        if k and abs(total) <= GONE * abs(steps[0].size):
            return k
    return 0
