"""Whole columns of written times to nanoseconds, a column at a time.

The fast way is one strptime pattern for the column.  What it does not read (blanks around, other widths,
month names, 24:00) is taken apart shape by shape with regular expressions; there is one pass a shape, never
one a row.  Times without an offset come out as wall time; :mod:`excursions.read.exports.zones` takes them on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.read.exports.timeshapes import (
    FIRST_YEAR,
    MONTHS,
    TimeShape,
    clock_shape_of,
    shape_of,
    zone_offset,
)
from excursions.read.fold import plain
from excursions.records import BoolArray, FloatArray

ORDERS = ("day-first", "month-first", "year-first")
_LETTERS = {"day-first": "dmy", "month-first": "mdy", "year-first": "ymd"}
_FIRST_NS = -8_520_336_000 * NS_PER_S  # 1700-01-01
_WRAPPED_NS = -2_208_988_800 * NS_PER_S  # 1900-01-01
_LAST_NS = 7_258_118_400 * NS_PER_S  # 2200-01-01
_MOST_SHAPES = 300
_TRIES = 5
_MILLISECOND = 1_000_000

# Numbers that stand for times: lowest and highest plausible number (years 2000 to 2100 or wider), ns a unit,
# units from 1970 to the zero.  The spans do not overlap, so the size alone tells them apart.
NUMBER_TIMES: dict[str, tuple[float, float, int, int]] = {
    "days since 1899-12-30": (20_000.0, 80_000.0, NS_PER_DAY, -25_569),
    "seconds since 1970": (1e8, 9.9e9, NS_PER_S, 0),
    "milliseconds since 1970": (1e11, 9.9e12, 1_000_000, 0),
    "microseconds since 1970": (1e14, 9.9e15, 1_000, 0),
    "100 ns since 1601": (1.1e17, 1.6e17, 100, -116_444_736_000_000_000),
    "100 ns since year 1": (6.2e17, 6.7e17, 100, -621_355_968_000_000_000),
    "nanoseconds since 1970": (6.8e17, 4.2e18, 1, 0),
}
SERIAL = "days since 1899-12-30"
SERIAL_1904 = 1_462 * NS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePlan:
    """How the times of a column are written.

    parts : what the columns hold: ``date`` (with or without a clock), then perhaps ``clock``, ``milliseconds``, ``zone``
    kind : ``text``, ``typed`` or a key of :data:`NUMBER_TIMES`
    fast : strptime pattern, empty when only the general way reads it
    zoned : whether `fast` reads an offset
    order : which of two short numbers is the day (:data:`ORDERS`), empty when no date needs it
    shift : ns to add (spreadsheets that count from 1904)
    """

    parts: tuple[str, ...] = ("date",)
    kind: str = "text"
    fast: str = ""
    zoned: bool = False
    order: str = ""
    shift: int = 0


@dataclass(frozen=True, slots=True)
class Times:
    """time (n,) ns; ok (n,) where the text was understood; zoned (n,) where an offset was written (UTC then)."""

    time: TimeArray
    ok: BoolArray
    zoned: BoolArray


def fast_pattern(shape: TimeShape, order: str) -> str:
    """The shape's strptime pattern with day and month in their places."""
    if shape.date != "abc" or not shape.fast:
        return shape.fast
    if order not in _LETTERS:
        return ""
    year = "%Y" if shape.long_year else "%y"
    parts = {"d": "%d", "m": "%m", "y": year}
    filled = shape.fast
    for slot, letter in zip("ABC", _LETTERS[order], strict=True):
        filled = filled.replace(f"{{{slot}}}", parts[letter])
    return filled


def parse_times(columns: Sequence[pl.Series], plan: TimePlan) -> Times:
    """Times (n,) of one column, or of the columns of date, time of day and zone that `plan.parts` names."""
    found = _one_column(columns[0], plan)
    for column, part in zip(columns[1:], plan.parts[1:], strict=True):
        found = _WITH[part](found, column)
    return found


def _one_column(column: pl.Series, plan: TimePlan) -> Times:
    if plan.kind == "typed" or column.dtype.is_temporal():
        return _typed(column)
    if plan.kind != "text":
        return _numbers(column, plan)
    return _texts(column, plan)


