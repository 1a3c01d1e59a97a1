"""Records out of text lines, the careful way: quoted cells over several lines, stray quotes, fixed width."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from excursions.read.exports.cells.table import Row

_LONGEST_LINES = 64  # a quoted cell that is not closed after so many lines is a stray quote


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How a line is cut into cells: one separator, or spans of characters (from, to) of fixed width.

    quote : the quote mark, or empty when quotes are plain text
    """

    separator: str = ","
    spans: tuple[tuple[int, int | None], ...] = ()
    quote: str = '"'

    @property
    def words(self) -> str:
        """For people."""
        if self.spans:
            return f"fixed width, {len(self.spans)} columns"
        name = {"\t": "tab", " ": "blank"}.get(self.separator, f'"{self.separator}"')
        return f"separator {name}"


def split_records(lines: Sequence[str], first_line: int, cut: Cut) -> Iterator[Row]:
    """Rows of these lines (without line ends); empty lines give none.

    A line of which a border of fixed width would cut a word is no row of the table, but a text above or below it.
    """
    index = 0
    while index < len(lines):
        used, cells = _record(lines, index, cut)
        if any(cell.strip() for cell in cells):
            yield Row(first_line + index, cells)
        index += used


def _record(lines: Sequence[str], index: int, cut: Cut) -> tuple[int, tuple[str, ...]]:
    line = lines[index]
    if cut.spans:
        across = any(line[start - 1 : start + 1].isalpha() for start, _ in cut.spans[1:] if start < len(line))
        return 1, (line.strip(),) if across else tuple(line[start:end].strip() for start, end in cut.spans)
    if not cut.quote or cut.quote not in line:
        return 1, tuple(line.split(cut.separator))
    for more in range(_LONGEST_LINES):
        if index + more >= len(lines):
            break
        joined = "\n".join(lines[index : index + more + 1])
        cells = _quoted(joined, cut)
        if cells is not None:
            if more and _swallows_rows(cells, cut):
                break
            return more + 1, cells
    return 1, tuple(cell.strip('"') for cell in line.split(cut.separator))


def _swallows_rows(cells: Sequence[str], cut: Cut) -> bool:
    """Whether the lines inside a quoted cell are rows themselves: then the quote is a stray one."""
    lines = (line for cell in cells if "\n" in cell for line in cell.split("\n"))
    return len(cells) > 1 and any(line.count(cut.separator) >= len(cells) - 1 for line in lines)


def _quoted(text: str, cut: Cut) -> tuple[str, ...] | None:
    """Cells of a record with quotes, or None when a quoted cell is not closed in it.

    Quotes count only at the start of a cell, as in RFC 4180; inside a plain cell they are text.
    """
    cells: list[str] = []
    position, end = 0, len(text)
    while True:
        if text.startswith(cut.quote, position):
            close = _closing(text, position + 1, cut.quote)
            if close < 0:
                return None
            cell = text[position + 1 : close].replace(cut.quote * 2, cut.quote)
            stop = text.find(cut.separator, close + 1)
            stop = end if stop < 0 else stop
            cells.append(cell + text[close + 1 : stop].rstrip() if text[close + 1 : stop].strip() else cell)
        else:
            stop = text.find(cut.separator, position)
            stop = end if stop < 0 else stop
            cells.append(text[position:stop])
        if "\n" in cells[-1] and not text.startswith(cut.quote, position):
            return None
        if stop >= end:
            return tuple(cells)
        position = stop + 1


def _closing(text: str, position: int, quote: str) -> int:
    """Index of the quote that closes a cell, doubled quotes skipped; -1 when there is none."""
    while True:
        close = text.find(quote, position)
        if close < 0 or not text.startswith(quote, close + 1):
            return close
        position = close + 2
