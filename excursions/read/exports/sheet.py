"""What the first and last rows of a table show: where the data begin, the header, and what each column holds."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from excursions.errors import InputFileError
from excursions.read.exports.quality import is_quality_text
from excursions.read.exports.table import Preview, Row
from excursions.read.exports.times import NUMBER_TIMES
from excursions.read.exports.timeshapes import clock_shape_of, shape_of, zone_offset
from excursions.read.exports.values import looks_numeric
from excursions.read.exports.words import STATE_WORDS, is_status_text, roles_of

MOST_CELLS = 40_000
_MOST_ROWS = 400
_MOST_HEADER_ROWS = 6
_ENOUGH = 0.6  # share of filled cells that must be of a kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a sheet.

    header : the name, empty when it has none; above : cells of further header rows
    roles : what the header may name
    filled, times, dates, clocks, numbers, statuses, zones : cells of the sample, and how many look like each
    distinct : different texts in the sample
    cells : the sample itself
    """

    index: int
    header: str
    above: tuple[str, ...]
    roles: frozenset[str]
    cells: tuple[str, ...]
    filled: int
    times: int
    dates: int
    clocks: int
    numbers: int
    statuses: int
    zones: int
    distinct: int

    def mostly(self, count: int) -> bool:
        """Whether so many cells are most of the filled ones."""
        return self.filled > 0 and count >= _ENOUGH * self.filled

    @property
    def is_time(self) -> bool:
        """Dates with or without a clock."""
        return self.mostly(self.times + self.dates)

    @property
    def is_full_time(self) -> bool:
        """Dates with a clock."""
        return self.mostly(self.times)

    @property
    def is_date(self) -> bool:
        """Dates without a clock."""
        return self.is_time and not self.is_full_time

    @property
    def is_clock(self) -> bool:
        """Times of day alone."""
        return self.mostly(self.clocks) and not self.is_time

    @property
    def is_zone(self) -> bool:
        """Zone words or offsets alone."""
        return self.mostly(self.zones)

    @property
    def is_value(self) -> bool:
        """Numbers and status words, at least one number or state."""
        other = self.is_time or self.is_clock or self.is_zone
        return self.mostly(self.numbers + self.statuses) and not other

    @property
    def is_text(self) -> bool:
        """Neither times nor values."""
        return self.filled > 0 and not (self.is_time or self.is_clock or self.is_value or self.is_zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table understood as far as its first rows go.

    stem : file (and sheet) name without endings
    first_line : line of the first data row
    fault : why its rows and its header do not fit, None when they do
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


def look_at(preview: Preview, stem: str) -> Sheet | None:
    """Find header, data and columns; None when no row looks like data."""
    if preview.header:
        return _sheet(stem, preview.rows, (), preview.header, (), preview.late, header_line=0)
    rows = [row for row in preview.rows if not _is_remark(row)]
    start = first_data_row(rows, usual_width(rows))
    if start is None:
        return None
    header_at, above = _header_rows(rows[:start], rows[start].line, usual_width(rows))
    header: Sequence[str] = rows[header_at].cells if header_at is not None else ()
    start = _with_damaged_rows(rows, header_at, start)
    above = tuple(index for index in above if index < start)
    top = rows[min([start if header_at is None else header_at, *above])].line
    extra = tuple(rows[number].cells for number in above)
    line = rows[header_at].line if header_at is not None else 0
    header = _with_row_names(header, rows[start:])
    preamble = [row for row in preview.rows if row.line < top]
    return _sheet(stem, rows[start:], extra, header, preamble, preview.late, header_line=line)


def usual_width(rows: Sequence[Row]) -> int:
    """Number of cells most rows have, trailing empty ones left out; the wider one in a tie."""
    later = rows[len(rows) // 2 :] or rows
    counts = Counter(_trimmed(row.cells) for row in later)
    return max(counts, key=lambda width: (counts[width], width)) if counts else 0


def _trimmed(cells: Sequence[str]) -> int:
    width = len(cells)
    while width and not cells[width - 1].strip():
        width -= 1
    return width


def is_time_text(text: str) -> bool:
    """Whether a cell is a written date, with or without a clock."""
    return bool(text) and shape_of(text) is not None


def first_data_row(rows: Sequence[Row], width: int) -> int | None:
    """Index of the first row of data: a written time where later rows have theirs, else numbers throughout."""
    later = [row for row in rows[len(rows) // 2 :] if len(row.cells) >= min(2, width)] or list(rows)
    hits = Counter(index for row in later[-50:] for index, cell in enumerate(row.cells) if is_time_text(cell))
    hits = Counter({index: count for index, count in hits.items() if count >= 0.3 * min(len(later), 50)})
    if hits:
        column = min(index for index in hits if hits[index] == max(hits.values()))
        return next(
            (i for i, row in enumerate(rows) if len(row.cells) > column and is_time_text(row.cells[column])),
            None,
        )
    numeric = _number_time_column(later)
    if numeric is None:
        return None
    return next(
        (i for i, row in enumerate(rows) if len(row.cells) > numeric and as_number_time(row.cells[numeric])),
        None,
    )


def _number_time_column(rows: Sequence[Row]) -> int | None:
    """The first column whose numbers could all be times (epochs, day numbers)."""
    sample = rows[-50:]
    width = max((len(row.cells) for row in sample), default=0)
    for index in range(width):
        cells = [row.cells[index] for row in sample if len(row.cells) > index and row.cells[index].strip()]
        kinds = {as_number_time(cell) for cell in cells}
        if len(cells) >= 0.6 * len(sample) and len(kinds) == 1 and None not in kinds:
            return index
    return None


def as_number_time(text: str) -> str | None:
    """The kind of time a number can stand for by its size, or None."""
    said = text.strip()
    if not re.fullmatch(r"\d{5,19}([.,]\d+)?", said):
        return None
    number = float(said.replace(",", "."))
    return next((kind for kind, (low, high, _, _) in NUMBER_TIMES.items() if low <= number <= high), None)


def _header_rows(rows: Sequence[Row], data_line: int, width: int) -> tuple[int | None, tuple[int, ...]]:
    """Index of the header among the rows above the data, and of further header rows (units, descriptions).

    Header rows stand together, right above the data or an empty line above them.
    """
    together: list[int] = []
    below = data_line
    for index in range(len(rows) - 1, -1, -1):
        row = rows[index]
        if _is_remark(row) or len(row.cells) < max(2, 0.6 * width) or _trimmed(row.cells) < min(2, width):
            break
        if together and (row.line < below - 1 or len(together) == _MOST_HEADER_ROWS):
            break
        together.append(index)
        below = row.line
    if not together:
        single = len(rows) - 1 if width == 1 and rows else None
        return single, ()
    best = max(together, key=lambda i: (*_names_roles(rows[i], width), _trimmed(rows[i].cells), -i))
    return best, tuple(
        sorted(i for i in together if i != best and not (i < best and _is_title(rows[i], width)))
    )


def _with_damaged_rows(rows: Sequence[Row], header_at: int | None, start: int) -> int:
    """Where the data begin when first rows without a readable time are rows of data all the same.

    Below the header, a row with numbers where the data have numbers is no further header row.
    """
    if header_at is None:
        return start
    sample = rows[start : start + 50]
    width = max(len(row.cells) for row in sample)
    numeric = [
        2 * sum(index < len(row.cells) and _is_plain_number(row.cells[index]) for row in sample) > len(sample)
        for index in range(width)
    ]
    for index in range(header_at + 1, start):
        if any(
            here and _is_plain_number(cell) for here, cell in zip(numeric, rows[index].cells, strict=False)
        ):
            return index
    return start


def _is_plain_number(text: str) -> bool:
    return bool(re.fullmatch(r"\s*[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?\s*", text))


def _names_roles(row: Row, width: int) -> tuple[bool, bool]:
    """Whether a row of no more cells than the data have names a time, and whether it names anything."""
    roles = [roles_of(cell) for cell in row.cells if cell.strip()]
    fits = _trimmed(row.cells) <= max(width, 2)
    return fits and any(found & {"time", "date", "clock"} for found in roles), any(roles)


def _is_title(row: Row, width: int) -> bool:
    """Two cells in a wide table: a key and its value rather than a row of the header."""
    return width > 2 and _trimmed(row.cells) == 2 and bool(row.cells[0].strip())


def _is_remark(row: Row) -> bool:
    return row.cells[0].lstrip().startswith(("//", "%%")) or (
        row.cells[0].lstrip().startswith("#") and len(row.cells) < 2
    )


def _sheet(
    stem: str, data: Sequence[Row], extra: Sequence[tuple[str, ...]], header: Sequence[str], top: Sequence[Row],
    late: Sequence[Row], header_line: int,
) -> Sheet:  # fmt: skip
    width = _width(data, header)
    keep = min(_MOST_ROWS, max(8, MOST_CELLS // max(1, width)))
    sample = (
        [*data[: keep // 2 + keep % 2 + 2], *data[-(keep // 4) :], *late[: keep // 4]]
        if len(data) + len(late) > keep
        else [*data, *late]
    )
    columns = tuple(_column(index, header, extra, sample) for index in range(width))
    lines = tuple(" ".join(cell for cell in row.cells if cell.strip()) for row in top)
    return Sheet(
        stem=stem, columns=columns, first_line=data[0].line if data else 1, header_line=header_line,
        preamble=key_values(top), preamble_lines=lines, late=tuple(late), data=tuple(data), fault=_misfit(data, header, width),
    )  # fmt: skip


def _width(data: Sequence[Row], header: Sequence[str]) -> int:
    """Number of columns: what most rows have, but all that have a name; without a header, what a tenth of the rows have."""
    counts = Counter(_trimmed(row.cells) for row in data)
    if not counts:
        return max(_trimmed(header), 1)
    if not header:
        return max([1, *(width for width, count in counts.items() if count >= 0.1 * len(data))])
    return max(_trimmed(header), max(counts, key=lambda width: (counts[width], width == len(header), width)))


def _misfit(data: Sequence[Row], header: Sequence[str], width: int) -> InputFileError | None:
    """Most rows have more cells than the header: which cell is which cannot be known."""
    row = next((row for row in data if _trimmed(row.cells) == width), None)
    if not header or width <= len(header) or row is None:
        return None
    return InputFileError(
        found=f"rows of {width} cells under a header of {len(header)}, such as {row.cells[:8]}",
        expected="as many cells as the header has names",
        mend="if the numbers have decimal commas, export with another separator (;) or with the cells in quotes",
        line=row.line,
    )


def _with_row_names(header: Sequence[str], data: Sequence[Row]) -> Sequence[str]:
    """The header moved by one where rows begin with a number of their own that it has no name for."""
    widths = Counter(len(row.cells) for row in data)
    if not header or not data or widths.most_common(1)[0][0] != len(header) + 1:
        return header
    first = [row.cells[0].strip() for row in data[:20]]
    counts = all(cell.isdecimal() for cell in first) and [int(cell) for cell in first] == list(
        range(int(first[0]), int(first[0]) + len(first))
    )
    return ("", *header) if counts else header


def _column(
    index: int, header: Sequence[str], extra: Sequence[tuple[str, ...]], sample: Sequence[Row]
) -> Column:
    name = clean(header[index]) if index < len(header) else ""
    cells = tuple(row.cells[index].strip() for row in sample if index < len(row.cells))
    filled = [cell for cell in cells if cell]
    shapes = [shape_of(cell) for cell in filled]
    numbers = [looks_numeric(cell) for cell in filled]
    return Column(
        index=index,
        header=name,
        above=tuple(clean(row[index]) if index < len(row) else "" for row in extra),
        roles=roles_of(name),
        cells=cells,
        filled=len(filled),
        times=sum(shape is not None and shape.has_clock for shape in shapes),
        dates=sum(shape is not None and not shape.has_clock for shape in shapes),
        clocks=sum(
            shape is None and clock_shape_of(cell) is not None
            for shape, cell in zip(shapes, filled, strict=True)
        ),
        numbers=sum(number and shape is None for number, shape in zip(numbers, shapes, strict=True)),
        statuses=sum(is_status(cell) for cell in filled),
        zones=sum(_is_zone(cell) for cell in filled),
        distinct=len(set(filled)),
    )


def _is_zone(text: str) -> bool:
    """A zone word, or an offset with its colon or its UTC (a bare +5 is a number)."""
    return (text[-1:].isalpha() or ":" in text or text[:3].upper() in ("UTC", "GMT")) and zone_offset(
        text
    ) is not None


@lru_cache(maxsize=65_536)
def is_status(text: str) -> bool:
    """A word for a bad value, a two-state word or a quality word."""
    said = text.casefold()
    return said in STATE_WORDS or is_status_text(text) or (not looks_numeric(text) and is_quality_text(text))


@lru_cache(maxsize=65_536)
def clean(text: str) -> str:
    """A name from a cell: no control characters, no blanks around, runs of white space as one blank."""
    return " ".join("".join(char if char.isprintable() else " " for char in text).split()).lstrip("\ufeff")


_KEY_VALUE = re.compile(r"^[#;/%*\s\"]*([^:=]{1,40}?)\s*[:=]\s*(.+?)[\s\"]*$")


def key_values(rows: Sequence[Row]) -> dict[str, str]:
    """ "Tag: AT-101" or "Tag;AT-101" above a table, key in lower case."""
    found: dict[str, str] = {}
    for row in rows:
        cells = [cell.strip() for cell in row.cells if cell.strip()]
        if len(cells) >= 2 and not re.search(r"[:=].", cells[0]):
            found.setdefault(cells[0].strip("#:= ").casefold(), cells[1])
            continue
        for cell in cells:
            if match := _KEY_VALUE.match(cell):
                found.setdefault(match[1].strip().casefold(), match[2].strip())
    return found
