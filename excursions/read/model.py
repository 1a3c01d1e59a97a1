"""What comes out of the reading room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from excursions.errors import ExcursionsError
from excursions.read.options import Beside as Beside
from excursions.read.options import ReadOptions as ReadOptions
from excursions.records import Decision, TagSeries

REFUSED_SCHEMA: dict[str, pl.DataType] = {
    "file": pl.String(),
    "line": pl.Int64(),
    "column": pl.String(),
    "text": pl.String(),
    "reason": pl.String(),
    "rows": pl.Int64(),
}
STATUS_SCHEMA: dict[str, pl.DataType] = {
    "tag": pl.String(),
    "word": pl.String(),
    "quality": pl.String(),
    "count": pl.Int64(),
    "file": pl.String(),
    "line": pl.Int64(),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownReading:
    """A reading as understood: tag, time (ns UTC), value, quality (0 good, 1 uncertain, 2 bad), unit or empty."""

    tag: str
    time: int
    value: float
    quality: int
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRow:
    """A line of a file beside what was understood of it: the first few readings, how many there are, or why none."""

    line: int
    text: str
    readings: tuple[ShownReading, ...] = ()
    count: int = 0
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileReport:
    """One file (or one member of an archive, sheet or table) as it was understood.

    rows counts readings met: data rows of a long table, filled cells under a tag of a wide one.
    rows == used + refused always; duplicates are told apart later and are among `used`.
    `lines` is the number of text lines or table rows the file held, `data_line` the line of the first data row,
    `remarks` the comment lines among the data (not counted as rows).  first and last are ns UTC, None without readings.
    shown: first rows, where `ReadOptions.show_rows` asks for them.
    """

    path: str
    sha256: str
    bytes: int
    dialect: str
    rows: int
    used: int
    refused: int
    tags: int
    first: int | None = None
    last: int | None = None
    lines: int = 0
    data_line: int = 1
    remarks: int = 0
    notes: tuple[str, ...] = ()
    shown: tuple[ShownRow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """All readings of all files.

    series : by tag, in the order of tag names
    files : one report a file, in the order read
    refused : file, line, column, text, reason, rows (how many readings the line would have held)
    decisions : what was inferred or assumed
    status_words : tag, word, quality, count, and file and line of the first: every distinct text met in place of a
        number or as a quality
    problems : files that could not be used at all
    contradicted : tag, time, value, quality and file of each reading that a later file contradicts, beside what that one says
    orders : date orders that were decided, by a short name of the headers; later files of the export may need them
    """

    series: dict[str, TagSeries]
    files: tuple[FileReport, ...]
    refused: pl.DataFrame
    decisions: tuple[Decision, ...]
    status_words: pl.DataFrame
    problems: tuple[ExcursionsError, ...] = ()
    orders: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    contradicted: pl.DataFrame = field(default_factory=pl.DataFrame)
