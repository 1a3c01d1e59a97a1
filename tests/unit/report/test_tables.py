"""Tables are documented, typed, harmless in a spreadsheet, and written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from excursions.conclusions import AUDIT_KINDS
from excursions.kinds import ORIGINS
from excursions.records import OUTCOMES
from excursions.report import columns, tables
from excursions.report.columns import columns_table
from excursions.report.result import VERDICTS
from excursions.report.write import all_tables, csv_bytes, harmless, write_tables, write_whole
from tests.unit.dashboards.made_result import made_result

NO_REFUSALS = pl.DataFrame(
    schema={"file": pl.String, "line": pl.Int64, "text": pl.String, "reason": pl.String}
)


def test_every_column_of_every_table_is_documented_and_nothing_else() -> None:
    for name, frame in all_tables(made_result()).items():
        assert frame.columns == list(tables.COLUMNS[name])
        assert [str(kind) for kind in frame.dtypes] == [
            str(kind() if isinstance(kind, type) else kind) for kind, _ in tables.COLUMNS[name].values()
        ]


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_formula_starts_are_disarmed(cell: str) -> None:
    assert harmless(pl.DataFrame({"text": [cell]}))["text"][0] == f"'{cell}"


def test_other_text_and_numbers_stay_as_they_are() -> None:
    frame = pl.DataFrame({"text": ["pH 7", None], "value": [-1.5, 2.0]})
    assert harmless(frame).equals(frame)


def test_times_are_written_as_iso_in_utc() -> None:
    frame = pl.DataFrame({"t": [1_500_000_000]}, schema={"t": columns.TIME})
    assert csv_bytes(frame).decode().splitlines()[1] == "1970-01-01T00:00:01.500Z"


def test_the_same_result_gives_the_same_bytes(tmp_path: Path) -> None:
    first = write_tables(made_result(), NO_REFUSALS, tmp_path / "a")
    second = write_tables(made_result(), NO_REFUSALS, tmp_path / "b")
    for one, two in zip(first, second, strict=True):
        assert one.read_bytes() == two.read_bytes()


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "x.csv"
    write_whole(target, b"old")

    def full(*_: object) -> None:
        raise OSError("no space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(OSError, match="no space"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_every_figure_has_its_unit_in_the_guide() -> None:
    guide = columns_table()
    figures = guide.filter(pl.col("type").str.starts_with("Float"))
    assert figures.filter(pl.col("unit") == "").height == 0
    held = guide.filter(pl.col("unit").str.starts_with("`"))
    for table, unit in held.select("table", "unit").unique().iter_rows():
        assert unit.strip("`") in tables.COLUMNS[table]


def test_a_column_of_words_names_every_word_that_may_stand_in_it() -> None:
    for table, column, words in (
        ("audit", "kind", AUDIT_KINDS),
        ("events", "after", OUTCOMES),
        ("events", "origin", ORIGINS),
        ("points", "verdict", VERDICTS),
    ):
        meaning = tables.COLUMNS[table][column][1]
        assert all(word in meaning for word in words), (table, column)
