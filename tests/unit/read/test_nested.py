"""Columns of columnar files that hold more than one thing a cell."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from excursions.errors import ExcursionsError
from excursions.read import ReadOptions, read_exports

TIMES = [datetime(2026, 3, 2, hour) for hour in range(4)]


def test_lists_of_different_lengths_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "lists.parquet"
    pl.DataFrame({"tag": ["AT-1"], "times": [TIMES], "values": [[7.0, 7.1]]}).write_parquet(path)
    with pytest.raises(ExcursionsError, match="lists of different lengths"):
        read_exports([path], ReadOptions())


def test_a_duration_beside_a_time_of_its_own_stays_a_signal(tmp_path: Path) -> None:
    path = tmp_path / "duration.parquet"
    spans = [timedelta(seconds=30 * number) for number in range(4)]
    pl.DataFrame({"time": TIMES, "AT-1": [7.0, 7.1, 7.2, 7.3], "wash": spans}).write_parquet(path)
    reading = read_exports([path], ReadOptions())
    assert reading.series["wash"].value.tolist() == [0.0, 30.0, 60.0, 90.0]
    assert reading.series["wash"].unit == "s"
    assert reading.series["AT-1"].value.tolist() == [7.0, 7.1, 7.2, 7.3]


def test_fields_of_one_name_keep_that_of_their_column(tmp_path: Path) -> None:
    path = tmp_path / "fields.parquet"
    cells = [{"value": 7.0 + number / 10, "quality": "Good"} for number in range(4)]
    pl.DataFrame({"time": TIMES, "AT-1": cells, "AT-2": cells}).write_parquet(path)
    reading = read_exports([path], ReadOptions())
    assert list(reading.series) == ["AT-1", "AT-2"]


def test_a_field_called_as_a_column_is_has_a_name_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "fields.parquet"
    cells = [{"pv": 20.0 + number} for number in range(4)]
    pl.DataFrame({"time": TIMES, "AT-1.pv": [7.0, 7.1, 7.2, 7.3], "AT-1": cells}).write_parquet(path)
    reading = read_exports([path], ReadOptions())
    found = {tag: series.value.tolist() for tag, series in reading.series.items()}
    assert found == {"AT-1.pv": [7.0, 7.1, 7.2, 7.3], "AT-1.pv (2)": [20.0, 21.0, 22.0, 23.0]}


def test_a_reading_beside_its_tag_keeps_what_says_that_it_is_bad(tmp_path: Path) -> None:
    path = tmp_path / "reading.parquet"
    cells = [{"value": 7.0 + number / 10, "ok": number != 2} for number in range(4)]
    pl.DataFrame({"tag": ["AT-1"] * 4, "time": TIMES, "reading": cells}).write_parquet(path)
    series = read_exports([path], ReadOptions()).series["AT-1"]
    assert series.value.tolist() == [7.0, 7.1, 7.2, 7.3]
    assert series.quality.tolist() == [0, 0, 2, 0]
