"""Numbers carry the digits their uncertainty supports; durations and sentences read as people speak."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from excursions.clock import NS_PER_HOUR, duration_text
from excursions.digits import digits_for, number
from excursions.records import Event
from excursions.report.wording import event_sentence, quantity

UTC = ZoneInfo("UTC")


@pytest.mark.parametrize(
    ("uncertainty", "digits"), [(0.04, 2), (0.3, 1), (12.0, 0), (0.0009, 4), (float("nan"), 3)]
)
def test_digits_follow_the_uncertainty(uncertainty: float, digits: int) -> None:
    assert digits_for(uncertainty) == digits


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (6.98234, 0.02, "6.98"),
        (148.0153, float("nan"), "148"),
        (-0.42, 0.03, "−0.42"),
        (0.0, float("nan"), "0"),
        (float("nan"), 1.0, "unknown"),
    ],
)
def test_numbers(value: float, uncertainty: float, text: str) -> None:
    assert number(value, uncertainty) == text


def test_quantities_carry_units_as_people_write_them() -> None:
    assert quantity(121.4, "degC", 0.3) == "121.4 °C"
    assert quantity(1413.0, "uS/cm").endswith("µS/cm")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.5, "0.5 s"), (40, "40 s"), (600, "10 min"), (3600, "1 h"), (7260, "2 h 1 min"), (273600, "3 d 4 h")],
)
def test_durations(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


def test_heat_in_a_sentence() -> None:
    event = Event(
        point="P",
        kind="over_temperature",
        start=0,
        end=NS_PER_HOUR,
        size=148.0,
        size_unit="degC",
        confidence=0.9,
        details={"minutes_above_rating_min": 12.0},
    )
    assert event_sentence(event, UTC) == "Over-temperature to 148 °C on 1 Jan 00:00, 12 min above the rating"
