"""Rows of cells that come out of a web page or a spreadsheet's XML, as a table whose first rows may hold a header."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from excursions.read.exports.files.frametable import FrameTable

_WIDEST = 20_000


def grid_table(rows: Sequence[Sequence[str]], words: str, notes: tuple[str, ...] = ()) -> FrameTable:
    """The rows as a table of texts; row n is its n-th."""
    width = min(max((len(row) for row in rows), default=1) or 1, _WIDEST)
    columns = {
        str(index): [(row[index].strip() or None) if index < len(row) else None for row in rows]
        for index in range(width)
    }
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    return FrameTable(frame=frame.lazy(), words=words, height=frame.height, typed=False, notes=notes)
