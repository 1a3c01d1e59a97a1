"""Which columns hold the times: one, or a date with its time of day and its zone beside it."""

from __future__ import annotations

import re
from collections import Counter

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.plan import Draft, NoReadingsError
from excursions.read.exports.layouts.zonestated import zone_in
from excursions.read.exports.times.calendartimes import PARTS, is_part
from excursions.read.exports.times.numbertimes import JULIAN, WALL_KINDS, as_number_time, number_of
from excursions.read.exports.times.timeshapes import shape_of
from excursions.read.text.words import CLOCK_NAMES, CLOCKS_ONLY, HOUR_NAMES, fold

_NEAR = 2  # columns between a date and its time of day


def time_columns(sheet: Sheet) -> list[tuple[int, ...]]:
    """Every time of the sheet, as its columns: date, then time of day and zone where they stand apart.

    Numbers count as times only where no column holds written ones, but for those that count from an instant under a name
    for a time: beside a clock on a wall, which may be any zone's, they say the same exactly.
    """
    clocks = [column for column in sheet.columns if column.is_clock or number_clock(column)]
    zones = [column for column in sheet.columns if column.is_zone]
    found: list[tuple[int, ...]] = []
    for column in (c for c in sheet.columns if c.is_time):
        clock = _near(column, clocks) if column.is_date or column.is_midnight else None
        if clock is not None:
            clocks.remove(clock)
        parts = (column, clock, *_finer(sheet, clock)) if clock is not None else (column,)
        half = _near(parts[-1], [c for c in sheet.columns if c.is_half])
        parts = (*parts, half) if half is not None else parts
        fine = _near(parts[-1], [c for c in sheet.columns if _is_milliseconds(c)])
        zone = _near(fine or parts[-1], zones)
        found.append(tuple(part.index for part in (*parts, fine, zone) if part is not None))
    with_clock = [columns for columns in found if len(columns) > 1 or sheet.columns[columns[0]].is_full_time]
    written = with_clock or found
    return [*written, *_instants(sheet)] if written else _calendar_times(sheet) or number_times(sheet)


def _instants(sheet: Sheet) -> list[tuple[int, ...]]:
    """Columns named as times whose numbers count from an instant, seconds since 1970 and its kin."""
    found: list[tuple[int, ...]] = []
    for column in sheet.columns:
        kinds = (
            {as_number_time(cell) for cell in column.cells if cell}
            if column.roles & {"time"} and not column.is_time
            else set()
        )
        if len(kinds) == 1 and None not in kinds and not kinds & {*WALL_KINDS, JULIAN}:
            found.append((column.index,))
    return found


def _is_exact(sheet: Sheet, columns: tuple[int, ...]) -> bool:
    """Whether a time says its zone: an offset or a zone beside it or in its name, or a count from an instant."""
    column = sheet.columns[columns[0]]
    shapes = [shape for cell in column.cells if (shape := shape_of(cell)) is not None]
    zoned = any(shape.zoned for shape in shapes) or sheet.columns[columns[-1]].is_zone
    return zoned or not shapes or bool(zone_in(column.header, named=True))


def _finer(sheet: Sheet, clock: Column) -> tuple[Column, ...]:
    """Columns of minutes, and of seconds behind them, right behind a column of hours."""
    if number_clock(clock) != "hours":
        return ()
    behind = sheet.columns[clock.index + 1 :]
    if not behind or not _is_minutes(behind[0]) or any(fold(c.header) in ("max", "maximum") for c in behind):
        return ()
    seconds = len(behind) > 1 and is_part("second", behind[1].header, behind[1].cells)
    return behind[: 2 if seconds else 1]


def _is_minutes(column: Column) -> bool:
    """Minutes of an hour; beside hours ``MM`` names no month."""
    name = "minute" if fold(column.header) == "mm" else column.header
    return is_part("minute", name, column.cells)


def _calendar_times(sheet: Sheet) -> list[tuple[int, ...]]:
    calendar = _calendar(sheet)
    return [tuple(calendar.values())] if calendar else []


def _calendar(sheet: Sheet) -> dict[str, int]:
    """Columns of year, month, day, hour and so on, by part; the day of the year may stand for month and day."""
    found: dict[str, int] = {}
    for part in PARTS:
        fits = (
            c for c in sheet.columns if c.index not in found.values() and is_part(part, c.header, c.cells)
        )
        if (column := next(fits, None)) is not None:
            found[part] = column.index
    if "hour" in found:
        found.pop("hhmm", None)
    whole = {"year", "month", "day"} <= found.keys()
    for part in ("yearday",) if whole else ("month", "day"):
        found.pop(part, None)
    return found if whole or {"year", "yearday"} <= found.keys() else {}


_FEWEST_ROWS = 6


def refuse_days_alone(sheet: Sheet, draft: Draft) -> None:
    """Days without a time of day over several rows each: all readings of a day would stand at its midnight.

    Raises
    ------
    NoReadingsError
        If so.
    """
    stream = draft.streams[0]
    column = sheet.columns[stream.time[0]]
    if len(stream.time) > 1 or not column.dates or column.times:
        return
    cells = [sheet.columns[index].cells for index in (column.index, *stream.tag_columns)]
    rows = [row for row in zip(*cells, strict=False) if row[0]]
    if len(rows) < _FEWEST_ROWS or 2 * len(set(rows)) > len(rows):
        return
    most = Counter(rows).most_common(1)[0]
    raise NoReadingsError(
        found=f'days without a time of day over several readings each ("{most[0][0]}" in {most[1]} rows)',
        expected="a date and a time of day in each row",
        mend="export the time of day too, in the same column or in one beside it named as such (Time, Hour and Minute)",
        column=column.header, line=sheet.first_line,
    )  # fmt: skip


