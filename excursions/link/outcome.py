"""What became of each event: verified by a calibration, not borne out, or not verified yet."""

from __future__ import annotations

from collections.abc import Sequence

from excursions.clock import to_datetime
from excursions.link.attribute import echoes
from excursions.link.predict import OFTEN
from excursions.records import Calibration, Event, Link, Shift

VERIFIED = "verified by calibration"
NOT_BORNE_OUT = "not borne out"
NOT_YET = "not verified yet"


def outcome(
    events: Sequence[Event],
    shifts: Sequence[Shift],
    links: Sequence[Link],
    calibrations: Sequence[Calibration],
) -> dict[str, tuple[str, str]]:
    """Return event id -> (state, sentence) for every event that a calibration could confirm or not."""
    first = {link.shift: link for link in links if link.rank == 1}
    by_event: dict[str, list[Shift]] = {}
    for shift in shifts:
        link = first.get(shift.id)
        if shift.significant and link is not None and link.cause == "event":
            by_event.setdefault(link.event, []).append(shift)
    for heat, echo in echoes(events).items():
        if heat in by_event:
            by_event.setdefault(echo.id, []).extend(by_event[heat])
    return {
        event.id: _state(event, by_event.get(event.id, []), shifts, calibrations)
        for event in events
        if event.kind in OFTEN and event.kind != "sterilisation" and event.origin in ("probe", "undecided")
    }


def _state(
    event: Event, mine: Sequence[Shift], shifts: Sequence[Shift], calibrations: Sequence[Calibration]
) -> tuple[str, str]:
    if mine:
        largest = max(mine, key=lambda shift: abs(shift.change) / max(shift.uncertainty, 1e-12))
        name = largest.parameter.replace("_", " ")
        return (
            VERIFIED,
            f"The calibration of {_day(largest.end)} found the {name} {largest.change:+.3g} {largest.unit}.".replace(
                " .", "."
            ),
        )
    later = [s for s in shifts if s.start <= event.start < s.end and _same(event, s.probe, s.point)]
    if later:
        return (
            NOT_BORNE_OUT,
            f"The calibration of {_day(later[0].end)} found no shift that this event explains best.",
        )
    after = [c for c in calibrations if c.time >= event.start and _same(event, c.probe, c.point)]
    if after:
        return NOT_YET, "A calibration followed, but none before it to compare with."
    return NOT_YET, "No calibration of this probe since."


def _same(event: Event, probe: str, point: str) -> bool:
    return event.probe == probe if event.probe and probe else event.point == point


def _day(instant: int) -> str:
    return to_datetime(instant).strftime("%-d %b %Y")
