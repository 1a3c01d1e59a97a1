"""Bytes of a file, unpacked on the way, with limits against files that grow without end."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import re
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, cast

import zstandard

from excursions.errors import InputFileError
from excursions.read.model import ReadOptions

_CHUNK = 4 * 2**20
_PACKED = 256 * 2**10
# A packed file may always grow to this size, however small it is: short repetitive exports pack very well.
_RATIO_FREE_BYTES = 256 * 2**20

Opener = Callable[[IO[bytes]], IO[bytes]]


class _Zstd(io.RawIOBase):
    """Frames of zstd one after the other; a frame without its end is an error, as with the other packings."""

    def __init__(self, raw: IO[bytes]) -> None:
        self.raw, self.rest = raw, b""
        self.frame = zstandard.ZstdDecompressor().decompressobj()
        self.begun = False

    def read1(self, _size: int = -1) -> bytes:
        """Some more bytes; empty at the end."""
        while True:
            data, self.rest = self.rest or self.raw.read(_PACKED), b""
            if not data:
                if self.begun:
                    raise EOFError("the last frame has no end")
                return b""
            self.begun = True
            found = self.frame.decompress(data)
            if self.frame.eof:
                self.rest, self.begun = self.frame.unused_data, False
                self.frame = zstandard.ZstdDecompressor().decompressobj()
            if found:
                return found


def _zstd(raw: IO[bytes]) -> IO[bytes]:
    return cast(IO[bytes], _Zstd(raw))


# Signature, the words for it, how to open it.  A new packing is one row.  Whole signatures, because texts may begin like one:
# RFC 1952 (gzip, deflated, no reserved flags), RFC 8878 (zstd), the .xz format 1.1.0, and the first block of bzip2 or its end.
PACKINGS: tuple[tuple[re.Pattern[bytes], str, Opener], ...] = (
    (
        re.compile(rb"(?s)\x1f\x8b\x08[\x00-\x1f]"),
        "gzip",
        lambda raw: cast(IO[bytes], gzip.GzipFile(fileobj=raw)),
    ),
    (re.compile(rb"\x28\xb5\x2f\xfd"), "zstd", _zstd),
    (re.compile(rb"\xfd7zXZ\x00"), "xz", lambda raw: cast(IO[bytes], lzma.LZMAFile(raw))),  # noqa: SIM115 - the caller closes it
    (re.compile(rb"BZh[1-9](?:1AY&|\x17rE8)"), "bzip2", lambda raw: cast(IO[bytes], bz2.BZ2File(raw))),
)
_BROKEN = (EOFError, zlib.error, lzma.LZMAError, zstandard.ZstdError, OSError)


def packing_of(start: bytes) -> tuple[str, Opener] | None:
    """Name and opener of the packing that these first bytes belong to, or None when they are not packed."""
    return next(((name, opener) for magic, name, opener in PACKINGS if magic.match(start)), None)


def is_zip(start: bytes) -> bool:
    """Whether first bytes are those of a zip archive, workbooks among them: of a file in it, or of an empty one."""
    return start.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def is_parquet(start: bytes) -> bool:
    """Whether first bytes are those of a Parquet file: its mark, and no text behind it, as there is where a tag is called PAR1."""
    return bool(re.match(rb"PAR1(?![ -~\t\r\n])", start))


def is_arrow(start: bytes) -> bool:
    """Whether first bytes are those of an Arrow file: its mark, filled up with noughts to eight bytes."""
    return start.startswith(b"ARROW1\x00\x00")


def is_sqlite(start: bytes) -> bool:
    """Whether first bytes are those of a SQLite data base."""
    return start.startswith(b"SQLite format 3\x00")


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """Open a file for reading; what the system says against it becomes a sentence.

    Raises
    ------
    InputFileError
        If the file is not there or may not be read.
    """
    try:
        raw = path.open("rb")
    except OSError as error:
        raise InputFileError(
            found=f"a file that cannot be opened ({error.strerror or error})",
            expected="a file that can be read",
            mend="check the name and your right to read it",
            file=str(path),
        ) from error
    with raw:
        yield raw


def unpacked(raw: IO[bytes], packed_bytes: int, options: ReadOptions) -> Iterator[bytes]:
    """Chunks of the unpacked content of an open file.

    Yields
    ------
    bytes
        Never empty.  A file cut off in the middle yields what is there, then raises :class:`CutOff`.

    Raises
    ------
    InputFileError
        If the content grows beyond `options.max_unpacked_bytes` or `options.max_ratio`.
    """
    start = raw.read(8)
    raw.seek(0)
    packing = packing_of(start)
    if packing is None:
        yield from _chunks(raw)
        return
    yield from _through(raw, packing, packed_bytes, options)


def packed_inside(
    chunks: Callable[[], Iterator[bytes]], packed_bytes: int, options: ReadOptions
) -> tuple[Callable[[], Iterator[bytes]], str]:
    """A file in an archive that is packed once more, as days are: its unpacked chunks, and the name of its packing.

    `packed_bytes` are those that the archive holds of it, so that the limits are of both packings together.
    """
    try:
        packing = packing_of(next(chunks(), b"")[:8])
    except CutOff:
        packing = None
    if packing is None:
        return chunks, ""
    return lambda: _through(stream_of(chunks()), packing, packed_bytes, options), packing[0]


def _through(
    raw: IO[bytes], packing: tuple[str, Opener], packed_bytes: int, options: ReadOptions
) -> Iterator[bytes]:
    name, opener = packing
    total = 0
    try:
        with opener(raw) as stream:
            for chunk in _unpacked_chunks(stream):
                total += len(chunk)
                check_growth(total, packed_bytes, name, options)
                yield chunk
    except _BROKEN as error:
        raise CutOff(name) from error


def stream_of(chunks: Iterator[bytes]) -> IO[bytes]:
    """Chunks as a file that is read once, from its begin to its end; limits hold on the way."""
    return cast(IO[bytes], io.BufferedReader(_Chunks(chunks)))


class _Chunks(io.RawIOBase):
    def __init__(self, chunks: Iterator[bytes]) -> None:
        self.chunks, self.rest = chunks, b""

    def readable(self) -> bool:
        """Always."""
        return True

    def readinto(self, buffer: object) -> int:
        """Some more bytes; 0 at the end."""
        room = memoryview(cast(bytearray, buffer))
        if not self.rest:
            self.rest = next(self.chunks, b"")
        piece, self.rest = self.rest[: len(room)], self.rest[len(room) :]
        room[: len(piece)] = piece
        return len(piece)


class CutOff(Exception):
    """The packed stream ends or breaks before its end mark; what came before it is sound."""


def check_growth(total: int, packed_bytes: int, name: str, options: ReadOptions) -> None:
    """Refuse content that has grown beyond the limits."""
    limit = max(_RATIO_FREE_BYTES, packed_bytes * options.max_ratio)
    if total <= options.max_unpacked_bytes and total <= limit:
        return
    raise InputFileError(
        found=f"a {name} file of {packed_bytes} bytes that unpacks to more than {total} bytes",
        expected=f"at most {options.max_unpacked_bytes} bytes and {options.max_ratio} times the packed size",
        mend="unpack it yourself if you trust it, and pass the unpacked file",
    )


def _chunks(stream: IO[bytes]) -> Iterator[bytes]:
    while chunk := stream.read(_CHUNK):
        yield chunk


def _unpacked_chunks(stream: IO[bytes]) -> Iterator[bytes]:
    """Chunks of what a packed stream gives; where it breaks, what came before is given first."""
    reader = cast(io.BufferedReader, stream)
    held: list[bytes] = []
    size = 0
    try:
        while piece := reader.read1(_CHUNK):
            held.append(piece)
            size += len(piece)
            if size >= _CHUNK:
                yield b"".join(held)
                held, size = [], 0
    except _BROKEN:
        yield b"".join(held)
        raise
    if held:
        yield b"".join(held)
