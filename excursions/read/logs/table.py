"""A sheet of cells as a table: which row is the header, what stands above it, what each column means."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from excursions.errors import InputFileError
from excursions.read.logs.actions import action_of, phase_of
from excursions.read.logs.cells import Row, Sheet
from excursions.read.logs.headers import Meaning, fold, is_unit, meaning_of, unit_in
from excursions.read.logs.meanings import meanings_of
from excursions.read.logs.moments import is_month
from excursions.read.logs.roles import with_stated
from excursions.read.text.fold import plain
from excursions.read.text.numbers import number_of
from excursions.read.text.units import is_quantity
from excursions.read.text.vocabulary import FOUND_WORDS, LEFT_WORDS

_SEARCHED = 40  # a header further down than this many rows is not looked for
_PHASE_WORDS = re.compile(rf"\b(?:{'|'.join(sorted(FOUND_WORDS | LEFT_WORDS))})\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogTable:
    """Columns and data rows of one sheet.

    headers, meanings : one a column; rows : data rows below the header; above : what the block over the
    header states, by meaning (``point``, ``probe``, ...); name : name of the sheet; filled : rows with names of the row above;
    before : rows of data above the header, which belong to no column.
    """

    name: str
    headers: tuple[str, ...]
    meanings: tuple[Meaning, ...]
    rows: tuple[Row, ...]
    above: Mapping[str, str] = field(default_factory=dict)
    separator: str = ""
    filled: int = 0
    before: tuple[Row, ...] = ()

    def columns(self, kind: str) -> list[int]:
        """Places of the columns of this kind."""
        return [at for at, meaning in enumerate(self.meanings) if meaning.kind == kind]

    def cell(self, row: Row, kind: str) -> str:
        """First filled cell of this kind in a row, else what the block above states, else empty."""
        for at in self.columns(kind):
            if cell := cell_at(row, at):
                return cell
        return self.above.get(kind, "")


Reader = Callable[[Sequence[str]], list[Meaning]]


def find_table(sheet: Sheet, columns: Mapping[str, str], *, read: Reader = meanings_of) -> LogTable | None:
    """Find the header row of a sheet and read it; None when no row looks like one.

    Parameters
    ----------
    columns : mapping of meaning to header
        What the user states; see :func:`with_stated`.
    """
    place = _header_place(sheet.rows, columns, read)
    if place is None and "time" not in columns and (header := _over_dates(sheet.rows[:HEAD_ROWS])):
        return find_table(sheet, {**columns, "time": header}, read=read)
    if place is None:
        return None
    headers, used = _headers(sheet.rows, place, read)
    meanings = with_stated(headers, read(headers), columns)
    rows = sheet.rows[place + used :]
    if rows and (units := _unit_row(rows[0])):
        meanings = [_with_unit(m, units[at] if at < len(units) else "") for at, m in enumerate(meanings)]
        rows = rows[1:]
    return LogTable(
        name=sheet.name,
        headers=tuple(headers),
        meanings=tuple(meanings),
        rows=rows,
        above=_block(sheet.rows[:place]),
        separator=sheet.separator,
        before=tuple(row for row in sheet.rows[:place] if _is_data(row)),
    )


HEAD_ROWS = 12  # a title block above a header is rarely longer (cp)


def _over_dates(rows: Sequence[Row]) -> str:
    """The first header of a row of names with a date below it, or empty."""
    for row, below in pairwise(rows):
        names = [cell for cell in row.cells if cell]
        lettered = all(re.search(r"[^\W\d_]", cell) and not is_date(cell) for cell in names)
        if row.cells[:1] == tuple(names[:1]) and len(names) > 1 and lettered and is_date(below.cells[0]):
            return names[0]
    return ""


def _header_place(rows: Sequence[Row], columns: Mapping[str, str], read: Reader) -> int | None:
    """The row with the most cells that mean something, if one of them is a time."""
    stated = {fold(header) for header in columns.values()}
    best, best_score = None, 1
    for place, row in enumerate(rows[:_SEARCHED]):
        kinds = [meaning.kind for meaning in read(row.cells)]
        named = sum(fold(cell) in stated for cell in row.cells if cell)
        score = sum(bool(kind) for kind in kinds) + 2 * named
        timed = ("time" in kinds or "clock" in kinds or named) and not any(map(is_date, row.cells))
        if timed and score > best_score:
            best, best_score = place, score
    return _under_a_form(rows, read) if best is None else best


_A_DATE = re.compile(r"\s*(?:\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}[./-]\d{1,2}[./-]\d{1,2})(?![\d.,])")


def is_date(cell: str) -> bool:
    """A date, which no header holds: ``Date: | 13.03.2026`` stands above a form."""
    return bool(_A_DATE.match(cell))


def _is_data(row: Row) -> bool:
    """A date and a number beside it: no line of a block that states something, ``Date: | 13.03.2026 | Rev. | 3``."""
    first, *rest = [cell for cell in row.cells if cell] or [""]
    return is_date(first) and any(number_of(cell, comma=True) for cell in rest)


def no_table(file: str, sheets: Sequence[Sheet], expected: tuple[str, str, str]) -> InputFileError:
    """Why no sheet holds such a list; `expected`: its name, the columns of its header, an example for --columns."""
    rows = [row for sheet in sheets for row in sheet.rows[:HEAD_ROWS]]
    kind, columns, example = expected
    for said, are in (("dates", is_date), ("months", is_month)):
        across = next((row for row in rows if sum(map(are, row.cells)) > 1), None)
        if across is not None:
            return InputFileError(
                found=f"{said} side by side in one row", expected=f"a row for each of them, with {columns}",
                mend=f"write a row for each of these {said}, with its date in a column of its own (points by {said} alone: transpose), and save again", file=file, line=across.line,
            )  # fmt: skip
    return InputFileError(
        found=f"no row that looks like the header of {kind}", expected=f"a header with {columns}",
        mend=f"write such a header above the rows, or name the columns of the one that is there with --columns, for example --columns {example}",
        file=file, line=1,
    )  # fmt: skip


_MEASURED_KINDS = frozenset(("standard", "raw", "value", "figure"))


def _under_a_form(rows: Sequence[Row], read: Reader) -> int | None:
    """The header of a form whose date stands above it, as found and as left beside each other."""
    for place, row in enumerate(rows[:_SEARCHED]):
        meanings = [
            meaning
            for cell, meaning in zip(row.cells, read(row.cells), strict=True)
            if any(char.isalpha() for char in cell)  # a row of figures behind a label is no header
        ]
        measured = [meaning for meaning in meanings if meaning.kind in _MEASURED_KINDS]
        if (
            len(measured) > 1
            and any(meaning.phase for meaning in measured)
            and "time" in _block(rows[:place])
        ):
            return place
    return None


def _headers(rows: Sequence[Row], place: int, read: Reader) -> tuple[list[str], int]:
    """Header texts, joined with a row of group titles above (``As found | | As left |``) where there is one.

    The titles may also stand in the row of the other headers, over a row of names for the columns below them.
    """
    header = list(rows[place].cells)
    following = rows[place + 1].cells if place + 1 < len(rows) else ()
    if _names_columns(header, following, read) or _names_quantities(header, following, read):
        below, title = following, ""
        joined = []
        for at in range(max(len(header), len(below))):
            own, cell = (cells[at] if at < len(cells) else "" for cells in (header, below))
            title = own or title
            joined.append(f"{title} {cell}" if cell else own)
        return joined, 2
    above = rows[place - 1].cells if place else ()
    groups = [cell for cell in above if cell]
    phased = [cell for cell in (*groups, *header) if cell and _PHASE_WORDS.search(fold(cell))]
    under = len(set(phased)) < len(phased)  # "found", "left" under each of several figures
    if len(groups) >= 2 and (under or any(cell in groups for cell in phased)) and len(above) > 2:
        title, titles = "", []
        for at in range(len(header)):
            title = above[at] if at < len(above) and above[at] else title
            titles.append(title)
        header = [_joined(title, cell) for title, cell in zip(titles, header, strict=True)]
    return header, 1


def _names_columns(header: Sequence[str], below: Sequence[str], read: Reader) -> bool:
    """Whether a row names the columns under titles of phases: figures and the like, no cell of data, none under a time."""
    if not any(_PHASE_WORDS.search(fold(cell)) for cell in header if cell):
        return False
    filled = [at for at, cell in enumerate(below) if cell]
    first = next((at for at, cell in enumerate(header) if _PHASE_WORDS.search(fold(cell))), 0)
    lettered = any(char.isalpha() for at in filled if at >= first for char in below[at])
    under_titles = any(at > first and (at >= len(header) or not header[at]) for at in filled)
    if not lettered and not under_titles:
        return False  # numbers under headers of their own are data; under merged titles they may be buffers
    meanings = read(below)
    untimed = all(read([header[at]])[0].kind not in ("time", "clock") for at in filled if at < len(header))
    return len(filled) >= 2 and untimed and all(meanings[at].kind in _NAMED_BELOW for at in filled)


def _names_quantities(header: Sequence[str], below: Sequence[str], read: Reader) -> bool:
    """Whether a row names what was measured at places whose titles stand over several columns, ``Outlet 1 | | Outlet 2 |``."""
    filled = [at for at, cell in enumerate(below) if cell]
    titles = [next((cell for cell in header[at::-1] if cell), "") for at in filled]
    return (
        any(at >= len(header) or not header[at] for at in filled)
        and all(is_unit(below[at]) or is_quantity(unit_in(fold(below[at]))[0]) for at in filled)
        and all(title and read([title])[0].kind in ("wide", "point") for title in titles)
    )


_NAMED_BELOW = ("figure", "raw", "value", "temperature", "standard")


def _joined(title: str, cell: str) -> str:
    alone = meaning_of(cell).kind
    return (
        cell
        if alone in ("time", "clock", "point", "probe", "comment", "action", "") or not title
        else f"{title} {cell}"
    )


def _unit_row(row: Row) -> tuple[str, ...]:
    """Cells of a row that holds nothing but units, else nothing."""
    filled = [cell for cell in row.cells if cell]
    return row.cells if filled and all(is_unit(cell) for cell in filled) else ()


def _with_unit(meaning: Meaning, unit: str) -> Meaning:
    return (
        replace(meaning, unit=fold(unit).strip("[]() ").replace(" ", ""))
        if unit and not meaning.unit
        else meaning
    )


def _block(rows: Sequence[Row]) -> dict[str, str]:
    """``Point: QT101`` or ``Serial number | 12345`` above the header."""
    found: dict[str, str] = {}
    for row in rows:
        cells = [cell for cell in row.cells if cell]
        pairs = (
            [cells[0].split(":", 1)]
            if len(cells) == 1 and ":" in cells[0]
            else [cells[at : at + 2] for at in range(0, len(cells) - 1, 2)]
        )
        for pair in pairs:
            if len(pair) == 2 and (kind := meaning_of(pair[0].rstrip(" :")).kind):
                found.setdefault(kind, pair[1].strip())
    return found


def is_point_like(text: str) -> bool:
    """Whether a sheet's name can be the name of a point or probe rather than ``Sheet1``, ``pH`` or ``2024``."""
    said = plain(text).strip().casefold()
    return (
        bool(said)
        and not is_quantity(said)
        and not re.fullmatch(
            r"(sheet|tabelle|feuil|hoja|folha|planilha|blatt|data|log|calibrations?|kalibrierungen|cal)?\s*\d{0,4}",
            said,
        )
    )


