"""Some bytes with a name: a file, or a member of an archive."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from excursions.errors import InputFileError
from excursions.read.exports.cells.table import Table
from excursions.read.text.unpack import CutOff

Opened = Iterator[tuple[str, Table]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Some bytes with a name: a file, or a member of an archive.

    name : for people; path : on disk, None inside an archive; start : the first bytes, unpacked
    chunks : a fresh pass over the unpacked bytes; size : bytes as stored; packing : words; depth : archives it lies in
    told : is told the digest of the file once it is known
    """

    name: str
    path: Path | None
    start: bytes
    chunks: Callable[[], Iterator[bytes]]
    size: int
    packing: str = ""
    depth: int = 0
    told: Callable[[str], None] | None = None

    def whole(self) -> bytes:
        """All of it in memory.

        Raises
        ------
        InputFileError
            If it is larger than can be kept there.
        """
        parts, total = [], 0
        try:
            for chunk in self.chunks():
                parts.append(chunk)
                total += len(chunk)
                if total > _IN_MEMORY:
                    raise InputFileError(
                        found=f"more than {_IN_MEMORY} bytes inside a packed file",
                        expected="less",
                        mend="unpack it and pass the file in it",
                    )
        except CutOff as broken:
            raise InputFileError(
                found=f"a {broken} file that is cut off", expected="a whole one", mend="copy it again"
            ) from broken
        return b"".join(parts)

    def file(self) -> Path | BytesIO:
        """The path where there is one and it is not packed, else the bytes."""
        return self.path if self.path is not None and not self.packing else BytesIO(self.whole())


def start_of(chunks: Callable[[], Iterator[bytes]]) -> bytes:
    """The first 64 KiB of a stream; empty where it is cut off before."""
    try:
        return next(chunks(), b"")[:65_536]
    except CutOff:
        return b""


_IN_MEMORY = 2 * 2**30
