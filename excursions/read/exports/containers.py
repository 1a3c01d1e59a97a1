"""What a file is, by its first bytes, and how to open it as tables.  A new kind of file is one row in KINDS."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from excursions.errors import InputFileError
from excursions.read.exports.database import sqlite_tables
from excursions.read.exports.frametable import arrow_table, dataset_table, parquet_table, remote_table
from excursions.read.exports.sheet import clean
from excursions.read.exports.sources import Item
from excursions.read.exports.table import Table
from excursions.read.exports.texttable import Source, TextTable
from excursions.read.exports.workbook import workbook_tables
from excursions.read.model import ReadOptions
from excursions.read.unpack import CutOff, check_growth, opened, packing_of, unpacked

_PIECE = 64 * 2**10
_LATE_FROM = 1_000_000
_MOST_MEMBERS = 10_000
_DEEPEST = 1  # workbooks are archives, so one inside another is common
_IN_MEMORY = 2 * 2**30

Opened = Iterator[tuple[str, Table]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Some bytes with a name: a file, or a member of an archive.

    name : for people; path : on disk, None inside an archive; start : the first bytes, unpacked
    chunks : a fresh pass over the unpacked bytes; size : bytes as stored; packing : words; depth : archives it lies in
    told : is told the digest of the file once it is known
    """

    name: str
    path: Path | None
    start: bytes
    chunks: Callable[[], Iterator[bytes]]
    size: int
    packing: str = ""
    depth: int = 0
    told: Callable[[str], None] | None = None

    def whole(self) -> bytes:
        """All of it in memory.

        Raises
        ------
        InputFileError
            If it is larger than can be kept there.
        """
        parts, total = [], 0
        try:
            for chunk in self.chunks():
                parts.append(chunk)
                total += len(chunk)
                if total > _IN_MEMORY:
                    raise InputFileError(
                        found=f"more than {_IN_MEMORY} bytes inside a packed file",
                        expected="less",
                        mend="unpack it and pass the file in it",
                    )
        except CutOff as broken:
            raise InputFileError(
                found=f"a {broken} file that is cut off", expected="a whole one", mend="copy it again"
            ) from broken
        return b"".join(parts)

    def file(self) -> Path | BytesIO:
        """The path where there is one and it is not packed, else the bytes."""
        return self.path if self.path is not None and not self.packing else BytesIO(self.whole())


def open_item(item: Item, options: ReadOptions) -> Opened:
    """The tables of an item, each with its name.

    Raises
    ------
    InputFileError
        If it is empty, of no known kind, or broken.
    """
    if item.kind == "remote":
        yield item.name, remote_table(item.name)
    elif item.kind == "dataset":
        yield item.name, dataset_table(item.path)
    else:
        yield from _open_file(item, options)


def _open_file(item: Item, options: ReadOptions) -> Opened:
    if item.path.exists() and not item.path.is_file():
        raise InputFileError(
            found="something that is no file", expected="a file, a folder or a pattern", mend="check the name"
        )
    with opened(item.path) as raw:
        item.size = item.path.stat().st_size
        packing = packing_of(raw.read(8))

    def chunks() -> Iterator[bytes]:
        with opened(item.path) as again:
            yield from unpacked(again, item.size, options)

    content = Content(
        name=item.name,
        path=item.path,
        start=_start(chunks),
        chunks=chunks,
        size=item.size,
        packing=packing[0] if packing else "",
        told=item.digest_is,
    )
    if packing or any(content.start.startswith(magic) for magic, _ in KINDS):
        item.digest_aside()
    yield from open_content(content, options)


def _start(chunks: Callable[[], Iterator[bytes]]) -> bytes:
    try:
        return next(chunks(), b"")[:65_536]
    except CutOff:
        return b""


