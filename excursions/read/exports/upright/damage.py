"""What people and programs do to the times of a table, or put in its place: named, with the way back."""

from __future__ import annotations

import re
from collections import Counter

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import is_time_text
from excursions.read.exports.cells.table import Table
from excursions.read.exports.layouts.plan import NoReadingsError
from excursions.read.exports.times.timeshapes import zone_offset
from excursions.read.exports.upright.clockdays import is_yearless
from excursions.read.exports.upright.counted import ELAPSED
from excursions.read.exports.upright.halfdates import days_of
from excursions.read.text.words import fold, roles_of

_LONGEST = 500
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?(?=[;,\t|]|$)")


_ZONE_WORD = re.compile(r"\d[-/.]\d+[T ]+\d{1,2}:\d\d(?::\d\d)?(?:[.,]\d+)?\s+\(?([A-Z]{3,5})\b")


def known_damage(table: Table) -> InputFileError | None:
    """What people and spreadsheets do to the times of a table, with the way back."""
    rows = table.preview.rows[:50]
    if not rows:
        return None
    cells = [cell.strip() for row in rows[1:] for cell in row.cells if cell.strip()]
    line = rows[0].line
    across = next((row for row in rows if sum(is_time_text(cell.strip()) for cell in row.cells) > 2), None)
    if across is not None:
        return NoReadingsError(
            found=f'times side by side in one row ("{next(c for c in across.cells if is_time_text(c.strip()))}", ...)',
            expected="one time in each row", mend="swap rows and columns (transpose) and export again", line=across.line,
        )  # fmt: skip
    words = Counter(match[1] for row in rows if (match := _ZONE_WORD.search(" ".join(row.cells))))
    if words and 2 * words.total() >= len(rows) - 1 and zone_offset(words.most_common(1)[0][0]) is None:
        word = words.most_common(1)[0][0]
        return NoReadingsError(
            found=f'times with "{word}" behind them, which names no zone or several', expected="an offset such as +08:00, or times without a zone",
            mend=f'write the offset in place of "{word}", or take the word out and pass --tz', line=line,
        )  # fmt: skip
    days = days_of(rows)
    if days is not None and days.by_week:
        return NoReadingsError(
            found="days of the week without dates", expected="a date in each row",
            mend="write the week above the table (week 12/2025), or export with dates", line=line,
        )  # fmt: skip
    for special in (_other_times(table), _other_form(table), _short_dates(table)):
        if special is not None:
            return special
    objects = [cell for cell in cells if re.fullmatch(r"\{.*:.*\}", cell)]
    if 2 * len(objects) >= len(rows) - 1 > 0:
        return NoReadingsError(
            found=f'objects in cells ("{objects[0][:40]}")', expected="a reading in each cell",
            mend="export each field of them in a column of its own, or the messages as JSON, one a line", line=line,
        )  # fmt: skip
    undated = not any(map(is_time_text, cells))
    if undated and sum(bool(_CLOCK.match(cell)) for cell in cells) >= 0.3 * len(cells) > 0:
        return NoReadingsError(
            found="times of day without a date", expected="date and time in each row",
            mend="export with the date, in the same column or in one beside it", line=line,
        )  # fmt: skip
    yearless = [cell for cell in cells if is_yearless(cell)]
    if len(yearless) >= 0.2 * len(cells) > 0:
        return NoReadingsError(
            found=f'days and months without a year ("{yearless[0]}")', expected="dates with a year",
            mend="write the one year they are of above the table, or export dates with years", line=line,
        )  # fmt: skip
    if sum(bool(re.fullmatch(r"#{3,}", cell)) for cell in cells) >= 0.2 * len(cells) > 0:
        return NoReadingsError(
            found='times shown as "####"', expected="times that can be read",
            mend="make the column wider in the spreadsheet, or format it as yyyy-mm-dd hh:mm:ss, and save as CSV again", line=line,
        )  # fmt: skip
    if sum(bool(re.fullmatch(r"\d{1,2}:\d{2}[.,]\d", cell)) for cell in cells) >= 0.2 * len(cells) > 0:
        return NoReadingsError(
            found="times of minutes and seconds only, as a spreadsheet saves them when the column is so formatted",
            expected="date and time", mend="format the column as yyyy-mm-dd hh:mm:ss and save as CSV again, or use the file as it was exported", line=line,
        )  # fmt: skip
    return None


