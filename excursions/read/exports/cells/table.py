"""What every source becomes before it is understood: first and last rows as text, and batches of columns."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import polars as pl

from excursions.records import IndexArray

_LINE_END = 10
_LONGEST = 500  # characters of a refused row that are shown
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
    raw : the text the rows were cut from, where there is one; raw_line : line of its start
    between : what stood between the cells, for rows without their text
    A column :data:`MORE` holds what stood behind the last column, where anything did.
    """

    frame: pl.DataFrame
    lines: int | IndexArray
    raw: bytes = b""
    raw_line: int = 1
    between: str = ","

    def line_of(self, rows: IndexArray) -> IndexArray:
        """Lines of these rows."""
        return rows + self.lines if isinstance(self.lines, int) else self.lines[rows]

    def keep(self, rows: IndexArray) -> Batch:
        """Only these rows."""
        return replace(self, frame=self.frame[rows], lines=self.line_of(rows))

    def texts(self, rows: IndexArray) -> list[tuple[int, str]]:
        """Line and text of these rows: the text as it stands in the file where there is one, else the cells."""
        lines = self.line_of(rows)
        if not self.raw:
            return [
                (int(line), _joined(self.frame.row(int(row)), self.between))
                for row, line in zip(rows, lines, strict=True)
            ]
        ends = np.flatnonzero(np.frombuffer(self.raw, np.uint8) == _LINE_END)
        starts = np.concatenate([[0], ends[:-1] + 1])
        at = lines - self.raw_line
        cuts = [self.raw[starts[k] : min(ends[k], starts[k] + 4 * _LONGEST)] for k in at.tolist()]
        return [
            (int(line), cut.decode("utf-8", errors="replace")[:_LONGEST])
            for line, cut in zip(lines, cuts, strict=True)
        ]

    @property
    def height(self) -> int:
        """Number of rows."""
        return self.frame.height


def _joined(cells: tuple[object, ...], between: str) -> str:
    return between.join("" if cell is None else str(cell) for cell in cells)[:_LONGEST]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The first rows of a table (all that may be header among them) and some of the last.

    rows : from the top, preamble and header included
    late : rows from further down, for what the first rows leave open
    dtypes : of the columns where the source has types of its own, else empty
    header : names of the columns where the source states them; `rows` then holds data only
    separator : what stands between the cells of a text, empty where nothing does
    guessed : the encoding of a text that neither the user nor the text itself states, else empty
    """

    rows: tuple[Row, ...]
    late: tuple[Row, ...] = ()
    dtypes: tuple[pl.DataType, ...] = ()
    header: tuple[str, ...] = ()
    separator: str = ""
    guessed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """Some consecutive lines of a table, read: lines count from 1 at its own start.

    lines : how many there are; notes : what is to be said of them
    lost : line, text and reason of what could not be cut into cells
    """

    batches: tuple[Batch, ...]
    lines: int
    notes: tuple[str, ...] = ()
    lost: tuple[tuple[int, str, str], ...] = ()


# Reads one portion; jobs of one table may run at the same time.
Job = Callable[[], Portion]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How a pass over a table is to hand on its rows.

    width : number of columns; first_line : line of the first row
    numbers : columns expected to be plain numbers, which may come as Float64; decimal : the decimal mark in them
    labels : columns of few different texts, which may come as categories; many_labels : hundreds of them are
    mixed in consecutive rows, so that larger portions pay
    """

    width: int
    first_line: int
    numbers: frozenset[int] = frozenset()
    labels: frozenset[int] = frozenset()
    decimal: str = "."
    many_labels: bool = False


class Table(Protocol):
    """A source of rows.  `words` describes it for people (``text, separator ";", UTF-8``)."""

    starts_in_1904: bool

    @property
    def words(self) -> str:
        """For people."""
        ...

    @property
    def preview(self) -> Preview:
        """First and last rows."""
        ...

    def portions(self, wanted: Wanted) -> Iterator[Job]:
        """All rows from the first one wanted, in file order; the first portion begins at that line."""
        ...
