"""Steps that several points of one quantity share."""

from __future__ import annotations

import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.link import laid_to_process
from excursions.plant import Plant, Point
from excursions.records import RETURNED, Event
from tests.unit.link.builders import event

MINUTE = NS_PER_HOUR // 60
SPANS = dict.fromkeys(("ph", "other", "redox", *(f"p{i}" for i in range(200))), (0, 60 * NS_PER_DAY))


def plant(*more: Point) -> Plant:
    return Plant(
        points=(
            Point(name="ph", measurand="ph"),
            Point(name="other", measurand="ph"),
            Point(name="redox", measurand="redox"),
            *more,
        )
    )


def step(point: str = "ph", day: float = 30.0, size: float = 0.4, **more: object) -> Event:
    facts: dict[str, object] = {"origin": "undecided", "confidence": 0.5, "severity": "act"}
    return event("step", day, size, point=point, **(facts | more))


def first(*events: Event) -> Event:
    return laid_to_process(events, plant(), SPANS)[0]


def test_two_points_that_step_within_minutes_saw_the_process() -> None:
    seen = first(step(), step("other", day=30 + 5 / 1_440))
    assert (seen.origin, seen.severity) == ("process", "note")
    assert seen.confidence > 0.7
    assert any("other moved the same way within 5 min" in words for words in seen.evidence)


@pytest.mark.parametrize(
    "beside",
    [
        step("other", day=30.5),  # half a day later
        step("other", size=-0.4),  # the other way
        step("redox"),  # another quantity
        step("ph", day=30.001),  # itself
    ],
)
def test_what_is_no_company(beside: Event) -> None:
    assert first(step(), beside).origin == "undecided"


def test_the_return_of_a_move_is_a_move_the_other_way() -> None:
    away = step("other", day=28, size=-0.4, details={RETURNED: 2 * 86_400.0, "transition_s": 60.0})
    assert first(step(), away).origin == "process"


def test_a_step_that_heat_led_to_stays_the_probes() -> None:
    """Two probes cooked in one steam-out step together."""
    heat = event("over_temperature", 29.9, 150.0)
    later = laid_to_process((step(), heat, step("other")), plant(), SPANS)
    assert later[0].origin == "undecided"


def test_in_a_large_plant_company_is_met_by_accident() -> None:
    points = tuple(Point(name=f"p{i}", measurand="ph") for i in range(200))
    crowd = [step(point.name, day=(7 * i) % 60 + 0.01) for i, point in enumerate(points)]
    (mine, *_) = laid_to_process((step(), step("other"), *crowd), plant(*points), SPANS)
    assert mine.origin == "undecided"
