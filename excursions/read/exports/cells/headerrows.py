"""Which rows of a table are data, which are its header, and how many columns it has."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import is_midnight, is_time_text
from excursions.read.exports.cells.factors import is_scale
from excursions.read.exports.cells.table import Row
from excursions.read.exports.times.calendartimes import PARTS, is_part
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.exports.times.timeshapes import clock_shape_of, is_year_day, shape_of
from excursions.read.text.words import CLOCK_NAMES, fold, roles_of

_MOST_HEADER_ROWS = 6


def usual_width(rows: Sequence[Row]) -> int:
    """Number of cells most rows have, trailing empty ones left out; the wider one in a tie."""
    later = rows[len(rows) // 2 :] or rows
    counts = Counter(trimmed(row.cells) for row in later)
    return max(counts, key=lambda width: (counts[width], width)) if counts else 0


def trimmed(cells: Sequence[str]) -> int:
    """How many cells a row has up to the last that is filled."""
    width = len(cells)
    while width and not cells[width - 1].strip():
        width -= 1
    return width


def first_data_row(rows: Sequence[Row], width: int) -> int | None:
    """Index of the first row of data: a written time where later rows have theirs, else numbers throughout."""
    later = [row for row in rows[len(rows) // 2 :] if len(row.cells) >= min(2, width)] or list(rows)
    hits = Counter(index for row in later[-50:] for index, cell in enumerate(row.cells) if is_time_text(cell))
    hits = Counter({index: count for index, count in hits.items() if count >= 0.3 * min(len(later), 50)})
    if hits:
        column = min(index for index in hits if hits[index] == max(hits.values()))
        usual = [row for row in later[-50:] if len(row.cells) > column and is_time_text(row.cells[column])]
        first = next(
            (
                i
                for i, row in enumerate(rows)
                if len(row.cells) > column
                and is_time_text(row.cells[column])
                and not _is_date_of_print(row, column, usual)
            ),
            None,
        )
        return _under_earlier_header(rows[:first], first)
    day = _merged_day(rows, later[-50:])
    if day is not None:
        return day
    calendar = calendar_header(rows)
    if calendar is not None:
        return calendar + 1 if calendar + 1 < len(rows) else None
    numeric = _number_time_column(later)
    if numeric is None:
        return None
    return next(
        (i for i, row in enumerate(rows) if len(row.cells) > numeric and as_number_time(row.cells[numeric])),
        None,
    )


def _is_date_of_print(row: Row, column: int, usual: Sequence[Row]) -> bool:
    """A word and a time alone, ``Printed 06-Jan-2026 07:00``, above rows whose times begin with no word and that hold more."""
    worded = [other.cells[column].strip()[:1].isalpha() for other in usual]
    fuller = sum(trimmed(other.cells) > 1 for other in usual)
    return (
        row.cells[column].strip()[:1].isalpha()
        and trimmed(row.cells) == 1
        and not any(worded)
        and 2 * fuller > len(usual)
    )


def _under_earlier_header(above: Sequence[Row], first: int | None) -> int | None:
    """The first row under a header further up, where two tables of other columns were put together; else `first`.

    What stands above the data is passed by, so rows with times under a header of their own must not be taken for it.
    """
    for index, (row, below) in enumerate(itertools.pairwise(above)):
        named = [roles_of(cell) for cell in row.cells]
        time = next((i for i, roles in enumerate(named) if roles & {"time", "date"}), None)
        if time is None or sum(map(bool, named)) < 2 or any(is_time_text(cell) for cell in row.cells):
            continue
        if time < len(below.cells) and is_time_text(below.cells[time]) and trimmed(below.cells) > 1:
            return index + 1
    return first


def has_day_and_clock(row: Row) -> bool:
    """Whether a date without a clock and a time of day stand in cells of their own."""
    shapes = [shape_of(cell.strip()) for cell in row.cells]
    day = any(
        is_year_day(cell.strip()) or (shape is not None and (not shape.has_clock or is_midnight(cell)))
        for shape, cell in zip(shapes, row.cells, strict=True)
    )
    return day and any(clock_shape_of(cell.strip()) is not None for cell in row.cells)


def _merged_day(rows: Sequence[Row], later: Sequence[Row]) -> int | None:
    """Index of the first row with a day, where the rows below it give times of day alone, as merged cells are saved."""
    clocked = sum(any(clock_shape_of(cell.strip()) is not None for cell in row.cells) for row in later)
    if 2 * clocked < len(later):
        return None
    return next((i for i, row in enumerate(rows) if has_day_and_clock(row)), None)


def calendar_header(rows: Sequence[Row]) -> int | None:
    """Index of a row that names a year and a month or a day of the year, or a date and a clock, over such numbers below it."""
    for index, (row, below) in enumerate(itertools.pairwise(rows[:_MOST_HEADER_ROWS])):
        if _names_year_days(row, below):
            return index
        year = next((i for i, cell in enumerate(row.cells) if fold(cell) in PARTS["year"][0]), None)
        named = any(fold(cell) in PARTS[part][0] for cell in row.cells for part in ("month", "yearday"))
        if (
            year is not None
            and named
            and year < len(below.cells)
            and is_part("year", row.cells[year], below.cells[year : year + 1])
        ):
            return index
    return None


def _names_year_days(row: Row, below: Row) -> bool:
    """Whether a row names a date and a clock, and the one below it gives a year with a day of it."""
    roles = [roles_of(cell) | ({"clock"} if fold(cell) in CLOCK_NAMES else set()) for cell in row.cells]
    dated = any(
        "date" in said and is_year_day(cell.strip()) for said, cell in zip(roles, below.cells, strict=False)
    )
    return dated and any("clock" in said for said in roles)


def times_begin(row: Row) -> int | None:
    """The first of the cells from which on all are times, where they are two or more."""
    cells = [cell.strip() for cell in row.cells[: trimmed(row.cells)]]
    first = next((i for i, cell in enumerate(cells) if shape_of(cell) is not None), None)
    if first is None or len(cells) - first < 2 or not all(shape_of(cell) for cell in cells[first:]):
        return None
    return first


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


def header_rows(rows: Sequence[Row], data_line: int, width: int) -> tuple[int | None, tuple[int, ...]]:
    """Index of the header among the rows above the data, and of further header rows (units, descriptions).

    Header rows stand together, right above the data or an empty line above them; a line of one text may stand between
    the data and a row that names a time.
    """
    together: list[int] = []
    last = len(rows) - 1
    if len(rows) > 1 and trimmed(rows[-1].cells) == 1 and _names_roles(rows[-2], width)[0]:
        last -= 1
    below = rows[last + 1].line if last + 1 < len(rows) else data_line
    for index in range(last, -1, -1):
        row = rows[index]
        if _is_like_data(row, width):
            together.clear()
            below = row.line
            continue
        labelled = not together and _is_label_of_times(row, width)
        if is_remark(row) or len(row.cells) < max(2, 0.6 * width) or (
            trimmed(row.cells) < min(2, width) and not labelled
        ):  # fmt: skip
            break
        if together and (row.line < below - 1 or len(together) == _MOST_HEADER_ROWS):
            break
        together.append(index)
        below = row.line
    if not together:
        single = len(rows) - 1 if width == 1 and rows else None
        return single, ()
    numbered = _is_numbered(rows[min(together)])  # addresses over tags name nothing
    best = max(
        together,
        key=lambda i: (
            *_names_roles(rows[i], width),
            numbered and _are_tags(rows[i]),
            trimmed(rows[i].cells),
            -i,
        ),
    )
    return best, tuple(
        sorted(i for i in together if i != best and not (i < best and _is_title(rows[i], width)))
    )


def _is_numbered(row: Row) -> bool:
    """A row of whole numbers, as addresses are: signals may be called so, where no other row calls them by a tag."""
    cells = [cell.strip() for cell in row.cells if cell.strip()]
    return bool(cells) and all(map(str.isdecimal, cells))


def _are_tags(row: Row) -> bool:
    """A row of letters with figures behind them, ``AE-1``, ``TIC204.PV``."""
    cells = [cell.strip() for cell in row.cells if cell.strip()]
    return bool(cells) and all(re.fullmatch(r"[^\W\d][\w./:-]*\d\S*", cell) for cell in cells)


def _is_like_data(row: Row, width: int) -> bool:
    """A row that begins with a figure and holds nothing but numbers with decimals behind it: data whose time cannot be read."""
    first, *others = (cell.strip() for cell in row.cells[: max(width, 1)])
    decimals = [bool(re.fullmatch(r"[+-]?\d+[.,]\d+", cell)) for cell in others if cell]
    return first[:1].isdecimal() and bool(decimals) and all(decimals)


def cut_otherwise(row: Row, width: int) -> tuple[str, ...]:
    """A header that is one cell, because it has another separator than the rows below it, as its cells; else empty."""
    if width < 2 or trimmed(row.cells) != 1:
        return ()
    for mark in (",", ";", "\t", "|"):
        cells = tuple(cell.strip().strip('"') for cell in row.cells[0].split(mark))
        if len(cells) == width and any(roles_of(cell) & {"time", "date"} for cell in cells):
            return cells
    return ()


def _is_label_of_times(row: Row, width: int) -> bool:
    """The label of the column of times alone in its row, below rows of labels: ``Name;F1-PH;F1-TEMP`` and ``Date/Time;;``."""
    return (
        width > 1
        and len(row.cells) >= width
        and trimmed(row.cells) == 1
        and bool(roles_of(row.cells[0]) & {"time", "date"})
    )


def with_damaged_rows(rows: Sequence[Row], header_at: int | None, start: int) -> int:
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
        if not is_scale(rows[index].cells) and any(
            here and _is_plain_number(cell) for here, cell in zip(numeric, rows[index].cells, strict=False)
        ):
            return index
    return start


def _is_plain_number(text: str) -> bool:
    return bool(re.fullmatch(r"\s*[+-]?\d+([.,]\d+)*([eE][+-]?\d+)?\s*", text))


def _names_roles(row: Row, width: int) -> tuple[bool, bool]:
    """Whether a row of no more cells than the data have names a time, and whether it names anything."""
    roles = [roles_of(cell) for cell in row.cells if cell.strip()]
    fits = trimmed(row.cells) <= max(width, 2)
    return fits and any(found & {"time", "date", "clock"} for found in roles), any(roles)


def _is_title(row: Row, width: int) -> bool:
    """Two cells in a wide table, a word and a number in a narrow one: a key and its value rather than a row of the header."""
    if trimmed(row.cells) != 2 or not row.cells[0].strip():
        return False
    return width > 2 or (_is_plain_number(row.cells[1]) and not is_scale(row.cells))


def is_remark(row: Row) -> bool:
    """Whether a line is drawn for the eye, or begins as comments do."""
    if _is_ruled(row):
        return True
    begin = row.cells[0].lstrip()[:2]
    return begin in ("//", "%%") or (begin[:1] == "#" and len(row.cells) < 2)


def _is_ruled(row: Row) -> bool:
    """A line drawn under a header: ``-----+------`` or ``=====``."""
    if row.cells[0][:1].isalnum():
        return False
    drawn = "".join(row.cells).replace(" ", "")
    return len(drawn) >= 5 and not drawn.strip("-=+|:_") and drawn.count("-") + drawn.count("=") >= 3


def width_of(data: Sequence[Row], header: Sequence[str]) -> int:
    """Number of columns: what most rows have, but all that have a name; without a header, what a tenth of the rows have."""
    counts = Counter(trimmed(row.cells) for row in data)
    if not counts:
        return max(trimmed(header), 1)
    if not header:
        return max([1, *(width for width, count in counts.items() if count >= 0.1 * len(data))])
    return max(trimmed(header), max(counts, key=lambda width: (counts[width], width == len(header), width)))


def misfit(data: Sequence[Row], header: Sequence[str], width: int) -> InputFileError | None:
    """Most rows have more cells than the header: which cell is which cannot be known."""
    row = next((row for row in data if trimmed(row.cells) == width), None)
    if not header or width <= len(header) or row is None:
        return None
    return InputFileError(
        found=f"rows of {width} cells under a header of {len(header)}, such as {row.cells[:8]}",
        expected="as many cells as the header has names",
        mend="if the numbers have decimal commas, export with another separator (;) or with the cells in quotes",
        line=row.line,
    )


def fitted(header: Sequence[str], data: Sequence[Row]) -> Sequence[str]:
    """The header without a comment mark of its own, and without the blanks that fill it up, where it then fits the data."""
    widths = Counter(trimmed(row.cells) for row in data)
    if not header or not data or trimmed(header) <= widths.most_common(1)[0][0]:
        return header
    filled = [cell for cell in header if cell.strip() and cell.strip() not in ("#", "%", "//", "*")]
    return filled if len(filled) == widths.most_common(1)[0][0] else header


def with_row_names(header: Sequence[str], data: Sequence[Row]) -> Sequence[str]:
    """The header moved by one where rows begin with a number of their own that it has no name for."""
    widths = Counter(len(row.cells) for row in data)
    if not header or not data or widths.most_common(1)[0][0] != len(header) + 1:
        return header
    first = [row.cells[0].strip() for row in data[:20]]
    counts = all(cell.isdecimal() and len(cell) < 19 for cell in first) and [
        int(cell) for cell in first
    ] == list(range(int(first[0]), int(first[0]) + len(first)))
    return ("", *header) if counts else header
