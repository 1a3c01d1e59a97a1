"""Text files as tables: what their first lines show, and a pass over all of them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import IO

from excursions.read.exports.cells.table import Job, Portion, Preview, Row, Wanted
from excursions.read.exports.files.blockreader import BlockReader
from excursions.read.exports.files.cutting import find_cut
from excursions.read.exports.files.mending import Mend, mended, mends_of
from excursions.read.exports.files.records_text import Cut, split_records
from excursions.read.model import ReadOptions
from excursions.read.text.lines import (
    LONGEST_LINE,
    as_utf8,
    blocks,
    encoding_of,
    endless_line,
    is_holed,
    record_end,
    unix_lines,
    without_zeros,
)
from excursions.read.text.unpack import CutOff, opened

HEAD_BYTES = 512 * 2**10
_HEAD_LINES = 1_500
_LATE_LINES = 150
_LARGER = 4
_HOLED = "zero bytes in the text were passed over; a line that they break off is refused"
_NEAR_BACK, _LOOK_BACK = 4 * 2**10, 256 * 2**10


@dataclass(slots=True, kw_only=True)
class Source:
    """Where the bytes of a text come from.

    chunks : starts a fresh pass over the unpacked bytes; late : gives pieces from further down
    plain : the file itself where it is not packed; told : is told the digest of its content after a pass over all of it
    """

    chunks: Callable[[], Iterator[bytes]]
    late: Callable[[], tuple[bytes, ...]] = tuple
    packing: str = ""
    plain: Path | None = None
    told: Callable[[str], None] | None = None


@dataclass(kw_only=True)
class TextTable:
    """A text file as a table (see :class:`excursions.read.exports.cells.table.Table`)."""

    source: Source
    options: ReadOptions
    starts_in_1904: bool = False
    _texts: set[int] = field(default_factory=set)
    _broken: str = ""
    _undone: tuple[Mend, ...] = ()

    @cached_property
    def head(self) -> bytes:
        """The first bytes as they stand in the file."""
        parts: list[bytes] = []
        size = 0
        try:
            for chunk in self.source.chunks():
                parts.append(chunk)
                size += len(chunk)
                if size > HEAD_BYTES:
                    break
        except CutOff:
            self._broken = "cut off"
        return b"".join(parts)[: HEAD_BYTES + 1]

    @cached_property
    def encoding(self) -> tuple[str, int]:
        """Name of the encoding and length of the byte order mark."""
        return encoding_of(self.head[:HEAD_BYTES], self.options.encoding)

    @cached_property
    def head_lines(self) -> list[str]:
        """First lines as text, the last one left out when it may be cut."""
        name, mark = self.encoding
        raw = unix_lines(self.head[mark:HEAD_BYTES].decode(name, errors="replace").encode())
        text = (without_zeros(raw) if is_holed(raw) else raw).decode()
        lines = mended(text.encode(), self._mends(text)).decode().split("\n")
        whole = len(self.head) <= HEAD_BYTES and not self._broken
        return (lines if whole or len(lines) == 1 else lines[:-1])[:_HEAD_LINES]

    def _mends(self, head: str) -> tuple[Mend, ...]:
        self._undone = mends_of(head.split("\n")[:_HEAD_LINES])
        return self._undone

    @cached_property
    def cut(self) -> Cut:
        """How its lines are cut into cells."""
        return find_cut(self.head_lines, self.options.separator)

    @property
    def words(self) -> str:
        """For people."""
        name = _called(self.encoding[0])
        return ", ".join(part for part in ("text", self.cut.words, name, self.source.packing) if part)

    @cached_property
    def preview(self) -> Preview:
        """First rows, and some from further down where the file can be entered there."""
        rows = tuple(split_records(self.head_lines, 1, self.cut))
        late: list[Row] = []
        if "16" not in self.encoding[0] and "32" not in self.encoding[0]:
            for piece in self.source.late():
                lines = (
                    mended(unix_lines(piece), self._undone)
                    .decode(self.encoding[0], errors="replace")
                    .split("\n")[1:-1]
                )
                late.extend(split_records(lines[-_LATE_LINES:], 0, self.cut))
        named, mark = self.encoding
        guessed = "" if mark or self.options.encoding or named == "utf-8" else _called(named)
        return Preview(rows=rows, late=tuple(late), separator=self.cut.separator, guessed=guessed)

    def portions(self, wanted: Wanted) -> Iterator[Job]:
        """Blocks of lines; see the protocol."""
        skip, holed = wanted.first_line - 1, False
        size = self.options.block_bytes * (_LARGER if wanted.many_labels else 1)
        for data in self._blocks(size):
            size_before = len(data)
            data = without_zeros(data)
            holed = holed or len(data) < size_before
            data = mended(data, self._undone)
            if skip:
                data, skipped = _skip_lines(data, skip)
                skip -= skipped
            if data:
                yield partial(self._portion, data, wanted)
        if holed:
            yield partial(Portion, batches=(), lines=0, notes=(_HOLED,))
        if self._broken:
            yield partial(Portion, batches=(), lines=0, notes=(self._broken,))

    def _portion(self, data: bytes, wanted: Wanted) -> Portion:
        note, lost = "", ""
        if not data.endswith(b"\n"):
            data, note, lost = self._whole_lines(data, rows_are_readings=bool(wanted.labels))
        reader = BlockReader(self.cut, wanted, self._texts)
        portion = reader.read(data) if data else Portion(batches=(), lines=0)
        if note:
            portion = replace(portion, notes=(*portion.notes, note))
        if lost:
            portion = replace(portion, lost=((portion.lines + 1, lost, "the file is cut off in this line"),))
        return portion

    def _blocks(self, size: int) -> Iterator[bytes]:
        name, mark = self.encoding
        if self.source.plain is not None and name == "utf-8":
            yield from self._plain_blocks(self.source.plain, mark, size)
        else:
            yield from blocks(as_utf8(self._chunks(), name, mark), size)

    def _plain_blocks(self, path: Path, mark: int, size: int) -> Iterator[bytes]:
        """Blocks of an unpacked UTF-8 file; its digest comes out on the way, which saves reading it again."""
        digest = hashlib.sha256(self.head[:mark])
        for data in file_blocks(path, mark, size):
            digest.update(data)
            yield unix_lines(data)
        if self.source.told is not None:
            self.source.told(digest.hexdigest())

    def _chunks(self) -> Iterator[bytes]:
        self._broken = ""
        try:
            yield from self.source.chunks()
        except CutOff as broken:
            self._broken = f"the {broken} file is cut off or damaged in the middle; what came before was used"

    def _whole_lines(self, data: bytes, *, rows_are_readings: bool) -> tuple[bytes, str, str]:
        """The last block with its last line ended, a note, and what was lost: where the file was cut off, a piece of a line.

        Where each row is one reading, a last line with fewer cells than the one above it is a piece.
        """
        if not self._broken:
            whole = data.rfind(b"\n") + 1
            before, mark = data.rfind(b"\n", 0, max(whole - 1, 0)) + 1, self.cut.separator.encode()
            filled = data[whole:].replace(mark, b"").strip()
            if (
                rows_are_readings
                and whole
                and filled
                and _marks(data[whole:], mark) < _marks(data[before:whole], mark)
            ):
                note = "the file is cut off in its last line; what came before was used"
                return data[:whole], note, data[whole:].decode("utf-8", errors="replace")
            note = (
                "the last line has no line end: if the file was cut off there, its last reading may be wrong"
            )
            return data + b"\n", note, ""
        whole = data.rfind(b"\n") + 1
        return data[:whole], "", data[whole:].decode("utf-8", errors="replace")


def _called(encoding: str) -> str:
    """An encoding as people call it."""
    return re.sub(r"^CP(?=125\d$)", "Windows-", encoding.upper().replace("_", " "))


def _marks(line: bytes, mark: bytes) -> int:
    """Separators of a line, those between quotes left out."""
    return re.sub(rb'"[^"]*"', b"", line).count(mark)


def file_blocks(path: Path, skip: int, size: int) -> Iterator[bytes]:
    """Blocks of whole records of a UTF-8 file as they stand in it, each read in one piece."""
    with opened(path) as raw:
        position, end = skip, path.stat().st_size
        while position < end:
            stop = _record_stop(raw, position, min(position + size, end), end)
            data = _piece(raw, position, stop - position)
            if not data:
                return
            if b'"' in data and stop < end:
                cut = record_end(data)
                data = data[:cut] if cut else _grown(raw, data, position, end, size)
            position += len(data)
            yield data


def _piece(raw: IO[bytes], position: int, size: int) -> bytes:
    raw.seek(position)
    return raw.read(size)


def _record_stop(raw: IO[bytes], start: int, near: int, end: int) -> int:
    """Position after the last line end before `near`; further on when a line is longer than the block."""
    if near >= end:
        return end
    for reach in (_NEAR_BACK, _LOOK_BACK):
        low = max(start, near - reach)
        piece = _piece(raw, low, near - low)
        cut = max(piece.rfind(b"\n"), piece[:-1].rfind(b"\r") if b"\n" not in piece else -1) + 1
        if cut:
            return low + cut
    while near < end:
        if near - start > LONGEST_LINE:
            raise endless_line()
        piece = _piece(raw, near, _LOOK_BACK)
        cut = piece.find(b"\n") + 1
        if cut or not piece:
            return near + cut if cut else end
        near += len(piece)
    return end


def _grown(raw: IO[bytes], data: bytes, position: int, end: int, size: int) -> bytes:
    """A block that is all one open quote so far, with more of the file until a record ends."""
    while position + len(data) < end:
        data += _piece(raw, position + len(data), size)
        cut = record_end(data)
        if cut:
            return data[:cut]
    return data


def _skip_lines(data: bytes, count: int) -> tuple[bytes, int]:
    position, skipped = 0, 0
    while skipped < count:
        found = data.find(b"\n", position)
        if found < 0:
            return b"", skipped + 1
        position, skipped = found + 1, skipped + 1
    return data[position:], skipped
