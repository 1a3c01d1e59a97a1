"""A moment as people type it, on the plant's clock."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from excursions.cli.moment import moment, until
from excursions.clock import iso, to_ns
from excursions.errors import UsageError

VIENNA = ZoneInfo("Europe/Vienna")
LAST = to_ns(datetime(2026, 6, 29, 23, 59, tzinfo=UTC))  # 30 Jun 01:59 in Vienna


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-06-27 14:05", "2026-06-27T12:05:00Z"),
        ("2026-06-27T14:05:30", "2026-06-27T12:05:30Z"),
        ("2026-06-27T14:05Z", "2026-06-27T14:05:00Z"),
        ("2026-06-27T14:05+05:30", "2026-06-27T08:35:00Z"),
        ("27.06.2026 14:05", "2026-06-27T12:05:00Z"),
        ("27 Jun 2026, 14:05", "2026-06-27T12:05:00Z"),
        ("27 Jun 14:05", "2026-06-27T12:05:00Z"),
        ("27 June 14:05", "2026-06-27T12:05:00Z"),
        ("27 Dec 14:05", "2025-12-27T13:05:00Z"),  # the newest one that is not after the record
        ("1 Jun", "2026-05-31T22:00:00Z"),
        ("1.6.", "2026-05-31T22:00:00Z"),
        ("1 December", "2025-11-30T23:00:00Z"),
        ("29 Feb 14:05", "2024-02-29T13:05:00Z"),
        ("2026-06-27", "2026-06-26T22:00:00Z"),
        ("01:30", "2026-06-29T23:30:00Z"),
        ("14:05", "2026-06-29T12:05:00Z"),
        ("27 Jun 2:05 pm", "2026-06-27T12:05:00Z"),
        ("Jun 27, 2026 2:05:30 PM", "2026-06-27T12:05:30Z"),
        ("06/27/2026 14:05", "2026-06-27T12:05:00Z"),
        ("27/06/2026", "2026-06-26T22:00:00Z"),
        ("Monday 14:05", "2026-06-29T12:05:00Z"),
        ("Tuesday 01:30", "2026-06-29T23:30:00Z"),  # the record ends on a Tuesday at 01:59
        ("Tuesday 14:05", "2026-06-23T12:05:00Z"),  # so this is the one of the week before
        ("sun, 2:05 pm", "2026-06-28T12:05:00Z"),
        ("last Wed", "2026-06-23T22:00:00Z"),
        ("Last Wed", "2026-06-23T22:00:00Z"),
        ("3/9/2026", "2026-03-08T23:00:00Z"),  # the third of September is after the record
    ],
)
def test_forms_people_write(text: str, expected: str) -> None:
    assert iso(moment(text, VIENNA, LAST)) == expected


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("yesterday", "as a moment"),
        ("31 Jun 10:00", "as a moment"),
        ("Tuesday noon", "as a moment"),
        ("Tuesda 14:05", "as a moment"),
        ("2026-03-29 02:30", "never showed"),
        ("2025-10-26 02:30", "showed it twice|showed twice"),
        ("", "as a moment"),
    ],
)
def test_what_cannot_be_read_or_did_not_happen_once_is_said(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        moment(text, VIENNA, LAST)


def test_an_offset_settles_the_hour_that_came_twice() -> None:
    assert iso(moment("2025-10-26T02:30+01:00", VIENNA, LAST)) == "2025-10-26T01:30:00Z"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 Jun", "2026-06-01T22:00:00Z"),
        ("2026-03-29", "2026-03-29T22:00:00Z"),  # a day of 23 hours
        ("1 Jun 00:00", "2026-05-31T22:00:00Z"),
    ],
)
def test_a_range_up_to_a_day_holds_the_day(text: str, expected: str) -> None:
    assert iso(until(text, VIENNA, LAST)) == expected


def test_a_date_that_can_be_read_in_two_ways_is_asked_back() -> None:
    with pytest.raises(UsageError) as error:
        moment("03/04/2026 10:00", VIENNA, LAST)
    assert "04 Mar 2026 or 03 Apr 2026" in str(error.value)


@pytest.mark.parametrize(
    ("began", "expected"),
    [
        ("2026-03-20T00:00:00+00:00", "2026-04-03T08:00:00Z"),  # the fourth of March is before the record
        ("2026-05-01T00:00:00+00:00", None),  # neither lies in it
        ("2026-01-01T00:00:00+00:00", None),  # both do
    ],
)
def test_of_two_ways_to_read_a_date_the_one_in_the_record_is_meant(began: str, expected: str | None) -> None:
    first = to_ns(datetime.fromisoformat(began))
    if expected is None:
        with pytest.raises(UsageError, match="which is 04 Mar 2026 or 03 Apr 2026"):
            moment("03/04/2026 10:00", VIENNA, LAST, first)
    else:
        assert iso(moment("03/04/2026 10:00", VIENNA, LAST, first)) == expected
