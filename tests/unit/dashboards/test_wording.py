"""Words and numbers as pages show them."""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboards.wording import Reader, capital, counted, described, figure_words, off_by, size_words
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.digits import percent
from excursions.records import Event

VIENNA = Reader(tz=ZoneInfo("Europe/Vienna"))
FAHRENHEIT = Reader(tz=ZoneInfo("Europe/Vienna"), temperature="degF")
SPRING = 1_774_746_000_000_000_000  # 2026-03-29 01:00 UTC, 02:00 becomes 03:00 in Vienna
HEAT = Event(
    point="p", kind="over_temperature", start=0, end=1, size=143.2, size_low=143.2, size_high=147.3,
    size_unit="degC", confidence=0.9,
)  # fmt: skip


def test_times_are_those_of_the_plants_clock() -> None:
    assert VIENNA.moment(SPRING) == "29 Mar 2026, 03:00"
    assert VIENNA.moment(SPRING - NS_PER_HOUR) == "29 Mar 2026, 01:00"


def test_the_axis_shows_what_the_clock_on_the_wall_showed() -> None:
    wall = VIENNA.wall(np.array([SPRING - NS_PER_HOUR, SPRING], np.int64))
    assert [str(t) for t in wall] == ["2026-03-29T01:00:00.000", "2026-03-29T03:00:00.000"]


