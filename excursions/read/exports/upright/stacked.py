"""Tables one below the other in one file: each block has a header (and perhaps a tag) of its own.

Read as one table, the second block's readings would go to the first block's tag.  So a row in the middle of the
data that names another tag, or other columns, stops the plain way; the file is then held in memory, taken apart at
such rows, and each block is read as a table.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import polars as pl

from excursions.ahead import in_order
from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean, is_time_text
from excursions.read.exports.cells.sections import begins_anew, is_section, lines_of
from excursions.read.exports.cells.sheet import key_values
from excursions.read.exports.cells.table import MORE, Batch, Job, Portion, Preview, Row, Table, Wanted
from excursions.read.exports.layouts.naming import BLOCK, stated_tag
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.text.words import roles_of
from excursions.records import BoolArray, IndexArray
from excursions.runs import runs

_WIDEST = 64
_LARGEST = 20_000_000  # cells held in memory
_TIME_ROLES = {"time", "date", "clock"}
_SAMPLE, _LATE = 1_000, 100
_ENDS = 20


class Stacked(Exception):
    """A row among the data begins another table."""


def begins_block(cells: Sequence[str], headers: Sequence[str]) -> bool:
    """Whether a row without a time names a tag, or is a header other than the table's own."""
    said = [clean(cell) for cell in cells]
    if stated_tag(key_values([Row(0, tuple(said))])) and not _is_header(said):
        return True
    own = [clean(header) for header in headers]
    length = max(len(own), len(said))
    padded, other = said + [""] * (length - len(said)), own + [""] * (length - len(own))
    return _is_header(said) and padded != other


def other_columns(cells: Sequence[str], headers: Sequence[str]) -> bool:
    """Whether a row of a long table is a header whose columns stand in another order, or are others."""
    said = [clean(cell).casefold() for cell in cells if cell.strip()]
    own = [clean(header).casefold() for header in headers if header.strip()]
    known = sum(bool(roles_of(cell)) for cell in said)
    return said != own and bool(own) and 2 * known > len(said) and _is_header(said)


