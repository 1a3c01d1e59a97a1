"""Blocks of text to batches: the fast reader where it can, smaller and smaller pieces where it cannot."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
import polars as pl

from excursions.read.exports.cells.table import MORE, Batch, Portion, Wanted
from excursions.read.exports.files.records_text import Cut, split_records
from excursions.read.text.lines import is_utf8, record_end
from excursions.records import IndexArray

_SMALL = 400  # lines below which the careful way is cheap enough
_PIECES = 16
_FAILED = (
    pl.exceptions.ComputeError,
    pl.exceptions.SchemaError,
    pl.exceptions.NoDataError,
    pl.exceptions.ShapeError,
)


class BlockReader:
    """Reads blocks of lines with one cut, one width and one idea of which columns are plain numbers.

    A column that turns out to hold anything else is read as text from then on (`demoted`).
    """

    def __init__(self, cut: Cut, wanted: Wanted, demoted: set[int]) -> None:
        self.cut, self.wanted, self.demoted = cut, wanted, demoted
        self.width = wanted.width
        # With its decimal commas the fast reader also takes points for decimal marks, where they mark thousands.
        self.numbers = set(wanted.numbers) - demoted if wanted.decimal == "." else set()
        self.names = [str(index) for index in range(self.width)]
        self.notes: list[str] = []

    def read(self, data: bytes) -> Portion:
        """A block of whole lines that ends in a line end."""
        if self.cut.spans:
            batch = self._fixed(data)
            return Portion(batches=(batch,), lines=batch.height)
        # The fast reader checks a column as a whole: halves of a letter on both sides of a separator would pass.
        if not data.isascii() and not is_utf8(data):
            data = self._from_windows(data)
        quoted = bool(self.cut.quote) and self.cut.quote.encode() in data
        frame = self._fast(data)
        count = data.count(b"\n") if quoted or frame is None else frame.height
        if frame is not None and frame.height == count:
            batches: tuple[Batch, ...] = (Batch(frame, 1, data),)
        else:
            batches = tuple(self._pieces(data, 1, count))
        return Portion(batches=batches, lines=count, notes=tuple(self.notes))

    def _pieces(self, data: bytes, line: int, count: int) -> Iterator[Batch]:
        """The same in pieces; small ones that still fail are cut by hand."""
        if count <= _SMALL:
            yield self._by_hand(data, line)
            return
        for piece in _cut_up(data):
            lines = piece.count(b"\n")
            frame = self._fast(piece)
            if frame is not None and frame.height == lines:
                yield Batch(frame, line, piece, line)
            elif len(piece) == len(data):
                yield self._by_hand(piece, line)
            else:
                yield from self._pieces(piece, line, lines)
            line += lines

    def _by_hand(self, data: bytes, line: int) -> Batch:
        text = data.decode("utf-8", errors="replace")
        rows = list(split_records(text.split("\n")[:-1], line, self.cut))
        lines: IndexArray = np.array([row.line for row in rows], dtype=np.int64)
        cells = [_fitted(row.cells, self.width) for row in rows]
        columns = list(zip(*cells, strict=True)) if cells else [()] * (self.width + 1)
        series = [
            pl.Series(name, [cell or None for cell in column], dtype=pl.String)
            for name, column in zip([*self.names, MORE], columns, strict=True)
        ]
        return Batch(_without_more(pl.DataFrame(series)), lines, data, line)

    def _fast(self, data: bytes) -> pl.DataFrame | None:
        """The block through the fast reader; None when it cannot be read so."""
        if self.cut.quote and self._is_misquoted(data):
            return None
        for _ in range(self.width + 4):
            try:
                frame = self._csv(data)
            except _FAILED as error:
                said = str(error)
                if "utf-8" in said.lower():
                    data = self._from_windows(data)
                elif not self._demote(said):
                    return None
                continue
            strange = [index for index in sorted(self.numbers) if not _is_finite(frame[str(index)])]
            if not strange:
                return frame
            for index in strange:
                self._demote(f"column '{index}'")
        return None

    def _is_misquoted(self, data: bytes) -> bool:
        """Whether a cell with doubled quotes goes on behind its closing one: the fast reader would drop its last byte."""
        quote = self.cut.quote.encode()
        if quote not in data or quote * 2 not in data:  # one byte is found many times faster than two
            return False
        mark, other = re.escape(quote), b"[^" + re.escape(self.cut.separator.encode() + quote) + b"\n]"
        return re.search(other + b"(?:" + mark * 2 + b")*" + mark + other, data) is not None

    def _csv(self, data: bytes) -> pl.DataFrame:
        """One call of the fast reader: as the lines stand, or under a header with room for surplus cells."""
        try:
            return self._call(data, self.names, has_header=False)
        except _FAILED as error:
            said = str(error)
            if "more fields" not in said and "not found in CSV" not in said:
                raise
        names = [*self.names, MORE]
        header = self.cut.separator.join(names).encode() + b"\n"
        return _without_more(self._call(header + data, names, has_header=True))

    def _call(self, data: bytes, names: list[str], *, has_header: bool) -> pl.DataFrame:
        schema: dict[str, pl.DataType] = dict.fromkeys(names, pl.String())
        schema |= {str(index): pl.Float64() for index in self.numbers}
        if not self.cut.quote or self.cut.quote.encode() not in data:
            # Of a category that goes on behind its closing quote, "A"bc, the fast reader drops the last byte; of a text it refuses it.
            schema |= {str(index): pl.Categorical() for index in self.wanted.labels}
        return pl.read_csv(
            data,
            separator=self.cut.separator,
            quote_char=self.cut.quote or None,
            schema=schema,
            has_header=has_header,
            truncate_ragged_lines=has_header,
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
        if note not in self.notes:
            self.notes.append(note)
        lines = data.split(b"\n")
        return b"\n".join(line if line.isascii() else _either(line) for line in lines)

    def _fixed(self, data: bytes) -> Batch:
        text = data.decode("utf-8", errors="replace")
        lines = pl.Series(text.split("\n")[:-1], dtype=pl.String)
        columns = []
        for name, (start, end) in zip(self.names, self.cut.spans, strict=False):
            cell = lines.str.slice(start, None if end is None else end - start).str.strip_chars()
            columns.append(pl.select(pl.when(cell != "").then(cell).alias(name)).to_series())
        missing = [
            pl.Series(name, [None] * len(lines), dtype=pl.String) for name in self.names[len(columns) :]
        ]
        return Batch(pl.DataFrame([*columns, *missing]), 1, data)


def _cut_up(data: bytes) -> Iterator[bytes]:
    """Pieces of whole records, about a sixteenth each."""
    position, size = 0, max(len(data) // _PIECES, 2**14)
    while position < len(data):
        end, cut = min(position + size, len(data)), 0
        while not cut:
            cut = len(data) - position if end >= len(data) else record_end(data[position:end])
            end += size
        yield data[position : position + cut]
        position += cut


def _either(line: bytes) -> bytes:
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace").encode()
    return line


def _is_finite(column: pl.Series) -> bool:
    if column.dtype != pl.Float64:
        return True
    total = column.sum()
    return total is None or math.isfinite(float(total))


def _without_more(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop(MORE) if frame[MORE].null_count() == frame.height else frame


def _fitted(cells: tuple[str, ...], width: int) -> tuple[str, ...]:
    """Exactly width + 1 cells: too few are filled up, too many are kept together in the last."""
    kept = cells[:width] + ("",) * (width - len(cells))
    return (*kept, "\x1f".join(cell for cell in cells[width:] if cell.strip()))
