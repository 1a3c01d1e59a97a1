"""Standstills that an outage of the export draws."""

from __future__ import annotations

import dataclasses

import pytest

from excursions.link import laid_to_export
from excursions.records import Event
from tests.unit.link.builders import event


def still(**more: object) -> Event:
    facts: dict[str, object] = {"origin": "probe", "confidence": 0.97, "severity": "act", "point": "ph"}
    return event("stuck", 30.0, 7.4, length_h=24, **(facts | more))


def drawn(begin: float, end: float, point: str = "redox") -> Event:
    return event(
        "bridged", begin, 1.0, length_h=24 * (end - begin), point=point, origin="record", confidence=0.9
    )


def test_a_flat_line_while_another_point_is_drawn_is_the_exports() -> None:
    seen, _ = laid_to_export((still(), drawn(30.03, 30.97)))
    assert (seen.origin, seen.severity) == ("record", "note")
    assert any("redox" in words for words in seen.evidence)


@pytest.mark.parametrize(
    "other",
    [
        drawn(30.0, 30.3),  # it stood still long after the outage
        drawn(28.0, 34.0),  # it froze in the midst of another point's outage
        drawn(40.0, 41.0),  # another day
        drawn(30.0, 31.0, "ph"),  # a stretch of its own, which was known when it was searched
    ],
)
def test_other_outages_say_nothing_of_it(other: Event) -> None:
    one = still()
    assert laid_to_export((one, other)) == (one, other)


def test_what_is_pinned_is_not_drawn() -> None:
    one = dataclasses.replace(still(), kind="pinned")
    assert laid_to_export((one, drawn(30.0, 31.0)))[0] == one
