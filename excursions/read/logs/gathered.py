"""What is gathered while a list of rows is read: refused rows, decisions, problems, and the count of all rows."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError
from excursions.read.logs.cells import Row
from excursions.read.logs.moments import Moments
from excursions.read.logs.rowtimes import row_times
from excursions.read.logs.table import LogTable
from excursions.read.model import REFUSED_SCHEMA, ReadOptions
from excursions.read.text.numbers import decimal_comma
from excursions.records import Decision


@dataclass(frozen=True, slots=True, kw_only=True)
class ListReading:
    """What is told of a list that was read, whatever its rows are: rows == used + refused rows.

    refused: a row each, with the reason; problems: cells that could not be read, and what keeps the whole file from
    being used; headers: of all its tables.
    """

    path: Path
    sha256: str = ""
    refused: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=REFUSED_SCHEMA))
    decisions: tuple[Decision, ...] = ()
    problems: tuple[ExcursionsError, ...] = ()
    rows: int = 0
    used: int = 0
    headers: tuple[str, ...] = ()


@dataclass(kw_only=True)
class Gathered:
    """The part that calibration logs and lists of samples share; what was used stands in the subclass."""

    file: str
    options: ReadOptions
    refused: list[dict[str, object]] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    problems: list[ExcursionsError] = field(default_factory=list)
    rows: int = 0

    def begin(self, table: LogTable) -> tuple[bool, Moments]:
        """Count the rows of a table, and refuse those above its header; whether its numbers have a decimal comma, and the times of its rows, a time a row."""
        self.rows += len(table.before) + len(table.rows)
        for row in table.before:
            self.refuse(row, "stands above the header: no column says what its cells are")
        texts = (cell for row in table.rows for cell in row.cells)
        comma = decimal_comma(texts, table.separator, self.options.decimal_mark)
        moments = row_times(table, self.options, self.file, comma=comma)
        self.decisions += moments.decisions
        if moments.problem:
            line = table.rows[0].line if table.rows else 1
            self.problems.append(moments.problem.at(file=self.file, line=line))
        return comma, moments

    def refuse(self, row: Row, reason: str, column: str = "") -> None:
        """Keep a row that cannot be used, with the reason."""
        self.refused.append(
            {
                "file": self.file,
                "line": row.line,
                "column": column,
                "text": row.text,
                "reason": reason,
                "rows": 1,
            }
        )
