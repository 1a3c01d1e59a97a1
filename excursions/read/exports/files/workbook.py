"""Workbooks: every sheet is a table of text cells, dates as ISO 8601."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.cells.table import Table
from excursions.read.exports.files.cutting import find_cut
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.files.texttable import Source, TextTable
from excursions.read.model import ReadOptions
from excursions.read.text.unpack import is_zip
from excursions.read.text.workbooks import Workbook, error_cells, unpacked_size

_LARGEST_PART = 4 * 2**30


def workbook_tables(name: str, data: bytes, options: ReadOptions) -> Iterator[tuple[str, Table]]:
    """The sheets of a workbook, or the one the user named.

    Raises
    ------
    InputFileError
        If it cannot be opened, unpacks beyond the limits, or has no sheet of that name.
    """
    _check_parts(data, options)
    book = Workbook(data)
    sheets = book.names
    if options.sheet and options.sheet not in sheets:
        raise InputFileError(
            found=f'no sheet "{options.sheet}"',
            expected="one of " + ", ".join(f'"{clean(sheet)}"' for sheet in sheets[:10]),
            mend="pass its name with --sheet",
        )
    for sheet in [options.sheet] if options.sheet else sheets:
        frame = book.sheet(sheet)
        if not frame.height:
            continue
        frame = frame.rename({old: str(index) for index, old in enumerate(frame.columns)})
        frame = frame.with_columns(pl.when(pl.all().str.strip_chars() != "").then(pl.all()))
        _refuse_swapped_days(frame)
        frame = _one_mark(frame)
        title = f"{name}!{clean(sheet)}" if len(sheets) > 1 else name
        if (pasted := _pasted_lines(frame, options)) is not None:
            yield title, pasted
            continue
        yield (
            title,
            FrameTable(
                frame=frame.lazy(),
                words="workbook",
                height=frame.height,
                typed=False,
                notes=(*_hidden_note(sheet in book.hidden), *_error_notes(data, sheet)),
                starts_in_1904=starts_in_1904(data),
            ),
        )


_COMMA, _SURE = r"^[+-]?\d+,\d+$", r"^[+-]?\d+,(?:\d{1,2}|\d{4,})$"
_POINT, _BOTH = r"^[+-]?\d+\.(?:\d{1,2}|\d{4,})$", r"\d[.]\d{3},\d"


def _one_mark(frame: pl.DataFrame) -> pl.DataFrame:
    """Numbers typed as texts with a decimal comma, among cells that are numbers: a workbook gives those with a point."""
    changes = []
    for name in frame.columns:
        texts = frame[name]
        said = [texts.str.contains(pattern).any() for pattern in (_SURE, _POINT, _BOTH)]
        if said == [True, True, False]:
            comma = pl.col(name).str.contains(_COMMA)
            changes.append(
                pl.when(comma)
                .then(pl.col(name).str.replace(",", ".", literal=True))
                .otherwise(pl.col(name))
                .alias(name)
            )
    return frame.with_columns(changes)


_FEWEST_SWAPPED = 3
_LAST_MONTH = 12


def _refuse_swapped_days(frame: pl.DataFrame) -> None:
    """Dates of which a spreadsheet read the day for the month where it could: up to the 12th, while later ones stayed texts.

    Raises
    ------
    InputFileError
        If a column holds such dates.
    """
    for column in frame.get_columns():
        made = column.str.extract(r"^\d{4}-\d{2}-(\d{2})(?:[T ]|$)").cast(pl.Int64).drop_nulls()
        left = column.str.extract(r"^(\d{1,2})[/.-]\d{1,2}[/.-]\d{4}\b").cast(pl.Int64).drop_nulls()
        other = column.str.extract(r"^\d{1,2}[/.-](\d{1,2})[/.-]\d{4}\b").cast(pl.Int64).drop_nulls()
        if min(len(made), len(left)) < _FEWEST_SWAPPED or int(made.max()) > _LAST_MONTH:  # type: ignore[arg-type]
            continue
        if int(left.min()) > _LAST_MONTH or int(other.min()) > _LAST_MONTH:  # type: ignore[arg-type]
            text = column.filter(column.str.contains(r"^\d{1,2}[/.-]\d{1,2}[/.-]\d{4}\b"))[0]
            raise InputFileError(
                found=f'dates up to the 12th beside texts such as "{text}": a spreadsheet took the day for the month where it could',
                expected="dates that are all read alike",
                mend="pass the file as it was exported, or open it in the spreadsheet again with the order of day and month of the export",
            )


_LOOKED_AT = 60


def _pasted_lines(frame: pl.DataFrame, options: ReadOptions) -> Table | None:
    """The lines of a text that were pasted whole into the first column, as a text; None where cells are what they seem."""
    filled = [column.null_count() < frame.height for column in frame.get_columns()]
    if sum(filled) != 1:
        return None
    lines = frame.get_columns()[filled.index(True)].fill_null("")
    cut = find_cut(lines.head(_LOOKED_AT).to_list(), options.separator)
    if (
        not cut.separator
        or (lines.head(_LOOKED_AT).str.count_matches(cut.separator, literal=True) == 0).sum()
        > _LOOKED_AT // 2
    ):
        return None
    text = "\n".join(line.replace("\n", " ") for line in lines.to_list()).encode() + b"\n"
    return TextTable(
        source=Source(chunks=lambda: iter([text]), packing="pasted into one column of a workbook"),
        options=replace(options, encoding="utf-8"),
    )


def _hidden_note(hidden: bool) -> tuple[str, ...]:
    """Nobody sees such a sheet in the workbook; what lies there may be old, or what the others are made of."""
    if not hidden:
        return ()
    return (
        "this sheet is hidden in the workbook, and is used as the others are; to read one sheet only, pass its name with --sheet",
    )


def _error_notes(data: bytes, sheet: str) -> tuple[str, ...]:
    return tuple(
        f'{count} cells with the error "{clean(text)}" were taken as empty'
        for text, count in error_cells(data, sheet).items()
    )


def _check_parts(data: bytes, options: ReadOptions) -> None:
    """A workbook is an archive: the same limits hold."""
    total = unpacked_size(data)
    if total > min(_LARGEST_PART, options.max_unpacked_bytes):
        raise InputFileError(
            found=f"a workbook that unpacks to {total} bytes",
            expected=f"at most {_LARGEST_PART}",
            mend="export the data as CSV",
        )


def starts_in_1904(data: bytes) -> bool:
    """Whether the workbook counts days from 1904."""
    if not is_zip(data):
        return False
    with zipfile.ZipFile(BytesIO(data)) as archive:
        if "xl/workbook.xml" not in archive.namelist():
            return False
        text = archive.read("xl/workbook.xml")[:100_000].decode("utf-8", errors="replace")
    return bool(re.search(r'date1904="(1|true)"', text))
