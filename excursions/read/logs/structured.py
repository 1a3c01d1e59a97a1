"""JSON, XML, web pages and YAML as frames, for readers of small tables: by the readers of exports."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from excursions.read.members import MARK
from excursions.read.model import ReadOptions

_HEAD_BYTES = 64 * 2**10


def is_structured(data: bytes) -> bool:
    """Whether bytes begin as JSON, XML, a web page or YAML does."""
    from excursions.read.exports.files.containers import TEXTS

    return any(is_kind(data[:_HEAD_BYTES]) for is_kind, _ in TEXTS)


def structured_frames(
    name: str, data: bytes, options: ReadOptions
) -> Iterator[tuple[str, tuple[tuple[str, ...], ...], pl.DataFrame]]:
    """Each table: its name within the file, the names of its columns where they are no row of it, and the frame."""
    from excursions.read.exports.files.containers import open_content
    from excursions.read.exports.files.content import Content
    from excursions.read.exports.files.frametable import FrameTable

    content = Content(
        name=name, path=None, start=data[:_HEAD_BYTES], chunks=lambda: iter([data]), size=len(data)
    )
    for title, table in open_content(content, options):
        if isinstance(table, FrameTable):
            frame = table.frame.collect()
            yield (
                title.removeprefix(name).removeprefix(MARK),
                (tuple(frame.columns),) if table.typed else (),
                frame,
            )
