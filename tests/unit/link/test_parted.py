"""Two neighbours that part: one of them did it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from excursions.link import weighed_in_pairs
from excursions.plant import Plant, Point
from excursions.records import (
    MOVED_INSTEAD,
    MOVED_NOT,
    THEIR_CONFIDENCE,
    THEIR_LEVEL,
    THEIR_SIZE,
    Event,
    Witness,
)

DAY = 86_400 * 10**9
PLANT = Plant(points=(Point(name="a", measurand="ph", neighbours=("b",)), Point(name="b", measurand="ph")))


def drift(point: str, size: float, confidence: float, **more: object) -> Event:
    given = {
        "kind": "drift",
        "start": 10 * DAY,
        "end": 60 * DAY,
        "origin": "probe",
        "severity": "act",
        **more,
    }
    return Event(point=point, size=size, size_unit="pH", confidence=confidence, **given)


def test_what_speaks_for_one_clears_the_other() -> None:
    a, b = weighed_in_pairs((drift("a", 0.68, 0.82), drift("b", -0.66, 0.97)), PLANT)
    assert (a.origin, a.severity) == ("process", "note")
    assert b.origin == "probe"
    assert b.confidence == pytest.approx(0.97 * 0.18 / (0.97 * 0.18 + 0.82 * 0.03 + 0.18 * 0.03))


def test_without_a_witness_neither_is_named() -> None:
    for event in weighed_in_pairs((drift("a", 0.68, 0.82), drift("b", -0.66, 0.82)), PLANT):
        assert event.origin == "undecided"
        assert event.confidence < 0.5


@pytest.mark.parametrize(
    "other",
    [
        drift("b", 0.66, 0.97),
        drift("b", -2.0, 0.97),
        drift("b", -0.66, 0.97, start=70 * DAY, end=90 * DAY),
        drift("c", -0.66, 0.97),
        drift("b", -0.66, 0.97, kind="noise_growth"),
    ],
    ids=["the same way", "another size", "another time", "no neighbour", "another kind"],
)
def test_what_is_no_parting(other: Event) -> None:
    events = (drift("a", 0.68, 0.82), other)
    assert weighed_in_pairs(events, PLANT) == events


def test_steps_part_within_hours() -> None:
    a = drift("a", 0.6, 0.97, kind="step", end=10 * DAY + 1)
    b = replace(a, point="b", size=-0.8, confidence=0.86, start=a.start + DAY // 24)
    assert weighed_in_pairs((a, b), PLANT)[1].origin == "process"


def seen(size: float, confidence: float, **more: object) -> Event:
    """A walk of point a against b, of which its evidence says that b went."""
    details = {"rate_per_day": size / 50, THEIR_CONFIDENCE: 0.9, THEIR_SIZE: -2 * size, THEIR_LEVEL: 7.0}
    return drift(
        "a",
        size,
        confidence,
        size_low=size - 0.1,
        size_high=size + 0.1,
        witnesses=(Witness(source="b", said=MOVED_INSTEAD, words="b went away"),),
        details=details,
        **more,
    )


def test_a_walk_that_only_the_one_that_stayed_saw_is_told_of_the_one_that_went() -> None:
    (event,) = weighed_in_pairs((seen(-0.3, 0.68, origin="undecided"),), PLANT)
    assert (event.point, event.kind, event.origin, event.severity) == ("b", "drift", "probe", "act")
    assert (event.size, event.size_low, event.size_high) == pytest.approx((0.6, 0.4, 0.8))
    assert event.confidence == pytest.approx(0.9 * 0.32 / (0.9 * 0.32 + 0.68 * 0.1 + 0.32 * 0.1))
    assert event.details == pytest.approx({"rate_per_day": 0.6 / 50})
    assert [(w.source, w.said) for w in event.witnesses] == [("a", MOVED_NOT)]


def test_what_the_one_that_went_shows_itself_is_not_told_twice() -> None:
    (event,) = weighed_in_pairs((seen(-0.3, 0.5, origin="undecided"), drift("b", 0.5, 0.95)), PLANT)
    assert (event.point, event.size) == ("b", 0.5)


def test_a_batch_within_the_walk_does_not_hide_it() -> None:
    """Conductivity falls by 24 mS/cm whenever the caustic is rinsed out, beside a walk of 0.1 mS/cm."""
    batch = drift("b", 200.0, 0.99, kind="step", origin="process", start=20 * DAY, end=20 * DAY + 1)
    events = weighed_in_pairs((seen(-0.3, 0.68, origin="undecided"), batch), PLANT)
    assert [(e.point, e.kind, e.origin) for e in events] == [
        ("b", "step", "process"),
        ("b", "drift", "probe"),
    ]


def test_a_neighbour_that_nobody_asked_about_gets_no_event() -> None:
    alone = Plant(points=PLANT.points[:1])
    event = seen(-0.3, 0.68, origin="undecided")
    assert weighed_in_pairs((event,), alone) == (event,)
