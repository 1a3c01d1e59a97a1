"""SQLite files: every table or view with readings is a table; a table of names is joined to the readings it names."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.cells.table import Batch, Job, Portion, Preview, Row, Table, Wanted
from excursions.read.exports.files.lookups import lookups
from excursions.read.model import ReadOptions

_ROWS = 200_000
_HEAD = 1_000
_CUT = "the data base is cut off or damaged behind the last row that was used; copy it again for the rest"


@dataclass(kw_only=True)
class QueryTable:
    """The result of a query as a table."""

    connection: sqlite3.Connection
    query: str
    words: str = "SQLite"
    cut: bool = False
    starts_in_1904: bool = False

    @cached_property
    def preview(self) -> Preview:
        """First and last rows as text."""
        cursor = self._run(f"SELECT * FROM ({self.query}) LIMIT {_HEAD}")
        names = tuple(clean(str(column[0])) for column in cursor.description)
        rows = tuple(
            Row(i, tuple(_text(cell) for cell in row)) for i, row in enumerate(self._fetch(cursor), start=1)
        )
        return Preview(rows=rows, header=names)

    def portions(self, wanted: Wanted) -> Iterator[Job]:
        """All rows in the order the data base keeps them."""
        cursor = self._run(self.query)
        if self.cut:
            yield from self._up_to_the_cut(cursor)
            return
        while rows := self._fetch(cursor):
            yield partial(_portion, rows)

    @staticmethod
    def _up_to_the_cut(cursor: sqlite3.Cursor) -> Iterator[Job]:
        """Row by row, so that those before the damage are not lost with the ones behind it."""
        rows: list[tuple[Any, ...]] = []
        try:
            for row in cursor:
                rows.append(row)
                if len(rows) == _ROWS:
                    yield partial(_portion, rows)
                    rows = []
        except sqlite3.Error:
            yield partial(Portion, batches=(), lines=0, notes=(_CUT,))
        if rows:
            yield partial(_portion, rows)

    def _run(self, query: str) -> sqlite3.Cursor:
        try:
            return self.connection.execute(query)
        except (
            sqlite3.Error,
            UnicodeDecodeError,
        ) as error:  # the library gives names of columns as UTF-8 or not at all
            raise _broken(error) from error

    @staticmethod
    def _fetch(
        cursor: sqlite3.Cursor,
    ) -> list[tuple[Any, ...]]:  # Any: cells are of whatever type the file holds
        try:
            return cursor.fetchmany(_ROWS)
        except sqlite3.Error as error:
            raise _broken(error) from error


def _portion(rows: list[tuple[Any, ...]]) -> Portion:
    columns = zip(*rows, strict=True)
    frame = pl.DataFrame({str(index): _column(cells) for index, cells in enumerate(columns)})
    return Portion(batches=(Batch(frame, 1),), lines=len(rows))


def _column(cells: tuple[Any, ...]) -> pl.Series:
    """Numbers as numbers; columns that mix numbers and texts as texts."""
    kinds = {type(cell) for cell in cells if cell is not None}
    if kinds <= {int}:
        return pl.Series(list(cells), dtype=pl.Int64, strict=False)
    if kinds <= {int, float}:
        return pl.Series([None if cell is None else float(cell) for cell in cells], dtype=pl.Float64)
    return pl.Series([_text(cell) or None for cell in cells], dtype=pl.String)


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bytes):
        return cell.decode("utf-8", errors="replace")
    return repr(cell) if isinstance(cell, float) else str(cell)


def sqlite_tables(name: str, file: Path | BytesIO, options: ReadOptions) -> Iterator[tuple[str, Table]]:
    """The tables and views of a SQLite file, or the one the user named.

    Raises
    ------
    InputFileError
        If it cannot be opened or has no table of that name.
    """
    with tempfile.NamedTemporaryFile(prefix="excursions-", suffix=".sqlite") as copy:
        if isinstance(file, BytesIO):
            copy.write(file.getvalue())
            copy.flush()
        path = Path(copy.name) if isinstance(file, BytesIO) else file
        words = "SQLite"
        if pages := _pages_left(path):
            words = "SQLite that is cut off"
            path = Path(_shortened(path, copy.name, *pages))
        connection = _connected(path)
        try:
            tables = _tables(connection)
            if options.sheet and options.sheet not in tables:
                names = ", ".join(f'"{clean(table)}"' for table in list(tables)[:10])
                raise InputFileError(
                    found=f'no table "{options.sheet}"',
                    expected=f"one of {names}",
                    mend="pass its name with --sheet",
                )
            for table in [options.sheet] if options.sheet else tables:
                title = f"{name}!{clean(table)}" if len(tables) > 1 else name
                yield (
                    title,
                    QueryTable(
                        connection=connection, query=_query(table, tables), words=words, cut=words != "SQLite"
                    ),
                )
        finally:
            connection.close()


def _pages_left(path: Path) -> tuple[int, int] | None:
    """Whole pages and bytes a page of a file that is shorter than its head says; None when it is whole.

    Source: SQLite, "Database File Format", the database header.
    """
    with path.open("rb") as raw:
        head = raw.read(100)
    if len(head) < 100:
        return None
    size = int.from_bytes(head[16:18], "big")
    size = 65_536 if size == 1 else size
    whole = path.stat().st_size // max(size, 1)
    said = int.from_bytes(head[28:32], "big") if head[24:28] == head[92:96] else 0
    return (whole, size) if 0 < whole < said else None


def _shortened(path: Path, copy: str, pages: int, size: int) -> str:
    """Write to `copy` the whole pages under a head that says so many; rows behind the cut are then found missing."""
    with path.open("rb") as raw, open(copy, "wb") as short:
        left = pages * size
        while piece := raw.read(min(left, 2**22)):
            short.write(piece)
            left -= len(piece)
        short.seek(28)
        short.write(pages.to_bytes(4, "big"))
    return copy


def _connected(path: Path) -> sqlite3.Connection:
    try:
        connection = sqlite3.connect(
            f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True, check_same_thread=False
        )
        connection.text_factory = lambda data: data.decode("utf-8", errors="replace")
        connection.execute("SELECT name FROM sqlite_master LIMIT 1").fetchone()
    except sqlite3.Error as error:
        raise _broken(error) from error
    return connection


def _tables(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Columns of each table and view, tables of names last."""
    found = connection.execute(
        "SELECT name FROM sqlite_master WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite_%' ORDER BY rowid"
    ).fetchall()
    columns = {}
    for (table,) in found:
        try:
            columns[table] = [row[1] for row in connection.execute(f"PRAGMA table_info({_quoted(table)})")]
        except sqlite3.Error as error:
            raise _broken(error) from error
    return columns