def time_parts(sheet: Sheet, columns: tuple[int, ...]) -> tuple[str, ...]:
    """What each column of a time holds: ``date``, ``clock``, ``half`` and so on (see TimePlan)."""
    calendar = _calendar(sheet) if len(columns) > 1 else {}
    if columns == tuple(calendar.values()):
        return tuple(calendar)
    return ("date", *(_part(sheet.columns[index]) for index in columns[1:]))


def _part(column: Column) -> str:
    if column.is_clock:
        return "clock"
    if column.is_half:
        return "half"
    if number_clock(column):
        return number_clock(column)
    if _is_milliseconds(column):
        return "milliseconds"
    return (
        "minutes"
        if _is_minutes(column)
        else "seconds"
        if is_part("second", column.header, column.cells)
        else "zone"
    )


_DAY = r"(?: of (?:the )?day| since midnight| des tages| seit mitternacht| du jour| depuis minuit| del dia| do dia| del giorno| van de dag)"
_OF_DAY = {
    "minute of day": re.compile(rf"(?:min|minutes?|minuten?|minutos?|minut[oi]|minuut){_DAY}|tagesminute"),
    "second of day": re.compile(
        rf"(?:s|sec|seconds?|sekunden?|secondes?|segundos?|second[oi]){_DAY}|tagessekunde"
    ),
}


def number_clock(column: Column) -> str:
    """What a column named as a time of day holds, or empty.

    ``minute of day`` and ``second of day``, ``hours`` (0 to 24), ``hhmm`` (0 to 2400), ``hhmmss`` (0 to 240000), or ``h.mm`` (0.00 to 24.00, with a point).
    """
    cells = [cell for cell in column.cells if cell]
    counted = next((part for part, names in _OF_DAY.items() if names.fullmatch(fold(column.header))), "")
    if counted and cells and all(re.fullmatch(r"\d{1,5}", cell) for cell in cells):
        return counted
    if not cells or not (column.roles & {"clock", "time"} or fold(column.header) in CLOCK_NAMES):
        return ""
    if _only_clock(column) and all(re.fullmatch(r"(?:[01]?\d|2[0-4])[.][0-5]\d", cell) for cell in cells):
        return "h.mm"
    if not all(re.fullmatch(r"\d{1,6}", cell) for cell in cells):
        return ""
    numbers = [int(cell) for cell in cells]
    if max(numbers) <= 24 and all(len(cell) <= 2 for cell in cells):
        return "hours" if fold(column.header) in HOUR_NAMES else ""
    seconds = max(map(len, cells)) > 4
    minutes = [number // 100 % 100 if seconds else number % 100 for number in numbers]
    fits = max(minutes) < 60 and max(numbers) <= (240_000 if seconds else 2_400)
    return ("hhmmss" if seconds else "hhmm") if fits else ""


def _only_clock(column: Column) -> bool:
    """Whether the name of a column says a time of day and nothing else."""
    return fold(column.header) in CLOCKS_ONLY | CLOCK_NAMES


def _is_milliseconds(column: Column) -> bool:
    filled = [cell for cell in column.cells if cell]
    return (
        "milliseconds" in column.roles
        and bool(filled)
        and all(re.fullmatch(r"\d{1,3}", cell) for cell in filled)
    )


def _near(column: Column, others: list[Column]) -> Column | None:
    near = min(others, key=lambda other: abs(other.index - column.index), default=None)
    return near if near is not None and abs(near.index - column.index) <= _NEAR else None


def number_times(sheet: Sheet) -> list[tuple[int, ...]]:
    """Columns of numbers that stand for times: named as one, or the first column where all of them could be."""
    found: list[tuple[int, ...]] = []
    for column in sheet.columns:
        filled = [cell for cell in column.cells if cell]
        kinds = {as_number_time(cell) for cell in filled}
        if not filled or None in kinds or len(kinds) != 1:
            continue
        named = bool(column.roles & {"time", "date", "clock"})
        if named or (not found and column.index == 0 and column.distinct > 0.5 * len(filled)):
            found.append((column.index,))
    return found or _rising(sheet)


def _rising(sheet: Sheet) -> list[tuple[int, ...]]:
    """The one column of numbers that could be times and only ever rises, whatever its name."""
    found: list[tuple[int, ...]] = []
    for column in sheet.columns:
        filled = [cell for cell in column.cells if cell]
        kinds = {as_number_time(cell) for cell in filled}
        if len(filled) < 3 or None in kinds or len(kinds) != 1 or column.roles & {"value", "index", "tag"}:
            continue
        numbers = [number_of(cell) or 0.0 for cell in filled]
        if numbers == sorted(numbers) and column.distinct > 0.5 * len(filled):
            found.append((column.index,))
    return found if len(found) == 1 else []


def chosen_time(sheet: Sheet, times: list[tuple[int, ...]]) -> tuple[int, ...]:
    """The time the reading was taken, where several are given.

    Source before server, start before end, one that states its zone before one that does not; one that never changes is
    the span of a query rather than a time of reading.
    """

    def rank(columns: tuple[int, ...]) -> tuple[bool, bool, bool, bool, int]:
        column = sheet.columns[columns[0]]
        constant = column.distinct == 1 and column.filled > 1
        late, source = "late_time" in column.roles, "source_time" in column.roles
        return constant, late, not _is_exact(sheet, columns), not source, columns[0]

    return min(times, key=rank)
