"""Calibration logs and lists of samples packed with exports: ``archive.zip!member``, or a sheet, ``workbook.xlsx!Sheet``.

The reader of exports passes them by, and the readers of logs and lists open them where they lie.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.text.unpack import is_zip

MARK = "!"
BOOKS = frozenset(("xlsx", "xlsm", "xlsb", "xls", "ods"))
FAULTS = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError)


_PACKED = re.compile(rf"(.+?\.(?:zip|{'|'.join(sorted(BOOKS))})){MARK}(.+)", re.IGNORECASE | re.DOTALL)


def split_member(path: Path) -> tuple[Path, str] | None:
    """Archive and member of a path such as ``archive.zip!logs/cal.csv``, workbook and sheet; None for a file of its own."""
    match = _PACKED.fullmatch(str(path))
    return (Path(match[1]), match[2]) if match and not path.exists() else None


def is_book(path: Path) -> bool:
    """Whether a file is called as workbooks are, which hold a table a sheet."""
    return path.suffix.casefold().removeprefix(".") in BOOKS


def member_bytes(archive: Path, member: str, most: int) -> bytes:
    """Content of a member, no more than `most` bytes of it.

    Raises
    ------
    InputFileError
        If the archive cannot be read or has no such member.
    """
    try:
        with zipfile.ZipFile(archive) as packed:
            info = next((each for each in packed.infolist() if clean(each.filename) == member), None)
            if info is not None:
                with packed.open(info) as stream:
                    return stream.read(most)
    except FAULTS as error:
        raise InputFileError(
            found=f"a zip archive that cannot be read ({error})", expected="a sound archive", mend="copy or pack it again",
            file=str(archive),
        ) from error  # fmt: skip
    raise InputFileError(
        found=f'no file "{member}" in it', expected="the file named", mend="check the name", file=str(archive)
    )


def heads(archive: Path, few: int, most: int) -> Iterator[tuple[str, bytes]]:
    """Name and first `few` bytes of each file in an archive; of one that is packed itself, as workbooks are, up to `most`."""
    try:
        with zipfile.ZipFile(archive) as packed:
            for info in sorted(packed.infolist(), key=lambda each: each.filename):
                hidden = info.filename.startswith("__MACOSX/") or Path(info.filename).name.startswith(".")
                if info.is_dir() or hidden or info.flag_bits & 0x1:
                    continue
                with packed.open(info) as stream:
                    head = stream.read(few)
                    whole = is_zip(head) and info.file_size <= most
                    yield clean(info.filename), head + stream.read(most) if whole else head
    except FAULTS:
        return  # the reader of exports tells what is wrong with it
