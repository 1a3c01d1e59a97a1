"""Written times: the fast and the general way agree; what is impossible is refused; numbers are told apart by size."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from excursions.errors import InputFileError
from excursions.read.exports.times.numbertimes import (
    NUMBER_TIMES,
    SERIAL,
    SERIAL_1904,
    refuse_other_readings,
)
from excursions.read.exports.times.textparts import civil_days, parse_distinct
from excursions.read.exports.times.timeplan import TimePlan
from excursions.read.exports.times.times import fast_pattern, parse_times
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of, zone_offset
from excursions.read.text.words import is_ditto

NS = 1_000_000_000
FORMATS = {
    "%Y-%m-%dT%H:%M:%SZ": "",
    "%Y-%m-%d %H:%M:%S": "",
    "%Y/%m/%d %H:%M": "",
    "%d.%m.%Y %H:%M:%S": "day-first",
    "%d/%m/%Y %H:%M": "day-first",
    "%m/%d/%Y %I:%M:%S %p": "month-first",
    "%m-%d-%Y %H:%M:%S": "month-first",
    "%d.%m.%y %H:%M": "day-first",
    "%y-%m-%d %H:%M": "year-first",
}


def instant(moment: datetime) -> int:
    return (
        int((moment.replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(microseconds=1))
        * 1_000
    )


@pytest.mark.parametrize("form", FORMATS)
def test_fast_and_general_way_agree_with_the_calendar(form: str) -> None:
    rng = np.random.default_rng(3)
    moments = [datetime(2000, 1, 1) + timedelta(minutes=int(m)) for m in rng.integers(0, 15_000_000, 200)]
    texts = pl.Series([moment.strftime(form) for moment in moments])
    order = FORMATS[form]
    shape = shape_of(texts[0])
    assert shape is not None
    pattern = fast_pattern(shape, order)
    assert pattern
    fast = parse_times([texts], TimePlan(fast=pattern, order=order))
    general = parse_distinct(texts, order)
    assert fast.time.tolist() == general.time.tolist() == [instant(moment) for moment in moments]
    assert fast.ok.all()
    assert general.ok.all()


@given(
    st.datetimes(datetime(1970, 1, 1), datetime(2199, 12, 31)),
    st.integers(-14 * 60, 14 * 60),
    st.integers(0, 999),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_offsets_lead_to_utc(moment: datetime, minutes: int, milli: int) -> None:
    local = moment.replace(microsecond=milli * 1_000, tzinfo=timezone(timedelta(minutes=minutes)))
    found = parse_distinct(pl.Series([local.isoformat(timespec="milliseconds")]), "")
    assert found.zoned.all()
    assert found.time[0] == instant(local.astimezone(UTC).replace(tzinfo=None))


@pytest.mark.parametrize(
    "text",
    ["", "7.02", "16.45", "AT-101", "31.02.2024 00:00", "2024-13-01", "2024-00-10", "2024-01-01 25:00", "2024-01-01 24:01", "2024-01-01 12:60",
     "10.0.0.1", "1.2.3", "2024", "99/99/9999", "13:00 PM 01/01/2024", "2024-01-01 12:00 XYZ", "\x00", "now"],
)  # fmt: skip
def test_what_is_no_time_is_refused(text: str) -> None:
    assert not parse_distinct(pl.Series([text]), "day-first").ok.any()


def test_a_mixed_column_is_understood_row_by_row() -> None:
    texts = pl.Series(
        [
            "01.03.2024 00:00:00",
            " 01.03.2024 00:00 ",
            "2024-03-01T00:00:00Z",
            "1-Mar-24 0:00",
            None,
            "no time",
        ]
    )
    found = parse_times([texts], TimePlan(fast="%d.%m.%Y %H:%M:%S", order="day-first"))
    assert found.ok.tolist() == [True, True, True, True, False, False]
    assert set(found.time[:4].tolist()) == {1_709_251_200 * NS}
    assert found.zoned.tolist() == [False, False, True, False, False, False]


def test_a_year_of_two_digits_is_not_read_as_the_year_24() -> None:
    texts = pl.Series(["01.03.2024 00:00", "01.03.24 00:00"])
    found = parse_times([texts], TimePlan(fast="%d.%m.%Y %H:%M", order="day-first"))
    assert found.time.tolist() == [1_709_251_200 * NS] * 2


def test_years_of_old_records_are_kept() -> None:
    texts = pl.Series(["1871-01-01 00:00", "1700-01-01 00:00", "1699-12-31 00:00"])
    found = parse_times([texts], TimePlan(fast="%Y-%m-%d %H:%M"))
    assert found.ok.tolist() == [True, True, False]
    assert found.time[0] == instant(datetime(1871, 1, 1))


def test_a_short_date_is_refused_while_its_order_is_open() -> None:
    assert not parse_distinct(pl.Series(["02/03/2024 00:00"]), "").ok.any()


def test_seconds_of_today_are_no_dates_though_their_digits_look_like_some() -> None:
    """1710120000 to ...49 read as 12 October 2017, 00:00 to 00:49, as well."""
    refuse_other_readings([str(1_710_120_000 + i) for i in range(50)], "seconds since 1970", stated=False)


@pytest.mark.parametrize("cells", [[str(2_403_011_200 + i) for i in range(50)], [str(260_312_224_000 + i) for i in range(50)]])  # fmt: skip
def test_numbers_of_two_digit_years_are_refused(cells: list[str]) -> None:
    with pytest.raises(InputFileError, match="two-digit years"):
        refuse_other_readings(cells, "seconds since 1970", stated=False)


@pytest.mark.parametrize(
    ("cell", "said"), [("''", False), ("'", True), ('"', True), ("〃", True), ('- " -', True), ("--", False)]
)
def test_an_empty_text_of_a_data_base_is_no_mark_of_repetition(cell: str, said: bool) -> None:
    assert is_ditto(cell) is said


@pytest.mark.parametrize("kind", sorted(NUMBER_TIMES))
def test_sizes_of_number_times_do_not_overlap(kind: str) -> None:
    low, high, _, _ = NUMBER_TIMES[kind]
    others = [NUMBER_TIMES[other][:2] for other in NUMBER_TIMES if other != kind]
    assert low < high
    assert all(high < other_low or low > other_high for other_low, other_high in others)


@pytest.mark.parametrize(
    ("kind", "number"),
    [("seconds since 1970", "1709251200"), ("milliseconds since 1970", "1709251200000"), ("microseconds since 1970", "1709251200000000"),
     ("nanoseconds since 1970", "1709251200000000000"), ("100 ns since 1601", "133537248000000000"),
     ("100 ns since year 1", "638448480000000000"), (SERIAL, "45352")],
)  # fmt: skip
def test_number_times_meet_at_one_instant(kind: str, number: str) -> None:
    found = parse_times([pl.Series([number, "7", "", None])], TimePlan(kind=kind))
    assert found.ok.tolist() == [True, False, False, False]
    assert found.time[0] == 1_709_251_200 * NS


def test_day_numbers_are_good_to_the_millisecond_and_may_count_from_1904() -> None:
    numbers = pl.Series([45352 + 0.123456789, 45352.5])
    found = parse_times([numbers], TimePlan(kind=SERIAL))
    assert found.time.tolist() == [1_709_251_200 * NS + 10_666_667_000_000, 1_709_294_400 * NS]
    late = parse_times([numbers - 1_462], TimePlan(kind=SERIAL, shift=SERIAL_1904))
    assert late.time.tolist() == found.time.tolist()


def test_typed_columns_need_no_reading() -> None:
    moments = [datetime(2024, 3, 1), None]
    for column, zoned in (
        (pl.Series(moments, dtype=pl.Datetime("ms")), False),
        (pl.Series(moments, dtype=pl.Datetime("us", "Europe/Vienna")), True),
        (pl.Series([date(2024, 3, 1), None]), False),
    ):
        found = parse_times([column], TimePlan())
        assert found.ok.tolist() == [True, False]
        assert found.zoned.all() == zoned
    # 2024-03-01 00:00 as polars stored it in UTC is that instant whatever zone it is shown in.
    assert (
        parse_times([pl.Series(moments, dtype=pl.Datetime("ns", "UTC"))], TimePlan()).time[0]
        == 1_709_251_200 * NS
    )


def test_date_clock_and_zone_from_three_columns() -> None:
    plan = TimePlan(parts=("date", "clock", "zone"), fast="%d.%m.%Y", order="day-first")
    columns = [
        pl.Series(["01.03.2024", "01.03.2024", "01.03.2024"]),
        pl.Series(["01:00", "24:00:00", "x"]),
        pl.Series(["CET", "", "UTC"]),
    ]
    found = parse_times(columns, plan)
    assert found.ok.tolist() == [True, True, False]
    assert found.zoned.tolist()[:2] == [True, False]
    assert found.time.tolist()[:2] == [1_709_251_200 * NS, (1_709_251_200 + 86_400) * NS]


def test_clock_columns_of_other_types() -> None:
    plan = TimePlan(parts=("date", "clock"))
    dates = pl.Series([date(2024, 3, 1)])
    for clock in (
        pl.Series([time(12, 30)]),
        pl.Series([0.520833333333]),
        pl.Series([datetime(1899, 12, 30, 12, 30)]),
        pl.Series(["12:30 PM"]),
    ):
        assert parse_times([dates, clock], plan).time.tolist() == [1_709_296_200 * NS]


@pytest.mark.parametrize(
    ("text", "offset"),
    [
        ("Z", "+00:00"),
        ("cest", "+02:00"),
        ("UTC+1", "+01:00"),
        ("-0530", "-05:30"),
        ("(EST)", "-05:00"),
        ("CST", None),
        ("+25", None),
        ("IST", None),
    ],
)
def test_zone_words_that_mean_several_zones_are_not_guessed(text: str, offset: str | None) -> None:
    assert zone_offset(text) == offset


def test_a_number_with_a_point_is_no_time_of_day() -> None:
    assert clock_shape_of("16.45") is None
    assert clock_shape_of("16.45.10") is not None
    assert clock_shape_of("16:45") is not None


def test_days_follow_the_calendar() -> None:
    days = [date(1900, 1, 1) + timedelta(days=37 * k) for k in range(2_900)]
    year, month, day = (
        np.array([getattr(d, name) for d in days], np.int64) for name in ("year", "month", "day")
    )
    found, ok = civil_days(year, month, day)
    assert ok.all()
    assert found.tolist() == [(d - date(1970, 1, 1)).days for d in days]


@pytest.mark.parametrize("fraction", ["", ".5"])
def test_a_year_beyond_the_reach_of_nanoseconds_is_refused_and_does_not_come_back_as_another(
    fraction: str,
) -> None:
    times = [f"2025-03-04 0{hour}:00:00{fraction}" for hour in range(5)]
    times[3] = f"2568-03-04 03:00:00{fraction}"  # 543 years on, in the Buddhist calendar
    pattern = "%Y-%m-%d %H:%M:%S" + ("%.f" if fraction else "")
    found = parse_times([pl.Series(times)], TimePlan(fast=pattern))
    assert found.ok.tolist() == [True, True, True, False, True]
