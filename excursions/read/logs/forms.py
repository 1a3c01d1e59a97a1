"""Logs that are no table of a row a calibration: rows for columns, forms that say a thing a line, diaries in running text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise

from excursions.read.logs.actions import action_of
from excursions.read.logs.cells import Row, Sheet
from excursions.read.logs.headers import meaning_of
from excursions.read.logs.moments import CLOCK
from excursions.read.logs.spelling import SERIAL_SAID
from excursions.read.logs.spoken import figures_in
from excursions.read.logs.table import LogTable, cell_at, find_table, is_date

_WIDEST_FORM, _LONGEST_FORM = 60, 60  # a form holds a few calibrations side by side, not hundreds
_MOSTLY = 0.7  # share of lines that say a thing each; a title and a heading may stand among them
_SHARE_DATED = 0.3  # of the lines of a diary; a day may be told in three
_LABELLED = re.compile(r"\s*([^\W\d][^:=]{0,39}?)\s*(?::(?!\d)|=)\s*(.*)")


def find_log(sheet: Sheet, columns: Mapping[str, str]) -> LogTable | None:
    """The table of a log as it stands, with rows for columns, of forms that say a thing a line, or of a diary; else None."""
    upright, turned = find_table(sheet, columns), find_table(transposed(sheet), columns)
    if (
        upright
        and turned
        and ((_says_twice(upright) and not _says_twice(turned)) or _labels_figures(upright))
    ):
        return turned
    return upright or turned or find_table(forms(sheet), columns) or find_table(diary(sheet), columns)


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
    labelled = _under_days([row for row in sheet.rows if sum(bool(cell) for cell in row.cells) > 1], width)
    columns = [tuple(cell_at(row, at) for row in labelled) for at in range(width)]
    line = labelled[0].line if labelled else 1
    return Sheet(sheet.name, tuple(Row(line, cells) for cells in columns if any(cells)), sheet.separator)


def _under_days(rows: list[Row], width: int) -> list[Row]:
    """The same with a label before a row of days, and with what stands once above it, ``Tag;AT-1``, for each day."""
    at = next((at for at, row in enumerate(rows) if _are_days(row.cells[1:])), None)
    if at is None or meaning_of(rows[at].cells[0]).kind == "time":
        return rows
    above = [
        Row(row.line, (row.cells[0], *[row.cells[1]] * (width - 1)))
        if sum(map(bool, row.cells)) == 2 and row.cells[0]
        else row
        for row in rows[:at]
        if row.cells[1]
    ]
    return [*above, Row(rows[at].line, ("Date", *rows[at].cells[1:])), *rows[at + 1 :]]


def _are_days(cells: Sequence[str]) -> bool:
    days = [cell for cell in cells if cell]
    return len(days) > 1 and all(map(is_date, days))


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


_DAY = r"\d{1,4}[./-]\d{1,2}[./-]\d{2,4}|\d{1,2}\.? ?[^\W\d]{3,9}\.? \d{4}|[^\W\d]{3,9} \d{1,2},? \d{4}"
_DATED = re.compile(
    rf"\s*(?:[^\W\d]{{2,10}}\.?,? )?(?P<date>{_DAY})[T,;: ]*(?P<clock>{CLOCK})?(?![\d.:])[\s,;:–-]*(?P<rest>.*)"
)
# A name with a digit that no quantity has: "AE-31", "QT101", "F1-PH"; not "O2", "CO2", "pH7".
_POINT = re.compile(r"(?<![\w/-])(?=[\w./-]*\d)(?=[\w.]*[-_/]|\D+\d{2})[A-Z][\w./-]*\w")


def diary(sheet: Sheet) -> Sheet:
    """A row for each day of running text, ``14.01.2026 09:00 QT-101 calibrated, slope 97.1 %``; lines without a date go on."""
    between = sheet.separator if len(sheet.separator) == 1 else " "
    told: list[tuple[int, str, str]] = []
    for row in sheet.rows:
        text = between.join(row.cells).strip(f"{between} ")
        if match := _DATED.fullmatch(text):
            told.append((row.line, f"{match['date']} {match['clock'] or ''}".strip(), match["rest"]))
        elif told:
            line, when, before = told[-1]
            told[-1] = (line, when, f"{before} {text}")
    points = [_POINT.search(SERIAL_SAID.sub(" ", text)) for _, _, text in told]
    rows = [
        Row(line, (when, name := point[0] if point else "", text.removeprefix(name).lstrip(" ,:;-")))
        for (line, when, text), point in zip(told, points, strict=True)
    ]
    worked = sum(bool(action_of(row.cells[2]) or figures_in(row.cells[2])) for row in rows)
    if len(rows) < _SHARE_DATED * sum(any(row.cells) for row in sheet.rows) or 2 * worked <= len(rows):
        return Sheet(sheet.name, ())
    return Sheet(sheet.name, (Row(1, ("Date", "Point", "Action")), *rows), sheet.separator)
