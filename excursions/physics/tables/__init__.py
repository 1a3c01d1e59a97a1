"""Published tables as CSV files, each with its source in its first lines; read once and kept.

In: the name of a table.  Out: read-only columns as float64 arrays, NaN where the source prints nothing.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray


@cache
def column_table(name: str) -> Mapping[str, NDArray[np.float64]]:
    """Return the columns of ``tables/<name>.csv`` by their heading.

    Raises
    ------
    FileNotFoundError
        If there is no such table in the package.
    """
    text = files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
    columns: dict[str, NDArray[np.float64]] = {}
    for at, heading in enumerate(rows[0]):
        values = np.array([float(row[at]) if row[at] else np.nan for row in rows[1:]])
        values.setflags(write=False)
        columns[heading] = values
    return MappingProxyType(columns)


def look_up(name: str, column: str, at: float) -> float:
    """Interpolate a column linearly over the table's first column; NaN outside the printed range."""
    table = column_table(name)
    axis = next(iter(table.values()))
    known = np.isfinite(table[column])
    return float(np.interp(at, axis[known], table[column][known], left=np.nan, right=np.nan))
