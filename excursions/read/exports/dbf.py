"""DBF tables: fixed records of named fields behind a head that lists them (layout of the head and the records from memory)."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from excursions.errors import InputFileError
from excursions.read.encodings import encoding_by_content
from excursions.read.exports.content import Content, Opened
from excursions.read.exports.frametable import FrameTable
from excursions.read.model import ReadOptions
from excursions.read.text import is_utf8

_KINDS = frozenset((0x02, 0x03, 0x04, 0x05, 0x30, 0x31, 0x32, 0x43, 0x63, 0x83, 0x8B, 0xCB, 0xF5))
_FIELD, _HEAD, _END = 32, 32, 0x0D
_DELETED = b"*"
_JULIAN_DAY = 1_721_425  # of 1 January of the year 1


@dataclass(frozen=True, slots=True)
class _Field:
    name: str
    kind: str
    start: int
    size: int


def is_dbf(start: bytes) -> bool:
    """Whether first bytes are such a head: a known kind, a date of change, and records as long as their fields."""
    if (
        len(start) < _HEAD + _FIELD
        or start[0] not in _KINDS
        or not 1 <= start[2] <= 12
        or not 1 <= start[3] <= 31
    ):
        return False
    head, record = struct.unpack_from("<HH", start, 8)
    fields = _fields(start[: min(head, len(start))])
    return bool(fields) and head >= _HEAD + _FIELD and fields[-1].start + fields[-1].size == record


def _fields(head: bytes) -> list[_Field]:
    found: list[_Field] = []
    at, begin = _HEAD, 1
    while at + _FIELD <= len(head) and head[at] != _END:
        name = head[at : at + 11].split(b"\0")[0].decode("ascii", errors="replace")
        kind, size = chr(head[at + 11]), head[at + 16]
        if not name or not kind.isalpha():
            return []
        found.append(_Field(name, kind, begin, size))
        at, begin = at + _FIELD, begin + size
    return found


def dbf_table(content: Content, options: ReadOptions) -> Opened:
    """The records as a table; row n is the n-th that is not marked as deleted.

    Raises
    ------
    InputFileError
        If there are none.
    """
    data = content.whole()
    count, head, record = struct.unpack_from("<IHH", data, 4)
    fields = _fields(data[:head])
    whole = min(count, (len(data) - head) // record)
    rows = [data[head + i * record : head + (i + 1) * record] for i in range(whole)]
    kept = [row for row in rows if row[:1] != _DELETED]
    if not kept:
        raise InputFileError(
            found="a DBF table without rows",
            expected="rows with readings",
            mend="export a time span that holds data",
        )
    notes = []
    if whole < count:
        notes.append(f"the table is cut off: {count} rows are promised, {whole} are there and were used")
    if len(kept) < whole:
        notes.append(f"{whole - len(kept)} rows marked as deleted were left out")
    sample = b"".join(kept[:1_000])
    encoding = options.encoding or ("utf-8" if is_utf8(sample) else encoding_by_content(sample))
    columns = {
        field.name: [_cell(row[field.start : field.start + field.size], field.kind, encoding) for row in kept]
        for field in fields
        if field.kind in _TEXTS
    }
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    frame = frame.with_columns(
        pl.col(name).cast(pl.Float64, strict=False) for name in _with_decimals(data[:head], fields)
    )
    words = ", ".join(part for part in ("DBF table", content.packing) if part)
    yield content.name, FrameTable(frame=frame.lazy(), words=words, height=frame.height, notes=tuple(notes))


def _with_decimals(head: bytes, fields: list[_Field]) -> list[str]:
    """The fields of numbers with digits behind a point; a comma or a thousands mark is never in them."""
    return [
        field.name for at, field in enumerate(fields)
        if field.kind == "B" or (field.kind in "NF" and head[_HEAD + at * _FIELD + 17])
    ]  # fmt: skip


def _cell(raw: bytes, kind: str, encoding: str) -> str | None:
    return _TEXTS[kind](raw) if kind != "C" else raw.decode(encoding, errors="replace").strip(" \0") or None


def _digits(raw: bytes) -> str | None:
    return raw.decode("ascii", errors="replace").strip(" \0") or None


def _date(raw: bytes) -> str | None:
    said = _digits(raw)
    return f"{said[:4]}-{said[4:6]}-{said[6:8]}" if said and len(said) == 8 and said.isdecimal() else said


def _moment(raw: bytes) -> str | None:
    day, milliseconds = struct.unpack("<ii", raw) if len(raw) == 8 else (0, 0)
    if not day:
        return None
    clock = timedelta(milliseconds=milliseconds)
    return f"{date.min + timedelta(days=day - _JULIAN_DAY - 1)} {clock}".replace(" 0:", " 00:")


def _whole(raw: bytes) -> str | None:
    return str(struct.unpack("<i", raw)[0]) if len(raw) == 4 else None


def _double(raw: bytes) -> str | None:
    return repr(struct.unpack("<d", raw)[0]) if len(raw) == 8 else None


_TEXTS: dict[str, Callable[[bytes], str | None]] = {
    "C": _digits, "N": _digits, "F": _digits, "L": _digits, "D": _date, "T": _moment, "I": _whole, "B": _double,
}  # fmt: skip