def _short_dates(table: Table) -> InputFileError | None:
    """Dates of five or six digits under a name for a date: which of them are the year nobody can know."""
    rows = table.preview.rows[:50]
    for at, cell in enumerate(rows[0].cells):
        texts = [row.cells[at].strip() for row in rows[1:] if at < len(row.cells) and row.cells[at].strip()]
        if "date" in roles_of(cell) and texts and all(re.fullmatch(r"\d{5,6}", text) for text in texts):
            return NoReadingsError(
                found=f'dates such as "{texts[0]}", of which nobody can tell the year, the month and the day', expected="dates such as 2024-03-01 or 20240301",
                mend="export the year with four digits", line=rows[0].line,
            )  # fmt: skip
    return None


_OTHER_YEARS = re.compile(
    r"(?<!\d)(?:(1[0-4]\d)[-/.]\d{2}[-/.]\d{2}(?= |T|$)|(2[4-6]\d\d)[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](2[4-6]\d\d)|(1[34]\d\d)[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](1[34]\d\d))(?!\d)"
)


def _other_times(table: Table) -> InputFileError | None:
    """Times that are counted or written in another way: from a start, in another calendar, rounded."""
    rows = table.preview.rows[:50]
    header = next((row for row in rows if any(ELAPSED.fullmatch(fold(cell)) for cell in row.cells)), None)
    if header is not None:
        return NoReadingsError(
            found=f'times counted from a start ("{next(c for c in header.cells if ELAPSED.fullmatch(fold(c)))}")',
            expected="date and time in each row", mend="write the start above the table (Start: 2024-03-01 14:05:00) and the unit behind the name of the column (Elapsed [s]), or export date and time", line=header.line,
        )  # fmt: skip
    cells = [(row.line, cell.strip()) for row in rows[1:] for cell in row.cells if cell.strip()]
    for line, cell in cells:
        match = _OTHER_YEARS.search(cell)
        if match:
            calendar = (
                "a calendar that counts from 1912"
                if match[1]
                else "the Buddhist calendar"
                if match[2] or match[3]
                else "a Persian or Islamic calendar"
            )
            return NoReadingsError(
                found=f'dates such as "{cell}", years of {calendar} or mistyped', expected="dates of the Gregorian calendar",
                mend="set the region of the exporting program to another one, or export epoch seconds", line=line,
            )  # fmt: skip
        if re.fullmatch(r"[1-9][.,]\d{1,6}[eE]\+?(?:09|9|1[0-8])", cell):
            return NoReadingsError(
                found=f'times such as "{cell}", rounded by a spreadsheet: their last digits are lost', expected="whole numbers or dates",
                mend="use the file as it was exported, or format the column as a number without decimals before saving", line=line,
            )  # fmt: skip
    return None


def _other_form(table: Table) -> InputFileError | None:
    """Texts that are no table: name=value pairs or statements of a data base."""
    rows = table.preview.rows[:50]
    lines = [(row.line, " ".join(row.cells).strip()[:_LONGEST]) for row in rows if "".join(row.cells).strip()]
    pairs = sum(len(re.findall(r"[\w.]+\s?=\s?\S", text)) >= 2 for _, text in lines)
    words = "a table with a time and a column a signal, or tag, time, value"
    if pairs >= 0.8 * len(lines) > 0:
        return NoReadingsError(
            found=f'pairs of name=value in each line ("{lines[0][1][:60]}")', expected=words,
            mend="export as CSV", line=lines[0][0],
        )  # fmt: skip
    statement = next(
        (
            (line, text)
            for line, text in lines
            if re.match(r"(?i)(?:insert into|create table|copy \w+|begin;)", text)
        ),
        None,
    )
    if statement is not None:
        return NoReadingsError(
            found=f'SQL statements ("{statement[1][:60]}")', expected=words,
            mend="run a query in the data base and export its result as CSV, or pass a SQLite file", line=statement[0],
        )  # fmt: skip
    return None
