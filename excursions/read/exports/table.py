"""What every source becomes before it is understood: first and last rows as text, and batches of columns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Protocol

import polars as pl

from excursions.records import IndexArray

MORE = "more"  # the column of cells beyond the last one the header knows


@dataclass(frozen=True, slots=True)
class Row:
    """One row as text: its line (or row number, from 1) and its cells as written."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """Columns named "0", "1", ... of equal length, text or typed, and the line of each row.

    lines : first line when the rows stand on consecutive lines, else the line of each row (n,)
    A column :data:`MORE` holds what stood behind the last column, where anything did.
    """

    frame: pl.DataFrame
    lines: int | IndexArray

    def line_of(self, rows: IndexArray) -> IndexArray:
        """Lines of these rows."""
        return rows + self.lines if isinstance(self.lines, int) else self.lines[rows]

    @property
    def height(self) -> int:
        """Number of rows."""
        return self.frame.height


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The first rows of a table (all that may be header among them) and some of the last.

    rows : from the top, preamble and header included
    late : rows from further down, for what the first rows leave open
    dtypes : of the columns where the source has types of its own, else empty
    header : names of the columns where the source states them; `rows` then holds data only
    """

    rows: tuple[Row, ...]
    late: tuple[Row, ...] = ()
    dtypes: tuple[pl.DataType, ...] = ()
    header: tuple[str, ...] = ()


@dataclass(slots=True)
class Tally:
    """What a table counts while it is read: lines, notes, lines lost to a cut."""

    lines: int = 0
    notes: list[str] = field(default_factory=list)
    lost: list[tuple[int, str, str]] = field(default_factory=list)

    def note(self, text: str) -> None:
        """Note something once."""
        if text not in self.notes:
            self.notes.append(text)

    def clear(self) -> None:
        """Start over."""
        self.lines = 0
        self.notes.clear()
        self.lost.clear()


class Table(Protocol):
    """A source of rows.  `words` describes it for people (``CSV, ";", UTF-8``)."""

    tally: Tally
    starts_in_1904: bool

    @property
    def words(self) -> str:
        """For people."""
        ...

    @property
    def preview(self) -> Preview:
        """First and last rows."""
        ...

    def batches(self, width: int, first_line: int, numbers: frozenset[int], decimal: str) -> Iterator[Batch]:
        """All rows from `first_line` on, in file order, `width` columns.

        numbers : columns expected to be plain numbers; the table may hand them over as Float64
        decimal : the decimal mark in them
        """
        ...
