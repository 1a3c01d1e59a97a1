"""Workbooks: every sheet is a table of text cells, dates as ISO 8601."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.columns import clean
from excursions.read.exports.frametable import FrameTable
from excursions.read.exports.table import Table
from excursions.read.model import ReadOptions

_LARGEST_PART = 4 * 2**30


def workbook_tables(name: str, data: bytes, options: ReadOptions) -> Iterator[tuple[str, Table]]:
    """The sheets of a workbook, or the one the user named.

    Raises
    ------
    InputFileError
        If it cannot be opened, unpacks beyond the limits, or has no sheet of that name.
    """
    import fastexcel

    _check_parts(data, options)
    try:
        book = fastexcel.read_excel(data)
        sheets = list(book.sheet_names)
    except (fastexcel.FastExcelError, ValueError) as error:
        raise _broken(error) from error
    if options.sheet and options.sheet not in sheets:
        raise InputFileError(
            found=f'no sheet "{options.sheet}"',
            expected="one of " + ", ".join(f'"{clean(sheet)}"' for sheet in sheets[:10]),
            mend="pass its name with --sheet",
        )
    for sheet in [options.sheet] if options.sheet else sheets:
        try:
            frame = book.load_sheet(
                sheet, header_row=None, skip_rows=0, dtypes="string", dtype_coercion="coerce"
            ).to_polars()
        except (fastexcel.FastExcelError, ValueError) as error:
            raise _broken(error) from error
        if not frame.height:
            continue
        frame = frame.rename({old: str(index) for index, old in enumerate(frame.columns)})
        frame = frame.with_columns(pl.when(pl.all().str.strip_chars() != "").then(pl.all()))
        title = f"{name}!{clean(sheet)}" if len(sheets) > 1 else name
        yield (
            title,
            FrameTable(
                frame=frame.lazy(),
                words="workbook",
                height=frame.height,
                typed=False,
                starts_in_1904=starts_in_1904(data),
            ),
        )


def _check_parts(data: bytes, options: ReadOptions) -> None:
    """A workbook is an archive: the same limits hold."""
    if not data.startswith(b"PK"):
        return
    with zipfile.ZipFile(BytesIO(data)) as archive:
        total = sum(info.file_size for info in archive.infolist())
    if total > min(_LARGEST_PART, options.max_unpacked_bytes):
        raise InputFileError(
            found=f"a workbook that unpacks to {total} bytes",
            expected=f"at most {_LARGEST_PART}",
            mend="export the data as CSV",
        )


def starts_in_1904(data: bytes) -> bool:
    """Whether the workbook counts days from 1904."""
    if not data.startswith(b"PK"):
        return False
    with zipfile.ZipFile(BytesIO(data)) as archive:
        if "xl/workbook.xml" not in archive.namelist():
            return False
        text = archive.read("xl/workbook.xml")[:100_000].decode("utf-8", errors="replace")
    return bool(re.search(r'date1904="(1|true)"', text))


def _broken(error: Exception) -> InputFileError:
    said = (str(error).splitlines() or [""])[0][:160]
    return InputFileError(
        found=f"a workbook that cannot be read ({said})",
        expected="a sound one",
        mend="save it again, or as CSV",
    )
