"""A small table of its own beside the readings, limits or a legend, which is none of their columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sheet import Sheet
from excursions.records import Decision

_MOST = 0.5  # share of the rows that a table beside the readings fills at most


def without_besides(sheet: Sheet, name: str) -> tuple[Sheet, tuple[Decision, ...]]:
    """The sheet without such tables, and what was left out.

    An empty column stands before one, it has no times, its first column is of texts, and it ends long before the readings do.
    """
    beside = [block for block in _blocks(sheet.columns) if _is_beside(block)]
    if not beside or not any(column.is_time for column in sheet.columns):
        return sheet, ()
    gone = {column.index for block in beside for column in block}
    columns = tuple(_empty(column) if column.index in gone else column for column in sheet.columns)
    names = ", ".join(column.header for block in beside for column in block if column.header)
    rows = max(column.filled for block in beside for column in block)
    told = Decision(
        subject=name, what=f"a table of {rows} rows beside the readings is left out{f': {names}' if names else ''}",
        why="an empty column stands before it, it holds no times and ends long before the readings do", option="keep it on a sheet of its own",
    )  # fmt: skip
    return replace(sheet, columns=columns), (told,)


def _blocks(columns: Sequence[Column]) -> list[list[Column]]:
    """Runs of columns with nothing but empty ones between them."""
    blocks: list[list[Column]] = [[]]
    for column in columns:
        if column.header.strip() or column.filled:
            blocks[-1].append(column)
        elif blocks[-1]:
            blocks.append([])
    return [block for block in blocks if block]


def _is_beside(block: Sequence[Column]) -> bool:
    timed = any(column.times or column.dates or column.clocks for column in block)
    if len(block) < 2 or timed or block[0].numbers or not block[0].filled:
        return False
    rows = len(block[0].cells)
    last = max(at for column in block for at, cell in enumerate(column.cells) if cell)
    return last + 1 <= _MOST * rows and block[0].filled == last + 1


def _empty(column: Column) -> Column:
    return replace(
        column, header="", above=("",) * len(column.above), roles=frozenset(), cells=("",) * len(column.cells),
        filled=0, times=0, dates=0, clocks=0, numbers=0, statuses=0, zones=0, distinct=0,
    )  # fmt: skip
