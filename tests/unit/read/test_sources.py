"""Where exports come from: folders, patterns, standard input, archives, data sets; and what is refused at the door."""

from __future__ import annotations

import hashlib
import io
import sys
import zipfile
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from excursions.errors import InputFileError
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.files import texttable
from excursions.read.sorting import sort_out
from excursions.read.text import lines as text

LONG = "tag,time,value\nA,2024-03-01T00:00:00Z,7.02\nA,2024-03-01T00:01:00Z,7.03\n"


def made(path: Path, text: str = LONG) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def read(*paths: Path | str, **options: object) -> Reading:
    return read_exports([Path(path) for path in paths], ReadOptions(**options))  # type: ignore[arg-type]


def test_a_folder_is_read_in_the_order_of_names_and_says_what_it_leaves_out(tmp_path: Path) -> None:
    made(tmp_path / "b.csv", LONG.replace("A", "B"))
    made(tmp_path / "sub" / "a.csv")
    made(tmp_path / "notes.md", "# no export")
    made(tmp_path / ".hidden.csv", "no")
    reading = read(tmp_path)
    assert [Path(report.path).name for report in reading.files] == ["b.csv", "a.csv"]
    assert any("notes.md" in decision.what for decision in reading.decisions)
    assert reading.problems == ()


def test_a_file_given_twice_is_read_once(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv")
    assert len(read(path, tmp_path, path).files) == 1


def test_a_pattern(tmp_path: Path) -> None:
    made(tmp_path / "march_1.csv")
    made(tmp_path / "march_2.csv")
    made(tmp_path / "april.csv")
    assert len(read(tmp_path / "march_*.csv").files) == 2


def test_a_name_with_marks_of_patterns_is_a_name(tmp_path: Path) -> None:
    assert len(read(made(tmp_path / "a[1]*.csv")).files) == 1


def test_a_pattern_without_files_and_a_missing_file_are_problems(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv")
    reading = read(path, tmp_path / "no*.csv", tmp_path / "missing.csv")
    assert len(reading.files) == 1
    assert [Path(problem.file).name for problem in reading.problems] == ["no*.csv", "missing.csv"]
    assert all(problem.mend for problem in reading.problems)


def test_one_bad_file_does_not_stop_the_others(tmp_path: Path) -> None:
    made(tmp_path / "a.csv")
    made(tmp_path / "b.csv", "")
    made(tmp_path / "c.csv", "no table here\n")
    reading = read(tmp_path)
    assert list(reading.series) == ["A"]
    assert len(reading.problems) == 2


def test_nothing_readable_raises_the_first_problem(tmp_path: Path) -> None:
    with pytest.raises(InputFileError) as caught:
        read(made(tmp_path / "a.csv", ""))
    assert caught.value.file.endswith("a.csv")


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(LONG.encode())))
    reading = read("-")
    assert reading.files[0].path == "-"
    assert reading.series["A"].value.tolist() == [7.02, 7.03]


def test_digest_and_size_are_those_of_the_file(tmp_path: Path) -> None:
    path = made(tmp_path / "a.csv")
    report = read(path).files[0]
    assert report.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert report.bytes == path.stat().st_size


def test_a_data_set_partitioned_by_folders(tmp_path: Path) -> None:
    times = pl.Series([1_709_251_200_000, 1_709_251_260_000]).cast(pl.Datetime("ms", "UTC"))
    for number, tag in enumerate(("AI-1", "TI-1")):
        folder = tmp_path / "set" / f"tag={tag}" / "year=2024"
        folder.mkdir(parents=True)
        pl.DataFrame({"time": times, "value": [7.0 + number, 7.5 + number]}).write_parquet(
            folder / "part-0.parquet"
        )
    reading = read(tmp_path / "set")
    assert {tag: series.value.tolist() for tag, series in reading.series.items()} == {
        "AI-1": [7.0, 7.5],
        "TI-1": [8.0, 8.5],
    }
    assert len(reading.files) == 1
    assert len(reading.files[0].sha256) == 64


