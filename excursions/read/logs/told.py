"""What is told of the columns of a table: how each was read, and which hold values that nothing uses."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace

from excursions.errors import InputFileError
from excursions.read.logs.cells import Row, Sheet
from excursions.read.logs.facts import OF_NUMBERS, Facts
from excursions.read.logs.figures import SECOND_SLOPE
from excursions.read.logs.headers import Meaning
from excursions.read.logs.rowtimes import clocks_by_cells
from excursions.read.logs.table import LogTable, cell_at
from excursions.read.text.fold import plain
from excursions.read.text.numbers import is_nothing, number_of
from excursions.records import Decision


def column_decision(file: str, table: LogTable) -> Decision:
    """How the columns of a table were understood, as one decision."""
    pairs = zip(table.headers, table.meanings, strict=True)
    said = "; ".join(f"{header}: {_said(meaning)}" for header, meaning in pairs if header)
    where = f"{file}, sheet {table.name}" if table.name else file
    return Decision(
        subject=where,
        what=f"columns read as {said}",
        why="by the words of the headers, and by the cells where those say nothing",
        option="--columns",
    )


def _said(meaning: Meaning) -> str:
    number = str(meaning.index or "") or (meaning.fixed.label if meaning.fixed else "")
    words = [meaning.phase, meaning.figure or meaning.kind, number]
    unit = f" [{meaning.unit}]" if meaning.unit else ""
    return " ".join(word.replace("_", " ") for word in words if word) + unit if meaning.kind else "not used"


ONCE = ("standard", *OF_NUMBERS)
# Kinds of which every column of a row is read; of all others the first that is filled.
_ALL_READ = frozenset((*ONCE, "comment", "result", "wide", "figure_unit"))


def left_out(
    file: str, table: LogTable, *, unread: Collection[str] = (), once: Collection[str] = ()
) -> list[Decision]:
    """Name the columns that hold values and are not used though their header does not say so.

    No header at all, more cells than headers, a second column of what a row has once.  What a header says is told by
    :func:`column_decision`.

    Parameters
    ----------
    unread, once : kinds that this sort of list has no use for, and of which it reads the first filled column only.
    """
    why = "no header says what they are, or another column of the same row says it already"
    return _told(file, table, list(_left_out(table, unread, once)), why)


def idle(file: str, table: LogTable, facts: Sequence[Facts], read: Callable[[Row], object]) -> list[Decision]:
    """Name the columns of readings that take no part in any entry: a reading without its standard, a standard without one.

    Tried on one row of each sort, by the cells that are filled, phase and action: without such a cell the entry is the same.
    """
    places = [at for at, meaning in enumerate(table.meanings) if meaning.kind in _TRIED]
    sorts: dict[tuple[tuple[int, ...], str, str, bool], list[Row]] = {}
    for fact in facts:
        filled = tuple(at for at in places if not is_nothing(cell_at(fact.row, at)))
        sorts.setdefault((filled, fact.phase, fact.action, fact.other), []).append(fact.row)
    rows: Counter[int] = Counter()
    for (filled, *_), same in sorts.items():
        whole = read(same[0])
        for at in filled:
            cells = same[0].cells
            if read(replace(same[0], cells=(*cells[:at], "", *cells[at + 1 :]))) == whole:
                rows[at] += len(same)
    said = [f'column {at + 1} ("{table.headers[at]}"), {_rows(count)}' for at, count in sorted(rows.items())]
    why = "what belongs to them is missing, as the standard of a reading, or another column counts instead"
    return _told(file, table, said, why)


_TRIED = frozenset(ONCE) - {"salinity"}  # a salinity of 0 is what stands there without one


def _rows(count: int) -> str:
    return f"{count} {'row' if count == 1 else 'rows'}"


def _told(file: str, table: LogTable, said: Sequence[str], why: str) -> list[Decision]:
    where = f"{file}, sheet {table.name}" if table.name else file
    what = f"values left out: {'; '.join(said)}"
    return [Decision(subject=where, what=what, why=why, option="--columns")] if said else []


def _left_out(table: LogTable, unread: Collection[str], once: Collection[str]) -> Iterator[str]:
    clocks = [] if table.columns("clock") else clocks_by_cells(table)[:1]
    first: dict[str, list[int]] = {}
    for at in range(max((len(row.cells) for row in table.rows), default=0)):
        header = table.headers[at] if at < len(table.headers) else ""
        kind = table.meanings[at].kind if at < len(table.meanings) else ""
        same = [] if kind in _ALL_READ and kind not in once else first.setdefault(kind, []) if kind else []
        filled = [row for row in table.rows if not is_nothing(cell_at(row, at))]
        lost = [row for row in filled if any(cell_at(row, other) for other in same)]
        if filled and ((not kind and not header and at not in clocks) or kind in unread):
            yield f'column {at + 1} ("{header or "no header"}"), {_rows(len(filled))}'
        elif lost and kind != "ignored":
            yield f'column {at + 1} ("{header}"), {_rows(len(lost))}, beside "{table.headers[same[0]]}"'
        same.append(at)


def not_understood(row: Row, table: LogTable) -> str:
    """The columns with a number in this row that no word explains, and what to do about them; empty where there are none.

    Several beside each other are probes or points rather than figures: no role of one column would read them.
    """
    unknown = [
        header
        for at, (header, meaning) in enumerate(zip(table.headers, table.meanings, strict=True))
        if header and not meaning.kind and number_of(cell_at(row, at), comma=False)
    ]
    if not unknown:
        return ""
    if len(unknown) == 1:
        return (
            f'; column "{unknown[0]}" is not understood: name it with --columns, for example raw={unknown[0]}'
        )
    named = " and ".join(f'"{header}"' for header in unknown[:2]) + (
        " and others" if len(unknown) > 2 else ""
    )
    return f"; nothing says which figure {named} hold: write a row for each, with point, probe and the figure (slope, for example) in columns of their own"


def sheet_left_out(file: str, sheet: Sheet) -> Decision:
    """That a sheet of several holds no such list."""
    why = "no row looks like a header"
    return Decision(subject=f"{file}, sheet {sheet.name}", what="left out", why=why, option="--columns")


def names_decision(file: str, table: LogTable) -> list[Decision]:
    """What was filled in from above, where something was."""
    if not table.filled:
        return []
    what = f"date and names of {table.filled} rows, where they are empty, are those of the row above"
    why = "they stand there for all rows of a round, or of one calibration as found and as left"
    return [Decision(subject=file, what=what, why=why, option="fill them in")]


_SIDE = re.compile(r"acid|sauer|sauren|alkal|alcal|basi[cqs]|bajo|low|high|\d")  # which buffers a slope is of


def without_twins(table: LogTable) -> tuple[LogTable, list[InputFileError]]:
    """Leave out columns that mean the same as one before them, and name them: which one counts cannot be known.

    A column that is empty throughout is no twin.  A second slope is none either: pH analysers may keep one for acid and
    one for alkaline buffers.  The first is the probe's slope, the second is kept beside it.
    """
    kept: dict[Meaning, int] = {}
    meanings, faults = list(table.meanings), []
    for at, meaning in enumerate(table.meanings):
        filled = any(cell_at(row, at) for row in table.rows)
        if meaning.kind not in ONCE or not filled:
            continue
        same = (
            replace(meaning, index=0) if meaning.kind == "figure" else meaning
        )  # slope 1 and slope 2 are both slopes
        second = replace(same, figure=SECOND_SLOPE)
        sided = same in kept and all(
            _SIDE.search(plain(table.headers[i]).casefold()) for i in (at, kept[same])
        )
        if sided and meaning.figure == "slope" and second not in kept:
            meanings[at], same = second, second
        if same in kept:
            meanings[at] = Meaning()
            faults.append(_twin(table, at, kept[same], _said(meaning)))
        kept.setdefault(same, at)
    return replace(table, meanings=tuple(meanings)), faults


def _twin(table: LogTable, at: int, first: int, what: str) -> InputFileError:
    return InputFileError(
        found=f'a second column of "{what}", which is left out',
        expected=f'one such column; "{table.headers[first]}" is used',
        mend=f'say what it holds, for example --columns "as left {what.split(" [")[0]}={table.headers[at]}"',
        column=table.headers[at],
    )
