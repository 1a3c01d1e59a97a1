"""Instants on a plant's clock: changes of the clock, and the hour that comes twice."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from excursions import clock

VIENNA = ZoneInfo("Europe/Vienna")


def at(*moment: int) -> int:
    return clock.to_ns(datetime(*moment, tzinfo=UTC))  # type: ignore[misc,arg-type]


def test_the_changes_of_a_clock_are_found_to_the_second() -> None:
    found = clock.turns(at(2026, 1, 1), at(2027, 1, 1), VIENNA)
    assert [clock.iso(t) for t in found] == ["2026-03-29T01:00:00Z", "2026-10-25T01:00:00Z"]
    assert clock.turns(at(2026, 4, 1), at(2026, 10, 1), VIENNA) == []
    assert clock.turns(at(2026, 1, 1), at(2027, 1, 1), ZoneInfo("UTC")) == []


def test_a_moment_that_the_clock_showed_twice_has_its_offset() -> None:
    assert clock.wall(at(2026, 10, 25, 0, 30), VIENNA) == "25 Oct 2026 02:30 +02:00"
    assert clock.wall(at(2026, 10, 25, 1, 30), VIENNA) == "25 Oct 2026 02:30 +01:00"
    assert clock.wall(at(2026, 10, 25, 2, 30), VIENNA) == "25 Oct 2026 03:30"
    assert clock.wall(at(2026, 3, 29, 1, 0), VIENNA) == "29 Mar 2026 03:00"
