"""A shift that the next calibration takes back, and that no event explains, is a calibration that was itself off."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.link import attribute, doubt_windows, error_at
from excursions.records import MISJUDGED, SET_WRONG, Event, Link, Shift
from excursions.report.wording import doubt_sentence
from tests.unit.link.builders import DAY, PLANT, calibration, event, level, shift

BEGIN = 20_000  # days since 1970, where nanoseconds are no longer whole in a float
LINE = level(8.0)
LEVELS = {"ph": replace(LINE, time=LINE.time + BEGIN * DAY)}


def there_and_back(there: float, back: float) -> list[Shift]:
    """The zero over two intervals, and a slope that stays."""
    second = replace(
        shift(back, start=BEGIN + 30, end=BEGIN + 60), before=7.0 + there, after=7.0 + there + back
    )
    slopes = [shift(0.0, parameter="slope", u=0.6, start=s, end=s + 30) for s in (BEGIN, BEGIN + 30)]
    return [shift(there, start=BEGIN, end=BEGIN + 30), second, *slopes]


def first(found: list[Shift], *events: Event) -> list[Link]:
    """Likeliest cause of the zero in each of the two intervals."""
    rows = attribute(found, events, PLANT, LEVELS)
    return [next(k for k in rows if k.shift == s.id and k.rank == 1) for s in found[:2]]


@pytest.mark.parametrize("size", [0.15, -0.3])
def test_equal_and_opposite_shifts_are_laid_to_the_calibration_between(size: float) -> None:
    there, back = first(there_and_back(size, -size + 0.01))
    assert (there.cause, back.cause) == (MISJUDGED, MISJUDGED)
    assert min(there.probability, back.probability) > 0.8
    assert there.reasons[0].startswith("the next calibration took it back: that of 3 Nov was off itself")
    assert there.reasons[0].endswith("gone by the next, would look the same")
    assert back.reasons[0].startswith("takes back what the calibration of 3 Nov found and set")


@pytest.mark.parametrize("turned", [False, True])
def test_a_calibration_that_parts_zero_from_slope_hides_no_pair(turned: bool) -> None:
    """At day 30 one standard set the zero alone; the slope runs from day 30 to day 90, beside zeros that go there and back."""
    zeros = there_and_back(0.3, -0.29)[:2]
    slope = shift(0.0, parameter="slope", u=0.6, start=BEGIN + 30, end=BEGIN + 90)
    rows = attribute([slope, *zeros] if turned else [*zeros, slope], (), PLANT, LEVELS)
    causes = [next(k.cause for k in rows if k.shift == s.id and k.rank == 1) for s in zeros]
    assert causes == [MISJUDGED, MISJUDGED]


@pytest.mark.parametrize(("there", "back"), [(0.4, -0.2), (0.2, -0.4), (0.3, 0.3), (-0.34, 0.21)])
def test_shifts_that_do_not_cancel_are_not(there: float, back: float) -> None:
    assert {link.cause for link in first(there_and_back(there, back))} == {"unrecorded"}


def test_a_step_that_explains_the_first_of_them_is_its_cause() -> None:
    """Then the second one has nothing to take back that was not there."""
    there, back = first(there_and_back(0.3, -0.3), event("step", BEGIN + 12, -0.3))
    assert there.cause == "event"
    assert back.cause == "unrecorded"


def test_heat_that_happens_to_undo_a_good_part_of_what_was_unexplained_keeps_its_shift() -> None:
    heat = event("over_temperature", BEGIN + 45, 139.0, details={"dose_h": 27.0})
    assert first(there_and_back(-0.34, 0.21), heat)[1].cause == "event"


def test_two_steps_there_and_back_keep_both_their_causes() -> None:
    found = there_and_back(0.3, -0.3)
    assert {
        k.cause for k in first(found, event("step", BEGIN + 12, -0.3), event("step", BEGIN + 45, 0.3))
    } == {"event"}


def test_what_a_cleaning_took_off_was_there() -> None:
    there, back, *slopes = there_and_back(0.3, -0.3)
    assert {k.cause for k in first([replace(there, taken_off=0.29), back, *slopes])} == {"unrecorded"}


def test_readings_before_it_are_right_and_those_after_it_wrong_from_its_first_minute() -> None:
    found = there_and_back(0.3, -0.3)
    entries = [
        calibration(BEGIN, left={"slope": 99.0, "zero_point": 7.0}),
        calibration(
            BEGIN + 30, found={"slope": 99.0, "zero_point": 7.3}, left={"slope": 99.0, "zero_point": 7.3}
        ),
        calibration(
            BEGIN + 60, found={"slope": 99.0, "zero_point": 7.0}, left={"slope": 99.0, "zero_point": 7.0}
        ),
    ]
    (only,) = doubt_windows(found, [], entries, LEVELS, PLANT)
    assert (only.start, only.end, only.basis) == ((BEGIN + 30) * DAY, (BEGIN + 60) * DAY, SET_WRONG)
    assert error_at(np.array([BEGIN + 31, BEGIN + 59]) * DAY, only) == pytest.approx([0.3, 0.3], abs=0.03)
    assert "a calibration that was itself off" in doubt_sentence(only, "pH", ZoneInfo("UTC"))
