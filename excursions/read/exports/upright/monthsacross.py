"""A sheet of a year: a row a day of the month, a column a month, and the year above or in the name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.read.exports.cells.headerrows import is_remark, trimmed
from excursions.read.exports.cells.sections import names_by_itself, section_of
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.times.timeshapes import MONTHS
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.read.text.fold import plain
from excursions.records import Decision

_FEWEST = 3  # months beside one another
_SHORTEST = 3  # letters; I, V and X are rather a current, a voltage and something else
_HEAD_ROWS = 20
_YEAR = re.compile(r"(?<!\d)((?:19|20)\d{2})(?!\d)")


def months_at(row: Row) -> int | None:
    """Index of the first of the cells that all name months, each another; None where they do not."""
    cells = [plain(cell.strip(" .")).casefold() for cell in row.cells[: trimmed(row.cells)]]
    numbers = [MONTHS.get(cell) if len(cell) >= _SHORTEST else None for cell in cells]
    first = next((i for i, number in enumerate(numbers) if number is not None), None)
    months = [] if first is None else numbers[first:]
    whole = first is not None and first > 0 and len(months) >= _FEWEST and None not in months
    return first if whole and len(set(months)) == len(months) else None


def year_of_months(table: Table, name: str) -> tuple[BlockTable, Decision] | None:
    """The sheet with a row a day; None where it is none, or states no year or more than one."""
    rows = [row for row in table.preview.rows if not is_remark(row)]
    at = next((i for i, row in enumerate(rows[:_HEAD_ROWS]) if months_at(row) is not None), None)
    if at is None:
        return None
    header, first, above = rows[at], months_at(rows[at]) or 0, rows[:at]
    said = " ".join(cell for row in above for cell in row.cells)
    years = set(_YEAR.findall(said) or _YEAR.findall(name.rpartition("/")[2]))
    days = [row.cells[first - 1].strip() for row in rows[at + 1 :] if first - 1 < len(row.cells)]
    if len(years) != 1 or sum(_is_day(day) for day in days) < 0.5 * len(days) or not days:
        return None
    year, width = years.pop(), trimmed(header.cells)
    kept = held(table, width).since(header.line + 1)
    frame = kept.frame
    months = {
        str(column): f"{year}-{MONTHS[plain(header.cells[column].strip(' .')).casefold()]:02d}"
        for column in range(first, width)
    }
    long = (
        frame.select(pl.col(str(first - 1)).alias("day"), *months)
        .with_columns(row=pl.Series(np.arange(frame.height)))
        .unpivot(list(months), index=["day", "row"], variable_name="month", value_name="cell")
        .filter(pl.col("cell").is_not_null())
        .sort("row", maintain_order=True)
    )
    day = pl.col("day").fill_null("").str.strip_chars(" .")
    text = pl.concat_str(pl.col("month").replace_strict(months), pl.lit("-"), day.str.zfill(2))
    whole = long.select(
        pl.when(day.str.contains(r"^\d{1,2}$")).then(text).otherwise(day).alias("0"),
        pl.col("cell").alias("1"),
    )
    tag = _tags(above)
    head = [
        *([Row(0, (f"Tag: {tag[0]}",))] if len(tag) == 1 else []),
        *above,
        Row(header.line, ("date", "value")),
    ]
    made = replace(kept, frame=whole, lines=kept.lines[long["row"].to_numpy()])
    return rewritten(table, head, made), Decision(
        subject=name, what=f"days of the months beside one another are taken as those of {year}", why="that is the one year named above them or in the name",
        option="export one row for each day",
    )  # fmt: skip


def _is_day(text: str) -> bool:
    said = text.strip(" .")
    return said.isdecimal() and 1 <= int(said) <= 31


def _tags(rows: Sequence[Row]) -> list[str]:
    """Names of signals among the words above the months."""
    words = [word for row in rows for cell in row.cells for word in cell.split()]
    return [
        word
        for word in words
        if names_by_itself(*section_of((word,))) and not _YEAR.fullmatch(word) and re.search(r"\d", word)
    ]
