"""One way from rows to a table: its columns are typed and explained in one place each, and what is not known is null."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import polars as pl

TIME = pl.Datetime("ns", "UTC")
# column -> (type, meaning with its unit)
Columns = dict[str, tuple[pl.DataType | type[pl.DataType], str]]


def one_of(words: Iterable[str]) -> str:
    """What a column of words may hold, as its meaning names them."""
    return " | ".join(words)


def frame_of(columns: Columns, rows: Iterable[Mapping[str, object]]) -> pl.DataFrame:
    """Rows (column -> value) as a table; a column that a row does not name, and a figure that is not finite, is null."""
    known = [
        {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in row.items()}
        for row in rows
    ]
    return pl.DataFrame(known, schema={name: kind for name, (kind, _) in columns.items()}, orient="row")