def with_actions(table: LogTable) -> LogTable:
    """Find the column of actions by its cells where no header names it (``Type``, ``Kind``, ``What``)."""
    if table.columns("action"):
        return table
    for at, meaning in enumerate(table.meanings):
        cells = [cell for row in table.rows if (cell := cell_at(row, at))]
        if (
            meaning.kind in ("", "model", "measurand")
            and cells
            and sum(bool(action_of(c)) for c in cells) >= len(cells) / 2
        ):
            changed = [
                replace(meaning, kind="action") if i == at else m for i, m in enumerate(table.meanings)
            ]
            return replace(table, meanings=tuple(changed))
    return table


def with_phases(table: LogTable) -> LogTable:
    """Find the column that says as found or as left by its cells where no header names it (``As``, ``State``)."""
    if table.columns("phase") or {meaning.phase for meaning in table.meanings} >= {"as_found", "as_left"}:
        return table
    for at, meaning in enumerate(table.meanings):
        cells = [cell for row in table.rows if (cell := cell_at(row, at))]
        short = all(len(cell) <= _LONGEST_PHASE for cell in cells)
        if (
            meaning.kind in ("", "result", "model")
            and cells
            and short
            and all(phase_of(cell) for cell in cells)
            and not _are_initials(cells)
        ):
            changed = [replace(meaning, kind="phase") if i == at else m for i, m in enumerate(table.meanings)]
            return replace(table, meanings=tuple(changed))
    return table


