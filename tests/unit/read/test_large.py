"""Many columns, many tags, long names, and the same result however the work is shared out."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from excursions.ahead import in_order
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports import execute
from tests.benchmarks.fuzz_reading import run
from tests.benchmarks.reading import compare, write_export


def test_two_thousand_columns(tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    write_export(path, 40_000, "wide-2000")
    reading = read_exports([path], ReadOptions())
    assert len(reading.series) == 2_000
    assert all(series.time.size == 20 for series in reading.series.values())
    assert reading.files[0].rows == 40_000


def test_five_thousand_tags(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    write_export(path, 50_000, "many-tags")
    reading = read_exports([path], ReadOptions(block_bytes=2**18))
    assert len(reading.series) == 5_000
    assert all((np.diff(series.time) > 0).all() for series in reading.series.values())


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_results_do_not_depend_on_the_number_of_workers(
    workers: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "long.csv"
    write_export(path, 20_000, "long-quality")
    expected = read_exports([path], ReadOptions())
    monkeypatch.setattr(execute, "in_order", lambda items, work: in_order(items, work, workers))
    found = read_exports([path], ReadOptions(block_bytes=2**15))
    assert list(found.series) == list(expected.series)
    for tag, series in expected.series.items():
        np.testing.assert_array_equal(found.series[tag].time, series.time)
        np.testing.assert_array_equal(found.series[tag].value, series.value)
    assert found.files == expected.files


def test_in_order_keeps_the_order_and_passes_on_what_is_raised() -> None:
    assert list(in_order(iter(range(50)), lambda number: number * number, 3)) == [
        number * number for number in range(50)
    ]

    def fail(number: int) -> int:
        if number == 7:
            raise KeyError(number)
        return number

    results = in_order(iter(range(50)), fail, 3)
    assert [next(results) for _ in range(7)] == list(range(7))
    with pytest.raises(KeyError):
        next(results)


def test_damaged_files_are_read_or_refused_without_loss() -> None:
    said: list[object] = []
    assert run(150, seed=11, report=said.append) == 0, said


def test_the_benchmark_runs(tmp_path: Path) -> None:
    path = tmp_path / "made.csv"
    write_export(path, 20_000, "long")
    assert compare(path, 1, report=lambda _: None) > 0


@pytest.mark.parametrize(
    "cell",
    [
        "1" + " " * 50_000 + "x",
        "9" * 50_000,
        "a" * 50_000,
        "Tag:" + " " * 50_000 + "x",
        "-" * 50_000,
        "1:" * 25_000,
    ],
)
def test_endless_cells_take_no_time(cell: str, tmp_path: Path) -> None:
    good = [f"2024-03-01 00:{minute:02d};2;2" for minute in range(1, 10)]

    def read_with(cell: str) -> tuple[Reading, float]:
        lines = ["time;A;B", f"2024-03-01 00:00;{cell};1", *good, f"{cell};3;3", f"{cell}"]
        path = tmp_path / "made.csv"
        path.write_text("\n".join(lines) + "\n")
        begun = time.process_time()
        return read_exports([path], ReadOptions()), time.process_time() - begun

    read_with("x")
    _, plain = read_with("x")
    reading, taken = read_with(cell)
    assert taken < 100 * plain  # 50,000 characters; a pattern that goes back on itself takes minutes
    assert reading.series["B"].value.tolist()[:2] == [1.0, 2.0]
