"""Entries beside work at another time: a log by another clock, and slips in one date."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from excursions.clock import to_datetime, to_ns
from excursions.link import audit
from excursions.records import CALIBRATING, Calibration
from tests.unit.link.builders import DAY, calibration
from tests.unit.link.test_audit import PLANT, SAMPLING, found, states

# 1970 began on a Thursday; day 5 is 6 January, day 33 is 3 February, day 63 is 5 March.
WORK = (5.4, 33.4, 63.4, 90.4)
LINE = states(*((d, CALIBRATING) for d in WORK))


def entered(*days: float, hours: float = 0.0) -> list[Calibration]:
    return [calibration(d + 0.01 + hours / 24) for d in days]


@pytest.mark.parametrize("hours", [10.0, -8.0, 6.0, 2.0])
def test_a_log_by_another_clock_is_one_finding_and_no_list_of_missing_work(hours: float) -> None:
    (one,) = found(entered(*WORK, hours=hours), LINE)
    assert one.kind == "other clock"
    assert "4 of 4 entries" in one.sentence
    apart = {10.0: "10 h after", -8.0: "8 h before", 6.0: "6 h after", 2.0: "2 h after"}[hours]
    assert f"lie about {apart} the work" in one.sentence


def test_behind_another_clock_a_copied_entry_keeps_its_name() -> None:
    entries = entered(*WORK, hours=10.0)
    entries[2] = replace(entries[2], copied=True)
    (copied,) = [f for f in audit(entries, {"ph": LINE}, SAMPLING, PLANT) if f.kind == "copied"]
    assert copied.calibration == entries[2].id


def test_entries_off_by_different_hours_are_no_clock() -> None:
    entries = [calibration(d + 0.01 + h / 24) for d, h in zip(WORK, (10.0, -7.0, 0.0, 4.0), strict=True)]
    assert "other clock" not in {f.kind for f in found(entries, LINE)}


def test_a_summer_in_another_zone_has_its_winter_hour_too() -> None:
    entries = [*entered(*WORK[:2], hours=1.6), *entered(*WORK[2:], hours=2.6)]  # written when it was done
    (one,) = found(entries, LINE)
    assert one.kind == "other clock"


@pytest.mark.parametrize("late", [0.0, 0.4, -0.4])
def test_entries_written_beside_the_work_are_no_clock(late: float) -> None:
    assert "other clock" not in {f.kind for f in found(entered(*WORK, hours=late), LINE)}


def test_two_entries_are_too_few_for_a_clock() -> None:
    few = states(*((d, CALIBRATING) for d in WORK[:2]))
    assert "other clock" not in {f.kind for f in found(entered(*WORK[:2], hours=10.0), few)}


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (122.41, "with day and month exchanged"),  # 5 March entered as 3 May
        (62.41, "a day apart"),
        (63.41 + 31, "a month apart"),
        (63.41 - 0.5, "twelve hours apart"),
        (63.41 + 0.25, "at another hour of that day"),
    ],
)
def test_a_slip_in_one_date_is_told_with_both_halves(day: float, words: str) -> None:
    work = (5.4, 20.4, 33.4, 45.4, 63.4, 80.4, 90.4, 110.4)
    line = states(*((d, CALIBRATING) for d in work), days=150.0)
    others = [d for d in work if d != 63.4]
    told = found([*entered(*others), calibration(day)], line)
    assert {f.kind for f in told} == {"no trace", "no entry"}
    assert all(f.sentence.split(" (")[0].endswith(words) for f in told)


def test_work_that_fits_no_slip_is_told_plainly() -> None:
    line = states(*((d, CALIBRATING) for d in (*WORK, 110.4)), days=150.0)
    told = found([*entered(*WORK), calibration(120.2)], line)
    assert {f.kind for f in told} == {"no trace", "no entry"}
    assert not any("fits it" in f.sentence for f in told)


@pytest.mark.parametrize("hour", [0, 12])
@pytest.mark.parametrize("zone", ["UTC", "Asia/Tokyo", "America/Denver"])
def test_a_date_alone_is_a_day_of_the_plant_and_no_hour(hour: int, zone: str) -> None:
    """The reader puts it at noon of the log's zone, a sheet may have it at midnight."""
    tz = ZoneInfo(zone)
    at = [to_datetime(int(d * DAY), tz).replace(hour=hour, minute=0, second=0, microsecond=0) for d in WORK]
    entries = [replace(c, time=to_ns(moment)) for c, moment in zip(entered(*WORK), at, strict=True)]
    assert found(entries, LINE, plant=replace(PLANT, zone=zone)) == []
