"""Text files as tables: blocks of lines through the fast reader, and the odd stretches cut by hand."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cutting import find_cut
from excursions.read.exports.records_text import Cut, split_records, write_records
from excursions.read.exports.table import Batch, Preview, Row, Tally
from excursions.read.model import ReadOptions
from excursions.read.text import as_utf8, blocks, encoding_of
from excursions.read.unpack import CutOff
from excursions.records import IndexArray

HEAD_BYTES = 512 * 2**10
_HEAD_LINES = 1_500
_LATE_LINES = 150
_SMALL = 400  # lines below which the careful way is cheap enough
MORE = "more"


@dataclass(slots=True, kw_only=True)
class Source:
    """Where the bytes of a text come from: `chunks` starts a fresh pass, `late` gives pieces from further down."""

    chunks: Callable[[], Iterator[bytes]]
    late: Callable[[], tuple[bytes, ...]] = tuple
    packing: str = ""


@dataclass(kw_only=True)
class TextTable:
    """A text file as a table (see :class:`excursions.read.exports.table.Table`)."""

    source: Source
    options: ReadOptions
    tally: Tally = field(default_factory=Tally)
    _texts: set[int] = field(default_factory=set)

    @cached_property
    def head(self) -> bytes:
        """The first bytes as they stand in the file."""
        parts: list[bytes] = []
        size = 0
        try:
            for chunk in self.source.chunks():
                parts.append(chunk)
                size += len(chunk)
                if size >= HEAD_BYTES:
                    break
        except CutOff:
            pass
        return b"".join(parts)[: HEAD_BYTES + 2**22]

    @cached_property
    def encoding(self) -> tuple[str, int]:
        """Name of the encoding and length of the byte order mark."""
        return encoding_of(self.head[:HEAD_BYTES], self.options.encoding)

    @cached_property
    def head_lines(self) -> list[str]:
        """First lines as text, the last one left out when it may be cut."""
        name, mark = self.encoding
        text = (
            self.head[mark:HEAD_BYTES]
            .decode(name, errors="replace")
            .replace("\r\n", "\n")
            .replace("\r", "\n")
        )
        lines = text.split("\n")
        whole = len(self.head) <= HEAD_BYTES and len(self.head) < HEAD_BYTES
        return (lines if whole or len(lines) == 1 else lines[:-1])[:_HEAD_LINES]

    @cached_property
    def cut(self) -> Cut:
        """How its lines are cut into cells."""
        return find_cut(self.head_lines, self.options.separator)

    @property
    def words(self) -> str:
        """For people."""
        name = {"cp1252": "Windows-1252"}.get(self.encoding[0], self.encoding[0].upper())
        return ", ".join(part for part in ("text", self.cut.words, name, self.source.packing) if part)

    @property
    def preview(self) -> Preview:
        """First rows, and some from further down where the file can be entered there."""
        rows = tuple(split_records(self.head_lines, 1, self.cut))
        late: list[Row] = []
        for piece in self.source.late():
            lines = piece.decode(self.encoding[0], errors="replace").replace("\r\n", "\n").split("\n")[1:-1]
            late.extend(split_records(lines[-_LATE_LINES:], 0, self.cut))
        return Preview(rows=rows, late=tuple(late))

    def batches(self, width: int, first_line: int, numbers: frozenset[int], decimal: str) -> Iterator[Batch]:
        """All rows from `first_line` on; see the protocol."""
        line = 1
        name, mark = self.encoding
        reader = _BlockReader(self.cut, width, set(numbers) - self._texts, decimal, self.tally)
        stream = blocks(as_utf8(self._chunks(), name, mark), self.options.block_bytes)
        for data in stream:
            start = line
            if line < first_line:
                data, skipped = _skip_lines(data, first_line - line)
                line += skipped
                if not data:
                    continue
            for batch in reader.read(data, line):
                yield batch
            line += reader.lines_read
            self.tally.lines = line - 1
            del start
        self._texts |= reader.demoted

    def _chunks(self) -> Iterator[bytes]:
        try:
            yield from self.source.chunks()
        except CutOff as broken:
            self.tally.notes.append(
                f"the {broken} file is cut off or damaged in the middle; what came before was used"
            )


def _skip_lines(data: bytes, count: int) -> tuple[bytes, int]:
    position, skipped = 0, 0
    while skipped < count:
        end = data.find(b"\n", position)
        if end < 0:
            return b"", skipped
        position, skipped = end + 1, skipped + 1
    return data[position:], skipped


class _BlockReader:
    """Blocks of text to batches: the fast reader where it can, smaller and smaller pieces where it cannot."""

    def __init__(self, cut: Cut, width: int, numbers: set[int], decimal: str, tally: Tally) -> None:
        self.cut, self.width, self.numbers, self.decimal, self.tally = cut, width, numbers, decimal, tally
        self.demoted: set[int] = set()
        self.lines_read = 0
        names = [str(index) for index in range(width)] + [MORE]
        self.names = names
        separator = "," if cut.spans else cut.separator
        self.header = separator.join(names).encode() + b"\n"

    def read(self, data: bytes, line: int) -> Iterator[Batch]:
        """Batches of a block that begins at `line`; sets `lines_read`."""
        if self.cut.spans:
            batch = self._fixed(data, line)
            self.lines_read = batch.height
            yield batch
            return
        quoted = self.cut.quote.encode() in data
        frame = self._fast(data, self.cut.separator)
        count = data.count(b"\n") if quoted or frame is None else frame.height
        self.lines_read = count
        if frame is not None and frame.height == count:
            yield Batch(frame, line)
        else:
            yield from self._pieces(data, line, count)

    def _pieces(self, data: bytes, line: int, count: int) -> Iterator[Batch]:
        """The same in pieces; small ones that still fail are cut by hand."""
        from excursions.read.text import record_end

        if count <= _SMALL:
            yield self._by_hand(data, line)
            return
        position, size = 0, max(len(data) // 16, 2**14)
        while position < len(data):
            end = min(position + size, len(data))
            piece = data[position:end]
            cut = len(piece) if end == len(data) else record_end(piece)
            while not cut:
                end = min(end + size, len(data))
                piece = data[position:end]
                cut = len(piece) if end == len(data) else record_end(piece)
            piece = piece[:cut]
            lines = piece.count(b"\n")
            frame = self._fast(piece, self.cut.separator)
            if frame is not None and frame.height == lines:
                yield Batch(frame, line)
            elif len(piece) >= len(data):
                yield self._by_hand(piece, line)
            else:
                yield from self._pieces(piece, line, lines)
            position, line = position + cut, line + lines

    def _by_hand(self, data: bytes, line: int) -> Batch:
        text = data.decode("utf-8", errors="replace")
        rows = list(split_records(text.split("\n")[:-1], line, self.cut))
        lines: IndexArray = np.array([row.line for row in rows], dtype=np.int64)
        cells = [_fitted(row.cells, self.width) for row in rows]
        columns = list(zip(*cells, strict=True)) if cells else [()] * (self.width + 1)
        frame = pl.DataFrame(
            {
                name: pl.Series([cell or None for cell in column], dtype=pl.String)
                for name, column in zip(self.names, columns, strict=True)
            }
        )
        return Batch(self._without_more(frame), lines)

    def _fast(self, data: bytes, separator: str) -> pl.DataFrame | None:
        """The block through the fast reader; None when it cannot be read so.

        Columns that should be numbers and are not are read as text from then on.
        """
        for _ in range(self.width + 2):
            try:
                frame = self._csv(data, separator)
            except (pl.exceptions.ComputeError, pl.exceptions.SchemaError) as error:
                said = str(error)
                if "utf-8" in said:
                    data = self._from_windows(data)
                elif not self._demote(said):
                    return None
                continue
            strange = [name for name in map(str, sorted(self.numbers)) if not _finite(frame[name])]
            if not strange:
                return self._without_more(frame)
            for name in strange:
                self._demote(f"column '{name}'")
        return None

    def _csv(self, data: bytes, separator: str) -> pl.DataFrame:
        comma = self.decimal == "," and separator != ","
        plain_numbers = self.numbers if self.decimal == "." or comma else set()
        schema = {
            name: pl.Float64 if name != MORE and int(name) in plain_numbers else pl.String
            for name in self.names
        }
        return pl.read_csv(
            b"".join((self.header, data)),
            separator=separator,
            quote_char=self.cut.quote or None,
            schema=schema,
            decimal_comma=comma,
            truncate_ragged_lines=True,
        )

    def _demote(self, said: str) -> bool:
        match = re.search(r"column '(\d+)'", said)
        if match is None or int(match[1]) not in self.numbers:
            return False
        self.numbers.discard(int(match[1]))
        self.demoted.add(int(match[1]))
        return True

    def _from_windows(self, data: bytes) -> bytes:
        note = "some lines are not UTF-8; they were read as Windows-1252"
        if note not in self.tally.notes:
            self.tally.notes.append(note)
        return data.decode("cp1252", errors="replace").encode()

    def _fixed(self, data: bytes, line: int) -> Batch:
        text = data.decode("utf-8", errors="replace")
        lines = pl.Series(text.split("\n")[:-1], dtype=pl.String)
        columns = {}
        for name, (start, end) in zip(self.names, self.cut.spans, strict=False):
            cell = lines.str.slice(start, None if end is None else end - start).str.strip_chars()
            columns[name] = pl.select(pl.when(cell == "").then(None).otherwise(cell)).to_series()
        return Batch(pl.DataFrame(columns), line)

    @staticmethod
    def _without_more(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.drop(MORE) if frame[MORE].null_count() == frame.height else frame


def _finite(column: pl.Series) -> bool:
    total = column.sum() if column.dtype == pl.Float64 else 0.0
    return total is None or bool(np.isfinite(total))


def _fitted(cells: tuple[str, ...], width: int) -> tuple[str, ...]:
    """Exactly width + 1 cells: too few are filled up, too many are kept together in the last."""
    kept = cells[:width] + ("",) * (width - len(cells))
    return (*kept, "\x1f".join(cell for cell in cells[width:] if cell))


def unreadable(found: str) -> InputFileError:
    """The refusal for bytes that are no text."""
    return InputFileError(
        found=found,
        expected="CSV or other text, Parquet, Arrow, a workbook or a SQLite file",
        mend="export it again as CSV",
    )


__all__ = ["MORE", "Source", "TextTable", "unreadable", "write_records"]
