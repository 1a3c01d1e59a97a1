"""Numbers carry the digits their uncertainty supports; durations and sentences read as people speak."""

from __future__ import annotations

import math
from zoneinfo import ZoneInfo

import pytest

from dashboards.wording import size_words
from excursions.clock import NS_PER_HOUR, duration_text, minutes_text
from excursions.digits import band_ends, chance_text, digits_for, f0_text, number, reckoned, written
from excursions.records import Event
from excursions.report.reader import Reader
from excursions.report.wording import difference, event_sentence, plus_minus, quantity, too_far, whose

UTC = ZoneInfo("UTC")


@pytest.mark.parametrize(
    ("uncertainty", "digits"),
    [(0.04, 2), (0.3, 1), (12.0, 0), (272.0, -1), (0.0009, 4), (0.00098, 3), (float("nan"), 3)],
)
def test_digits_follow_the_uncertainty(uncertainty: float, digits: int) -> None:
    assert digits_for(uncertainty) == digits


@pytest.mark.parametrize(
    ("steam", "rating"), [(12.0, "its assumed 130 °C rating"), (0.0, "its assumed 80 °C rating")]
)
def test_a_rating_nobody_stated_is_called_assumed_in_a_sentence(steam: float, rating: str) -> None:
    event = Event(
        point="P", kind="over_temperature", start=0, end=NS_PER_HOUR, size=148.0, size_unit="degC", confidence=0.9,
        details={
            "minutes_above_rating_min": 12.0, "minutes_above_sterilisation_min": steam, "rating_assumed": 1.0,
            "rating_sterilisation_degc": 130.0, "rating_continuous_degc": 80.0,
        },
    )  # fmt: skip
    assert event_sentence(event, UTC).endswith(f"12 min above {rating}")


@pytest.mark.parametrize(
    ("confidence", "words"),
    [
        (0.95, "rather the probe, 95 %; the process is not excluded"),
        (0.5, "probe or process, cannot tell which; 50 % for the probe"),
        (0.1, "rather the process; 10 % for the probe"),
    ],
)
def test_words_of_an_undecided_event_fit_its_figure(confidence: float, words: str) -> None:
    event = Event(
        point="P", kind="step", start=0, end=1, size=1.0, size_unit="pH", confidence=confidence, origin="undecided",
    )  # fmt: skip
    assert whose(event) == words


@pytest.mark.parametrize(
    ("origin", "words"),
    [
        ("process", "the process, 99 % sure"),
        ("record", "the record, 99 % sure"),
        ("probe", "the probe, 99 % sure"),
        ("routine", "routine"),
    ],
)
def test_whose_an_event_is_is_said_of_every_origin(origin: str, words: str) -> None:
    """A night told of what the process had done: rather the probe, 99 %."""
    event = Event(
        point="P", kind="step", start=0, end=1, size=1.0, size_unit="pH", confidence=0.99, origin=origin
    )
    assert whose(event) == words


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
    [
        (0.5, "0.5 s"),
        (40, "40 s"),
        (230, "3 min 50 s"),
        (240, "4 min"),
        (600, "10 min"),
        (3600, "1 h"),
        (7260, "2 h 1 min"),
        (273600, "3 d 4 h"),
    ],
)
def test_durations(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(147.2, 2, "150"), (-2023.0, 3, "−2020"), (4.5e-7, 2, "0.00000045"), (0.999, 2, "1"), (0.0, 3, "0"), (float("inf"), 3, "unknown")],
)  # fmt: skip
def test_figures_are_written_out_without_powers_of_ten(value: float, digits: int, text: str) -> None:
    assert written(value, digits) == text


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(0.0, "0 min"), (0.548, "33 s"), (3.84, "3 min 50 s"), (12.2, "12 min"), (3316.0, "2 d 7 h")],
)
def test_minutes_are_said_in_the_unit_a_person_would_use(minutes: float, text: str) -> None:
    assert minutes_text(minutes) == text


