"""Logs that are no table of a row a calibration: rows for columns, and forms that say a thing a line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise

from excursions.read.logs.cells import Row, Sheet
from excursions.read.logs.headers import meaning_of
from excursions.read.logs.table import LogTable, cell_at, find_table

_WIDEST_FORM, _LONGEST_FORM = 60, 60  # a form holds a few calibrations side by side, not hundreds
_MOSTLY = 0.7  # share of lines that say a thing each; a title and a heading may stand among them
_LABELLED = re.compile(r"\s*([^\W\d][^:=]{0,39}?)\s*(?::(?!\d)|=)\s*(.*)")


def find_log(sheet: Sheet, columns: Mapping[str, str]) -> LogTable | None:
    """The table of a log as it stands, with rows for columns, or of forms that say a thing a line; None where it is none of these."""
    upright, turned = find_table(sheet, columns), find_table(transposed(sheet), columns)
    if (
        upright
        and turned
        and ((_says_twice(upright) and not _says_twice(turned)) or _labels_figures(upright))
    ):
        return turned
    return upright or turned or find_table(forms(sheet), columns)


def parted(sheet: Sheet) -> list[Sheet]:
    """The forms that stand one below the other on a sheet, each from the first label that comes again, with one date each.

    The sheet as it is where it holds none of these.
    """
    labels = [cell_at(row, 0) if cell_at(row, 1) else "" for row in sheet.rows]
    first = next((label for label in labels if label and labels.count(label) > 1), "")
    starts = [at for at, label in enumerate(labels) if label == first]
    blocks = [sheet.rows[begin:end] for begin, end in pairwise((*starts, len(sheet.rows)))]
    dated = [[row for row in block if meaning_of(cell_at(row, 0)).kind == "time"] for block in blocks]
    headed = any(meaning_of(cell_at(row, 1)).kind for rows in dated for row in rows)
    if not first or headed or any(len(rows) != 1 for rows in dated):
        return [sheet]
    shared = sheet.rows[: starts[0]]  # what is said once above them
    return [Sheet(sheet.name, (*block, *shared), sheet.separator) for block in blocks]


def _says_twice(table: LogTable) -> bool:
    """Whether "as found" and "as left" stand over several columns each: those of several days, in a form with a label before each row."""
    phases = [meaning for meaning in table.meanings if meaning.kind == "value" and meaning.phase]
    return len(set(phases)) < len(phases)


def _labels_figures(table: LogTable) -> bool:
    """Whether rows below a header without date and standards begin with labels, ``Slope [%]`` beside what was found and left."""
    own = any(table.columns(kind) for kind in ("time", "clock", "standard"))
    return not own and any(meaning_of(cell_at(row, 0)).kind == "figure" for row in table.rows)


def transposed(sheet: Sheet) -> Sheet:
    """Rows for columns: a form with a label in each line becomes a table of one row (or of one row a column)."""
    width = max((len(row.cells) for row in sheet.rows), default=0)
    if width > _WIDEST_FORM or len(sheet.rows) > _LONGEST_FORM:
        return Sheet(sheet.name, ())
    labelled = [row for row in sheet.rows if sum(bool(cell) for cell in row.cells) > 1]
    columns = [tuple(cell_at(row, at) for row in labelled) for at in range(width)]
    line = labelled[0].line if labelled else 1
    return Sheet(sheet.name, tuple(Row(line, cells) for cells in columns if any(cells)), sheet.separator)


def forms(sheet: Sheet) -> Sheet:
    """A row for each form that says a thing a line, ``Slope : 97.6 %``: a label that comes again begins the next one."""
    made: list[tuple[int, dict[str, str]]] = []
    filled = [row for row in sheet.rows if any(row.cells)]
    for row in filled:
        match = _LABELLED.fullmatch("".join(row.cells[:1])) if sum(map(bool, row.cells)) == 1 else None
        if match is None:
            continue
        if not made or match[1] in made[-1][1]:
            made.append((row.line, {}))
        made[-1][1][match[1]] = match[2].strip()
    if not made or sum(len(said) for _, said in made) < _MOSTLY * len(filled):
        return Sheet(sheet.name, ())
    labels = list(dict.fromkeys(label for _, said in made for label in said))
    rows = (Row(line, tuple(said.get(label, "") for label in labels)) for line, said in made)
    return Sheet(sheet.name, (Row(made[0][0], tuple(labels)), *rows), sheet.separator)
