"""Tables whose rows cannot be read alone: times side by side, hours across, a day or a tag on a line of its own, merged cells.

Such a table is held in memory and written out with all that a row needs in the row itself, on the lines of the file; it
is then read like any other.  Nothing is guessed: what a cell leans on stands above it or at the head of its column.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.headerrows import trimmed
from excursions.read.exports.cells.sections import section_of
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.layouts.common import is_counter, is_quality
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of
from excursions.read.exports.upright.across import (
    Found,
    half_dates,
    hours_across,
    table_rows,
    tags_at_hours_across,
    taken,
    times_across,
)
from excursions.read.exports.upright.clockdays import OF_PAPER, date_of, iso_day, passed_midnight
from excursions.read.exports.upright.named import named_cells
from excursions.read.exports.upright.stacked import Held, held, rewritten
from excursions.records import BoolArray

_KEY = re.compile(r"^[^\d]{1,20}[:;=]\s*")  # "Date: 04.03.2025"


def written_out(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """The table with whole rows, and what was done; None where its rows are whole already.

    Raises
    ------
    InputFileError
        If the file is too large to be held in memory.
    """
    finders = (
        (half_dates, times_across, _day_lines, named_cells)
        if sheet is None
        else (hours_across, tags_at_hours_across, _day_lines, _tag_lines, named_cells, _merged)
    )
    return next((found for find in finders if (found := find(table, sheet, name)) is not None), None)


def _is_date(text: str) -> bool:
    shape = shape_of(_KEY.sub("", text))
    return shape is not None and not shape.has_clock and not OF_PAPER.search(text)


def _day_lines(table: Table, _: Sheet | None, name: str) -> Found | None:
    """The day on a line of its own above the times of day."""
    rows = table_rows(table)
    days = [row for row in rows if trimmed(row.cells) == 1 and _is_date(row.cells[0])]
    clocked = [
        row for row in rows if trimmed(row.cells) > 1 and clock_shape_of(row.cells[0].strip()) is not None
    ]
    if not days or not clocked or 2 * len(clocked) < len(rows) - len(days) or days[0].line > clocked[0].line:
        return None
    header = [row for row in rows if row.line < clocked[0].line and trimmed(row.cells) > 1]
    kept = held(table, max(len(row.cells) for row in clocked))
    is_day, day = _alone(kept, lambda text: _KEY.sub("", text) if _is_date(text) else None)
    top = max([0, *(row.line for row in header)])
    keep = np.flatnonzero(~is_day & (kept.lines > top))
    frame = kept.frame.insert_column(0, _into_the_night(day, kept.frame["0"]).alias("day"))[keep]
    whole = replace(kept, frame=frame, lines=kept.lines[keep])
    head = [Row(row.line, ("", *row.cells)) for row in header[:-1]]
    head += [Row(row.line, ("date", *row.cells)) for row in header[-1:]]
    return rewritten(table, head, whole), taken(
        name,
        "the day on a line of its own was put before the rows below it",
        f'such as "{days[0].cells[0].strip()}" in line {days[0].line}',
    )


def _into_the_night(day: pl.Series, clocks: pl.Series) -> pl.Series:
    """The day (n,) of each row, from the line above; behind a midnight the next one, and none where that cannot be known."""
    run = day.is_not_null().cum_sum().to_numpy()
    read = parse_distinct(clocks, "", clock_only=True)
    night = passed_midnight(run, read.time, read.ok).astype(np.bool_)
    filled = day.fill_null(strategy="forward")
    following = {
        text: number for text in day.drop_nulls().unique().to_list() if (number := date_of(text)) is not None
    }
    later = filled.replace_strict(
        {text: iso_day(number + 1) for text, number in following.items()},
        default=None,
        return_dtype=pl.String,
    )
    return pl.select(pl.when(pl.Series(night)).then(later).otherwise(filled)).to_series()


def _tag_lines(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """The tag on a line of its own above its readings."""
    if sheet is None or not sheet.header_line or len(sheet.columns) < 2:
        return None
    rows = [row for row in table_rows(table) if row.line > sheet.header_line]
    titles = [row for row in rows if _is_title(row)] if rows and _is_title(rows[0]) else []
    if not titles or titles[0] is not rows[0] or any("tag" in c.roles for c in sheet.columns):
        return None
    values = [c for c in sheet.columns if c.is_value and not is_quality(c) and not is_counter(c)]
    if len(values) != 1 or len({row.cells[0] for row in titles}) < len(titles) or 2 * len(titles) > len(rows):
        return None
    kept = held(table, len(sheet.columns)).since(sheet.header_line + 1)
    is_title, tag = _alone(kept, lambda text: section_of((text,))[1] or None)
    keep = np.flatnonzero(~is_title)
    frame = kept.frame.insert_column(0, tag.fill_null(strategy="forward").alias("tag"))[keep]
    whole = replace(kept, frame=frame, lines=kept.lines[keep])
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    head.append(Row(sheet.header_line, ("tag", *(c.header for c in sheet.columns))))
    return rewritten(table, head, whole), taken(
        name,
        "the line above each run of rows was taken for its tag",
        f'such as "{titles[0].cells[0].strip()}" in line {titles[0].line}',
    )


def _alone(kept: Held, called: Callable[[str], str | None]) -> tuple[BoolArray, pl.Series]:
    """Rows (n,) of which only the first cell is filled, where it is `called` something, and what."""
    alone = pl.all_horizontal(pl.col("0").is_not_null(), pl.all().exclude("0").is_null())
    texts = kept.frame.select(pl.when(alone).then("0")).to_series()
    names = {
        text: name for text in texts.drop_nulls().unique().to_list() if (name := called(text)) is not None
    }
    said = texts.replace_strict(names, default=None, return_dtype=pl.String)
    return said.is_not_null().to_numpy(), said


def _is_title(row: Row) -> bool:
    """A line with one text that names something."""
    return trimmed(row.cells) == 1 and bool(section_of(row.cells)[1])


def _merged(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """A date or a tag in the first row of its run only, as merged cells are saved; both where both are."""
    if sheet is None:
        return None
    clocks = [c for c in sheet.columns if c.is_clock]
    tags = [c for c in sheet.columns if "tag" in c.roles and not c.is_value and not c.is_time and _leans(c)]
    outer = _filled(tags[0].cells) if tags else ()
    days = [c for c in sheet.columns if clocks and (c.is_date or c.is_midnight) and _leans(c, outer)]
    columns = [*tags[:1], *days[:1]]
    if not columns:
        return None
    kept = held(table, len(sheet.columns)).since(sheet.first_line)
    frame = kept.frame
    whole = frame.select(pl.sum_horizontal(pl.all().is_not_null()) > 1).to_series()
    for column in columns:
        key = str(column.index)
        open_day = (
            _stepped_back(frame, key, str(clocks[0].index))
            if column in days
            else np.zeros(frame.height, np.bool_)
        )
        above = frame[key].fill_null(strategy="forward")
        put = pl.select(
            pl.when(frame[key].is_null() & whole & ~pl.Series(open_day)).then(above).otherwise(frame[key])
        ).to_series()
        frame = frame.with_columns(put.alias(key))
    head = [row for row in table.preview.rows if row.line < sheet.first_line]
    names = " and ".join(f'"{column.header or column.index + 1}"' for column in columns)
    return rewritten(table, head, replace(kept, frame=frame)), taken(
        name, f"empty cells of column {names} were filled from above",
        "each of its texts stands in the first row of its run only, as merged cells are saved",
    )  # fmt: skip


def _filled(cells: Sequence[str]) -> tuple[str, ...]:
    """The cells with empty ones filled from above."""
    found: list[str] = []
    for cell in cells:
        found.append(cell or (found[-1] if found else ""))
    return tuple(found)


def _leans(column: Column, outer: Sequence[str] = ()) -> bool:
    """Whether the cells show runs of empty ones, each under another text; another one of the same name in `outer`."""
    cells = column.cells
    under = [
        *outer,
        *[outer[-1] if outer else ""] * len(cells),
    ]  # rows that break off leave one column longer
    texts = [pair for pair in zip(cells, under, strict=False) if pair[0]]
    return bool(cells and cells[0]) and len(cells) >= 2 * len(texts) > 0 and len(set(texts)) == len(texts)


def _stepped_back(frame: pl.DataFrame, day: str, clock: str) -> BoolArray:
    """Rows (n,) below a clock that steps back under one date: the next day may have begun there, unsaid."""
    clocks = parse_distinct(frame[clock], "", clock_only=True)
    run = frame[day].is_not_null().cum_sum().to_numpy()
    back = np.concatenate([[False], (np.diff(clocks.time) < 0) & (np.diff(run) == 0)]) & clocks.ok
    counted = pl.DataFrame({"run": run, "back": back}).select(pl.col("back").cum_max().over("run"))
    return counted.to_series().to_numpy().astype(np.bool_)
