"""Laboratory (grab) samples: value, time and the point they were drawn at; a row a sample, or a column a point."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from excursions.errors import InputFileError
from excursions.read.logs import samplewords as w
from excursions.read.logs.cells import Row, Sheet, read_cells
from excursions.read.logs.gathered import Gathered, ListReading
from excursions.read.logs.headers import fold, is_unit, unit_in
from excursions.read.logs.sampleheaders import sample_meanings
from excursions.read.logs.table import (
    LogTable,
    cell_at,
    find_table,
    is_point_like,
    no_table,
    with_names_above,
)
from excursions.read.logs.told import column_decision, left_out, names_decision, sheet_left_out
from excursions.read.model import REFUSED_SCHEMA, ReadOptions
from excursions.read.text.fold import plain
from excursions.read.text.numbers import is_nothing, number_of
from excursions.read.text.units import is_quantity, pretty
from excursions.records import LabSample

_EXPECTED = ("a list of samples", "time, point (or tag) and value", "value=Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleReading(ListReading):
    """Samples as read, in the order of the file.

    `LabSample.point` is the point or tag as written, `LabSample.unit` the unit as written or empty.
    """

    samples: tuple[LabSample, ...] = ()


@dataclass(kw_only=True)
class _List(Gathered):
    """What has been gathered from one file so far."""

    samples: list[LabSample] = field(default_factory=list)
    mark: str = ""
    tests: bool = False
    lost: dict[int, list[tuple[int, str]]] = field(default_factory=dict)

    def commented(self, table: LogTable, row: Row) -> str:
        """The comments of a row with the mark of its time behind them."""
        comments = [cell_at(row, at) for at in table.columns("comment")] or [table.cell(row, "comment")]
        return "; ".join(text for text in (*comments, self.mark) if text)


def read_samples(
    path: Path, *, options: ReadOptions | None = None, columns: Mapping[str, str] | None = None
) -> SampleReading:
    """Read a list of laboratory samples.

    Parameters
    ----------
    path : Path
        A row a sample (time, point or tag, value, and if given unit and comment), or a column a point.
    options : ReadOptions
        Zone, order of dates, decimal mark, separator and encoding where the user states them.
    columns : mapping of meaning to header
        Overrules what is guessed: ``{"value": "Result", "point": "Station"}``.

    Returns
    -------
    SampleReading
        Every row is used or refused with a reason; values below a limit (``<0.1``) are refused, because
        nobody knows them.
    """
    chosen = options or ReadOptions()
    try:
        content = read_cells(path, chosen)
    except InputFileError as error:
        return SampleReading(path=path, problems=(error.at(file=str(path)),))
    gathered = _List(file=str(path), options=chosen)
    tables = []
    for sheet in content.sheets:
        if table := sample_table(sheet, columns or {}):
            tables.append(table)
            _read_table(gathered, table)
        elif len(content.sheets) > 1:
            gathered.decisions.append(sheet_left_out(gathered.file, sheet))
    if not tables:
        gathered.problems.append(no_table(str(path), content.sheets, _EXPECTED))
    return SampleReading(
        path=path,
        sha256=content.sha256,
        samples=tuple(gathered.samples),
        refused=pl.DataFrame(gathered.refused, schema=REFUSED_SCHEMA),
        decisions=tuple(gathered.decisions),
        problems=tuple(gathered.problems),
        rows=gathered.rows,
        used=gathered.rows - len(gathered.refused),
        headers=tuple(header for table in tables for header in table.headers),
    )


def sample_table(sheet: Sheet, columns: Mapping[str, str]) -> LogTable | None:
    """The list in a sheet; where no header names the time, the first column is it if dates stand below its header."""
    table = find_table(sheet, columns, read=sample_meanings)
    return table and with_names_above(table)


def _read_table(gathered: _List, table: LogTable) -> None:
    gathered.decisions += [column_decision(gathered.file, table), *names_decision(gathered.file, table)]
    comma, moments = gathered.begin(table)
    wide = table.columns("wide") if not table.columns("value") else []
    gathered.tests = _several_tests(table)
    unread = (
        *_UNREAD,
        *(("value_unit",) if wide else ()),
        *(("measurand",) if wide or not gathered.tests else ()),
    )
    gathered.decisions += left_out(gathered.file, table, unread=unread, once=("value",))
    for at, (row, time) in enumerate(zip(table.rows, moments.time, strict=True)):
        gathered.mark = moments.marks.get(at, "")
        if time is None:
            gathered.refuse(row, _dateless(table, row), "time")
        elif taken_back := _taken_back(table, row):
            gathered.refuse(row, f'the list says "{taken_back}" of it: not used')
        elif wide:
            _take_wide(gathered, table, row, time, wide, comma)
        else:
            _take_long(gathered, table, row, time, comma)
    _tell_lost(gathered, table)


_UNREAD = ("probe", "old_probe", "model", "temperature", "result", "phase", "action")


def _dateless(table: LogTable, row: Row) -> str:
    empty = not table.cell(row, "time") and not table.cell(row, "clock")
    return "no date: fill it in on every row" if empty else "no date that can be read"


def _taken_back(table: LogTable, row: Row) -> str:
    """The word in a column of states by which the laboratory takes a result back, or empty."""
    for at, meaning in enumerate(table.meanings):
        cell = cell_at(row, at)
        if meaning.kind in ("", "ignored", "result", "phase") and plain(cell).casefold() in w.WITHDRAWN:
            return cell
    return ""


def _tell_lost(gathered: _List, table: LogTable) -> None:
    """What stood in cells where numbers belong, a sentence for each column."""
    for at, cells in sorted(gathered.lost.items()):
        words = list(dict.fromkeys(cell for _, cell in cells))
        said = ", ".join(f'"{word[:40]}"' for word in words[:3]) + (
            " and other texts" if len(words) > 3 else ""
        )
        left = "this cell is" if len(cells) == 1 else f"these {len(cells)} cells are"
        gathered.problems.append(
            InputFileError(
                found=said, expected="a number; of a limit nobody knows the value", mend=f"{left} left out; the rest of {'the row' if len(cells) == 1 else 'their rows'} is used",
                file=gathered.file, line=cells[0][0], column=table.headers[at],
            )
        )  # fmt: skip
    gathered.lost.clear()


def _several_tests(table: LogTable) -> bool:
    """Whether one place has results of more than one test: then a place alone is no point."""
    seen: dict[str, set[str]] = {}
    if not table.columns("measurand"):
        return False
    for row in table.rows:
        seen.setdefault(table.cell(row, "point"), set()).add(table.cell(row, "measurand"))
    return any(len(tests) > 1 for tests in seen.values())


_NOWHERE = "no point and no tag; name their column with --columns point=HEADER"


def _take_long(gathered: _List, table: LogTable, row: Row, time: int, comma: bool) -> None:
    point = table.cell(row, "point") or (table.name if is_point_like(table.name) else "")
    if gathered.tests:
        point = f"{point} {table.cell(row, 'measurand')}".strip()
    cell = table.cell(row, "value")
    number = None if is_nothing(cell) else number_of(cell, comma=comma)
    if not point:
        gathered.refuse(row, _NOWHERE, "point")
    elif number is None:
        gathered.refuse(row, f'no number: "{cell[:40]}"' if cell else "no value", "value")
    elif cell.lstrip()[:1] in "<>":
        gathered.refuse(row, f'only a limit is known: "{cell[:40]}"', "value")
    else:
        header_unit = next((m.unit for m in table.meanings if m.kind == "value"), "")
        stated = table.cell(row, "value_unit")
        unit = ("" if is_nothing(stated) else stated) or pretty(number[1] or header_unit)
        unit = unit or _named_as_unit(table.cell(row, "measurand"))
        comment = gathered.commented(table, row)
        gathered.samples.append(
            LabSample(point=point, time=time, value=number[0], unit=unit, comment=comment, line=row.line)
        )


def _take_wide(
    gathered: _List, table: LogTable, row: Row, time: int, wide: Sequence[int], comma: bool
) -> None:
    comment = gathered.commented(table, row)
    found = 0
    lost: list[tuple[int, str]] = []
    for at in wide:
        cell = cell_at(row, at)
        number = None if is_nothing(cell) or cell.lstrip()[:1] in "<>" else number_of(cell, comma=comma)
        if number:
            name, unit = _name_of(table.headers[at])
            if place := table.cell(row, "point") or (
                table.name if is_point_like(table.name) and is_quantity(name) else ""
            ):
                name = f"{place} {name}" if len(wide) > 1 else place
            sample = LabSample(
                point=name,
                time=time,
                value=number[0],
                unit=pretty(number[1])
                or unit
                or pretty(table.meanings[at].unit)
                or _named_as_unit(table.headers[at]),
                comment=comment,
                line=row.line,
            )
            gathered.samples.append(sample)
            found += 1
        elif not is_nothing(cell):
            lost.append((at, cell))
    if not found:
        gathered.refuse(row, "no number in any column of values")
        return
    for at, cell in lost:
        gathered.lost.setdefault(at, []).append((row.line, cell))


def _named_as_unit(quantity: str) -> str:
    """The unit of a quantity whose name is its unit: ``pH``, ``pH-Wert``, ``Outlet pH``; a tag of such letters says nothing of a unit."""
    return "pH" if re.search(r"(?:^|\s)ph(?:[\s_.-]*(?:wert|value|waarde|varde))?$", fold(quantity)) else ""


def _name_of(header: str) -> tuple[str, str]:
    """Name of the point and unit in a header such as ``QT101 [pH]``."""
    match = re.match(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$", header)
    if match and match[1] and unit_in(fold(header))[1]:
        return match[1].strip(), match[2].strip()
    behind = re.match(
        r"^(.*\S)\s+(\S*[^\w\s]\S*)$", header.strip()
    )  # a unit of letters alone may be a name: "Tank C"
    if behind and is_unit(behind[2]):
        return behind[1], pretty(behind[2])
    return header.strip(), ""
