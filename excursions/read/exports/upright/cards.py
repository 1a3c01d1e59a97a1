"""Records written one key a line, one record below the other, as shells and forms print them: ``Tag : AT-101``.

They are written out with the keys as a header and a row a record, on the line where each begins.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.times.timeshapes import shape_of
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.read.text.words import roles_of
from excursions.records import Decision, IndexArray

_LINE = r"^\s*([^\W\d][^:=]{0,40}?)\s*[:=]\s*(.*?)\s*$"
_PATTERN = re.compile(_LINE)
_MOST, _FEWEST_KEYS, _MOST_KEYS = 0.8, 2, 60
_LOOKED_AT = 400


def records_below(table: Table, name: str) -> tuple[BlockTable, Decision] | None:
    """The records as rows, and what was done; None where the lines are none."""
    between = table.preview.separator or " "
    lines = [
        between.join(row.cells).strip()
        for row in table.preview.rows[:_LOOKED_AT]
        if any(map(str.strip, row.cells))
    ]
    said = [match for line in lines if (match := _PATTERN.match(line))]
    counts = Counter(match[1] for match in said)
    keys = [key for key, count in counts.items() if count > 1]
    timed = any(roles_of(m[1]) & {"time", "date"} and shape_of(m[2]) for m in said)
    if (
        not timed
        or not _FEWEST_KEYS <= len(keys) <= _MOST_KEYS
        or sum(counts[key] for key in keys) < _MOST * len(lines)
    ):
        return None
    width = max(len(row.cells) for row in table.preview.rows)
    kept = held(table, width)
    texts = pl.select(
        pl.concat_str(kept.frame.get_columns(), separator=between, ignore_nulls=True)
    ).to_series()
    parts = texts.str.extract_groups(_LINE).struct.unnest()
    parts.columns = ["key", "text"]
    first = said[0][1]
    record = np.cumsum((parts["key"] == first).fill_null(False).to_numpy())
    known = parts["key"].is_in(keys).fill_null(False).to_numpy() & (record > 0)
    # A key that comes twice within a record: the second one belongs to a record whose begin is missing.
    known &= pl.DataFrame({"record": record, "key": parts["key"]}).to_struct().is_first_distinct().to_numpy()
    long = pl.DataFrame(
        {"record": record[known], "key": parts["key"].filter(known), "text": parts["text"].filter(known)}
    )
    wide = long.pivot(
        on="key",
        on_columns=keys,
        index="record",
        values="text",
        aggregate_function="first",
        maintain_order=True,
    ).drop("record")
    starts = kept.lines[np.flatnonzero((parts["key"] == first).fill_null(False).to_numpy())]
    head = [Row(int(starts[0]) - 1, tuple(keys))]
    frame = wide.select(pl.col(key).replace("", None).alias(str(index)) for index, key in enumerate(keys))
    lost = (*kept.lost, *_others(texts, kept.lines, known))
    block = rewritten(table, head, replace(kept, frame=frame, lines=starts, lost=lost))
    return replace(block, separator=between), Decision(
        subject=name, what=f"{frame.height} records of a line a key were taken as rows", why=f'their keys come again and again, such as "{first}"',
        option="export one row for each time",
    )  # fmt: skip


def _others(
    texts: pl.Series, lines: IndexArray, known: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
) -> list[tuple[int, str, str]]:
    """Lines that belong to no record; those without a letter or a digit are drawn for the eye."""
    found = []
    for row in np.flatnonzero(~known).tolist():
        text = texts[row] or ""
        if re.search(r"\w", text):
            found.append(
                (
                    int(lines[row]),
                    text[:500],
                    "a line of no record, beside the keys of the others: correct it, or take it out",
                )
            )
    return found
