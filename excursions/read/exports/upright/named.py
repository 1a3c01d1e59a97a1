"""Tables that say the name of a signal beside each of its readings: ``AT-101=7.02``, or a cell with the name before it.

The rows are written out with the names as a header where they are the same in every row, else as a row a reading.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import polars as pl

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sections import is_name
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.read.text.quality import is_quality_text
from excursions.read.text.words import is_status_text, roles_of
from excursions.records import BoolArray, Decision

_INSIDE = r"^\s*([^=;,]{1,80}?)\s*=\s*([^=]*?)\s*$"
_BEFORE = r"^\s*(.{1,80}?)\s*[:=]?\s*$"
_PAIR = re.compile(_INSIDE)
_NUMBERED = re.compile(r"\s*[<>~=]?\s*[+-]?[.,]?\d")
_ENOUGH = 0.7
_LOOK = 20  # rows of which one must show a name and a value in one cell


@dataclass(frozen=True, slots=True)
class _Named:
    """A column of readings, and the one that names them; the same where the name stands in the cell."""

    name: int
    value: int


def named_cells(table: Table, sheet: Sheet | None, name: str) -> tuple[BlockTable, Decision] | None:
    """The table with names as headers or as a tag in each row, and what was done; None where cells have no names in them.

    Raises
    ------
    InputFileError
        If the file is too large to be held in memory.
    """
    rows = [row for row in table.preview.rows if any(cell.strip() for cell in row.cells)]
    columns = sheet.columns if sheet is not None else ()
    inside = _inside(sheet.data if sheet is not None else rows)
    taken = {*inside}
    if any(c.index not in taken and c.is_value and c.numbers and "index" not in c.roles for c in columns):
        inside = []  # readings stand in a column of their own: what is said as name=value is a remark on them
    pairs = [_Named(index, index) for index in inside] or _beside(columns)
    if not pairs:
        return None
    width = max(len(row.cells) for row in rows)
    first = sheet.first_line if sheet is not None else 1
    kept = held(table, width).since(first)
    frame, lines = kept.frame, kept.lines
    others = [i for i in range(width) if all(i not in (pair.name, pair.value) for pair in pairs)]
    cells = [_apart(frame, pair) for pair in pairs]
    called = [columns[i].header if i < len(columns) else "" for i in others]
    names = [said["name"].drop_nulls().unique(maintain_order=True).to_list() for said in cells]
    constant = all(len(found) == 1 for found in names)
    messages = 0
    if constant:
        cells, messages = _without_messages(
            cells, journal=any("tag" in roles_of(found[0]) for found in names)
        )
        header = [*called, *(found[0] for found in names)]
        whole = pl.DataFrame([frame[str(i)].alias(f"o{i}") for i in others] + [said["value"].alias(f"v{k}") for k, said in enumerate(cells)])  # fmt: skip
    elif any(roles_of(text) & {"time", "tag", "value"} for found in names for text in found):
        return None
    else:
        header = [*called, "tag", "value"]
        base = [frame[str(i)].alias(f"o{i}") for i in others]
        parts = [
            pl.DataFrame([*base, said["name"].alias("n"), said["value"].alias("v")]).with_row_index("row")
            for said in cells
        ]
        filled = pl.any_horizontal(pl.col("n", "v").is_not_null())
        long = pl.concat(parts).filter(filled).sort("row", maintain_order=True)
        lines, whole = lines[long["row"].to_numpy()], long.drop("row")
    top = sheet.header_line if sheet is not None else 0
    head = [row for row in table.preview.rows if row.line < (top or first)]
    shown = ", ".join(found[0] for found in names[:3])
    notes = (*kept.notes, *_messages_note(messages))
    made = replace(kept, frame=whole, lines=lines, notes=notes)
    return rewritten(table, (*head, Row(first - 1, tuple(header))), made), Decision(
        subject=name, what="the names beside the readings were taken for their signals", why=f"such as {shown}",
        option="export one row for each time, with a header",
    )  # fmt: skip


def _without_messages(cells: Sequence[pl.DataFrame], *, journal: bool) -> tuple[list[pl.DataFrame], int]:
    """The cells, emptied in rows that name nothing at all and are no reading, and how many rows those are.

    In a journal, which names the tag in a cell of its own, every such row is a line of another kind; elsewhere it is a
    message if one of its cells is neither a number nor one of the words that stand for a reading.
    """
    silent = np.logical_and.reduce([said["name"].is_null().to_numpy() for said in cells])
    if not journal:
        silent &= np.logical_or.reduce([_is_speech(said["value"], silent) for said in cells])
    if not silent.any():
        return list(cells), 0
    spoken = pl.Series(silent)
    return [
        said.with_columns(value=pl.select(pl.when(~spoken).then(said["value"])).to_series()) for said in cells
    ], int(silent.sum())


def _is_speech(values: pl.Series, rows: BoolArray) -> BoolArray:
    """Which of these rows (n,) hold a text that is no number, no status and no quality."""
    said = values.filter(pl.Series(rows)).unique().drop_nulls().to_list()
    other = [
        text
        for text in said
        if text.strip() and not (_NUMBERED.match(text) or is_status_text(text) or is_quality_text(text))
    ]
    spoken: BoolArray = values.is_in(other).fill_null(False).to_numpy()
    return rows & spoken


def _messages_note(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    return (
        f"{count} {'line names' if count == 1 else 'lines name'} no signal and hold no reading: taken for messages",
    )


def _inside(rows: Sequence[Row]) -> list[int]:
    """Columns whose cells are mostly name=value."""
    if not any("=" in cell for row in rows[-_LOOK:] for cell in row.cells):
        return []
    width = max((len(row.cells) for row in rows), default=0)
    found = []
    for index in range(width):
        cells = [
            row.cells[index].strip() for row in rows if index < len(row.cells) and row.cells[index].strip()
        ]
        named = sum((match := _PAIR.match(cell)) is not None and is_key(match[1]) for cell in cells)
        if cells and 2 * len(cells) >= len(rows) and named >= _ENOUGH * len(cells):
            found.append(index)
    return found


def is_key(text: str) -> bool:
    """A name of a signal or of a column; no time, no number."""
    return is_name(text) or bool(roles_of(text))


def _beside(columns: Sequence[Column]) -> list[_Named]:
    """Columns of readings that each have a column of names before them, two or more of both."""
    found: list[_Named] = []
    if sum(c.is_text for c in columns) < 2:
        return found
    for before, column in pairwise(columns):
        plain = set(filter(None, before.cells))
        named = "tag" in before.roles if before.header else True
        constant = not before.header and before.distinct == 1 and before.filled == len(before.cells)
        names = (
            before.is_text
            and named
            and plain
            and (constant or all(is_name(re.sub(r"\s*[:=]$", "", cell)) for cell in plain))
        )
        if names and column.is_value and column.numbers:
            found.append(_Named(before.index, column.index))
    return found if len(found) > 1 and _stand_out(columns, found) else []


def _stand_out(columns: Sequence[Column], pairs: Sequence[_Named]) -> bool:
    """Whether nothing else holds readings, and the names of one column are not those of another."""
    taken = {index for pair in pairs for index in (pair.name, pair.value)}
    others = [c for c in columns if c.index not in taken and c.is_value and c.numbers and not (shape_of(c.cells[0]) or clock_shape_of(c.cells[0]))]  # fmt: skip
    said = [frozenset(cell for cell in columns[pair.name].cells if cell) for pair in pairs]
    return not others and sum(map(len, said)) == len(frozenset().union(*said))


def _apart(frame: pl.DataFrame, pair: _Named) -> pl.DataFrame:
    """name and value (n,) of a pair; a cell without a name keeps its text as a value of no name."""
    if pair.name == pair.value:
        cells = frame[str(pair.value)].str.extract_groups(_INSIDE).struct.unnest()
        cells.columns = ["name", "value"]
        return cells.with_columns(pl.when(pl.col("name").is_null()).then(frame[str(pair.value)]).otherwise(pl.col("value")).alias("value"))  # fmt: skip
    names = frame[str(pair.name)].str.extract(_BEFORE)
    return pl.DataFrame({"name": names, "value": frame[str(pair.value)]})
