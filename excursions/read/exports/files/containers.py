"""What a file is, by its first bytes, and how to open it as tables.  A new kind of file is one row in KINDS."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator

from excursions.errors import InputFileError
from excursions.read.exports.cells.table import Table
from excursions.read.exports.files.archive import zip_tables
from excursions.read.exports.files.content import Content, Opened, start_of
from excursions.read.exports.files.database import sqlite_tables
from excursions.read.exports.files.dbf import dbf_table, is_dbf
from excursions.read.exports.files.frametable import (
    arrow_table,
    dataset_table,
    ends_whole,
    parquet_table,
    remote_table,
)
from excursions.read.exports.files.jsontext import is_json, is_topics, json_table, topic_table
from excursions.read.exports.files.salvage import cut_parquet
from excursions.read.exports.files.sources import Item
from excursions.read.exports.files.sqltext import is_sql, sql_tables
from excursions.read.exports.files.tapes import is_tar, tar_tables
from excursions.read.exports.files.texttable import Source, TextTable
from excursions.read.exports.files.webtext import is_web_page, web_tables
from excursions.read.exports.files.workbook import workbook_tables
from excursions.read.exports.files.xmltext import is_xml, xml_tables
from excursions.read.exports.files.yamltext import is_yaml, yaml_table
from excursions.read.model import ReadOptions
from excursions.read.text.unpack import is_arrow, is_parquet, is_sqlite, is_zip, opened, packing_of, unpacked

_PIECE = 64 * 2**10
_LATE_FROM = 1_000_000


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
        whole = [part for part in item.parts if ends_whole(part)]
        lost = len(item.parts) - len(whole)
        if whole:
            yield item.name, dataset_table(item.path, whole if lost else ())
        if lost:
            raise cut_parquet(lost)
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
        start=start_of(chunks),
        chunks=chunks,
        size=item.size,
        packing=packing[0] if packing else "",
        told=item.digest_is,
    )
    whole = any(is_kind(content.start) for is_kind, _ in TEXTS)
    if packing or whole or any(is_kind(content.start) for is_kind, _ in KINDS):
        item.digest_aside()
    yield from open_content(content, options)


def open_content(content: Content, options: ReadOptions) -> Opened:
    """The tables in some bytes, by what their first bytes say."""
    if not content.start:
        raise InputFileError(
            found="an empty file" if not content.packing else f"a {content.packing} file with nothing readable in it",
            expected="an export with readings", mend="export it again", file=content.name,
        )  # fmt: skip
    for is_kind, opener in KINDS:
        if is_kind(content.start):
            yield from opener(content, options)
            return
    if is_tar(content.start):
        yield from tar_tables(content, options, open_content)
        return
    for is_text, opener in TEXTS:
        if is_text(content.start):
            yield from opener(content, options)
            return
    _refuse_known(content)
    yield content.name, _text(content, options)


def _refuse_known(content: Content) -> None:
    """Files that hold readings in a form that is not read, each with the way out."""
    kind = next((words for magic, words in _PACKED if re.match(magic, content.start)), "")
    if kind:
        unpack = "archive" in kind or "lzip" in kind
        raise InputFileError(
            found=kind, expected="CSV or other text, Parquet, Arrow, a workbook or a SQLite file, packed as gzip, zstd, xz, bzip2, zip or tar",
            mend="unpack it and pass the files in it" if unpack else "open it in the program that wrote it and export it as CSV or Parquet",
            file=content.name,
        )  # fmt: skip
    if _MAIL.match(content.start) and re.search(rb"(?im)^content-(?:type|disposition):", content.start):
        raise InputFileError(
            found="a mail", expected="the export itself", mend="save what is attached to it and pass that file", file=content.name
        )  # fmt: skip


def _parquet(content: Content, options: ReadOptions) -> Opened:
    yield content.name, parquet_table(content.file(), content.packing)


def _arrow(content: Content, options: ReadOptions) -> Opened:
    yield content.name, arrow_table(content.file(), content.packing)


def _workbook(content: Content, options: ReadOptions) -> Opened:
    yield from workbook_tables(content.name, content.whole(), options)


def _archive(content: Content, options: ReadOptions) -> Opened:
    yield from zip_tables(content, options, open_content)


def _database(content: Content, options: ReadOptions) -> Opened:
    yield from sqlite_tables(content.name, content.file(), options)


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
_LOOK_ALIKES: tuple[tuple[str, str], ...] = (("%pdf", "a PDF file"),)
# Their signatures, from memory of how the formats are described.
_PACKED = (
    (rb"7z\xbc\xaf\x27\x1c", "a 7z archive"), (rb"Rar!\x1a\x07", "a RAR archive"), (rb"MSCF\x00{4}", "a cabinet archive"),
    (rb"LZIP[\x00\x01]", "an lzip file"), (rb"Obj\x01", "an Avro file"), (rb"ORC(?![ -~\t\r\n])", "an ORC file"),
    (rb"\x89HDF\r\n\x1a\n", "an HDF5 file"), (rb"CDF[\x01\x02\x05]", "a NetCDF file"),
)  # fmt: skip
_MAIL = re.compile(rb"(?i)(?:[\w-]+: [^\n]*\n(?:[ \t][^\n]*\n)*){2,}")


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
    odd = sum(
        not (
            char.isprintable()
            or unicodedata.category(char) in ("Zs", "Cf")
            or char in "\t\n\x01\x1f\x0c\x1a\u2028"
        )
        for char in head
    )
    unknown = head.count("\ufffd")
    if odd > 0.02 * len(head) + 2 or unknown > 0.05 * len(head) + 2:
        raise InputFileError(
            found="bytes that are no text",
            expected="CSV or other text, Parquet, Arrow, a workbook or a SQLite file",
            mend="export it again as CSV",
            file=content.name,
        )


# Texts that are no lines of cells: how each is known, and who reads it whole.
TEXTS: tuple[tuple[Callable[[bytes], bool], Callable[[Content, ReadOptions], Opened]], ...] = (
    (is_dbf, dbf_table),
    (is_json, json_table),
    (is_topics, topic_table),
    (is_sql, sql_tables),
    (is_web_page, web_tables),
    (is_xml, xml_tables),
    (is_yaml, yaml_table),
)
KINDS: tuple[tuple[Callable[[bytes], bool], Callable[[Content, ReadOptions], Opened]], ...] = (
    (is_parquet, _parquet),
    (lambda start: is_arrow(start) or start.startswith(b"\xff\xff\xff\xff"), _arrow),
    (is_sqlite, _database),
    (is_zip, _archive),
    (lambda start: start.startswith(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), _workbook),
)