@pytest.mark.parametrize(
    "zone", ["Europe/Vienna", "America/Los_Angeles", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"]
)
def test_instants_are_put_on_the_wall_as_the_standard_library_does(zone: str) -> None:
    tz = ZoneInfo(zone)
    near = SPRING + np.arange(-3, 4, dtype=np.int64)
    time = np.concatenate(
        [np.arange(0, 2 * SPRING, SPRING // 999, dtype=np.int64)[::-1], near, near + 217 * NS_PER_DAY]
    )
    there = [datetime.fromtimestamp(int(t) // NS_PER_S, UTC).astimezone(tz).utcoffset() for t in time]
    beyond = [round(offset.total_seconds()) * 1_000 for offset in there if offset is not None]
    np.testing.assert_array_equal(Reader(tz=tz).wall_ms(time), time // 1_000_000 + beyond)
    assert not Reader(tz=tz).wall_ms(time[:0]).size


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("Over-temperature to 143 °C on 3 Apr", "Over-temperature to 289 °F on 3 Apr"),
        ("plateau at 121.1 °C", "plateau at 250.0 °F"),
        ("colder than −10 °C", "colder than 14 °F"),
        ("from 92 degC to 30 degC", "from 198 °F to 86 °F"),
        ("moved by +5 K", "moved by +9 °F"),
        ("above the rating of 80 °C (assumed)", "above the rating of 176 °F (assumed)"),
        ("heated at 25 K/min", "heated at 45 °F/min"),
        ("at least 37 K in a minute", "at least 67 °F in a minute"),
        ("no temperature here, 3 Kelvins, 12 KB, 5 kPa", "no temperature here, 3 Kelvins, 12 KB, 5 kPa"),
    ],
)
def test_temperatures_in_sentences_follow_the_unit_asked_for(given: str, shown: str) -> None:
    assert FAHRENHEIT.text(given) == shown
    assert VIENNA.text(given) == given.replace("degC", "°C")


def test_an_event_is_converted_by_its_unit_and_not_by_its_words() -> None:
    jump = dataclasses.replace(
        HEAT, kind="temperature_fault", size=9.0, size_low=8.95, size_high=9.05, size_unit="K"
    )
    assert "146" not in FAHRENHEIT.event(HEAT)
    assert FAHRENHEIT.event(HEAT).startswith(
        "Over-temperature to 289 °F"
    )  # as the sentence in degC converts: 143
    assert FAHRENHEIT.event(jump).startswith("Temperature element fault of 16.2 °F")
    assert VIENNA.event(jump).startswith("Temperature element fault of 9.0 K")


def test_the_error_of_a_temperature_reading_is_a_difference() -> None:
    assert FAHRENHEIT.difference(5.0, "degC", 0.5) == "9.0 °F"
    assert off_by(5.0, 0.5, "degC", FAHRENHEIT.difference) == "9.0 °F too high, give or take 0.9 °F"
    drift = dataclasses.replace(HEAT, kind="drift", size=5.0, size_low=4.0, size_high=6.0)
    assert size_words(drift, FAHRENHEIT) == "+9 °F (+7 to +11)"


def test_units_spelt_for_machines_are_shown_as_people_write_them() -> None:
    assert VIENNA.text("steam of 120.2 degC at most") == "steam of 120.2 °C at most"
    assert FAHRENHEIT.text("steam of 120.2 degC at most") == "steam of 248.4 °F at most"
    assert figure_words("minutes_above_110_degc_min", 4.0, FAHRENHEIT) == "minutes above 230 °F 4 min"


def test_levels_convert_and_other_units_do_not() -> None:
    np.testing.assert_allclose(FAHRENHEIT.level(np.array([100.0]), "degC"), [212.0])
    np.testing.assert_allclose(FAHRENHEIT.level(np.array([100.0]), "mV"), [100.0])
    assert FAHRENHEIT.amount(100.0, "degC", 0.5) == "212.0 °F"
    assert VIENNA.amount(-0.0004, "pH", 0.02) == "0.00 pH"
    assert VIENNA.amount(-0.04, "pH", 0.02, signed=True) == "−0.04 pH"
    assert VIENNA.amount(2100.0, "uS/cm", 20) == "2100 µS/cm"


def test_a_peak_says_what_the_sampling_could_hide() -> None:
    assert size_words(HEAT, VIENNA) == "143 °C, could be up to 147 °C"
    assert size_words(dataclasses.replace(HEAT, size_high=143.2), VIENNA) == "143 °C"


def test_a_bound_that_rounds_to_the_peak_is_not_told_twice() -> None:
    assert size_words(dataclasses.replace(HEAT, size_high=143.24), VIENNA) == "143 °C"


@pytest.mark.parametrize(
    ("label", "description", "said"),
    [
        ("pH", "pH, fermenter 1", "pH, fermenter 1"),
        ("redox potential", "redox, neutralisation", "redox, neutralisation"),
        ("dissolved oxygen, saturation", "dissolved oxygen, tank", "dissolved oxygen, tank"),
        ("pH", "neutralisation", "pH, neutralisation"),
        ("pH", "phosphate line", "pH, phosphate line"),
        ("turbidity", "", "turbidity"),
    ],
)
def test_what_a_point_measures_is_not_said_twice(label: str, description: str, said: str) -> None:
    assert described(label, description) == said


def test_units_spelt_for_machines_are_written_for_people_in_sentences() -> None:
    assert VIENNA.text("outside -5 to 400 uS/cm, by 3 %sat") == "outside -5 to 400 µS/cm, by 3 % sat"


def test_a_step_shows_its_sign_and_its_interval() -> None:
    step = Event(
        point="p", kind="step", start=0, end=0, size=-0.31, size_low=-0.36, size_high=-0.26, size_unit="pH", confidence=0.8,
    )  # fmt: skip
    assert size_words(step, VIENNA) == "−0.31 pH (−0.36 to −0.26)"


@pytest.mark.parametrize(
    ("error", "band", "words"),
    [
        (0.24, 0.06, "0.24 pH too high, give or take 0.06 pH"),
        (-0.24, math.nan, "0.24 pH too low"),
        (0.02, 0.06, "between −0.04 pH and +0.08 pH"),
        (math.nan, 0.06, "up to 0.06 pH either way"),
        (math.nan, math.nan, "cannot be said from this record"),
    ],
)
def test_how_wrong_is_said_with_its_band(error: float, band: float, words: str) -> None:
    assert off_by(error, band, "pH", VIENNA.amount) == words


@pytest.mark.parametrize(
    ("p", "words"), [(0.999, "over 99 %"), (0.81, "81 %"), (0.004, "under 1 %"), (math.nan, "not known")]
)
def test_probabilities_promise_no_certainty(p: float, words: str) -> None:
    assert percent(p) == words


def test_a_figure_shows_its_unit_from_its_name() -> None:
    assert figure_words("minutes_above_rating_min", 31.0, VIENNA) == "minutes above rating 31 min"
    assert figure_words("held_s", 86_400.0, VIENNA) == "held 1 d"
    assert figure_words("rate_per_day", 0.02, VIENNA, "pH") == "rate 0.02 pH a day"
    assert figure_words("cycles", 4.0, VIENNA) == "cycles 4"


def test_small_words() -> None:
    assert capital("ph follows") == "Ph follows"
    assert capital("pH follows") == "pH follows"
    assert [counted(n, "event") for n in (0, 1, 1200)] == ["no events", "1 event", "1\u202f200 events"]


def test_a_level_told_in_tenths_is_one_figure_in_sentences_and_alone() -> None:
    assert FAHRENHEIT.text("highest 146.1 degC") == "highest 295.0 °F"
    assert FAHRENHEIT.amount(146.065, "degC", 0.5) == "295.0 °F"