def open_content(content: Content, options: ReadOptions) -> Opened:
    """The tables in some bytes, by what their first bytes say."""
    if not content.start:
        raise InputFileError(
            found="an empty file" if not content.packing else f"a {content.packing} file with nothing readable in it",
            expected="an export with readings", mend="export it again", file=content.name,
        )  # fmt: skip
    for magic, opener in KINDS:
        if content.start.startswith(magic):
            yield from opener(content, options)
            return
    yield content.name, _text(content, options)


def _parquet(content: Content, options: ReadOptions) -> Opened:
    yield content.name, parquet_table(content.file(), content.packing)


def _arrow(content: Content, options: ReadOptions) -> Opened:
    yield content.name, arrow_table(content.file(), content.packing)


def _workbook(content: Content, options: ReadOptions) -> Opened:
    yield from workbook_tables(content.name, content.whole(), options)


def _database(content: Content, options: ReadOptions) -> Opened:
    yield from sqlite_tables(content.name, content.file(), options)


def _zip(content: Content, options: ReadOptions) -> Opened:
    file = content.file()
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
        yield from _member(content, file, info, options)


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


def _member(content: Content, file: Path | BytesIO, info: zipfile.ZipInfo, options: ReadOptions) -> Opened:
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

    start = _start(chunks)
    if packing_of(start[:8]) is not None or (start.startswith(b"PK\x03\x04") and content.depth >= _DEEPEST):
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
        chunks=chunks,
        size=info.compress_size,
        packing="zip",
        depth=content.depth + 1,
    )
    yield from open_content(member, options)


def _text(content: Content, options: ReadOptions) -> Table:
    plain = content.path if content.path is not None and not content.packing else None

    def late() -> tuple[bytes, ...]:
        if plain is None or content.size < _LATE_FROM:
            return ()
        pieces = []
        with opened(plain) as raw:
            for share in (0.25, 0.5, 0.75, 1.0):
                raw.seek(max(0, int((content.size - _PIECE) * share)))
                pieces.append(raw.read(_PIECE))
        return tuple(pieces)

    source = Source(chunks=content.chunks, late=late, packing=content.packing, plain=plain, told=content.told)
    table = TextTable(source=source, options=options)
    _refuse_no_text(table, content)
    return table


# What people save under the name of an export, and what to do about it.
_LOOK_ALIKES: tuple[tuple[str, str], ...] = (
    ("<html", "a web page (HTML), perhaps under the name of a workbook"),
    ("<!doctype", "a web page (HTML), perhaps under the name of a workbook"),
    ("<table", "a web page (HTML), perhaps under the name of a workbook"),
    ("<?xml", "an XML file"),
    ("{", "a JSON file"),
    ("[{", "a JSON file"),
    ("%pdf", "a PDF file"),
)


def _refuse_no_text(table: TextTable, content: Content) -> None:
    head = "\n".join(table.head_lines[:200])[:8_000]
    start = head.lstrip("\ufeff \t\n").lower()
    alike = next((words for mark, words in _LOOK_ALIKES if start.startswith(mark)), "")
    if alike:
        raise InputFileError(
            found=alike,
            expected="CSV, Parquet, a workbook or a SQLite file",
            mend="open it in the program that wrote it and export it as CSV",
            file=content.name,
        )
    odd = sum(not (char.isprintable() or char in "\t\n\x1f\x0c\x1a\u2028\ufeff") for char in head)
    unknown = head.count("\ufffd")
    if odd > 0.02 * len(head) + 2 or unknown > 0.05 * len(head) + 2:
        raise InputFileError(
            found="bytes that are no text",
            expected="CSV or other text, Parquet, Arrow, a workbook or a SQLite file",
            mend="export it again as CSV",
            file=content.name,
        )


KINDS: tuple[tuple[bytes, Callable[[Content, ReadOptions], Opened]], ...] = (
    (b"PAR1", _parquet),
    (b"ARROW1", _arrow),
    (b"\xff\xff\xff\xff", _arrow),
    (b"SQLite format 3\x00", _database),
    (b"PK\x03\x04", _zip),
    (b"PK\x05\x06", _zip),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", _workbook),
)
