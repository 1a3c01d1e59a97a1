"""How wrong a range is that holds stretches in which the reading follows nothing: for how long, and the rest."""

from __future__ import annotations

import math

from excursions.clock import duration_text
from excursions.records import Doubt, Event
from excursions.report.case import Case, error_in, other_live_event, tolerance, unusable_events
from excursions.report.wording import event_sentence, too_far, whose

BEYOND = "beyond correction: the reading does not follow the process"
Stretch = tuple[int, int]


def how_wrong_beyond(case: Case, doubt: Doubt | None) -> str:
    """How wrong the readings of a span are that failures of the probe lie in; `doubt` is what holds around them.

    Of a moment or an event, and of a range that lies in them altogether, there is no rest to be told of.
    """
    if case.focus.is_moment or case.focus.event:
        return BEYOND
    lost = merged(unusable_events(case), case.focus.start, case.focus.end)
    rest = between(lost, case.focus.start, case.focus.end)
    if not lost or not rest:
        return BEYOND
    whole = case.focus.end - case.focus.start
    stretches = f" in {len(lost)} stretches" if len(lost) > 1 else ""
    return (
        f"beyond correction for {_lasting(lost)}{stretches} of the {duration_text(whole / 1e9)} asked about: the reading "
        f"does not follow the process; the rest: {_rest(case, doubt, rest)}"
    )


def _lasting(stretches: list[Stretch]) -> str:
    return duration_text(sum(end - start for start, end in stretches) / 1e9)


def merged(events: list[Event], start: int, end: int) -> list[Stretch]:
    """What events cover of [start, end], in order and without overlaps."""
    found: list[Stretch] = []
    for first, last in sorted((max(e.start, start), min(e.end, end)) for e in events):
        if found and first <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], last)
        elif last > first:
            found.append((first, last))
    return found


def between(stretches: list[Stretch], start: int, end: int) -> list[Stretch]:
    """What of [start, end] lies outside stretches that are in order and do not overlap."""
    edges = [start, *(edge for stretch in stretches for edge in stretch), end]
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a]


def _rest(case: Case, doubt: Doubt | None, rest: list[Stretch]) -> str:
    """How wrong readings outside the failures are at worst, by the window of doubt around them."""
    inside = [s for s in rest if doubt is not None and s[0] < doubt.end and s[1] > doubt.start]
    if doubt is None or not inside:
        return _without_doubt(other_live_event(case), case)
    errors = [error_in(doubt, *stretch) for stretch in inside]
    if not all(math.isfinite(error) for error, _ in errors):
        return "cannot be said yet"
    error, band = max(errors, key=lambda pair: abs(pair[0]))
    if abs(error) <= tolerance(case):
        return "best estimate within tolerance"
    return f"{too_far(error, band, case.findings.unit)} at worst"


def _without_doubt(event: Event | None, case: Case) -> str:
    """What is known of readings around the failures that no window of doubt covers."""
    if event is None:
        return "nothing is known to be wrong"
    said = event_sentence(event, case.tz)
    return f"cannot be said yet; {said[0].lower()}{said[1:]} ({whose(event)})"
