"""Workbooks as sheets of text cells, dates as ISO 8601: the one place that opens them."""

from __future__ import annotations

import html
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable
from datetime import date
from io import BytesIO
from typing import TypeVar

import polars as pl

from excursions.errors import InputFileError
from excursions.read.text.unpack import is_zip

T = TypeVar("T")

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

        self._data = data
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
            frame = _with_durations(sheet.to_polars().with_columns(pl.all().str.replace(_CLOCK_ONLY, "")))
            return _with_percents(frame, percent_cells(self._data, name))
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
    return _read(data, lambda archive: sum(info.file_size for info in archive.infolist()))


_ERROR_CELL = re.compile(rb"<c\b[^>]*\bt=\"e\"[^>]*>(?:<f\b[^>]*/>|<f\b[^>]*>[^<]*</f>)?<v>([^<]{1,20})</v>")
_SHEET = re.compile(rb"<sheet\b[^>]*>")
_RELATION = re.compile(rb"<Relationship\b[^>]*>")


def error_cells(data: bytes, sheet: str) -> dict[str, int]:
    """Texts of the cells of a sheet that hold an error (``#DIV/0!``), and how many each.

    They come out of :meth:`Workbook.sheet` as empty cells.  Only known for the common XML workbooks.
    """
    text = _read(data, lambda archive: _sheet_text(archive, sheet)) if is_zip(data) else b""
    found = Counter(cell.decode("utf-8", errors="replace") for cell in _ERROR_CELL.findall(text))
    return dict(sorted(found.items()))


# A cell that the reader of sheets keeps: a formula without a value is none, but one that gives an empty text is.
_CELL = re.compile(
    rb'<c r="([A-Z]{1,3})(\d{1,7})"(?: s="(\d+)")?(?=[^>]*\bt="str"|[^>/]*>(?:<f\b[^>]*/>|<f\b[^>]*>[^<]*</f>)?(?:<v>[^<]|<is>))[^>/]*>'
)
_STYLES = re.compile(rb"<cellXfs\b.*?</cellXfs>", re.S)
_PER_CENT = (b"9", b"10")  # built-in formats 0% and 0.00%


def percent_cells(data: bytes, sheet: str) -> dict[int, list[int]]:
    """Rows of each column, both counted from 0 as :meth:`Workbook.sheet` gives them, that are shown in per cent.

    They hold hundredths: 86.4 % is kept as 0.864.  Only known for the common XML workbooks.
    """
    if not is_zip(data):
        return {}
    styles = _read(data, _percent_styles)
    if not styles:
        return {}
    cells = _CELL.findall(_read(data, lambda archive: _sheet_text(archive, sheet)))
    first = min((_column(letters) for letters, _, _ in cells), default=0)
    found: dict[int, list[int]] = {}
    for letters, row, style in cells:
        if style in styles:
            found.setdefault(_column(letters) - first, []).append(int(row) - 1)
    return found


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number


def _percent_styles(archive: zipfile.ZipFile) -> set[bytes]:
    """Numbers of the styles of a workbook whose format is in per cent."""
    text = archive.read("xl/styles.xml") if "xl/styles.xml" in archive.namelist() else b""
    own = {
        _said(cell, "numFmtId").encode()
        for cell in re.findall(rb"<numFmt\b[^>]*>", text)
        if "%" in _said(cell, "formatCode")
    }
    styles = re.findall(rb"<xf\b[^>]*>", (_STYLES.search(text) or [b""])[0])
    return {
        b"%d" % at for at, cell in enumerate(styles) if _said(cell, "numFmtId").encode() in own | {*_PER_CENT}
    }


def _with_percents(frame: pl.DataFrame, cells: dict[int, list[int]]) -> pl.DataFrame:
    """The cells of a sheet, those that are shown in per cent as it shows them, without the sign."""
    changes = []
    for at, rows in cells.items():
        if at >= frame.width:  # the reader of sheets kept none of them
            continue
        column = frame.to_series(at)
        here = pl.Series(range(frame.height)).is_in(rows)
        shown = (column.cast(pl.Float64, strict=False) * 100).round(_DIGITS).cast(pl.String)
        changes.append(
            pl.select(pl.when(here & shown.is_not_null()).then(shown).otherwise(column))
            .to_series()
            .alias(column.name)
        )
    return frame.with_columns(changes) if changes else frame


_DIGITS = 10  # behind the decimal mark; what is beyond is of the double


def _read(data: bytes, what: Callable[[zipfile.ZipFile], T]) -> T:
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return what(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise _broken(error) from error


def _sheet_text(archive: zipfile.ZipFile, sheet: str) -> bytes:
    """The part of a workbook that holds a sheet, as it stands."""
    part = _part_of(archive, sheet)
    return archive.read(part) if part in archive.namelist() else b""


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
