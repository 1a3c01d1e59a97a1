"""Times of day whose day stands once: in the name of the sheet or the file, or on a line above them.

A run of times of day that steps back over midnight goes on into the next day.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.read.exports.cells.headerrows import is_remark, trimmed
from excursions.read.exports.cells.table import Row, Table
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeshapes import clock_shape_of, shape_of
from excursions.read.exports.upright.stacked import BlockTable, held, rewritten
from excursions.records import BoolArray, Decision, IndexArray

_DATE = re.compile(
    r"(?<![\d.])(?:\d{1,2}[./-]\d{1,2}[./-]\d{4}|20\d\d([-./_]?)(?:0?[1-9]|1[0-2])\1(?:0[1-9]|[12]\d|3[01])|\d{1,2}\.? [^\W\d]{3,12}\.? 20\d\d)(?![\d.]*\d)"
)
# What such a line dates is the paper, or a span of days, and not the readings.
OF_PAPER = re.compile(
    r"(?i)print|druck|stampa|impress|imprim|erstellt|creat|generat|export|afgedrukt|utskrift|wydruk|作成|印刷|打印|version|\brev\b|period|zeitraum|\bfrom\b|\bto\b|\bvon\b|\bbis\b|"
    r"\bau\b|\bdal\b|\bal\b|\bdesde\b|\bhasta\b|calibra|kalibri"
)
_OVER_MIDNIGHT = 6 * NS_PER_HOUR  # a silence over midnight within this is one run
_HEAD_ROWS = 40


def named_day(table: Table, name: str, title: str, order: str) -> tuple[BlockTable, Decision] | None:
    """The table with the day before each time of day, and what was done; None where no day, or more than one, is named."""
    rows = [row for row in table.preview.rows if not is_remark(row)]
    column = next((at for at in (0, 1) if _are_clocks(rows, at)), None)
    if column is None or table.preview.header:
        return None
    first = next(at for at, row in enumerate(rows) if _is_clock(row, column))
    lines = [" ".join(filter(str.strip, row.cells)) for row in rows[:first][:_HEAD_ROWS]]
    above = {match[0] for line in lines if not OF_PAPER.search(line) for match in _DATE.finditer(line)}
    names = ({match[0] for match in _DATE.finditer(part)} for part in reversed(title.split("/")))
    said = above or next(filter(None, names), set())
    day = date_of(next(iter(said)), order) if len(said) == 1 else None
    if day is None:
        return None
    kept = held(table, max(trimmed(row.cells) for row in rows)).since(rows[first].line)
    head = [Row(row.line, ("", *row.cells)) for row in rows[: first - 1]]
    if first:
        head.append(Row(rows[first - 1].line, ("date", *rows[first - 1].cells)))
    days = with_nights(pl.Series(np.full(kept.frame.height, day)), kept.frame[str(column)])
    block = rewritten(table, head, replace(kept, frame=kept.frame.insert_column(0, days.alias("day"))))
    written = iso_day(day)
    where = "a line above them" if above else f'the name "{title}"'
    return block, Decision(
        subject=name, what=f"the times of day are those of {written}", why=f"{where} says so", option="export date and time in each row"
    )  # fmt: skip


def _are_clocks(rows: Sequence[Row], column: int) -> bool:
    filled = [row for row in rows if trimmed(row.cells) > 1]
    return 2 * sum(_is_clock(row, column) for row in filled) > len(filled) > 1


def _is_clock(row: Row, column: int) -> bool:
    return column < len(row.cells) and clock_shape_of(row.cells[column].strip()) is not None


_YEARLESS = r"^(\d{1,2}\.\d{1,2}\.|\d{1,2}\.?[ -][^\W\d]{3,12}\.?)((?:,? +|T)\d{1,2}[:.]\d{2}.*)?$"
_YEAR = re.compile(r"(?<![\d.,])20\d\d(?![\d.,]*\d)")
_NEW_YEAR = (12, 1)


def is_yearless(text: str) -> bool:
    """Whether a cell is a day and a month without a year, perhaps with a clock: ``14.03. 08:10``."""
    return re.match(_YEARLESS, text) is not None and shape_of(_with_year(text, "2024")) is not None


def _with_year(text: str, year: str) -> str:
    match = re.match(_YEARLESS, text)
    if match is None:
        return text
    numbered = match[1].endswith(".") and match[1][:-1].count(".")
    between = "" if numbered else "-" if "-" in match[1] else " "
    return f"{match[1]}{between}{year}{match[2] or ''}"


def named_year(table: Table, name: str, title: str) -> tuple[BlockTable, Decision] | None:
    """The table with a year behind each day and month, and what was done; None where none, or more than one, is named above.

    A record that runs on into January may be of two years, and is left as it is.
    """
    rows = [row for row in table.preview.rows if not is_remark(row)]
    first = next(
        (at for at, row in enumerate(rows) if trimmed(row.cells) > 1 and is_yearless(row.cells[0].strip())),
        len(rows),
    )
    usual = sum(is_yearless(row.cells[0].strip()) for row in rows[first:])
    lines = [" ".join(row.cells) for row in rows[:first][:_HEAD_ROWS]]
    above = {year for line in lines if not OF_PAPER.search(line) for year in _YEAR.findall(line)} or set(
        _YEAR.findall(title)
    )
    if 2 * usual <= len(rows) - first or not usual or len(above) != 1 or table.preview.header:
        return None
    year = above.pop()
    kept = held(table, max(trimmed(row.cells) for row in rows)).since(rows[first].line)
    frame = kept.frame
    texts = frame["0"].unique(maintain_order=True).drop_nulls().to_list()
    whole = {text: _with_year(text.strip(), year) for text in texts if is_yearless(text.strip())}
    dates = parse_distinct(pl.Series(list(whole.values())), "day-first")
    months = dates.time[dates.ok].astype("datetime64[ns]").astype("datetime64[M]").astype(np.int64) % 12 + 1
    if any(pair == _NEW_YEAR for pair in zip(months[:-1].tolist(), months[1:].tolist(), strict=True)):
        return None
    frame = frame.with_columns(frame["0"].replace(whole).alias("0"))
    head = (row for row in table.preview.rows if row.line < rows[first].line)
    return rewritten(table, head, replace(kept, frame=frame)), Decision(
        subject=name, what=f"the days and months are those of {year}", why="it is the only year named above them, or in the name", option="export dates with years"
    )  # fmt: skip


def date_of(text: str, order: str = "") -> int | None:
    """Days since 1970 of a written date; None where it is none, or can be read in two ways."""
    said = text.strip().replace("_", "-")
    shape = shape_of(said)
    if shape is None:
        return None
    orders = (order,) if order else ("day-first", "month-first")
    if shape.date != "abc":
        orders = ("",)
    elif not order and re.match(r"\D*\d{1,2}\.", said):
        orders = ("day-first",)  # dates with points are written day first (common practice)
    found = {
        int(each.time[0]) // NS_PER_DAY
        for each in (parse_distinct(pl.Series([said]), one) for one in orders)
        if each.ok[0]
    }
    return found.pop() if len(found) == 1 else None


def iso_day(day: int) -> str:
    """A day since 1970 as ISO 8601."""
    return str(np.datetime64(day, "D"))


def with_nights(days: pl.Series, clocks: pl.Series) -> pl.Series:
    """The days (n,) as ISO 8601, one later behind the midnight that a run of times of day passes; null days stay null."""
    number = days.to_numpy() + 0 if not days.null_count() else days.fill_null(0).to_numpy()
    read = parse_distinct(clocks, "", clock_only=True)
    number = number + passed_midnight(number, read.time, read.ok)
    texts = {day: iso_day(day) for day in np.unique(number).tolist()}
    written = pl.Series(number).replace_strict(texts, return_dtype=pl.String)
    return pl.select(pl.when(days.is_not_null()).then(written)).to_series()


def passed_midnight(run: IndexArray, clock: TimeArray, ok: BoolArray) -> IndexArray:
    """1 (n,) for the rows of a run behind the one step back of its times of day that is a midnight, else 0.

    run : rows of one run have the same number; clock : ns of the day, where `ok`
    """
    later = np.zeros(run.size, np.int64)
    for each in np.unique(run).tolist():
        rows = np.flatnonzero((run == each) & ok)
        back = np.flatnonzero(np.diff(clock[rows]) < 0)
        if back.size == 1:
            at = int(back[0])
            silence = NS_PER_DAY - clock[rows[at]] + clock[rows[at + 1]]
            later[rows[at + 1 :]] = int(silence <= _OVER_MIDNIGHT)
    return later