def _is_header(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return (
        len(filled) > 1
        and any(roles_of(cell) & _TIME_ROLES for cell in filled)
        and not any(is_time_text(cell) or as_number_time(cell) for cell in filled)
    )


def previews_other_columns(preview: Preview, first_line: int, headers: Sequence[str]) -> bool:
    """Whether the first rows already show a header of other columns below the first data row."""
    return any(row.line > first_line and other_columns(row.cells, headers) for row in preview.rows)


def previews_blocks(preview: Preview, first_line: int, headers: Sequence[str], section: str = "") -> bool:
    """Whether the first rows already show a second block below the first data row."""
    later = [row for row in preview.rows if row.line >= first_line]
    return any(
        begins_block(row.cells, headers)
        or (is_section(row.cells, section) and _anew(later[:index], later[index + 1 :]))
        for index, row in enumerate(later)
        if row.line > first_line and not any(is_time_text(cell.strip()) for cell in row.cells)
    )


def _anew(before: Sequence[Row], after: Sequence[Row]) -> bool:
    return begins_anew([row.cells for row in before], [row.cells for row in after])


@dataclass(kw_only=True)
class BlockTable:
    """One block: its header rows and its data, with the lines they stand on in the file.

    lost : lines of the file that could not be cut into cells, with their text and the reason; notes : on the file
    """

    head: tuple[Row, ...]
    frame: pl.DataFrame
    lines: IndexArray
    words: str
    separator: str = ""
    lost: tuple[tuple[int, str, str], ...] = ()
    notes: tuple[str, ...] = ()
    starts_in_1904: bool = False

    @cached_property
    def preview(self) -> Preview:
        """Header rows, first and last data."""
        late = _rows(self.frame[_SAMPLE:].tail(_LATE), self.lines[_SAMPLE:][-_LATE:])
        first = _rows(self.frame.head(_SAMPLE), self.lines[:_SAMPLE])
        return Preview(rows=(*self.head, *first), late=late, separator=self.separator)

    def portions(self, wanted: Wanted) -> Iterator[Job]:
        """All data in one portion; header rows that turn out to be data come first."""
        early = [row for row in self.head if row.line >= wanted.first_line]
        frame = pl.concat([_frame(early, self.frame.columns), self.frame]) if early else self.frame
        lines = np.concatenate([np.array([row.line for row in early], np.int64), self.lines])
        missing = [pl.lit(None, pl.String).alias(str(i)) for i in range(frame.width, wanted.width)]
        frame = frame.with_columns(missing).select(str(i) for i in range(wanted.width))
        last = int(lines[-1]) if lines.size else wanted.first_line
        yield partial(
            Portion,
            batches=(Batch(frame, lines - (wanted.first_line - 1), between=self.separator or ","),),
            lines=last - wanted.first_line + 1,
            notes=self.notes,
            lost=tuple((line - (wanted.first_line - 1), text, reason) for line, text, reason in self.lost),
        )


def _rows(frame: pl.DataFrame, lines: IndexArray) -> tuple[Row, ...]:
    return tuple(
        Row(line, tuple(cell or "" for cell in cells))
        for line, cells in zip(lines.tolist(), frame.iter_rows(), strict=True)
    )


def _frame(rows: Sequence[Row], names: Sequence[str]) -> pl.DataFrame:
    cells = [[cell or None for cell in (*row.cells, *[""] * len(names))[: len(names)]] for row in rows]
    return pl.DataFrame(cells, schema=dict.fromkeys(names, pl.String), orient="row")


def take_apart(table: Table, width: int, section: str = "") -> list[BlockTable]:
    """The blocks of a file, in its order.

    Raises
    ------
    InputFileError
        If the file is too large to be held in memory.
    """
    kept = held(table, max(_WIDEST, 2 * width))
    frame, lines = kept.frame, kept.lines
    if not frame.height:
        return []
    starts = _block_starts(frame, section)
    blocks = []
    for start, stop in zip(starts, [*starts[1:], frame.height], strict=True):
        timed = _has_time(frame[start:stop])
        first = start + (int(np.flatnonzero(timed)[0]) if timed.any() else stop - start)
        head = tuple(_head(_rows(frame[start:first], lines[start:first]), section))
        blocks.append(
            BlockTable(
                head=head,
                frame=frame[first:stop],
                lines=lines[first:stop],
                words=table.words,
                separator=table.preview.separator,
            )
        )
    blocks = [block for block in blocks if block.frame.height]
    return [replace(blocks[0], lost=kept.lost, notes=kept.notes), *blocks[1:]] if blocks else []


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A whole table in memory: texts, the line of each row (n,), and what could not be cut into cells."""

    frame: pl.DataFrame
    lines: IndexArray
    lost: tuple[tuple[int, str, str], ...] = ()
    notes: tuple[str, ...] = ()

    def since(self, line: int) -> Held:
        """The same without the rows above a line."""
        below = np.flatnonzero(self.lines >= line)
        return replace(self, frame=self.frame[below], lines=self.lines[below])


def rewritten(table: Table, head: Iterable[Row], kept: Held) -> BlockTable:
    """What was made of a table in its place: its words and its marks, what was held of it, its columns numbered anew."""
    names = dict(zip(kept.frame.columns, map(str, range(kept.frame.width)), strict=True))
    return BlockTable(
        head=tuple(head),
        frame=kept.frame.rename(names),
        lines=kept.lines,
        words=table.words,
        separator=table.preview.separator,
        lost=kept.lost,
        notes=kept.notes,
        starts_in_1904=table.starts_in_1904,
    )


def held(table: Table, width: int) -> Held:
    """All rows of a table that hold anything, as texts.

    Raises
    ------
    InputFileError
        If they are too many to be held in memory.
    """
    frames: list[pl.DataFrame] = []
    lost: list[tuple[int, str, str]] = []
    notes: list[str] = []
    lines: list[IndexArray] = []
    before = cells = 0
    for portion in in_order(table.portions(Wanted(width=width, first_line=1)), lambda job: job()):
        for batch in portion.batches:
            frame = batch.frame.drop(MORE, strict=False).select(
                pl.all().cast(pl.String, strict=False).replace("", None)
            )
            filled = np.flatnonzero(
                ~frame.select(pl.all_horizontal(pl.all().is_null())).to_series().to_numpy()
            )
            frames.append(frame[filled])
            lines.append(batch.line_of(filled) + before)
            cells += frames[-1].height * width
        lost.extend((before + line, text, reason) for line, text, reason in portion.lost)
        notes.extend(note for note in portion.notes if note not in notes)
        before += portion.lines
        if cells > _LARGEST:
            raise InputFileError(
                found="a table whose rows lean on others, in a file too large to be taken apart",
                expected="rows that each hold a time, or one table a file",
                mend="export one file a tag, or one long table",
            )
    if not frames:
        return Held(frame=pl.DataFrame(), lines=np.empty(0, np.int64))
    return Held(frame=pl.concat(frames), lines=np.concatenate(lines), lost=tuple(lost), notes=tuple(notes))


def _has_time(frame: pl.DataFrame) -> BoolArray:
    found = [any(cell is not None and is_time_text(cell) for cell in row) for row in frame.iter_rows()]
    return np.array(found, np.bool_)


def _head(rows: Sequence[Row], section: str) -> Iterator[Row]:
    """The rows above a block; of several that name a signal the last one counts, those before it had none below."""
    marked = [at for at, row in enumerate(rows) if is_section(row.cells, section)]
    for at, row in enumerate(rows):
        if at in marked[:-1]:
            continue
        yield from _named(row, section)


def _named(row: Row, section: str) -> tuple[Row, ...]:
    """A line that marks a name the way this file does, as lines that say so: it is the tag, or goes before several."""
    return tuple(Row(row.line, (line,)) for line in lines_of(row.cells, section, BLOCK)) or (row,)


def _block_starts(frame: pl.DataFrame, section: str) -> list[int]:
    """Rows where a run of rows without times begins that names a tag or columns."""
    starts = [0]
    for begin, end in runs(~_has_time(frame)).tolist():
        rows = [[cell or "" for cell in row] for row in frame[begin:end].iter_rows()]
        named = any(is_section(row, section) for row in rows)
        if begin and (
            any(begins_block(row, ()) for row in rows)
            or (named and begins_anew(_texts(frame[starts[-1] : begin]), _texts(frame[end:])))
        ):
            starts.append(begin)
    return starts


def _texts(frame: pl.DataFrame) -> list[list[str]]:
    """The first and the last rows of a frame; what lies between them decides nothing."""
    ends = frame if frame.height <= 2 * _ENDS else pl.concat([frame.head(_ENDS), frame.tail(_ENDS)])
    return [[cell or "" for cell in row] for row in ends.iter_rows()]
