"""Units that stand behind the numbers in their cells: whose they are, row by row."""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.read.exports.cells.values import Values
from excursions.read.text.units import is_unit
from excursions.records import BoolArray


def units_of_cells(values: Values, tags: pl.Series | None) -> list[tuple[str, BoolArray | None]]:
    """The units that stand behind the numbers in their cells, each with its rows (n,); no unit and all rows where none does.

    A cell without one, a word in place of a number, goes with the cell of its tag before it.
    """
    stated = [
        (meant.unit, rows) for _, meant, rows in values.odd if meant and meant.unit and is_unit(meant.unit)
    ]
    if not stated:
        return [("", None)]
    names = list(dict.fromkeys(unit for unit, _ in stated))
    codes = np.full(values.value.size, -1, np.int64)
    for unit, rows in stated:
        codes[rows] = names.index(unit)
    found = pl.DataFrame({"code": codes}).with_columns(
        pl.when(pl.col("code") >= 0).then(pl.col("code")),
        tag=pl.lit("") if tags is None else tags.cast(pl.String),
    )
    filled = found.select(pl.col("code").forward_fill().backward_fill().over("tag").fill_null(-1))
    codes = filled.to_series().to_numpy()
    groups = [("" if code < 0 else names[code], codes == code) for code in np.unique(codes).tolist()]
    return sorted(groups, key=lambda group: int(np.argmax(group[1])))


def units_beside(column: pl.Series) -> list[tuple[str, BoolArray | None]]:
    """The units that a column states of the readings of one signal, each with its rows (n,); an empty cell goes with the one before it."""
    texts = column.cast(pl.String, strict=False).str.strip_chars().replace("", None)
    texts = texts.fill_null(strategy="forward").fill_null(strategy="backward").fill_null("")
    found = texts.unique(maintain_order=True).to_list()
    if len(found) == 1:
        return [(found[0], None)]
    return [(unit, (texts == unit).to_numpy()) for unit in found]
