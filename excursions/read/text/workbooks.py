"""Workbooks as sheets of text cells, dates as ISO 8601: the one place that opens them."""

from __future__ import annotations

import html
import re
import zipfile
import zlib
from collections import Counter
from datetime import date
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.text.unpack import is_zip

# A time of day is a day number below 1: on the calendar it stands before the first day.
_CLOCK_ONLY = r"^(?:1899-12-3[01]|1904-01-01)[ T]"


class Workbook:
    """An opened workbook.

    Parameters
    ----------
    data : bytes
        The whole file.

    Raises
    ------
    InputFileError
        If it cannot be opened.
    """

    def __init__(self, data: bytes) -> None:
        import fastexcel

        try:
            self._book = fastexcel.read_excel(data)
            self.names: list[str] = list(self._book.sheet_names)
            self.hidden: set[str] = set()  # of the sheets that were read
        except (fastexcel.FastExcelError, ValueError) as error:
            raise _broken(error) from error

    def sheet(self, name: str) -> pl.DataFrame:
        """All cells of a sheet as text, no row taken for a header; empty cells are null.

        Raises
        ------
        InputFileError
            If the sheet is damaged.
        """
        import fastexcel

        try:
            sheet = self._book.load_sheet(
                name, header_row=None, skip_rows=0, dtypes="string", dtype_coercion="coerce"
            )
            if sheet.visible != "visible":
                self.hidden.add(name)
            return _with_durations(sheet.to_polars().with_columns(pl.all().str.replace(_CLOCK_ONLY, "")))
        except (fastexcel.FastExcelError, ValueError) as error:
            raise _broken(error) from error


# A duration of more than a day, ``27:30``, is a day number above 1 and comes out as a date in the year 1900.
_DURATION = re.compile(r"(1900-\d{2}-\d{2})[ T](\d{2})(:\d{2}:\d{2}(?:\.\d+)?)")
# Spreadsheets count a 29 February 1900 that never was.
_DAY_BEFORE, _LEAP = date(1899, 12, 31), date(1900, 3, 1)


def _with_durations(frame: pl.DataFrame) -> pl.DataFrame:
    """The cells of a sheet, durations of more than a day as hours, minutes and seconds."""
    changes = []
    for column in frame.get_columns():
        texts = column.filter(column.str.starts_with("1900-")).unique(maintain_order=True).to_list()
        meant = {text: said for text in texts if (said := _hours_of(text))}
        if meant:
            changes.append(pl.col(column.name).replace(list(meant), list(meant.values())))
    return frame.with_columns(changes) if changes else frame


def _hours_of(text: str) -> str:
    """A date of the year 1900 as the duration it is, ``27:30:00``; empty for any other text."""
    match = _DURATION.fullmatch(text)
    if match is None:
        return ""
    day = date.fromisoformat(match[1])
    days = (day - _DAY_BEFORE).days + (day >= _LEAP)
    return f"{24 * days + int(match[2])}{match[3]}"


def unpacked_size(data: bytes) -> int:
    """Bytes a workbook unpacks to by its own account; the older kind is not packed.

    Raises
    ------
    InputFileError
        If it is no sound archive.
    """
    if not is_zip(data):
        return len(data)
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, ValueError) as error:
        raise _broken(error) from error


_ERROR_CELL = re.compile(rb"<c\b[^>]*\bt=\"e\"[^>]*>(?:<f\b[^>]*/>|<f\b[^>]*>[^<]*</f>)?<v>([^<]{1,20})</v>")
_SHEET = re.compile(rb"<sheet\b[^>]*>")
_RELATION = re.compile(rb"<Relationship\b[^>]*>")


def error_cells(data: bytes, sheet: str) -> dict[str, int]:
    """Texts of the cells of a sheet that hold an error (``#DIV/0!``), and how many each.

    They come out of :meth:`Workbook.sheet` as empty cells.  Only known for the common XML workbooks.
    """
    if not is_zip(data):
        return {}
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            part = _part_of(archive, sheet)
            text = archive.read(part) if part in archive.namelist() else b""
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise _broken(error) from error
    found = Counter(cell.decode("utf-8", errors="replace") for cell in _ERROR_CELL.findall(text))
    return dict(sorted(found.items()))


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str:
    """The part of the archive that holds a sheet, or empty."""
    names = archive.namelist()
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= set(names):
        return ""
    wanted = next(
        (
            cell
            for cell in _SHEET.findall(archive.read("xl/workbook.xml"))
            if html.unescape(_said(cell, "name")) == sheet
        ),
        b"",
    )
    relation = _said(wanted, "r:id")
    targets = (
        _said(cell, "Target")
        for cell in _RELATION.findall(archive.read("xl/_rels/workbook.xml.rels"))
        if _said(cell, "Id") == relation
    )
    target = next(targets, "")
    return target.lstrip("/") if target.startswith("/") else f"xl/{target}"


def _said(element: bytes, name: str) -> str:
    match = re.search(rf'\b{name}="([^"]*)"'.encode(), element)
    return match[1].decode("utf-8", errors="replace") if match else ""


def _broken(error: Exception) -> InputFileError:
    said = (str(error).splitlines() or [""])[0][:160]
    return InputFileError(
        found=f"a workbook that cannot be read ({said})",
        expected="a sound one",
        mend="save it again, or as CSV",
    )