def _query(table: str, tables: dict[str, list[str]]) -> str:
    """All rows of a table, in stored order; numbers that point to a table of names are replaced by the names."""
    found = lookups(table, tables)
    if not found:
        return f"SELECT * FROM {_quoted(table)}"
    cells, joins = [], []
    pointing = {lookup.column for lookup in found}
    for number, lookup in enumerate(found):
        side, own = f"b{number}", f"a.{_quoted(lookup.column)}"
        cells.append(f"COALESCE({side}.{_quoted(lookup.name)}, {own}) AS {_quoted(lookup.called)}")
        if lookup.unit and "unit" not in map(str.lower, tables[table]):
            cells.append(f"{side}.{_quoted(lookup.unit)} AS unit")
        joins.append(f"LEFT JOIN {_quoted(lookup.other)} {side} ON {own} = {side}.{_quoted(lookup.key)}")
    kept = [f"a.{_quoted(column)}" for column in tables[table] if column not in pointing]
    return f"SELECT {', '.join([*cells, *kept])} FROM {_quoted(table)} a {' '.join(joins)} ORDER BY a.rowid"


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _broken(error: sqlite3.Error | UnicodeDecodeError) -> InputFileError:
    return InputFileError(
        found=f"a SQLite file that cannot be read ({error})",
        expected="a sound one",
        mend="copy it while nothing writes to it, or export it as CSV",
    )
