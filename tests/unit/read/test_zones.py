"""Wall time to UTC against the standard library, and doubled hours resolved by order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.read.exports.times.zones import DoubledHours, to_utc

NS = 1_000_000_000
VIENNA = "Europe/Vienna"


def ns(text: str) -> int:
    return int(np.datetime64(text, "ns").astype(np.int64))


def slow_utc(wall: int, name: str) -> int:
    """First pass of a wall time, by the standard library."""
    moment = datetime(1970, 1, 1) + timedelta(microseconds=wall // 1_000)
    return round(moment.replace(tzinfo=ZoneInfo(name), fold=0).astimezone(UTC).timestamp()) * NS


@pytest.mark.parametrize(
    "name",
    [
        VIENNA,
        "America/New_York",
        "Australia/Lord_Howe",
        "Asia/Kolkata",
        "Asia/Tokyo",
        "Etc/GMT-1",
        "UTC",
        "America/Sao_Paulo",
    ],
)
def test_agrees_with_the_standard_library_where_the_wall_time_exists_once(name: str) -> None:
    rng = np.random.default_rng(5)
    wall = np.sort(rng.integers(ns("1999-01-01"), ns("2031-01-01"), 3_000)) // NS * NS
    found = to_utc(wall, name)
    clear = np.ones(wall.size, np.bool_)
    for odd in (found.twice, found.missing):
        clear &= ~odd if odd is not None else clear
    expected = np.array([slow_utc(int(w), name) for w in wall])
    np.testing.assert_array_equal(found.time[clear], expected[clear])


def test_every_minute_around_both_changes() -> None:
    for start in ("2024-03-30T22:00", "2024-10-26T22:00"):
        wall = ns(start) + np.arange(8 * 60, dtype=np.int64) * 60 * NS
        found = to_utc(wall, VIENNA)
        spring = "03-30" in start
        odd = found.missing if spring else found.twice
        assert odd is not None
        assert odd.sum() == 60
        assert (found.twice if spring else found.missing) is None
        first = wall[odd][0]
        assert first == ns("2024-03-31T02:00") if spring else first == ns("2024-10-27T02:00")
        np.testing.assert_array_equal(found.time[~odd], [slow_utc(int(w), VIENNA) for w in wall[~odd]])


def settle(walls: list[str], hours: DoubledHours | None = None) -> tuple[list[str], list[bool]]:
    wall = np.array([ns(f"2023-10-29T{text}") for text in walls], np.int64)
    found = to_utc(wall, VIENNA)
    assert found.twice is not None
    assert found.shift is not None
    time, unsure = (hours or DoubledHours()).settle("A", wall, found.time, found.twice, found.shift)
    return [str(np.datetime64(int(t), "ns"))[11:16] for t in time], unsure.tolist()


def test_the_second_pass_begins_where_the_wall_time_falls_back() -> None:
    times, unsure = settle(["01:50", "02:00", "02:30", "02:50", "02:00", "02:30", "03:00"])
    assert times == ["23:50", "00:00", "00:30", "00:50", "01:00", "01:30", "02:00"]
    assert not any(unsure)


def test_rows_in_falling_order() -> None:
    times, unsure = settle(["03:10", "02:50", "02:10", "02:40", "02:05", "01:50"])
    assert times == ["02:10", "01:50", "01:10", "00:40", "00:05", "23:50"]
    assert not any(unsure)


def test_one_pass_only_stays_unsure() -> None:
    times, unsure = settle(["01:50", "02:10", "02:40", "03:10"])
    assert times == ["23:50", "00:10", "00:40", "02:10"]
    assert unsure == [False, True, True, False]


def test_disorder_inside_the_hour_stays_unsure() -> None:
    assert settle(["01:50", "02:10", "02:05", "02:20", "02:01", "03:10"])[1] == [
        False,
        True,
        True,
        True,
        True,
        False,
    ]


def test_a_doubled_hour_cut_by_the_end_of_a_batch() -> None:
    hours = DoubledHours()
    first, _ = settle(["01:50", "02:00", "02:30"], hours)
    second, unsure = settle(["02:00", "02:30", "03:00"], hours)
    assert first == ["23:50", "00:00", "00:30"]
    assert second == ["01:00", "01:30", "02:00"]
    assert not any(unsure)
