"""Containers that were cut off: used up to the cut where that is sound, else refused with the reason and the way out."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import sqlite3
import zipfile
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
import zstandard

from excursions.errors import InputFileError
from excursions.read import ReadOptions, read_exports

ROWS = 6_000
FRAME = pl.DataFrame(
    {
        "tag": ["A"] * ROWS,
        "time": [datetime(2024, 3, 1) + timedelta(minutes=m) for m in range(ROWS)],
        "value": [7.0 + (m * 7_919 % 1_000) / 1_000 for m in range(ROWS)],
    }
)


def zstd(data: bytes) -> bytes:
    """Blocks of their own every few rows, as a writer that streams makes them."""
    packer = zstandard.ZstdCompressor().compressobj()
    parts = [
        packer.compress(data[at : at + 4_096]) + packer.flush(zstandard.COMPRESSOBJ_FLUSH_BLOCK)
        for at in range(0, len(data), 4_096)
    ]
    return b"".join(parts) + packer.flush()


PACKED = {
    "gzip": gzip.compress,
    "xz": lzma.compress,
    "bzip2": lambda data: bz2.compress(data, 1),
    "zstd": zstd,
}


class _Pipe:
    """Something that cannot be wound back: then the sizes stand behind the members."""

    def __init__(self, into: io.BytesIO) -> None:
        self.write, self.flush = into.write, into.flush


def zipped(*, piped: bool) -> bytes:
    into = io.BytesIO()
    with zipfile.ZipFile(_Pipe(into) if piped else into, "w", zipfile.ZIP_DEFLATED) as archive:  # type: ignore[arg-type]
        archive.writestr("a.csv", FRAME.write_csv())
        archive.writestr("b.csv", FRAME.with_columns(tag=pl.lit("B")).write_csv())
    return into.getvalue()


def arrow(**how: object) -> bytes:
    into = io.BytesIO()
    FRAME.write_ipc(into, record_batch_size=500, **how)  # type: ignore[call-overload]
    return into.getvalue()


def cut(path: Path, data: bytes, share: float) -> Path:
    path.write_bytes(data[: int(len(data) * share)])
    return path


@pytest.mark.parametrize("piped", [False, True])
@pytest.mark.parametrize("share", [0.9, 0.6, 0.3])
def test_a_zip_archive_is_used_up_to_the_cut(tmp_path: Path, piped: bool, share: float) -> None:
    found = read_exports([cut(tmp_path / "x.zip", zipped(piped=piped), share)], ReadOptions())
    values = FRAME["value"].to_list()
    for series in found.series.values():
        assert series.value.tolist() == values[: series.value.size]
    assert found.series["A"].value.size == (ROWS if share > 0.5 else found.files[0].used)
    assert ("B" in found.series) == (share > 0.5)
    assert found.files[-1].used > 1_000
    (problem,) = found.problems
    assert "cut off" in problem.found
    assert "copy it again" in problem.mend
    assert any("cut off" in note for note in found.files[-1].notes)


def test_a_workbook_that_is_cut_off_says_why_nothing_is_used(tmp_path: Path) -> None:
    FRAME.head(500).write_excel(tmp_path / "whole.xlsx")
    path = cut(tmp_path / "x.xlsx", (tmp_path / "whole.xlsx").read_bytes(), 0.7)
    with pytest.raises(InputFileError, match="keeps apart from its cells") as caught:
        read_exports([path], ReadOptions())
    assert "repair it and save it as CSV" in caught.value.mend


def test_a_parquet_file_that_is_cut_off_says_why_nothing_is_used(tmp_path: Path) -> None:
    FRAME.write_parquet(tmp_path / "whole.parquet")
    path = cut(tmp_path / "x.parquet", (tmp_path / "whole.parquet").read_bytes(), 0.7)
    with pytest.raises(InputFileError, match="stands at its end, which is missing") as caught:
        read_exports([path], ReadOptions())
    assert "copy or export it again" in caught.value.mend


def test_the_whole_files_of_a_data_set_are_used_beside_one_that_is_cut_off(tmp_path: Path) -> None:
    for tag in ("A", "B"):
        (tmp_path / f"tag={tag}").mkdir()
        FRAME.drop("tag").write_parquet(tmp_path / f"tag={tag}" / "part.parquet")
    part = tmp_path / "tag=B" / "part.parquet"
    cut(part, part.read_bytes(), 0.5)
    found = read_exports([tmp_path], ReadOptions())
    assert list(found.series) == ["A"]
    assert found.series["A"].value.size == ROWS
    (problem,) = found.problems
    assert "the other files of the data set are used" in problem.mend


@pytest.mark.parametrize("how", [{}, {"compression": "zstd"}, {"compression": "lz4"}])
@pytest.mark.parametrize("share", [0.95, 0.5])
def test_an_arrow_file_gives_its_whole_batches(tmp_path: Path, how: dict[str, str], share: float) -> None:
    found = read_exports([cut(tmp_path / "x.arrow", arrow(**how), share)], ReadOptions())
    size = found.series["A"].value.size
    assert size % 500 == 0
    assert size >= int(ROWS * share) - 1_000
    assert found.series["A"].value.tolist() == FRAME["value"].to_list()[:size]
    assert any("whole batches before the cut" in note for note in found.files[0].notes)


def test_an_arrow_file_cut_in_its_first_batch_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="before the end of its first batch"):
        read_exports([cut(tmp_path / "x.arrow", arrow(), 0.01)], ReadOptions())


def test_a_data_base_is_used_up_to_the_cut(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "whole.db") as connection:
        connection.execute("CREATE TABLE v (tag, time, value)")
        connection.executemany("INSERT INTO v VALUES (?, ?, ?)", ((a, str(b), c) for a, b, c in FRAME.rows()))
    connection.close()
    found = read_exports([cut(tmp_path / "x.db", (tmp_path / "whole.db").read_bytes(), 0.7)], ReadOptions())
    size = found.series["A"].value.size
    assert 0.6 * ROWS < size < ROWS
    assert found.series["A"].value.tolist() == FRAME["value"].to_list()[:size]
    assert any("cut off or damaged" in note for note in found.files[0].notes)


def test_merged_cells_are_filled_where_a_row_breaks_off_in_its_first_column(tmp_path: Path) -> None:
    rows = [
        f"{tag if not k else ''},{'2026-01-01' if not k else ''},0{k}:00,{k}"
        for tag in "ABC"
        for k in range(5)
    ]
    (tmp_path / "x.csv").write_text("\n".join(["tag,date,time,value", *rows, "D"]))
    found = read_exports([tmp_path / "x.csv"], ReadOptions())
    kept = {tag: series.value.tolist() for tag, series in found.series.items()}
    assert kept == {tag: [0.0, 1.0, 2.0, 3.0, 4.0] for tag in "ABC"}
    assert found.files[0].refused == 1


@pytest.mark.parametrize(
    ("header", "rows", "odd"),
    [
        (
            "seconds since 1904-01-01",
            [f"{3_850_000_000 + 60 * i},{i}" for i in range(30)],
            "38500000000000000000,5",
        ),
        ("time", [f"25/03/2026 00:{i:02d},{i}" for i in range(30)], "٢٥/03/2026 00:31,5"),
    ],
)
def test_one_time_that_is_none_ends_no_reading(
    tmp_path: Path, header: str, rows: list[str], odd: str
) -> None:
    (tmp_path / "x.csv").write_text("\n".join([f"{header},A", *rows, odd]))
    found = read_exports([tmp_path / "x.csv"], ReadOptions())
    assert found.series["A"].value.tolist()[:30] == [float(i) for i in range(30)]
    assert found.files[0].rows == found.series["A"].value.size + found.files[0].refused


def test_an_empty_table_of_a_data_base_is_left_out(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "x.db") as connection:
        connection.execute("CREATE TABLE log (id, txt)")
        connection.execute("CREATE TABLE v (tag, time, value)")
        connection.executemany("INSERT INTO v VALUES (?, ?, ?)", ((a, str(b), c) for a, b, c in FRAME.rows()))
    connection.close()
    found = read_exports([tmp_path / "x.db"], ReadOptions())
    assert found.series["A"].value.size == ROWS


@pytest.mark.parametrize("share", [0.31, 0.47, 0.62, 0.83])
@pytest.mark.parametrize("packing", ["gzip", "xz", "bzip2", "zstd"])
def test_the_last_line_of_a_packed_text_that_is_cut_off_is_no_reading(
    tmp_path: Path, packing: str, share: float
) -> None:
    data = PACKED[packing](
        FRAME.write_csv().encode() if packing != "bzip2" else FRAME.write_csv().encode() * 4
    )
    found = read_exports([cut(tmp_path / "x.csv.packed", data, share)], ReadOptions())
    size = found.series["A"].value.size
    assert found.series["A"].value.tolist() == (FRAME["value"].to_list() * 4)[:size]
    assert found.files[0].rows == size + found.files[0].refused
    assert any("cut off" in note for note in found.files[0].notes)


def test_the_last_line_of_a_wide_text_in_utf_16_is_doubted(tmp_path: Path) -> None:
    text = FRAME.head(50).drop("tag").write_csv().strip()[:-2]
    (tmp_path / "x.csv").write_bytes(text.encode("utf-16"))
    found = read_exports([tmp_path / "x.csv"], ReadOptions())
    assert any(
        "if the file was cut off there, its last reading may be wrong" in note
        for note in found.files[0].notes
    )
