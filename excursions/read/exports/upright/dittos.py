"""Tables written by people, who put a mark where a cell says the same as the one above it: ``"``, ``〃``, ``ditto``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.read.text.words import is_ditto, roles_of
from excursions.records import Decision


def without_dittos(table: Table, name: str) -> tuple[BlockTable, Decision] | None:
    """The table with the text of the cell above in place of each such mark, and what was done; None where there are none.

    Raises
    ------
    InputFileError
        If the file is too large to be held in memory.
    """
    preview = table.preview
    if preview.header or preview.dtypes:
        return None
    places = _places(preview.rows)
    if not places:
        return None
    first = min(places.values())
    kept = held(table, max(len(row.cells) for row in preview.rows)).since(first)
    frame, told = kept.frame, 0
    for place in places:
        cells = frame[str(place)]
        marks = cells.is_in([cell for cell in cells.unique().drop_nulls() if is_ditto(cell)]).fill_null(False)
        above = pl.select(pl.when(~marks).then(cells)).to_series().fill_null(strategy="forward")
        filled = pl.select(pl.when(marks & above.is_not_null()).then(above).otherwise(cells)).to_series()
        frame = frame.with_columns(filled.alias(str(place)))
        told += int((marks & above.is_not_null()).sum())
    head = (row for row in preview.rows if row.line < first)
    return rewritten(table, head, replace(kept, frame=frame)), Decision(
        subject=name, what=f"{told} marks of repetition were taken for what stands above them",
        why="people write so what is the same as in the row above", option="write the cells out",
    )  # fmt: skip


def _places(rows: Sequence[Row]) -> dict[int, int]:
    """Columns with such a mark below a row of data, and the line of that row; not one of units, in which it is an inch."""
    marked = sorted({at for row in rows for at, cell in enumerate(row.cells) if is_ditto(cell)})
    return {place: line for place in marked if (line := _leant_on(rows, place))}


def _leant_on(rows: Sequence[Row], place: int) -> int:
    """Line of the row of data above the first mark of a column; zero where there is none."""
    above: Row | None = None
    for row in rows:
        cell = row.cells[place] if place < len(row.cells) else ""
        if cell and "unit" in roles_of(cell):
            return 0
        if cell and not is_ditto(cell):
            above = row
        elif cell and above is not None and any(other[:1].isdecimal() for other in above.cells):
            return above.line
    return 0
