"""What the first and last rows of a table show: where the data begin, the header, and what each column holds."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import Column, column_of
from excursions.read.exports.cells.factors import factors_within, scale_rows, with_scale
from excursions.read.exports.cells.headerrows import (
    cut_otherwise,
    first_data_row,
    fitted,
    header_rows,
    is_remark,
    misfit,
    trimmed,
    usual_width,
    width_of,
    with_damaged_rows,
    with_row_names,
)
from excursions.read.exports.cells.sections import PAIR, names_by_itself, pair_of, section_of
from excursions.read.exports.cells.table import Preview, Row
from excursions.read.text.units import is_unit
from excursions.read.text.words import roles_of

MOST_CELLS = 40_000
_MOST_ROWS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table understood as far as its first rows go.

    stem : file (and sheet) name without endings
    first_line : line of the first data row
    fault : why its rows and its header do not fit, None when they do
    separator : what stands between its cells, empty where nothing does
    section : how the line right above the table marks the name of a signal (see sections), empty where it does not
    preamble : key -> text of the lines above the header ("Tag: AT-101")
    preamble_lines : the same lines as they stood
    """

    stem: str
    columns: tuple[Column, ...]
    first_line: int
    header_line: int
    preamble: dict[str, str] = field(default_factory=dict)
    preamble_lines: tuple[str, ...] = ()
    late: tuple[Row, ...] = ()
    data: tuple[Row, ...] = ()
    fault: InputFileError | None = None
    separator: str = ""
    section: str = ""


def look_at(preview: Preview, stem: str) -> Sheet | None:
    """Find header, data and columns; None when no row looks like data."""
    sheet = _look(preview, stem)
    return sheet and replace(sheet, separator=preview.separator)


def _look(preview: Preview, stem: str) -> Sheet | None:
    if preview.header:
        return _sheet(stem, preview.rows, (), preview.header, (), preview.late, header_line=0)
    rows = [row for row in preview.rows if not is_remark(row)]
    start = first_data_row(rows, usual_width(rows))
    if start is None:
        return None
    header_at, above = header_rows(rows[:start], rows[start].line, usual_width(rows))
    header: Sequence[str] = rows[header_at].cells if header_at is not None else ()
    if header_at is not None and trimmed(header) == 1 and len(header) > 1:
        header, above = _labelled(rows, header, above)
    if header_at is None and start and (cells := cut_otherwise(rows[start - 1], usual_width(rows))):
        header, header_at = cells, start - 1
    if header_at is None and (named := _named_in_remark(preview, rows[start].line, usual_width(rows))):
        header = named
    start = with_damaged_rows(rows, header_at, start)
    above = tuple(index for index in above if index < start)
    top = rows[min([start if header_at is None else header_at, *above])].line
    header, above = _under_titles(header, header_at, rows, above)
    extra = tuple(_spread(rows[number].cells, header) for number in above)
    line = rows[header_at].line if header_at is not None else 0
    header = with_row_names(fitted(header, rows[start:]), rows[start:])
    preamble = [row for row in preview.rows if row.line < top]
    sheet = _sheet(stem, rows[start:], extra, header, preamble, preview.late, header_line=line)
    form, name = section_of(preamble[-1].cells) if preamble else ("", "")
    if names_by_itself(form, name):
        sheet.preamble.setdefault("tag", name)
    pair = header_at is not None and pair_of(header)[0] and not any(map(roles_of, header))
    return replace(sheet, section=PAIR if pair else form)


def _named_in_remark(preview: Preview, data_line: int, width: int) -> tuple[str, ...]:
    """The names in the last line above the data, a remark or not cut as they are: one for each column, ``# time pH ORP T``."""
    above = [row for row in preview.rows if row.line < data_line and trimmed(row.cells)]
    if not above or not (trimmed(above[-1].cells) == 1 or above[-1].cells[0].lstrip()[:1] in ("#", "%")):
        return ()
    text = " ".join(cell for cell in above[-1].cells if cell).lstrip("#%/ \t")
    for names in (text.split(), re.split(r"\s{2,}|\t", text), text.split(",")):
        if len(names) == width > 1 and any(roles_of(name) & {"time", "date"} for name in names):
            return tuple(name.strip() for name in names)
    return ()


def _labelled(
    rows: Sequence[Row], header: Sequence[str], above: tuple[int, ...]
) -> tuple[Sequence[str], tuple[int, ...]]:
    """Under a row that names the times alone the names of the others stand in the row so labelled, or in none."""
    tags = [i for i in above if "tag" in roles_of(rows[i].cells[0])]
    named = max(tags, key=lambda i: any(map(_has_letter, rows[i].cells[1:])), default=None)
    if named is None:
        return header, above
    return (header[0], *rows[named].cells[1:]), tuple(i for i in above if i != named)


def _has_letter(text: str) -> bool:
    return any(char.isalpha() for char in text)


_PARTS = {"value", "average", "other_figure", "quality", "time", "date", "clock"}


def _under_titles(
    header: Sequence[str], header_at: int | None, rows: Sequence[Row], above: tuple[int, ...]
) -> tuple[Sequence[str], tuple[int, ...]]:
    """Names that stand again under several titles, each over the first of its columns, behind those: ``Reactor A | | Reactor B |``.

    The titles stand in a row above the names, or in the row of the time over a row of names.
    """
    if header_at is None:
        return header, above
    for number in above:
        titles_at, names_at = min(number, header_at), max(number, header_at)
        width = max(len(header), len(rows[number].cells))
        titles, names = (((*rows[at].cells, *[""] * width)[:width]) for at in (titles_at, names_at))
        joined = _joined(titles, names)
        if joined and (number < header_at or number == header_at + 1):
            return joined, tuple(other for other in above if other != number)
    return header, above


