"""Tables whose rows cannot be read alone: times side by side, hours across, a day or a tag on a line of its own, merged cells.

Such a table is held in memory and written out with all that a row needs in the row itself, on the lines of the file; it
is then read like any other.  Nothing is guessed: what a cell leans on stands above it or at the head of its column.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.headerrows import is_remark, times_begin, trimmed
from excursions.read.exports.cells.sections import names_by_itself, section_of
from excursions.read.exports.cells.sheet import Sheet, look_at
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.layouts.common import is_counter, is_quality
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of
from excursions.read.exports.upright.clockdays import OF_PAPER, date_of, iso_day, passed_midnight
from excursions.read.exports.upright.halfdates import dated, days_of
from excursions.read.exports.upright.hours import clocks_across, name_and_clock
from excursions.read.exports.upright.named import named_cells
from excursions.read.exports.upright.stacked import BlockTable, Held, held
from excursions.read.text.units import is_unit
from excursions.read.text.words import roles_of
from excursions.records import BoolArray, Decision, IndexArray

_HEAD_ROWS = 20
_KEY = re.compile(r"^[^\d]{1,20}[:;=]\s*")  # "Date: 04.03.2025"

Found = tuple[BlockTable, Decision]


def written_out(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """The table with whole rows, and what was done; None where its rows are whole already.

    Raises
    ------
    InputFileError
        If the file is too large to be held in memory.
    """
    finders = (
        (_half_dates, _times_across, _day_lines, named_cells)
        if sheet is None
        else (_hours_across, _tags_at_hours_across, _day_lines, _tag_lines, named_cells, _merged)
    )
    return next((found for find in finders if (found := find(table, sheet, name)) is not None), None)


def _decision(name: str, what: str, why: str) -> Decision:
    return Decision(subject=name, what=what, why=why, option="export one row for each time")


def _is_date(text: str) -> bool:
    shape = shape_of(_KEY.sub("", text))
    return shape is not None and not shape.has_clock and not OF_PAPER.search(text)


def _rows(table: Table) -> list[Row]:
    return [row for row in table.preview.rows if not is_remark(row)]


def _block(
    table: Table, kept: Held, head: Sequence[Row], frame: pl.DataFrame, lines: IndexArray
) -> BlockTable:
    names = dict(zip(frame.columns, (str(index) for index in range(frame.width)), strict=True))
    return BlockTable(
        head=tuple(head), frame=frame.rename(names), lines=lines, words=table.words, separator=table.preview.separator,
        lost=kept.lost, notes=kept.notes, starts_in_1904=table.starts_in_1904,
    )  # fmt: skip


def _times_across(table: Table, _: Sheet | None, name: str) -> Found | None:
    """A row a tag, or a time of day, and a column a time or a day; hours may stand below the days."""
    rows = _rows(table)
    at = next((i for i, row in enumerate(rows[:_HEAD_ROWS]) if times_begin(row) is not None), None)
    if at is None or at + 1 == len(rows):
        return None
    header, first, above = rows[at], times_begin(rows[at]) or 0, rows[:at]
    width = trimmed(header.cells)
    below = rows[at + 1].cells[first:width]
    if len(below) == width - first and all(clock_shape_of(cell.strip()) for cell in below):
        heads = (f"{day} {clock}" for day, clock in zip(header.cells[first:width], below, strict=True))
        header, at = Row(rows[at + 1].line, (*header.cells[:first], *heads)), at + 1
    body = [row for row in rows[at + 1 :] if trimmed(row.cells) > first]
    if not first or not body or not all(_numbers_from(row, first) for row in body[:_HEAD_ROWS]):
        return None
    kept = held(table, width)
    labels, roles = _labels(body, first)
    under = np.flatnonzero(kept.lines > header.line)
    frame = kept.frame[under].select(kept.frame.columns[:width])
    long, lines = _long(frame, kept.lines[under], labels, first, header)
    corner = [cell.strip() for cell in header.cells[:first] if cell.strip() and not roles_of(cell)]
    tag = [Row(0, ("Tag", corner[0]))] if "clock" in roles and corner else []
    head = [*tag, *above, Row(header.line, (*roles, "time", "value"))]
    return _block(table, kept, head, long, lines), _decision(
        name,
        f"{width - first} times side by side were taken as a row each",
        "they stand at the heads of the columns",
    )


def _numbers_from(row: Row, first: int) -> bool:
    cells = [cell for cell in row.cells[first:] if cell.strip()]
    return not cells or 2 * sum(map(looks_numeric, cells)) >= len(cells)


def _labels(body: Sequence[Row], first: int) -> tuple[list[int], list[str]]:
    """Columns before the times that say something, and the names they are to have: tag, unit, description, clock."""
    labels, roles = [], []
    for index in range(first):
        cells = [row.cells[index] for row in body if index < len(row.cells) and row.cells[index].strip()]
        if not cells:
            continue
        is_clock = all(clock_shape_of(cell.strip()) for cell in cells)
        role = (
            "clock"
            if is_clock
            else "unit"
            if all(map(is_unit, cells))
            else "description"
            if "tag" in roles
            else "tag"
        )
        if role not in roles:
            labels.append(index)
            roles.append(role)
    return labels, roles


def _long(
    frame: pl.DataFrame, lines: IndexArray, labels: Sequence[int], first: int, header: Row
) -> tuple[pl.DataFrame, IndexArray]:
    """A row for each filled cell from column `first` on: labels, head of its column, cell; in the order of the file."""
    index = [f"{label}" for label in labels]
    values = [str(column) for column in range(first, frame.width)]
    heads = {str(column): header.cells[column].strip() for column in range(first, frame.width)}
    long = (
        frame.with_columns(row=pl.Series(np.arange(frame.height)))
        .unpivot(values, index=[*index, "row"], variable_name="head", value_name="cell")
        .filter(pl.col("cell").is_not_null())
        .sort("row", maintain_order=True)
    )
    return (
        long.select(*index, pl.col("head").replace_strict(heads, return_dtype=pl.String), "cell"),
        lines[long["row"].to_numpy()],
    )


def _half_dates(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """Days of a month or a week that is named above them, beside times of day."""
    rows = _rows(table)
    days = days_of(rows)
    known = dated(days) if days is not None else None
    if days is None or known is None:
        return None
    whole_date, said = known
    header = rows[days.at]
    width = trimmed(header.cells)
    kept = held(table, width)
    below = np.flatnonzero(kept.lines > header.line)
    frame = kept.frame[below].select(kept.frame.columns[:width])
    frame = frame.with_columns(
        pl.Series("0", [text and whole_date(text) for text in frame["0"].to_list()], pl.String)
    )
    named = [
        word
        for row in rows[: days.at + 1]
        for cell in row.cells[: 1 if row is header else None]
        for word in cell.split()
    ]
    tags = [word for word in named if names_by_itself(*section_of((word,))) and not clock_shape_of(word)]
    tag = [Row(0, (f"Tag: {tags[0]}",))] if len(tags) == 1 else []
    head = [
        *tag,
        *rows[: days.at],
        Row(
            header.line,
            ("date", *(whole_date(cell.strip()) if days.across else cell for cell in header.cells[1:width])),
        ),
    ]
    whole = _block(table, kept, head, frame, kept.lines[below])
    decision = _decision(name, said, f'that is named above, or beside "{header.cells[0].strip()}"')
    found = (
        _times_across(whole, None, name)
        if days.across
        else _hours_across(whole, look_at(whole.preview, name), name)
    )
    return (
        (found[0], replace(decision, why=f"{decision.why}; {found[1].what}")) if found else (whole, decision)
    )


def _hours_across(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """A row a day (and perhaps a tag) and a column a time of day."""
    if sheet is None or (not sheet.header_line and not table.preview.header):
        return None
    first, clocks = clocks_across([column.header for column in sheet.columns])
    dates = [c for c in sheet.columns[:first] if c.is_date or c.is_midnight]
    behind = sheet.columns[first + len(clocks) :]
    if not clocks or len(dates) != 1 or not all(c.roles & {"average", "other_figure"} for c in behind):
        return None
    width = first + len(clocks)
    header = Row(sheet.header_line, (*(column.header for column in sheet.columns[:first]), *clocks))
    kept = held(table, len(sheet.columns))
    below = np.flatnonzero(kept.lines >= sheet.first_line)
    labels = [c.index for c in sheet.columns[:first] if c.filled]
    frame = kept.frame[below].select(kept.frame.columns[:width])
    long, lines = _long(frame, kept.lines[below], labels, first, header)
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    names = ["date" if sheet.columns[index] is dates[0] else sheet.columns[index].header for index in labels]
    head.append(Row(sheet.header_line, (*names, "clock", "value")))
    apart = f"; left out: {', '.join(c.header for c in behind)}" if behind else ""
    return _block(table, kept, head, long, lines), _decision(
        name,
        f"{len(clocks)} times of day side by side were taken as a row each, {clocks[0]} to {clocks[-1]}{apart}",
        f'they are the names of the columns, such as "{sheet.columns[first].header}"',
    )


def _tags_at_hours_across(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """A row a day and a column for each signal at each time of day: ``AT-1 06:00``, ``AT-1 14:00``, ``TT-1 06:00``."""
    if sheet is None or not sheet.header_line:
        return None
    dates = [c for c in sheet.columns if c.is_date or c.is_midnight]
    named = {c.index: pair for c in sheet.columns if c not in dates and (pair := name_and_clock(c.header))}
    counts = Counter(tag for tag, _ in named.values())
    times = [c for c in sheet.columns if c.is_clock or (c.is_time and c not in dates)]
    if len(dates) != 1 or times or not named or len(set(counts.values())) != 1 or min(counts.values()) < 2:
        return None
    kept = held(table, len(sheet.columns))
    below = np.flatnonzero(kept.lines >= sheet.first_line)
    frame = kept.frame[below].select(str(dates[0].index), *(str(index) for index in named))
    frame = frame.rename(dict(zip(frame.columns, map(str, range(frame.width)), strict=True)))
    header = Row(sheet.header_line, ("date", *(str(index) for index in named)))
    long, lines = _long(frame, kept.lines[below], [0], 1, header)
    said = {str(index): pair for index, pair in named.items()}
    tag, clock = (
        pl.col("head").replace_strict({key: pair[part] for key, pair in said.items()}, return_dtype=pl.String)
        for part in (0, 1)
    )
    long = long.select("0", tag.alias("tag"), clock.alias("clock"), "cell")
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    head.append(Row(sheet.header_line, ("date", "tag", "clock", "value")))
    others = [c.header for c in sheet.columns if c.index not in named and c not in dates and c.filled]
    apart = f"; left out: {', '.join(others)}" if others else ""
    return _block(table, kept, head, long, lines), _decision(
        name,
        f"{len(named)} columns of {len(counts)} signals at times of day were taken as a row each{apart}",
        f'the times stand in their names, such as "{sheet.columns[min(named)].header}"',
    )


def _day_lines(table: Table, _: Sheet | None, name: str) -> Found | None:
    """The day on a line of its own above the times of day."""
    rows = _rows(table)
    days = [row for row in rows if trimmed(row.cells) == 1 and _is_date(row.cells[0])]
    clocked = [
        row for row in rows if trimmed(row.cells) > 1 and clock_shape_of(row.cells[0].strip()) is not None
    ]
    if not days or not clocked or 2 * len(clocked) < len(rows) - len(days) or days[0].line > clocked[0].line:
        return None
    header = [row for row in rows if row.line < clocked[0].line and trimmed(row.cells) > 1]
    kept = held(table, max(len(row.cells) for row in clocked))
    texts = kept.frame["0"].fill_null("").to_list()
    alone = kept.frame.select(pl.all_horizontal(pl.all().exclude("0").is_null())).to_series().to_numpy()
    is_day = alone & np.array([_is_date(text) for text in texts], np.bool_)
    day = pl.Series(
        [_KEY.sub("", text) if here else None for text, here in zip(texts, is_day, strict=True)],
        dtype=pl.String,
    )
    top = max([0, *(row.line for row in header)])
    keep = np.flatnonzero(~is_day & (kept.lines > top))
    frame = kept.frame.insert_column(0, _into_the_night(day, kept.frame["0"]).alias("day"))[keep]
    head = [Row(row.line, ("", *row.cells)) for row in header[:-1]]
    head += [Row(row.line, ("date", *row.cells)) for row in header[-1:]]
    return _block(table, kept, head, frame, kept.lines[keep]), _decision(
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
    rows = [row for row in _rows(table) if row.line > sheet.header_line]
    titles = [row for row in rows if _is_title(row)] if rows and _is_title(rows[0]) else []
    if not titles or titles[0] is not rows[0] or any("tag" in c.roles for c in sheet.columns):
        return None
    values = [c for c in sheet.columns if c.is_value and not is_quality(c) and not is_counter(c)]
    if len(values) != 1 or len({row.cells[0] for row in titles}) < len(titles) or 2 * len(titles) > len(rows):
        return None
    kept = held(table, len(sheet.columns))
    alone = kept.frame.select(pl.all_horizontal(pl.all().exclude("0").is_null())).to_series().to_numpy()
    texts = kept.frame["0"].fill_null("").to_list()
    is_title = np.array(
        [here and _is_title(Row(0, (text,))) for text, here in zip(texts, alone, strict=True)], np.bool_
    ) & (kept.lines > sheet.header_line)
    tag = pl.Series(
        [section_of((text,))[1] if here else None for text, here in zip(texts, is_title, strict=True)],
        dtype=pl.String,
    )
    keep = np.flatnonzero(~is_title & (kept.lines > sheet.header_line))
    frame = kept.frame.insert_column(0, tag.fill_null(strategy="forward").alias("tag"))[keep]
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    head.append(Row(sheet.header_line, ("tag", *(c.header for c in sheet.columns))))
    return _block(table, kept, head, frame, kept.lines[keep]), _decision(
        name,
        "the line above each run of rows was taken for its tag",
        f'such as "{titles[0].cells[0].strip()}" in line {titles[0].line}',
    )


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
    kept = held(table, len(sheet.columns))
    below = np.flatnonzero(kept.lines >= sheet.first_line)
    frame, lines = kept.frame[below], kept.lines[below]
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
    return _block(table, kept, head, frame, lines), _decision(
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