def test_an_address_goes_through_polars(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    pl.DataFrame(
        {"time": pl.Series([1_709_251_200_000]).cast(pl.Datetime("ms", "UTC")), "AI-1": [7.0]}
    ).write_parquet(path)
    reading = read(f"file://{path}")
    assert reading.series["AI-1"].value.tolist() == [7.0]
    assert reading.files[0].sha256 == ""


def zipped(path: Path, members: dict[str, bytes], compression: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def test_members_of_an_archive_are_never_written_to_disk(tmp_path: Path) -> None:
    path = zipped(
        tmp_path / "a.zip",
        {"../../climb.csv": LONG.encode(), "__MACOSX/._x": b"junk", "evil\x1b[31m\n.csv": LONG.encode()},
    )
    before = sorted(tmp_path.rglob("*"))
    reading = read(path)
    assert sorted(tmp_path.rglob("*")) == before
    assert len(reading.files) == 2
    assert all(report.path.isprintable() for report in reading.files)


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive,
        archive.open("zeros.csv", "w") as out,
    ):
        for _ in range(330):
            out.write(bytes(2**20))
    with pytest.raises(InputFileError, match="unpacks to more than"):
        read(path)


def test_a_bomb_that_lies_about_its_size_is_refused_while_it_is_unpacked(tmp_path: Path) -> None:
    import gzip

    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(gzip.compress(LONG.encode() + b"A,2024-03-01T00:02:00Z,7.04\n" * 200_000, mtime=0))
    with pytest.raises(InputFileError, match="unpacks to more than"):
        read(path, max_unpacked_bytes=1_000_000)
    assert read(path).files[0].used == 200_002


def test_packed_files_inside_archives_are_refused_with_the_way_out(tmp_path: Path) -> None:
    import gzip

    inner = zipped(tmp_path / "inner.zip", {"a.csv": LONG.encode()})
    assert list(read(zipped(tmp_path / "outer.zip", {"inner.zip": inner.read_bytes()})).series) == ["A"]
    deep = zipped(tmp_path / "deep.zip", {"outer.zip": (tmp_path / "outer.zip").read_bytes()})
    packed = zipped(
        tmp_path / "packed.zip", {"a.csv.gz.gz": gzip.compress(gzip.compress(LONG.encode(), mtime=0))}
    )
    for path in (deep, packed):
        with pytest.raises(InputFileError) as caught:
            read(path)
        assert "unpack the archive" in str(caught.value).lower()


def test_a_sheet_can_be_named(tmp_path: Path) -> None:
    source = Path(__file__).parents[2] / "corpus" / "files" / "workbook_sheets.xlsx"
    assert list(read(source, sheet="pH").series) == ["A"]
    with pytest.raises(InputFileError, match='no sheet "Other"'):
        read(source, sheet="Other")


def test_several_frames_of_zstd(tmp_path: Path) -> None:
    import zstandard

    path = tmp_path / "a.csv.zst"
    lines = LONG.encode().splitlines(keepends=True)
    path.write_bytes(
        b"".join(zstandard.ZstdCompressor().compress(part) for part in (lines[0] + lines[1], lines[2]))
    )
    assert read(path).series["A"].value.tolist() == [7.02, 7.03]


def test_the_same_in_any_number_of_blocks(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    rows = [
        f"AI-{rng.integers(5)},2024-03-01T{i // 60 % 24:02d}:{i % 60:02d}:00Z,{rng.normal():.4f}"
        for i in range(5_000)
    ]
    rows[1_000] = '"AI-1","2024-03-01T00:00:00Z","1"'
    rows[2_000] = "AI-2,broken,1"
    rows[3_000] = 'AI-3,2024-03-01T00:00:00Z,"Bad"'
    rows[4_000] = ""
    path = made(tmp_path / "a.csv", "tag,time,value\n" + "\n".join(rows) + "\n")
    whole, cut = read(path), read(path, block_bytes=4_096)
    assert whole.refused.equals(cut.refused)
    assert whole.refused["line"].to_list() == [2_002]
    assert whole.status_words.equals(cut.status_words)
    assert whole.files == cut.files
    for tag, series in whole.series.items():
        np.testing.assert_array_equal(series.value, cut.series[tag].value)
        np.testing.assert_array_equal(series.time, cut.series[tag].time)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("file:///nowhere/at/all.parquet", ["cannot be read", "all.parquet", "credentials"]),
        ("s3://bucket/export.csv", ["no Parquet", "Fetch it"]),
    ],
)
def test_an_address_that_cannot_be_read_is_a_sentence(address: str, words: list[str]) -> None:
    with pytest.raises(InputFileError) as caught:
        read(address)
    assert [word for word in words if word not in str(caught.value)] == []


@pytest.mark.parametrize("name", ["zeros.csv", "zeros.csv.gz"])
def test_a_line_without_end_is_refused(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import gzip

    monkeypatch.setattr(text, "LONGEST_LINE", 2**20)
    monkeypatch.setattr(texttable, "LONGEST_LINE", 2**20)
    data = LONG.encode() + b"1" * 12 * 2**20
    (tmp_path / name).write_bytes(gzip.compress(data, 1) if name.endswith("gz") else data)
    with pytest.raises(InputFileError, match="a line of more than"):
        read(tmp_path / name)


def test_halves_of_a_letter_in_two_cells_are_no_letter(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    sound = b"a sound name,2024-03-01T00:00:00Z,7\n" * 16_000  # beyond what the encoding is decided from
    rows = [
        b"a long name that ends in \xc3,2024-03-01T00:%02d:00Z,7\n"
        b"\xa9 begins a long name,%s,8\n" % (minute, b"broken" if minute == 30 else b"2024-03-01T00:00:00Z")
        for minute in range(50)
    ]
    path.write_bytes(b"tag,time,value\n" + sound + b"".join(rows))
    reading = read(path)
    assert list(reading.series) == ["a long name that ends in Ã", "a sound name", "© begins a long name"]
    assert reading.files[0].used == 16_099
    assert reading.refused["line"].to_list() == [16_063]
    assert any("Windows-1252" in note for note in reading.files[0].notes)


def test_a_cell_that_goes_on_behind_its_quote_keeps_its_last_letter(tmp_path: Path) -> None:
    rows = ['"A ""left""",2024-03-01T00:00:00Z,7', '"B ""left"kþ,2024-03-01T00:00:00Z,8']
    reading = read(made(tmp_path / "a.csv", "tag,time,value\n" + "\n".join(rows) + "\n"))
    assert [tag[-1] for tag in reading.series] == ['"', "þ"]
    assert reading.files[0].used == 2


@pytest.mark.parametrize(
    "begin",
    ["BZh9 pH", "BZhaltestelle", "CDF-1", "ORC 4", "MSCF.1", "Rar!", "LZIP", "PAR1", "ARROW1", "PK", "7z"],
)
def test_a_text_that_begins_like_a_packed_file_is_a_text(tmp_path: Path, begin: str) -> None:
    path = tmp_path / "export.csv"
    path.write_text(f"{begin},time\n7.0,2026-03-14 06:00\n7.1,2026-03-14 06:10\n")
    (series,) = read_exports([path], ReadOptions()).series.values()
    assert series.value.tolist() == [7.0, 7.1]
    found, *_ = sort_out([path]).exports
    assert found == path
