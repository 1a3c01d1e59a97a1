"""DBF tables: fixed records of named fields behind a head that lists them (layout of the head and the records from memory)."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.layouts.naming import unique
from excursions.read.model import ReadOptions
from excursions.read.text.encodings import encoding_by_content
from excursions.read.text.lines import is_utf8

_KINDS = frozenset((0x02, 0x03, 0x04, 0x05, 0x30, 0x31, 0x32, 0x43, 0x63, 0x83, 0x8B, 0xCB, 0xF5))
_FIELD, _HEAD, _END = 32, 32, 0x0D
_DELETED = ord("*")
_UNIX_DAY = 2_440_588  # of the Julian count that is 1 January 1970
_FIRST_DAY, _LAST_DAY = 1_721_426, 5_373_484  # the years 1 to 9999
_MS_PER_DAY = 86_400_000
Cells = npt.NDArray[np.uint8]  # the bytes of one field, a row each


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
    names = unique([field.name for field in found])
    return [replace(field, name=name) for field, name in zip(found, names, strict=True)]


def dbf_table(content: Content, options: ReadOptions) -> Opened:
    """The records as a table; row n is the n-th that is not marked as deleted.

    Raises
    ------
    InputFileError
        If there are none, or none before a cut.
    """
    data = content.whole()
    count, head, record = struct.unpack_from("<IHH", data, 4)
    fields = _fields(data[:head])
    whole = max(0, min(count, (len(data) - head) // record))
    rows = np.frombuffer(memoryview(data)[head : head + whole * record], np.uint8).reshape(whole, record)
    kept = rows[rows[:, 0] != _DELETED]
    if count and not whole:
        raise InputFileError(
            found=f"a DBF table that is cut off before the first of its {count} rows",
            expected="a whole DBF table",
            mend="copy or export it again",
        )
    if not len(kept):
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
    sample = kept[:1_000].tobytes()
    encoding = options.encoding or ("utf-8" if is_utf8(sample) else encoding_by_content(sample))
    frame = pl.DataFrame(
        [
            _TEXTS[field.kind](np.ascontiguousarray(kept[:, field.start : field.start + field.size]), encoding).alias(field.name)
            for field in fields
            if field.kind in _TEXTS and field.size
        ]
    )  # fmt: skip
    frame = frame.with_columns(
        pl.col(name).cast(pl.Float64, strict=False) for name in _with_decimals(data[:head], fields)
    )
    words = ", ".join(part for part in ("DBF table", content.packing) if part)
    yield content.name, FrameTable(frame=frame.lazy(), words=words, height=frame.height, notes=tuple(notes))


def _with_decimals(head: bytes, fields: list[_Field]) -> list[str]:
    """The fields of numbers with digits behind a point; a comma or a thousands mark is never in them."""
    return [
        field.name for at, field in enumerate(fields)
        if field.size and (field.kind == "B" or (field.kind in "NF" and head[_HEAD + at * _FIELD + 17]))
    ]  # fmt: skip


def _characters(raw: Cells, encoding: str) -> pl.Series:
    """Texts in an encoding; none where a field is blank."""
    texts = pl.Series(raw.view(f"S{raw.shape[1]}").ravel().tolist(), dtype=pl.Binary)
    said = texts.unique().drop_nulls()
    told = pl.Series([text.decode(encoding, errors="replace") for text in said.to_list()], dtype=pl.String)
    return _stripped(texts.replace_strict(said, told, return_dtype=pl.String))


def _digits(raw: Cells, _encoding: str) -> pl.Series:
    ascii_only = np.where(raw < 128, raw, ord("?")).astype(np.uint8)
    texts = pl.Series(ascii_only.view(f"S{raw.shape[1]}").ravel().tolist(), dtype=pl.Binary)
    return _stripped(texts.cast(pl.String))


def _stripped(texts: pl.Series) -> pl.Series:
    bare = texts.str.strip_chars(" \0")
    return bare.set(bare == "", None)


def _date(raw: Cells, encoding: str) -> pl.Series:
    return _digits(raw, encoding).str.replace(r"^(\d{4})(\d\d)(\d\d)$", "$1-$2-$3")


def _moment(raw: Cells, encoding: str) -> pl.Series:
    """A day of the Julian count and milliseconds of it; the numbers as they stand where they are no instant of a calendar."""
    if raw.shape[1] != 8:
        return _digits(raw, encoding)
    day, milliseconds = raw.view("<i4").astype(np.int64).T
    sound = (day >= _FIRST_DAY) & (day <= _LAST_DAY) & (milliseconds >= 0) & (milliseconds < _MS_PER_DAY)
    since = np.where(sound, (day - _UNIX_DAY) * _MS_PER_DAY + milliseconds, 0)
    times = pl.Series(since).cast(pl.Datetime("ms")).dt.to_string("%Y-%m-%d %H:%M:%S%.3f")
    damaged = pl.Series(day).cast(pl.String) + " days and " + pl.Series(milliseconds).cast(pl.String) + " ms"
    empty = pl.Series(day == 0)
    return times.set(pl.Series(~sound), None).fill_null(damaged).set(empty, None)


def _numbers(kind: str) -> Callable[[Cells, str], pl.Series]:
    def read(raw: Cells, encoding: str) -> pl.Series:
        width = np.dtype(kind).itemsize
        return pl.Series(raw.view(kind).ravel()) if raw.shape[1] == width else _digits(raw, encoding)

    return read


_TEXTS: dict[str, Callable[[Cells, str], pl.Series]] = {
    "C": _characters, "N": _digits, "F": _digits, "L": _digits, "D": _date, "T": _moment,
    "I": _numbers("<i4"), "B": _numbers("<f8"),
}  # fmt: skip