def test_chances_and_lethality_say_no_more_than_they_know() -> None:
    assert (chance_text(1e-9), chance_text(0.02)) == ("fewer than 0.001", "0.02")
    assert (f0_text(9_561_100.0), f0_text(33.46), f0_text(float("nan"))) == ("over 10000 min", "33 min", "–")
    assert f0_text(3342.4) == "3300 min"  # 0.1 K moves it by 2 %


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


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (523.4, 272.0, "520"),
        (-523.4, 2720.0, "−500"),
        (523.4, 12.0, "523"),
        (0.33421, 0.00098, "0.334"),
        (41.0, 300.0, "40"),
    ],
)
def test_a_figure_has_no_more_digits_than_its_uncertainty_supports(
    value: float, uncertainty: float, text: str
) -> None:
    assert number(value, uncertainty) == text


@pytest.mark.parametrize(
    ("value", "half", "ends"),
    [
        (0.33, 0.24, (0.1, 0.5)),
        (-2.29, 0.94, (-3.2, -1.4)),
        (523.4, 272.0, (250.0, 790.0)),
        (1.0, float("inf"), (float("-inf"), float("inf"))),
    ],
)
def test_the_ends_of_a_band_are_what_its_written_figures_add_up_to(
    value: float, half: float, ends: tuple[float, float]
) -> None:
    assert band_ends(value, half) == pytest.approx(ends)


def test_an_element_that_stands_still_is_told_by_where_it_stands() -> None:
    event = Event(
        point="P1", kind="temperature_fault", start=0, end=9 * 24 * NS_PER_HOUR, size=0.0, size_unit="K", confidence=0.9,
        open_end=True, details={"stood_at_degc": 200.0},
    )  # fmt: skip
    assert event_sentence(event, UTC) == (
        "Temperature element fault, standing at 200 °C from 1 Jan 00:00, still so at the end of the record"
    )


@pytest.mark.parametrize(
    ("before", "after", "uncertainty", "change"),
    [(0.04, 0.86, 0.1, "+0.9"), (-0.03, 0.84, 0.1, "+0.8"), (98.4, 95.6, 1.0, "−2"), (7.0, 7.0, 0.01, "0.00"), (1.0, 1.5, math.nan, "+0.5")],
)  # fmt: skip
def test_a_change_is_the_difference_of_the_figures_that_are_written(
    before: float, after: float, uncertainty: float, change: str
) -> None:
    assert number(reckoned(after, before, uncertainty), uncertainty, signed=True) == change


def test_heat_is_told_to_the_degree_wherever_it_stands() -> None:
    hot = Event(
        point="p", kind="over_temperature", start=0, end=1, size=95.34, size_low=95.34, size_high=95.34,
        size_unit="degC", confidence=0.9,
    )  # fmt: skip
    assert "to 95 °C" in event_sentence(hot, ZoneInfo("UTC"))
    assert size_words(hot, Reader(tz=ZoneInfo("UTC"))) == "95 °C"


def test_values_that_are_played_back_are_told_by_when_they_were_read_first() -> None:
    event = Event(
        point="P1", kind="stuck", start=0, end=24 * NS_PER_HOUR, size=1200.0, size_unit="uS/cm", confidence=0.95,
        origin="record", details={"lag_s": 43_200.0},
    )  # fmt: skip
    assert event_sentence(event, UTC) == (
        "Stuck reading, the values of 12 h before over again, from 1 Jan 00:00 for 1 d"
    )


@pytest.mark.parametrize(("jump", "told"), [(9.02, "9.0 K"), (62.28, "62 K"), (-5.46, "−5.5 K")])
def test_a_jump_of_the_temperature_is_told_as_the_levels_beside_it(jump: float, told: str) -> None:
    event = Event(
        point="P",
        kind="temperature_fault",
        start=0,
        end=NS_PER_HOUR,
        size=jump,
        size_unit="K",
        confidence=0.9,
    )
    assert f"fault of {told} from 1 Jan 00:00 for 1 h" in event_sentence(event, UTC)


def test_errors_of_temperatures_are_differences() -> None:
    """Read as a level, half a degree too high would be 32.9 degF too high."""
    assert difference(0.5, "degC", 0.1) == "0.5 K"
    assert plus_minus(0.2, "degC") == "± 0.2 K"
    assert plus_minus(0.2, "pH") == "± 0.2"
    assert too_far(0.5, 0.1, "degC") == "0.5 K too high (nine times in ten between +0.4 K and +0.6 K)"
