"""What became of each event: borne out by a calibration, not borne out, or not verified yet."""

from __future__ import annotations

from collections.abc import Sequence

from excursions.calibrations import Exchange
from excursions.clock import to_datetime
from excursions.digits import percent, written
from excursions.kinds import having
from excursions.link.candidates import grouped
from excursions.link.intervals import is_of
from excursions.records import SHOWED_IT, Calibration, Event, Link, Shift

VERIFIED = "verified by calibration"
NOT_BORNE_OUT = "not borne out"
NOT_YET = "not verified yet"
_LIKELY = 0.5
# Failures that come and go leave the parameters alone: a calibration that finds nothing does not refute them.
UNTOUCHED = having("untouched")


def outcome(
    events: Sequence[Event],
    shifts: Sequence[Shift],
    links: Sequence[Link],
    calibrations: Sequence[Calibration],
    exchanges: Sequence[Exchange] = (),
) -> dict[str, tuple[str, str]]:
    """Return event id -> (state, sentence) for every event that may be the probe's.

    An event is borne out when it is the likeliest cause (probability at least 0.5) of a significant shift, or belongs
    to the heat that is, or is the step at an exchange of probes that the calibrations show.
    """
    by_id = {shift.id: shift for shift in shifts}
    links_of: dict[str, list[Link]] = {}
    for link in links:
        if link.event:
            links_of.setdefault(link.event, []).append(link)
    leader = {follower.id: lead for lead, followers in grouped_by_point(events) for follower in followers}
    states = {
        event.id: _one(event, links_of.get(leader.get(event.id, event).id, []), by_id, shifts, calibrations)
        for event in events
        if event.origin in ("probe", "undecided")
    }
    states |= {one.step.id: _exchange(one) for one in exchanges if one.step is not None}
    return {
        event.id: states[event.id]
        for event in events
        if event.id in states and (event.kind not in UNTOUCHED or states[event.id][0] == VERIFIED)
    }


def _exchange(one: Exchange) -> tuple[str, str]:
    return VERIFIED, (
        f"Another probe was put in then, and nobody logged it: the calibration of {_day(one.after.time)} found a fresh "
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
    links: Sequence[Link],
    shifts: dict[str, Shift],
    every: Sequence[Shift],
    calibrations: Sequence[Calibration],
) -> tuple[str, str]:
    later = [
        c for c in calibrations if c.time > event.start and is_of(event, c.probe, c.point) and not c.copied
    ]
    spanning = [s for s in every if s.start < event.start < s.end and is_of(event, s.probe, s.point)]
    if not later and not spanning:
        return NOT_YET, "No calibration of this probe has followed yet."
    best = max(
        (link for link in links if shifts[link.shift].significant),
        key=lambda link: link.probability,
        default=None,
    )
    if best and best.probability >= _LIKELY:
        return VERIFIED, _borne_out(best, links, shifts)
    if not spanning:
        return (
            NOT_YET,
            f"A calibration followed on {_day(later[0].time)}, but none before it to compare with.",
        )
    changed = any(s.significant for s in spanning)
    words = (
        "found a shift, but something else explains it better"
        if changed
        else "found no shift beyond its uncertainty"
    )
    if any(witness.said == SHOWED_IT for witness in event.witnesses):
        words += "; laboratory samples showed the error while it lasted"
    return NOT_BORNE_OUT, f"The calibration of {_day(min(s.end for s in spanning))} {words}."


def _borne_out(best: Link, links: Sequence[Link], shifts: dict[str, Shift]) -> str:
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
    least = min(link.probability for link in found.values())
    return (
        f"The calibration of {_day(end)} found {changes}; this is {'their' if len(found) > 1 else 'its'} likeliest cause "
        f"({percent(least)})."
    )


def _day(instant: int) -> str:
    moment = to_datetime(instant)
    return f"{moment.day} {moment:%b %Y}"
