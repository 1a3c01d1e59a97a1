"""The times of the rows of a list: from one column, or from a date and a time of day beside it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from excursions.read.logs.cells import Row
from excursions.read.logs.moments import CLOCK, Moments, read_moments, time_of_day
from excursions.read.logs.table import LogTable, cell_at
from excursions.read.model import ReadOptions


def row_times(table: LogTable, options: ReadOptions, file: str, *, comma: bool) -> Moments:
    """Times of all rows: from one column, or from a date and a time of day.

    comma: whether numbers of this table have a decimal comma; nobody who writes one writes the month first.
    """
    dates, clocks = table.columns("time"), table.columns("clock")
    if not dates and clocks:
        dates, clocks = clocks[:1], clocks[1:]
    clocks = clocks or clocks_by_cells(table)
    texts = [_date_and_time(row, dates, clocks) for row in table.rows]
    if not dates and "time" in table.above:
        texts = [" ".join(filter(None, (table.above["time"], table.above.get("clock", ""))))] * len(
            table.rows
        )
    header = table.headers[dates[0]] if dates else ""
    return read_moments(texts, _in_stated_zone(options, header), file=file, column=header, comma=comma)


def clocks_by_cells(table: LogTable) -> list[int]:
    """Columns that no header explains and that hold times of day alone, ``Start``, ``Shift``."""
    cells = {at: [cell for row in table.rows if (cell := cell_at(row, at))] for at in table.columns("")}
    return [at for at, said in cells.items() if said and all(re.fullmatch(CLOCK, cell) for cell in said)]


def _date_and_time(row: Row, dates: Sequence[int], clocks: Sequence[int]) -> str:
    date = cell_at(row, dates[0]) if dates else ""
    clock = time_of_day(cell_at(row, clocks[0])) if clocks else ""
    if clock and re.match(r"\d{4}-\d\d-\d\d[ T]", date):
        date = date[:10]  # a workbook writes midnight behind a plain date
    return f"{date} {clock}".strip() if date else ""


def _in_stated_zone(options: ReadOptions, header: str) -> ReadOptions:
    return (
        replace(options, tz="UTC")
        if re.search(r"(^|[\W_])(utc|gmt)([\W_]|$)", header.casefold())
        else options
    )
