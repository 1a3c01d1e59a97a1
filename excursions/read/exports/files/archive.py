"""Zip archives: their members are opened where they lie and never written to disk."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BytesIO
from itertools import islice
from pathlib import Path
from typing import IO

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.files import salvage
from excursions.read.exports.files.content import Content, Opened, start_of
from excursions.read.exports.files.workbook import workbook_tables
from excursions.read.model import ReadOptions
from excursions.read.text.unpack import CutOff, check_growth, is_zip, opened, packed_inside, packing_of

_MOST_MEMBERS = 10_000


_DEEPEST = 1  # workbooks are archives, so one inside another is common


Open = Callable[[Content, ReadOptions], Opened]


def zip_tables(content: Content, options: ReadOptions, open_content: Open) -> Opened:
    """The tables in the members of an archive, or the sheets of a workbook, which is one too.

    Raises
    ------
    InputFileError
        If the archive is broken, has a password, holds archives within archives or grows beyond the limits.
    """
    file = content.file()
    if _is_cut(file):
        yield from _cut_tables(content, file, options, open_content)
        return
    with _archive(file) as archive:
        names = archive.namelist()
        if any(name.startswith(("xl/workbook", "Workbook")) for name in names) or _mimetype(archive).endswith(
            "spreadsheet"
        ):
            yield from workbook_tables(content.name, content.whole(), options)
            return
        members = [info for info in archive.infolist() if not info.is_dir() and not _is_hidden(info.filename)]
    if not members:
        raise InputFileError(
            found="an archive without files",
            expected="at least one export in it",
            mend="pack it again",
            file=content.name,
        )
    if len(members) > _MOST_MEMBERS:
        raise InputFileError(
            found=f"an archive of {len(members)} files",
            expected=f"at most {_MOST_MEMBERS}",
            mend="unpack it and pass the folder",
            file=content.name,
        )
    for info in sorted(members, key=lambda member: member.filename):
        yield from _member(content, file, info, options, open_content)


def _is_cut(file: Path | BytesIO) -> bool:
    """Whether the directory at the end of an archive is missing."""
    with _raw(file) as raw:
        return not zipfile.is_zipfile(raw)


@contextmanager
def _raw(file: Path | BytesIO) -> Iterator[IO[bytes]]:
    if isinstance(file, BytesIO):
        yield BytesIO(file.getvalue())
    else:
        with opened(file) as raw:
            yield raw


def _cut_tables(content: Content, file: Path | BytesIO, options: ReadOptions, open_content: Open) -> Opened:
    """The members of an archive that is cut off; the fault itself is raised behind the last of them."""
    with _raw(file) as raw:
        found = list(islice(salvage.heads(raw), _MOST_MEMBERS))
    if any(member.name.startswith(("xl/", "[Content_Types]", "Workbook")) for member in found):
        raise salvage.cut_workbook()
    used = 0
    for member in found:
        if _is_hidden(member.name):
            continue

        def chunks(member: salvage.Found = member) -> Iterator[bytes]:
            total = 0
            with _raw(file) as raw:
                for chunk in salvage.content(raw, member):
                    total += len(chunk)
                    check_growth(total, max(content.size, 1), "zip", options)
                    yield chunk

        inside, _ = packed_inside(chunks, max(content.size, 1), options)
        start = start_of(inside)
        if start and packing_of(start[:8]) is None and not is_zip(start):
            used += 1
            held = Content(
                name=f"{content.name}!{clean(member.name)}", path=None, start=start, chunks=inside, size=content.size,
                packing="zip", depth=content.depth + 1,
            )  # fmt: skip
            yield from open_content(held, options)
    raise salvage.cut_archive(used)


def _is_hidden(name: str) -> bool:
    return name.startswith("__MACOSX/") or Path(name).name.startswith(".")


def _mimetype(archive: zipfile.ZipFile) -> str:
    try:
        info = archive.getinfo("mimetype")
        return archive.read(info)[:200].decode("ascii", errors="replace") if info.file_size < 1_000 else ""
    except (KeyError, RuntimeError, zipfile.BadZipFile, zlib.error):
        return ""


@contextmanager
def _archive(file: Path | BytesIO) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(file) as archive:
            yield archive
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, OSError, ValueError) as error:
        raise InputFileError(
            found=f"a zip archive that cannot be read ({error})",
            expected="a sound archive",
            mend="copy or pack it again",
        ) from error


def _member(
    content: Content, file: Path | BytesIO, info: zipfile.ZipInfo, options: ReadOptions, open_content: Open
) -> Opened:
    name = f"{content.name}!{clean(info.filename)}"
    if info.flag_bits & 0x1:
        raise InputFileError(
            found="an archive with a password",
            expected="one without",
            mend="unpack it and pass the files in it",
            file=name,
        )
    check_growth(info.file_size, max(info.compress_size, 1), "zip", options)

    def chunks() -> Iterator[bytes]:
        total = 0
        try:
            with zipfile.ZipFile(file) as archive, archive.open(info) as stream:
                while chunk := stream.read(4 * 2**20):
                    total += len(chunk)
                    check_growth(total, max(info.compress_size, 1), "zip", options)
                    yield chunk
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            NotImplementedError,
            RuntimeError,
            OSError,
            ValueError,
        ) as error:
            raise CutOff("zip") from error

    inside, inner = packed_inside(chunks, max(info.compress_size, 1), options)
    start = start_of(inside)
    if packing_of(start[:8]) is not None or (is_zip(start) and content.depth >= _DEEPEST):
        raise InputFileError(
            found="a packed file inside an archive",
            expected="plain files in it",
            mend="unpack the archive and pass the folder",
            file=name,
        )
    member = Content(
        name=name,
        path=None,
        start=start,
        chunks=inside,
        size=info.compress_size,
        packing=", ".join(part for part in (inner, "zip") if part),
        depth=content.depth + 1,
    )
    yield from open_content(member, options)
