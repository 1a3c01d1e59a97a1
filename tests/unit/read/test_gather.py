"""Readings on disk are the readings in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from excursions.read import ReadOptions, read_exports
from excursions.read.exports.cells.values import STATE_OFF, STATE_ON
from excursions.read.exports.gather.gather import Gather
from excursions.read.exports.gather.spill import Spill, let_go
from excursions.records import BAD


def filled(spill_bytes: int) -> Gather:
    gather = Gather(spill_bytes)
    rng = np.random.default_rng(7)
    for number in range(20):
        time = np.arange(100, dtype=np.int64) + 100 * number
        for tag in ("A", "B", "C"):
            quality = (rng.random(100) < 0.1).astype(np.uint8) if tag == "B" else None
            gather.add(tag, time, rng.normal(size=100), quality, f"file {number // 10}")
        gather.relieve()
    return gather


@pytest.mark.parametrize("spill_bytes", [0, 10_000, 60_000])
def test_spilled_series_equal_those_in_memory(spill_bytes: int) -> None:
    expected, found = filled(10**9).series(), filled(spill_bytes).series()
    assert list(found) == ["A", "B", "C"]
    for tag, series in expected.items():
        np.testing.assert_array_equal(found[tag].time, series.time)
        np.testing.assert_array_equal(found[tag].value, series.value)
        np.testing.assert_array_equal(found[tag].quality, series.quality)
        assert found[tag].files == series.files == ("file 0", "file 1")


def test_columns_of_one_table_share_their_times() -> None:
    series = filled(10**9).series()
    assert series["A"].time is series["C"].time


def test_rollback_forgets_what_came_after_the_mark() -> None:
    gather = Gather(10**9)
    gather.add("A", np.array([1], np.int64), np.array([1.0]), None, "f")
    mark = gather.mark()
    gather.add("A", np.array([2], np.int64), np.array([2.0]), None, "f")
    gather.add("B", np.array([2], np.int64), np.array([2.0]), None, "f")
    gather.rollback(mark)
    series = gather.series()
    assert list(series) == ["A"]
    assert series["A"].time.tolist() == [1]


@pytest.mark.parametrize("spill_bytes", [0, 10**9])
def test_two_state_words_are_values_or_bad_by_the_whole_tag(spill_bytes: int) -> None:
    gather = Gather(spill_bytes)
    codes = np.array([STATE_OFF, STATE_ON], np.uint8)
    times = np.array([1, 2], np.int64)
    gather.add("hold", times, np.array([np.nan, np.nan]), codes, "f")
    gather.add("pH", times, np.array([7.0, np.nan]), np.array([0, STATE_OFF], np.uint8), "f")
    gather.add("pH", times + 2, np.array([7.1, 7.2]), None, "f")
    gather.relieve()
    series = gather.series()
    assert series["hold"].value.tolist() == [0.0, 1.0]
    assert series["hold"].quality.tolist() == [0, 0]
    assert series["pH"].quality.tolist() == [0, BAD, 0, 0]


def test_a_file_read_in_small_blocks_with_spill_gives_the_same(tmp_path: Path) -> None:
    path = tmp_path / "made.csv"
    lines = [
        f"AI-{i % 3},2024-03-01T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z,{i / 8}"
        for i in range(20_000)
    ]
    path.write_text("tag,time,value\n" + "\n".join(lines) + "\n")
    whole = read_exports([path], ReadOptions())
    pieces = read_exports([path], ReadOptions(block_bytes=10_000, spill_bytes=50_000))
    for tag, series in whole.series.items():
        np.testing.assert_array_equal(pieces.series[tag].time, series.time)
        np.testing.assert_array_equal(pieces.series[tag].value, series.value)
    assert pieces.files[0].used == 20_000
    assert pieces.files[0].lines == 20_001


def test_what_lies_on_disk_can_be_let_go_and_is_still_there() -> None:
    spill = Spill()
    views = [spill.view(spill.store([np.arange(5_000) + start])) for start in (0, 7)]
    plain = np.arange(3)
    let_go(*views, plain)
    assert views[0].tolist() == list(range(5_000))
    assert views[1].tolist() == list(range(7, 5_007))
    assert plain.tolist() == [0, 1, 2]


@pytest.mark.parametrize("spill_bytes", [0, 400_000, 10**9])
def test_slices_are_copied_end_to_end_beside_whole_columns(spill_bytes: int) -> None:
    gather, plain = Gather(spill_bytes), Gather(10**9)
    rng = np.random.default_rng(11)
    for number, size in enumerate([3, 1, 2_000, 70_000, 9_000, 40]):
        time = np.arange(size, dtype=np.int64) + 10**6 * number
        value = rng.normal(size=size)
        quality = (rng.random(size) < 0.1).astype(np.uint8) if number in (2, 4) else None
        plain.add("A", time.copy(), value.copy(), quality, "f")
        gather.add("A", time, value, quality, "f", slices=number != 3)
        if number != 3:  # the arrays of a slice may be used again at once
            time[:], value[:] = -1, -1
        gather.relieve()
    found, expected = gather.series()["A"], plain.series()["A"]
    np.testing.assert_array_equal(found.time, expected.time)
    np.testing.assert_array_equal(found.value, expected.value)
    np.testing.assert_array_equal(found.quality, expected.quality)


@pytest.mark.parametrize("spill_bytes", [0, 10**9])
def test_rollback_forgets_slices_too(spill_bytes: int) -> None:
    gather = Gather(spill_bytes)
    gather.add("A", np.array([1], np.int64), np.array([1.0]), None, "f", slices=True)
    gather.relieve()
    mark = gather.mark()
    gather.add("A", np.array([2], np.int64), np.array([2.0]), None, "g", slices=True)
    gather.add("B", np.array([2], np.int64), np.array([2.0]), None, "g", slices=True)
    gather.rollback(mark)
    gather.add("A", np.array([3], np.int64), np.array([3.0]), np.array([1], np.uint8), "h", slices=True)
    series = gather.series()
    assert list(series) == ["A"]
    assert series["A"].time.tolist() == [1, 3]
    assert series["A"].value.tolist() == [1.0, 3.0]
    assert series["A"].quality.tolist() == [0, 1]
    assert series["A"].files == ("f", "h")
