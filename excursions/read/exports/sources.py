"""From paths to items: files, folders, patterns; what each one is; how to open it as tables."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.exports.frametable import FrameTable, parquet_table
from excursions.read.exports.table import Table
from excursions.read.exports.texttable import Source, TextTable, unreadable
from excursions.read.model import ReadOptions
from excursions.read.unpack import opened, packing_of, unpacked

_PIECE = 64 * 2**10


@dataclass(slots=True)
class Item:
    """One file to read."""

    path: Path
    name: str
    sha256: str = ""
    bytes: int = 0
    _unused: list[str] = field(default_factory=list)

    def stem(self, name: str) -> str:
        """The file's name without endings."""
        stem = Path(name).name
        for ending in (".gz", ".zst", ".xz", ".bz2", ".zip"):
            stem = stem.removesuffix(ending)
        return Path(stem).stem or stem

    @contextmanager
    def opened(self, options: ReadOptions) -> Iterator[Iterator[tuple[str, Table]]]:
        """The tables in it, each with its name."""
        with opened(self.path) as raw:
            start = raw.read(4_096)
            self.bytes = self.path.stat().st_size
            raw.seek(0)
            self.sha256 = hashlib.file_digest(raw, "sha256").hexdigest()
        if not start:
            raise InputFileError(
                found="an empty file", expected="an export with readings", mend="export it again"
            )
        yield self._tables(start, options)

    def _tables(self, start: bytes, options: ReadOptions) -> Iterator[tuple[str, Table]]:
        if start.startswith(b"PAR1"):
            yield self.name, parquet_table(self.path)
            return
        yield self.name, self._text(start, options)

    def _text(self, start: bytes, options: ReadOptions) -> Table:
        packing = packing_of(start)

        def chunks() -> Iterator[bytes]:
            with opened(self.path) as raw:
                yield from unpacked(raw, self.bytes, options)

        def late() -> tuple[bytes, ...]:
            if packing or self.bytes < 1_000_000:
                return ()
            pieces = []
            with opened(self.path) as raw:
                for share in (0.25, 0.5, 0.75, 1.0):
                    raw.seek(max(0, int((self.bytes - _PIECE) * share)))
                    pieces.append(raw.read(_PIECE))
            return tuple(pieces)

        table = TextTable(
            source=Source(chunks=chunks, late=late, packing=packing[0] if packing else ""), options=options
        )
        head = "".join(table.head_lines[:200])
        odd = sum(not (char.isprintable() or char in "\t\x1f\x0c\x1a") for char in head[:4_000])
        if odd > 0.02 * len(head[:4_000]) + 2 or "\x00" in head:
            raise unreadable("bytes that are no text")
        return table


def find_items(
    paths: Sequence[Path], options: ReadOptions, problems: list[ExcursionsError]
) -> Iterator[Item]:
    """Every file the paths lead to, once, in the order given (folders in the order of names)."""
    seen: set[Path] = set()
    for path in paths:
        for found in _expand(Path(path)):
            if found.resolve() not in seen:
                seen.add(found.resolve())
                yield Item(path=found, name=str(found))


def _expand(path: Path) -> list[Path]:
    if path.is_dir():
        return sorted(p for p in path.rglob("*") if p.is_file() and not p.name.startswith("."))
    if any(char in path.name for char in "*?[") and not path.exists():
        return sorted(p for p in path.parent.glob(path.name) if p.is_file())
    return [path]


__all__ = ["FrameTable", "Item", "find_items"]
