"""Workbooks as sheets of text cells, dates as ISO 8601: the one place that opens them."""

from __future__ import annotations

import zipfile
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError


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
            return sheet.to_polars()
        except (fastexcel.FastExcelError, ValueError) as error:
            raise _broken(error) from error


def unpacked_size(data: bytes) -> int:
    """Bytes a workbook unpacks to by its own account; the older kind is not packed.

    Raises
    ------
    InputFileError
        If it is no sound archive.
    """
    if not data.startswith(b"PK"):
        return len(data)
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, ValueError) as error:
        raise _broken(error) from error


def _broken(error: Exception) -> InputFileError:
    said = (str(error).splitlines() or [""])[0][:160]
    return InputFileError(
        found=f"a workbook that cannot be read ({said})",
        expected="a sound one",
        mend="save it again, or as CSV",
    )
