"""What became of each event: borne out by a calibration, not borne out, not verified yet, or not seen put right."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from excursions.calibrations import Exchange
from excursions.clock import to_datetime
from excursions.conclusions import Levels
from excursions.digits import percent, written
from excursions.kinds import MOVES, having
from excursions.link.candidates import grouped
from excursions.link.intervals import is_of
from excursions.link.takeover import level_beside
from excursions.link.unsaid import says_nothing
from excursions.records import (
    NOT_BORNE_OUT,
    NOT_PUT_RIGHT,
    NOT_YET,
    SHOWED_IT,
    VERIFIED,
    Calibration,
    Event,
    Link,
    Shift,
)

_LIKELY = 0.5
_CAME_BACK = 0.5  # of a step, from which an adjustment is taken to have put it right (cp)
# Failures that come and go leave the parameters alone: a calibration that finds nothing does not refute them.
UNTOUCHED = having("untouched")


def outcome(
    events: Sequence[Event],
    shifts: Sequence[Shift],
    links: Sequence[Link],
    calibrations: Sequence[Calibration],
    exchanges: Sequence[Exchange] = (),
    levels: Mapping[str, Levels] | None = None,
    *,
    tz: ZoneInfo | None = None,
) -> dict[str, tuple[str, str]]:
    """Return event id -> (state, sentence) for every event that may be the probe's.

    An event is borne out when it is the likeliest cause (probability at least 0.5) of a significant shift, or belongs
    to the heat that is, or is the step at an exchange of probes that the calibrations show.  As the likeliest cause of a shift that
    may be chance it is neither borne out nor refuted.  A calibration of which only
    what it left was entered bears out nothing and refutes nothing; where a step stands beyond it (`levels` show that), it
    is not seen put right.
    """
    by_id = {shift.id: shift for shift in shifts}
    links_of: dict[str, list[Link]] = {}
    for link in links:
        if link.event:
            links_of.setdefault(link.event, []).append(link)
    leader = {follower.id: lead for lead, followers in grouped_by_point(events) for follower in followers}
    followers: dict[str, list[Event]] = {}
    by_event = {event.id: event for event in events}
    for follower, lead in leader.items():
        followers.setdefault(lead.id, []).append(by_event[follower])
    states = {
        event.id: _one(event, leader.get(event.id), links_of, by_id, shifts, calibrations, tz)
        or _left_alone((event, *followers.get(event.id, ())), calibrations, levels or {}, tz)
        for event in events
        if event.may_be_probe
    }
    states |= {one.step.id: _exchange(one, tz) for one in exchanges if one.step is not None}
    return {
        event.id: states[event.id]
        for event in events
        if event.id in states and (event.kind not in UNTOUCHED or states[event.id][0] == VERIFIED)
    }


def _exchange(one: Exchange, tz: ZoneInfo | None) -> tuple[str, str]:
    return VERIFIED, (
        f"Another probe was put in then, and nobody logged it: the calibration of {_day(one.after.time, tz)} found a fresh "
        "probe's parameters."
    )


def grouped_by_point(events: Sequence[Event]) -> list[tuple[Event, tuple[Event, ...]]]:
    """Heat and what followed it, worked out point by point."""
    points: dict[str, list[Event]] = {}
    for event in sorted(events, key=lambda e: (e.start, e.point, e.kind)):
        points.setdefault(event.point, []).append(event)
    return [pair for rows in points.values() for pair in grouped(rows)]


def _one(
    event: Event,
    lead: Event | None,
    links_of: Mapping[str, Sequence[Link]],
    shifts: dict[str, Shift],
    every: Sequence[Shift],
    calibrations: Sequence[Calibration],
    tz: ZoneInfo | None,
) -> tuple[str, str] | None:
    """State and sentence of one event, with the heat that led to it; None where the calibration that followed does not say what it found."""
    later = [
        c
        for c in calibrations
        if c.time > event.well_begun and is_of(event, c.probe, c.point) and not c.copied
    ]
    spanning = [s for s in every if s.start < event.well_begun < s.end and is_of(event, s.probe, s.point)]
    if not later and not spanning:
        any_given = any(is_of(event, c.probe, c.point) for c in calibrations)
        return NOT_YET, f"No calibration of this probe {'has followed yet' if any_given else 'was given'}."
    links = links_of.get((lead or event).id, ())
    likely = [link for link in links if link.probability >= _LIKELY]
    best = max(
        (link for link in likely if shifts[link.shift].significant),
        key=lambda link: link.probability,
        default=None,
    )
    if best:
        return VERIFIED, _borne_out(best, links, shifts, lead, tz)
    if not spanning and min(later, key=lambda c: c.time).left_only:
        return None
    if not spanning:
        first = min(later, key=lambda c: c.time)
        before = any(c.time < first.time and is_of(event, c.probe, c.point) for c in calibrations)
        why = (
            "but nobody entered what it found"
            if before and says_nothing(first)
            else "but none before it to compare with"
        )
        return NOT_YET, f"A calibration followed on {_day(first.time, tz)}, {why}."
    if likely:
        return NOT_YET, _may_be_chance(max(likely, key=lambda link: link.probability), shifts, lead, tz)
    changed = any(s.significant for s in spanning)
    words = (
        "found a shift, but something else explains it better"
        if changed
        else "found no shift beyond its uncertainty"
    )
    if any(witness.said == SHOWED_IT for witness in event.witnesses):
        words += "; laboratory samples showed the error while it lasted"
    return NOT_BORNE_OUT, f"The calibration of {_day(min(s.end for s in spanning), tz)} {words}."


def _left_alone(
    events: Sequence[Event],
    calibrations: Sequence[Calibration],
    levels: Mapping[str, Levels],
    tz: ZoneInfo | None,
) -> tuple[str, str]:
    """An event, with what followed from it, before a calibration of which only what it left was entered."""
    first = events[0]
    later = sorted(
        (c for c in calibrations if c.time > first.start and is_of(first, c.probe, c.point) and not c.copied),
        key=lambda c: c.time,
    )
    words = f"The calibration of {_day(later[0].time, tz)} entered only what it left; what it found, nobody entered"
    if any(not c.left_only for c in later):
        return NOT_YET, f"{words}."
    shown = [_returned(event, later[0], levels) for event in events if _stepped(event)]
    if all(shown):
        return NOT_YET, f"{words}."
    if None in shown:
        return (
            NOT_PUT_RIGHT,
            f"{words}, and the record does not show whether the reading came back with it: whether it is put right cannot be told.",
        )
    return (
        NOT_PUT_RIGHT,
        f"{words}, and the reading did not come back with it: whether it is put right cannot be told.",
    )


def _stepped(event: Event) -> bool:
    """Whether an event changed the reading by a size that is known, and the reading has not come back by itself."""
    may = event.may_be_probe and not event.went_back
    return may and event.kind in MOVES and math.isfinite(event.size) and event.size != 0


def _returned(event: Event, calibration: Calibration, levels: Mapping[str, Levels]) -> bool | None:
    """Whether the level moved back with a calibration by about what an event changed; None where the record has none."""
    line = levels.get(event.point)
    if line is None or calibration.point != event.point:
        return None
    moved = level_beside(line, calibration.time, +1) - level_beside(line, calibration.time, -1)
    return -moved / event.size >= _CAME_BACK if math.isfinite(moved) else None


def _borne_out(
    best: Link, links: Sequence[Link], shifts: dict[str, Shift], lead: Event | None, tz: ZoneInfo | None
) -> str:
    """What the calibration found changed, every parameter of it that this event is the likeliest cause of."""
    end = shifts[best.shift].end
    found = {shifts[best.shift].parameter: best}
    for link in sorted(links, key=lambda link: (-link.probability, link.shift)):
        shift = shifts[link.shift]
        if shift.end == end and shift.significant and link.probability >= _LIKELY:
            found.setdefault(shift.parameter, link)
    changes = " and ".join(
        f"the {shift.parameter.replace('_', ' ')}{' changed' if number == 0 else ''} by "
        + f"{written(shift.change, signed=True)} {shift.unit}".rstrip()
        for number, shift in enumerate(shifts[link.shift] for link in found.values())
    )
    cause = "the heat before it" if lead is not None else "this"
    sure = list(dict.fromkeys(percent(link.probability) for link in found.values()))
    each = " and ".join(sure) if len(sure) == 1 or len(sure) == len(found) else f"{sure[0]} to {sure[-1]}"
    return (
        f"The calibration of {_day(end, tz)} found {changes}; {cause} is {'their' if len(found) > 1 else 'its'} likeliest cause "
        f"({each})."
    )


def _may_be_chance(best: Link, shifts: dict[str, Shift], lead: Event | None, tz: ZoneInfo | None) -> str:
    """What a calibration found that fits an event better than anything else, and is too little to bear it out."""
    cause = "the heat before it" if lead is not None else "this"
    return (
        f"The calibration of {_day(shifts[best.shift].end, tz)} found a shift that may be chance; {cause} explains it best "
        f"({percent(best.probability)})."
    )


def _day(instant: int, tz: ZoneInfo | None) -> str:
    moment = to_datetime(instant, tz)
    return f"{moment.day} {moment:%b %Y}"