def _typed(column: pl.Series) -> Times:
    zoned = isinstance(column.dtype, pl.Datetime) and column.dtype.time_zone is not None
    if zoned:
        column = column.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    stamps = column.cast(pl.Datetime("ns")) if column.dtype != pl.Datetime("ns") else column
    ok = stamps.is_not_null().to_numpy()
    return Times(stamps.to_physical().fill_null(0).to_numpy(), ok, np.full(ok.size, zoned))


def _numbers(column: pl.Series, plan: TimePlan) -> Times:
    """Numbers since some zero; what is no number of the right size is not understood."""
    low, high, unit, zero = NUMBER_TIMES[plan.kind]
    real = _plain_number(column)
    number = real.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy()
    with np.errstate(invalid="ignore"):
        ok = (number >= low) & (number <= high)
    whole, part = _whole_and_part(real, np.where(ok, number, 0.0), unit)
    if plan.kind == SERIAL:
        # A spreadsheet keeps milliseconds; a double of its day number is good to some microseconds.
        part = (part + _MILLISECOND // 2) // _MILLISECOND * _MILLISECOND
    time = np.where(ok, whole + zero, 0) * unit + np.where(ok, part, 0) + plan.shift
    return Times(np.where(ok, time, 0), ok, np.full(ok.size, plan.kind != SERIAL))


def _plain_number(column: pl.Series) -> pl.Series:
    if column.dtype != pl.String:
        return column
    return column.str.strip_chars().str.replace(",", ".", literal=True)


def _whole_and_part(column: pl.Series, number: FloatArray, unit: int) -> tuple[TimeArray, TimeArray]:
    """Whole units (n,) and the rest in ns (n,), to the digit where the number was written or whole."""
    if column.dtype.is_integer():
        return column.cast(pl.Int64, strict=False).fill_null(0).to_numpy(), np.zeros(number.size, np.int64)
    if column.dtype == pl.String:
        parts = column.str.extract_groups(r"^(?P<whole>\d{1,19})(?:\.(?P<part>\d+))?$").struct.unnest()
        whole = parts["whole"].cast(pl.Int64, strict=False).fill_null(0).to_numpy()
        digits = (
            parts["part"]
            .fill_null("")
            .str.slice(0, 12)
            .str.pad_end(12, "0")
            .cast(pl.Int64, strict=False)
            .fill_null(0)
        )
        if unit <= NS_PER_S:
            return whole, digits.to_numpy() * unit // 10**12 if unit <= 10**6 else digits.to_numpy() // (
                10**12 // unit
            )
        return whole, np.rint(digits.to_numpy() / 1e12 * unit).astype(np.int64)
    floor = np.floor(number)
    part = np.rint((number - floor) * unit).astype(np.int64)
    # A double of some 1e9 seconds is good to a fraction of a microsecond.
    return floor.astype(np.int64), (part + 500) // 1_000 * 1_000 if unit > 1_000 else part


def _texts(column: pl.Series, plan: TimePlan) -> Times:
    if plan.fast:
        time, ok = _fast(column, plan)
    else:
        time, ok = np.zeros(len(column), np.int64), np.zeros(len(column), np.bool_)
    zoned = np.full(ok.size, plan.zoned)
    if ok.all():
        return Times(time, ok, zoned)
    left = np.flatnonzero(~ok)
    time, ok = time.copy(), ok.copy()
    slow = parse_distinct(column.gather(left), plan.order)
    time[left], ok[left], zoned[left] = slow.time, slow.ok, slow.zoned
    return Times(time, ok, zoned)


