"""A damaged binary file is refused with a sentence, and nothing else is written."""

from __future__ import annotations

import os
from pathlib import Path

import polars as pl
import pytest

from excursions.errors import InputFileError
from excursions.read import ReadOptions, read_exports
from excursions.read.exports.files.sound import sound

FILES = Path(__file__).parents[2] / "corpus" / "files"


class PanicException(BaseException):
    """Stands for the library's own fault."""


def test_a_fault_of_the_library_is_a_sentence_and_stays_quiet(capfd: pytest.CaptureFixture[str]) -> None:
    def give_up() -> None:
        os.write(2, b"inner state of the library")
        raise PanicException("called unwrap on None")

    with pytest.raises(InputFileError, match="a thing that cannot be read"), sound("thing"):
        give_up()
    assert capfd.readouterr().err == ""


def test_what_others_write_is_let_through(capfd: pytest.CaptureFixture[str]) -> None:
    with sound("thing"):
        os.write(2, b"a remark")
    assert capfd.readouterr().err == "a remark"


def test_a_foreign_error_passes() -> None:
    with pytest.raises(KeyError), sound("thing"):
        raise KeyError("mine")


def test_an_error_of_the_library_is_a_sentence() -> None:
    with pytest.raises(InputFileError), sound("thing"):
        raise pl.exceptions.ComputeError("bad page")


@pytest.mark.parametrize(
    "name",
    [
        "parquet_wide.parquet",
        "arrow_texts.arrow",
        "workbook_1904.xlsx",
        "sqlite_joined.sqlite",
        "packed_zip.zip",
    ],
)
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_binary_file_cut_short(
    name: str, share: float, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    data = (FILES / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(data[: int(len(data) * share)])
    told = ""
    try:
        reading = read_exports([path], ReadOptions())
    except InputFileError as error:
        told = error.mend
    else:  # what came before the cut is used, and said so
        report = reading.files[0]
        assert report.rows == report.used + report.refused
        told = " ".join([*report.notes, *map(str, reading.problems)])
        assert "cut off" in told
    assert told
    assert capfd.readouterr().err == ""
