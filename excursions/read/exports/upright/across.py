"""Times side by side: at the heads of columns, hours across, days of a month across; written out as a row each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.read.exports.cells.headerrows import is_remark, times_begin, trimmed
from excursions.read.exports.cells.sections import names_by_itself, section_of
from excursions.read.exports.cells.sheet import Sheet, look_at
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.times.timeshapes import clock_shape_of
from excursions.read.exports.upright.halfdates import dated, days_of
from excursions.read.exports.upright.hours import clocks_across, name_and_clock
from excursions.read.exports.upright.stacked import BlockTable, Held, held, rewritten
from excursions.read.text.units import is_unit
from excursions.read.text.words import roles_of
from excursions.records import Decision

_HEAD_ROWS = 20

Found = tuple[BlockTable, Decision]


def taken(name: str, what: str, why: str) -> Decision:
    """What was done with a table whose rows could not be read alone."""
    return Decision(subject=name, what=what, why=why, option="export one row for each time")


def table_rows(table: Table) -> list[Row]:
    """Rows of the preview without remarks."""
    return [row for row in table.preview.rows if not is_remark(row)]


def times_across(table: Table, _: Sheet | None, name: str) -> Found | None:
    """A row a tag, or a time of day, and a column a time or a day; hours may stand below the days."""
    rows = table_rows(table)
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
    kept = held(table, width).since(header.line + 1)
    labels, roles = _labels(body, first)
    long = _long(kept, width, labels, first, header)
    corner = [cell.strip() for cell in header.cells[:first] if cell.strip() and not roles_of(cell)]
    tag = [Row(0, ("Tag", corner[0]))] if "clock" in roles and corner else []
    head = [*tag, *above, Row(header.line, (*roles, "time", "value"))]
    return rewritten(table, head, long), taken(
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


def _long(kept: Held, width: int, labels: Sequence[int], first: int, header: Row) -> Held:
    """A row for each filled cell of the columns [first, width): labels, head of its column, cell; in the order of the file."""
    frame = kept.frame.select(kept.frame.columns[:width])
    index = [f"{label}" for label in labels]
    values = [str(column) for column in range(first, frame.width)]
    heads = {str(column): header.cells[column].strip() for column in range(first, frame.width)}
    long = (
        frame.with_columns(row=pl.Series(np.arange(frame.height)))
        .unpivot(values, index=[*index, "row"], variable_name="head", value_name="cell")
        .filter(pl.col("cell").is_not_null())
        .sort("row", maintain_order=True)
    )
    whole = long.select(*index, pl.col("head").replace_strict(heads, return_dtype=pl.String), "cell")
    return replace(kept, frame=whole, lines=kept.lines[long["row"].to_numpy()])


def half_dates(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """Days of a month or a week that is named above them, beside times of day."""
    rows = table_rows(table)
    days = days_of(rows)
    known = dated(days) if days is not None else None
    if days is None or known is None:
        return None
    whole_date, said = known
    header = rows[days.at]
    width = trimmed(header.cells)
    kept = held(table, width).since(header.line + 1)
    frame = kept.frame.select(kept.frame.columns[:width])
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
    whole = rewritten(table, head, replace(kept, frame=frame))
    decision = taken(name, said, f'that is named above, or beside "{header.cells[0].strip()}"')
    found = (
        times_across(whole, None, name)
        if days.across
        else hours_across(whole, look_at(whole.preview, name), name)
    )
    return (
        (found[0], replace(decision, why=f"{decision.why}; {found[1].what}")) if found else (whole, decision)
    )


def hours_across(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """A row a day (and perhaps a tag) and a column a time of day."""
    if sheet is None or (not sheet.header_line and not table.preview.header):
        return None
    first, clocks = clocks_across([column.header for column in sheet.columns])
    dates = [c for c in sheet.columns[:first] if c.is_date or c.is_midnight]
    behind = sheet.columns[first + len(clocks) :]
    # What stands behind the hours is of the whole day, whatever it is called, unless it names the signal.
    if not clocks or len(dates) != 1 or any(c.roles & {"tag", "value"} for c in behind):
        return None
    width = first + len(clocks)
    header = Row(sheet.header_line, (*(column.header for column in sheet.columns[:first]), *clocks))
    kept = held(table, len(sheet.columns)).since(sheet.first_line)
    labels = [c.index for c in sheet.columns[:first] if c.filled]
    long = _long(kept, width, labels, first, header)
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    names = ["date" if sheet.columns[index] is dates[0] else sheet.columns[index].header for index in labels]
    head.append(Row(sheet.header_line, (*names, "clock", "value")))
    apart = f"; left out: {', '.join(c.header for c in behind)}" if behind else ""
    return rewritten(table, head, long), taken(
        name,
        f"{len(clocks)} times of day side by side were taken as a row each, {clocks[0]} to {clocks[-1]}{apart}",
        f'they are the names of the columns, such as "{sheet.columns[first].header}"',
    )


def tags_at_hours_across(table: Table, sheet: Sheet | None, name: str) -> Found | None:
    """A row a day and a column for each signal at each time of day: ``AT-1 06:00``, ``AT-1 14:00``, ``TT-1 06:00``."""
    if sheet is None or not sheet.header_line:
        return None
    dates = [c for c in sheet.columns if c.is_date or c.is_midnight]
    named = {c.index: pair for c in sheet.columns if c not in dates and (pair := name_and_clock(c.header))}
    counts = Counter(tag for tag, _ in named.values())
    times = [c for c in sheet.columns if c.is_clock or (c.is_time and c not in dates)]
    if len(dates) != 1 or times or not named or len(set(counts.values())) != 1 or min(counts.values()) < 2:
        return None
    kept = held(table, len(sheet.columns)).since(sheet.first_line)
    frame = kept.frame.select(str(dates[0].index), *(str(index) for index in named))
    frame = frame.rename(dict(zip(frame.columns, map(str, range(frame.width)), strict=True)))
    header = Row(sheet.header_line, ("date", *(str(index) for index in named)))
    long = _long(replace(kept, frame=frame), frame.width, [0], 1, header)
    said = {str(index): pair for index, pair in named.items()}
    tag, clock = (
        pl.col("head").replace_strict({key: pair[part] for key, pair in said.items()}, return_dtype=pl.String)
        for part in (0, 1)
    )
    whole = long.frame.select("0", tag.alias("tag"), clock.alias("clock"), "cell")
    head = [row for row in table.preview.rows if row.line < sheet.header_line]
    head.append(Row(sheet.header_line, ("date", "tag", "clock", "value")))
    others = [c.header for c in sheet.columns if c.index not in named and c not in dates and c.filled]
    apart = f"; left out: {', '.join(others)}" if others else ""
    return rewritten(table, head, replace(long, frame=whole)), taken(
        name,
        f"{len(named)} columns of {len(counts)} signals at times of day were taken as a row each{apart}",
        f'the times stand in their names, such as "{sheet.columns[min(named)].header}"',
    )