def _fast(column: pl.Series, plan: TimePlan) -> tuple[TimeArray, BoolArray]:
    parsed = column.str.to_datetime(plan.fast, time_unit="ns", strict=False)
    missing = parsed.null_count()
    time = parsed.to_physical().fill_null(0).to_numpy() if missing else parsed.to_physical().to_numpy()
    ok = parsed.is_not_null().to_numpy() if missing else np.ones(time.size, np.bool_)
    if time.size and time.min() < _WRAPPED_NS:
        # A year of two digits read as four is too early for nanoseconds and comes out as one of the years 1753 to 1852:
        # old years are looked at again in microseconds, which do not overflow.
        early = (
            column.str.to_datetime(plan.fast, time_unit="us", strict=False)
            .to_physical()
            .fill_null(0)
            .to_numpy()
        )
        ok = ok & (early >= _FIRST_NS // 1_000)
    if time.size and time.max() > _LAST_NS:
        ok = ok & (time <= _LAST_NS)
    return time, ok


def parse_distinct(texts: pl.Series, order: str, *, clock_only: bool = False) -> Times:
    """Times of texts in any mix of shapes; each distinct text is understood once."""
    size = len(texts)
    distinct = texts.unique(maintain_order=True).drop_nulls().rename("text")
    time, ok, zoned = (
        np.zeros(len(distinct), np.int64),
        np.zeros(len(distinct), np.bool_),
        np.zeros(len(distinct), np.bool_),
    )
    masks = distinct.str.replace_all(r"\d", "0")
    groups = (
        pl.DataFrame({"mask": masks, "row": np.arange(len(distinct))})
        .group_by("mask", maintain_order=True)
        .agg("row")
    )
    finder = clock_shape_of if clock_only else shape_of
    for rows in groups["row"].head(_MOST_SHAPES):
        index = rows.to_numpy()
        shape = next(filter(None, (finder(distinct[int(row)]) for row in index[:_TRIES])), None)
        if shape is not None and not (shape.date == "abc" and order not in _LETTERS):
            time[index], ok[index], zoned[index] = _by_shape(distinct.gather(index), shape, order)
    table = pl.DataFrame({"text": distinct, "time": time, "ok": ok, "zoned": zoned})
    found = pl.DataFrame({"text": texts}).join(table, on="text", how="left", maintain_order="left")
    return Times(
        found["time"].fill_null(0).to_numpy().copy() if size else time,
        found["ok"].fill_null(False).to_numpy().copy(),
        found["zoned"].fill_null(False).to_numpy().copy(),
    )


def _by_shape(texts: pl.Series, shape: TimeShape, order: str) -> tuple[TimeArray, BoolArray, BoolArray]:
    plainly = (
        pl.Series([plain(text).strip() for text in texts])
        if not _all_ascii(texts)
        else texts.str.strip_chars()
    )
    parts = plainly.str.extract_groups(shape.regex).struct.unnest()
    matched = parts.get_columns()[0].is_not_null() if parts.width else pl.Series([False] * len(texts))
    year, month, day = _date_numbers(parts, shape, order)
    hour, minute, second = (_number(parts, name) for name in ("H", "M", "S"))
    hour, half_ok = _half_days(parts, hour)
    days, valid = (
        civil_days(year, month, day)
        if shape.date
        else (np.zeros(len(texts), np.int64), np.ones(len(texts), np.bool_))
    )
    valid &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
    valid &= (minute < 60) & (second < 61) & half_ok
    offset, zoned, known = _offsets(parts)
    time = days * NS_PER_DAY + (hour * 3_600 + minute * 60 + second - offset) * NS_PER_S + _fraction(parts)
    ok = valid & known & matched.to_numpy()
    return np.where(ok, time, 0), ok, zoned & ok


def _all_ascii(texts: pl.Series) -> bool:
    return bool((texts.str.len_bytes() == texts.str.len_chars()).all())


def _number(parts: pl.DataFrame, name: str) -> TimeArray:
    if name not in parts.columns:
        return np.zeros(parts.height, np.int64)
    return parts[name].cast(pl.Int64, strict=False).fill_null(0).to_numpy()


def _date_numbers(
    parts: pl.DataFrame, shape: TimeShape, order: str
) -> tuple[TimeArray, TimeArray, TimeArray]:
    if not shape.date:
        return _number(parts, "y"), _number(parts, "m"), _number(parts, "d")
    if shape.date == "abc":
        slots = dict(zip(_LETTERS[order], "abc", strict=True))
        year, month, day = (_number(parts, slots[letter]) for letter in "ymd")
    else:
        year, day = _number(parts, "y"), _number(parts, "d")
        month = _month_numbers(parts) if "N" in shape.date else _number(parts, "m")
    century = np.where(year < 69, 2000, 1900)  # POSIX strptime %y
    return np.where(year < 100, year + century, year), month, day


def _month_numbers(parts: pl.DataFrame) -> TimeArray:
    names = parts["N"].fill_null("")
    table = {name: MONTHS.get(plain(name).casefold(), 0) for name in names.unique().to_list()}
    return names.replace_strict(table, return_dtype=pl.Int64).to_numpy()


def _half_days(parts: pl.DataFrame, hour: TimeArray) -> tuple[TimeArray, BoolArray]:
    if "half" not in parts.columns:
        return hour, np.ones(hour.size, np.bool_)
    half = parts["half"].str.strip_chars().str.to_lowercase().str.slice(0, 1).fill_null("").to_numpy()
    written = half != ""
    moved = hour % 12 + np.where(half == "p", 12, 0)
    return np.where(written, moved, hour), ~written | ((hour >= 1) & (hour <= 12))


def _fraction(parts: pl.DataFrame) -> TimeArray:
    if "f" not in parts.columns:
        return np.zeros(parts.height, np.int64)
    padded = parts["f"].fill_null("").str.pad_end(9, "0")
    return padded.cast(pl.Int64, strict=False).fill_null(0).to_numpy()


def _offsets(parts: pl.DataFrame) -> tuple[TimeArray, BoolArray, BoolArray]:
    """Offset in seconds, where one is written, and where it is known."""
    if "zone" not in parts.columns:
        size = parts.height
        return np.zeros(size, np.int64), np.zeros(size, np.bool_), np.ones(size, np.bool_)
    return _offset_columns(parts["zone"].fill_null(""))


def _offset_columns(words: pl.Series) -> tuple[TimeArray, BoolArray, BoolArray]:
    table = {word: _offset_seconds(word) for word in words.unique().to_list()}
    seconds = words.replace_strict(table, return_dtype=pl.Int64)
    return seconds.fill_null(0).to_numpy(), (words != "").to_numpy(), seconds.is_not_null().to_numpy()


def _offset_seconds(word: str) -> int | None:
    if not word:
        return 0
    known = zone_offset(word)
    if known is None:
        return None
    sign = -1 if known.startswith("-") else 1
    return sign * (int(known[1:3]) * 3_600 + int(known[4:6]) * 60)


def civil_days(year: TimeArray, month: TimeArray, day: TimeArray) -> tuple[TimeArray, BoolArray]:
    """Days since 1970-01-01 of proleptic Gregorian dates, and which of them exist (years FIRST_YEAR to 2199)."""
    ok = (year >= FIRST_YEAR) & (year < 2200) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    safe_year, safe_month = np.where(ok, year, 1970), np.where(ok, month, 1)
    months = (safe_year - 1970) * 12 + safe_month - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    ok &= day <= following - first
    return np.where(ok, first + day - 1, 0), ok


def _with_clock(dates: Times, clocks: pl.Series) -> Times:
    """A time of day on top of a date; a clock the date may carry itself is dropped."""
    time, ok = _clock_ns(clocks)
    return Times(dates.time // NS_PER_DAY * NS_PER_DAY + time, dates.ok & ok, dates.zoned)


def _with_zone(times: Times, zones: pl.Series) -> Times:
    """Offsets or zone words from a column of their own; an empty cell leaves wall time."""
    words = zones.cast(pl.String, strict=False).fill_null("").str.strip_chars()
    seconds, written, known = _offset_columns(words)
    use = written & ~times.zoned
    return Times(
        np.where(use, times.time - seconds * NS_PER_S, times.time), times.ok & known, times.zoned | use
    )


def _with_milliseconds(times: Times, column: pl.Series) -> Times:
    """Milliseconds from a column of their own."""
    found = column.cast(pl.String, strict=False).str.strip_chars().cast(pl.Int64, strict=False)
    ok = found.is_between(0, 999).fill_null(False).to_numpy()
    whole_second = times.time // NS_PER_S * NS_PER_S
    return Times(
        whole_second + np.where(ok, found.fill_null(0).to_numpy(), 0) * _MILLISECOND,
        times.ok & ok,
        times.zoned,
    )


_WITH: dict[str, Callable[[Times, pl.Series], Times]] = {
    "clock": _with_clock, "zone": _with_zone, "milliseconds": _with_milliseconds
}  # fmt: skip


def _clock_ns(clocks: pl.Series) -> tuple[TimeArray, BoolArray]:
    if clocks.dtype == pl.Time:
        return clocks.to_physical().fill_null(0).to_numpy(), clocks.is_not_null().to_numpy()
    if clocks.dtype.is_temporal():
        stamps = _typed(clocks)
        return stamps.time % NS_PER_DAY, stamps.ok
    if clocks.dtype.is_numeric():
        part = clocks.cast(pl.Float64).fill_null(np.nan).to_numpy()
        ok = (part >= 0.0) & (part < 1.0)
        return np.rint(np.where(ok, part, 0.0) * 86_400_000).astype(np.int64) * _MILLISECOND, ok
    parsed = parse_distinct(clocks, "", clock_only=True)
    return parsed.time, parsed.ok