def _are_initials(cells: Sequence[str]) -> bool:
    """One and the same letters throughout: "AL" is rather who did it than as left, "F" rather a fault."""
    return len(set(cells)) == 1 and len(cells[0]) <= 2


def with_names_above(table: LogTable) -> LogTable:
    """Fill what is empty because it stands in the row above, as merged cells are saved.

    Date and names of a second row of one calibration, "found" and below it "left", or the next of its standards; the date
    of a round, for instruments that it has not named yet: the same one again without a date is not known to be of that day.
    """
    dates, clocks, phases, standards = (
        table.columns(kind) for kind in ("time", "clock", "phase", "standard")
    )
    names = [at for kind in ("point", "probe", "model") for at in table.columns(kind)]
    if not dates:
        return table
    rows: list[Row] = []
    filled = 0
    met: set[tuple[str, ...]] = set()
    stood: set[tuple[str, ...]] = set()  # phases and standards of one calibration so far
    for row in table.rows:
        dated = any(cell_at(row, at) for at in dates)
        named = any(cell_at(row, at) for at in names)
        phase = phase_of(cell_at(row, phases[0])) if phases else ""
        stood = set() if dated or named else stood
        if rows and not dated and not named:
            other = phase and phase != phase_of(cell_at(rows[-1], phases[0]))
            whole = _filled(row, rows[-1], phases)
            if other or (
                any(cell_at(row, at) for at in standards) and _of(whole, phases, standards) not in stood
            ):
                row, filled = _filled(whole, rows[-1], [*dates, *clocks, *names]), filled + 1
        stood.add(_of(row, phases, standards))
        called = (phase, *(cell_at(row, at) for at in names))
        met = set() if dated else met
        if rows and not dated and named and called not in met:
            row, filled = _filled(row, rows[-1], [*dates, *clocks]), filled + 1
        met.add(called)
        rows.append(row)
    return replace(table, rows=tuple(rows), filled=filled)


def _of(row: Row, phases: Sequence[int], standards: Sequence[int]) -> tuple[str, ...]:
    return (*(phase_of(cell_at(row, at)) for at in phases), *(cell_at(row, at) for at in standards))


def _filled(row: Row, above: Row, places: Sequence[int]) -> Row:
    cells = [cell_at(row, at) for at in range(max(len(row.cells), len(above.cells)))]
    for at in places:
        cells[at] = cells[at] or cell_at(above, at)
    return replace(row, cells=tuple(cells))


_LONGEST_PHASE = 24


def cell_at(row: Row, at: int) -> str:
    """A cell of a row, empty where the row is too short."""
    return row.cells[at] if at < len(row.cells) else ""