def _joined(titles: Sequence[str], names: Sequence[str]) -> list[str]:
    """The names behind their titles where the same ones stand under several of them; else empty."""
    timed = [_of_time(name, names) or (not name.strip() and _of_time(title, titles)) for title, name in zip(titles, names, strict=True)]  # fmt: skip
    spread: list[str] = []
    title = ""
    for own, of_time in zip(titles, timed, strict=True):
        title = "" if of_time else own.strip() or title
        spread.append(title)
    pairs = [(title, name) for title, name in zip(spread, names, strict=True) if name.strip() and title]
    said = [name for _, name in pairs]
    again = len(set(said)) < len(said) == len(set(pairs))
    written = sum(bool(own.strip()) for own in titles) - sum(timed)
    merged = len({title for title, _ in pairs}) > 1 and written < len(said)
    others = any(roles_of(name) and len(name.strip()) > 1 for name in said)
    units = any(is_unit(title) for title, _ in pairs) or all(map(is_unit, said))
    if not (again and merged) or others or units:
        return []
    return [
        f"{title} {name}".strip() if name.strip() else own
        for title, name, own in zip(spread, names, titles, strict=True)
    ]


def _of_time(name: str, names: Sequence[str]) -> bool:
    """Whether a name is of a time; "T" that stands again is a temperature."""
    again = len(name.strip()) == 1 and list(names).count(name) > 1
    return bool(roles_of(name) & {"time", "date", "clock"}) and not again


def _spread(cells: Sequence[str], header: Sequence[str]) -> tuple[str, ...]:
    """A row above the header in which each tag stands over the first of its columns only, as merged cells are saved."""
    spread: list[str] = []
    for index, cell in enumerate(cells):
        part = index < len(header) and bool(roles_of(header[index]) & _PARTS)
        before = spread[-1] if spread and index and part and not is_unit(spread[-1]) else ""
        spread.append(cell if cell.strip() else before)
    for name in header[len(spread) :]:
        spread.append(spread[-1] if spread and roles_of(name) & _PARTS and not is_unit(spread[-1]) else "")
    return tuple(spread)


def _sheet(
    stem: str, data: Sequence[Row], extra: Sequence[tuple[str, ...]], header: Sequence[str], top: Sequence[Row],
    late: Sequence[Row], header_line: int,
) -> Sheet:  # fmt: skip
    said = key_values(top)
    header = [_called(cell, said) for cell in header]
    width = width_of(data, header)
    keep = min(_MOST_ROWS, max(8, MOST_CELLS // max(1, width)))
    sample = (
        [*data[: keep // 2 + keep % 2 + 2], *data[-(keep // 4) :], *late[: keep // 4]]
        if len(data) + len(late) > keep
        else [*data, *late]
    )
    rows, extra = scale_rows(extra)
    extra, within = factors_within(extra, units_only=True)
    (header,), named = factors_within([header], units_only=False)
    columns = tuple(
        with_scale(column_of(index, header, extra, sample), rows, (*within, *named))
        for index in range(width)
    )  # fmt: skip
    lines = tuple(" ".join(cell for cell in row.cells if cell.strip()) for row in top)
    return Sheet(
        stem=stem, columns=columns, first_line=data[0].line if data else 1, header_line=header_line,
        preamble=said, preamble_lines=lines, late=tuple(late), data=tuple(data), fault=misfit(data, header, width),
    )  # fmt: skip


_CHANNEL = re.compile(
    r"(?i)(?:ch|chan|channel|kanal|kan|canal|voie|trace|pen|input|eingang|entree|entrada|signal|var|col|column|spalte)[ ._#-]?\d{1,3}"
)


def _called(header: str, said: Mapping[str, str]) -> str:
    """The name of a numbered channel, where a line above the table says what it is: ``Channel 1: QE-7 [uS/cm]``, ``1;QE-7``."""
    name = header.strip().casefold()
    if _CHANNEL.fullmatch(name):
        return said.get(name, header)
    if not name.isdecimal():
        return header
    numbered = (
        text for key, text in said.items() if _CHANNEL.fullmatch(key) and re.search(rf"\D0*{int(name)}$", key)
    )
    named = said.get(name) or next(numbered, "")
    return named if any(char.isalpha() for char in named) else header


_LONGEST_LINE = 500
_APART = re.compile(r"(?<![:=\s])\s{2,}(?![:=\s])")  # "Tag: AT-101   Unit: pH"
_KEY_VALUE = re.compile(r"^[#;/%*\s\"]*([^:=]{1,40}?)\s*[:=]\s*(.+?)[\s\"]*$")


def key_values(rows: Sequence[Row]) -> dict[str, str]:
    """ "Tag: AT-101" or "Tag;AT-101" above a table, key in lower case."""
    found: dict[str, str] = {}
    for row in rows:
        cells = [cell.strip() for cell in row.cells if cell.strip()]
        if len(cells) >= 2 and not re.search(r"[:=].", cells[0]):
            key = cells[0].strip("#:= ").casefold()
            found.setdefault(key, _with_unit(cells[1:]) if _CHANNEL.fullmatch(key) else cells[1])
            continue
        for part in (part for cell in cells if len(cell) <= _LONGEST_LINE for part in _APART.split(cell)):
            if match := _KEY_VALUE.match(part):
                found.setdefault(match[1].strip().casefold(), match[2].strip())
    return found


def _with_unit(cells: Sequence[str]) -> str:
    """What a list of channels calls one of them, with the unit it gives beside it: ``CH001;QT-501;pH;0;14``."""
    unit = next((cell for cell in cells[1:] if is_unit(cell)), "")
    return f"{cells[0]} [{unit}]" if unit else cells[0]
