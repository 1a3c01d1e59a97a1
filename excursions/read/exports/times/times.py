"""Whole columns of written times to nanoseconds, a column at a time.

The fast way is one strptime pattern for the column.  What it does not read (blanks around, other widths,
month names, 24:00) is taken apart shape by shape with regular expressions; there is one pass a shape, never
one a row.  Times without an offset come out as wall time; :mod:`excursions.read.exports.times.zones` takes them on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, TimeArray
from excursions.read.exports.times.calendartimes import parse_calendar
from excursions.read.exports.times.numbertimes import parse_numbers
from excursions.read.exports.times.textparts import offset_columns, parse_distinct
from excursions.read.exports.times.timeplan import LETTERS, MILLISECOND, TimePlan, Times
from excursions.read.exports.times.timeshapes import TimeShape
from excursions.records import BoolArray

_FIRST_NS = -8_520_336_000 * NS_PER_S  # 1700-01-01
_WRAPPED_NS = -2_208_988_800 * NS_PER_S  # 1900-01-01
_LONG_NS = 30 * 366 * NS_PER_DAY  # a longer column may hold a year that came back as another one
_LAST_NS = 7_258_118_400 * NS_PER_S  # 2200-01-01


def fast_pattern(shape: TimeShape, order: str) -> str:
    """The shape's strptime pattern with day and month in their places."""
    if shape.date != "abc" or not shape.fast:
        return shape.fast
    if order not in LETTERS:
        return ""
    year = "%Y" if shape.long_year else "%y"
    parts = {"d": "%d", "m": "%m", "y": year}
    filled = shape.fast
    for slot, letter in zip("ABC", LETTERS[order], strict=True):
        filled = filled.replace(f"{{{slot}}}", parts[letter])
    return filled


def parse_times(columns: Sequence[pl.Series], plan: TimePlan) -> Times:
    """Times (n,) of one column, or of the columns of date, time of day and zone that `plan.parts` names."""
    if plan.parts[0] == "year":
        return parse_calendar(columns, plan.parts)
    found = _one_column(columns[0], plan)
    for column, part in zip(columns[1:], plan.parts[1:], strict=True):
        found = _WITH[part](found, column)
    return found


def _one_column(column: pl.Series, plan: TimePlan) -> Times:
    if plan.kind == "typed" or column.dtype.is_temporal():
        return _typed(column)
    if plan.kind != "text":
        return parse_numbers(column, plan)
    return _texts(column, plan)


def _typed(column: pl.Series) -> Times:
    zoned = isinstance(column.dtype, pl.Datetime) and column.dtype.time_zone is not None
    if zoned:
        column = column.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    stamps = column.cast(pl.Datetime("ns")) if column.dtype != pl.Datetime("ns") else column
    ok = stamps.is_not_null().to_numpy()
    return Times(stamps.to_physical().fill_null(0).to_numpy(), ok, np.full(ok.size, zoned))


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
    return Times(time, ok, zoned, slow.passes)


def _fast(column: pl.Series, plan: TimePlan) -> tuple[TimeArray, BoolArray]:
    """One pass with the pattern.  Microseconds reach years that overflow nanoseconds and would come back as others."""
    if "%.f" not in plan.fast:  # nothing is finer than a second
        time, ok = _parsed(column, plan.fast, "us")
        ok = _in_reach(time, ok)
        return (time if ok is None else np.where(ok, time, 0)) * 1_000, np.ones(
            time.size, np.bool_
        ) if ok is None else ok
    time, ok = _parsed(column, plan.fast, "ns")
    if time.size and (time.min() < _WRAPPED_NS or time.max() - time.min() > _LONG_NS):
        coarse, known = _parsed(column, plan.fast, "us")
        ok = _in_reach(coarse, known)
    return time, np.ones(time.size, np.bool_) if ok is None else ok


def _parsed(column: pl.Series, pattern: str, unit: Literal["us", "ns"]) -> tuple[TimeArray, BoolArray | None]:
    """Times (n,) in this unit, and which were read; None where all were."""
    parsed = column.str.to_datetime(pattern, time_unit=unit, strict=False)
    if not parsed.null_count():
        return parsed.to_physical().to_numpy(), None
    return parsed.to_physical().fill_null(0).to_numpy(), parsed.is_not_null().to_numpy()


def _in_reach(time: TimeArray, ok: BoolArray | None) -> BoolArray | None:
    """Which times (us) were read and are of the years 1700 to 2199; None where all are."""
    if not time.size or (time.min() >= _FIRST_NS // 1_000 and time.max() <= _LAST_NS // 1_000):
        return ok
    reached = (time >= _FIRST_NS // 1_000) & (time <= _LAST_NS // 1_000)
    return reached if ok is None else ok & reached


def _with_clock(dates: Times, clocks: pl.Series) -> Times:
    """A time of day on top of a date; a clock the date may carry itself is dropped."""
    found = _clock_ns(clocks)
    time = dates.time // NS_PER_DAY * NS_PER_DAY + found.time
    return Times(time, dates.ok & found.ok, dates.zoned, dates.passes or found.passes)


def _with_zone(times: Times, zones: pl.Series) -> Times:
    """Offsets or zone words from a column of their own; an empty cell leaves wall time."""
    words = zones.cast(pl.String, strict=False).fill_null("").str.strip_chars()
    seconds, written, known = offset_columns(words)
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
        whole_second + np.where(ok, found.fill_null(0).to_numpy(), 0) * MILLISECOND,
        times.ok & ok,
        times.zoned,
    )


def _with_half(times: Times, column: pl.Series) -> Times:
    """AM or PM from a column of its own, on top of a clock of twelve hours."""
    word = (
        column.cast(pl.String, strict=False)
        .fill_null("")
        .str.strip_chars()
        .str.to_lowercase()
        .str.slice(0, 1)
    )
    second, known = (word == "p").to_numpy(), word.is_in(["a", "p"]).to_numpy()
    hour = times.time % NS_PER_DAY // NS_PER_HOUR
    moved = times.time + np.where(hour == 12, -12, 0) * NS_PER_HOUR + np.where(second, 12, 0) * NS_PER_HOUR
    return Times(moved, times.ok & known & (hour >= 1) & (hour <= 12), times.zoned)


def _number_clock(unit: str) -> Callable[[Times, pl.Series], Times]:
    """Times of day written as hours, as hhmm or as hhmmss, leading zeros or not."""

    def join(dates: Times, column: pl.Series) -> Times:
        said = column.cast(pl.String, strict=False).str.strip_chars()
        if unit == "h.mm":
            said = said.str.replace(".", "", literal=True)
        whole = said.cast(pl.Int64, strict=False).fill_null(-1).to_numpy()
        scaled = whole * {"hours": 10_000, "hhmm": 100, "h.mm": 100, "hhmmss": 1}[unit]
        hour, minute, second = scaled // 10_000, scaled // 100 % 100, scaled % 100
        ok = (whole >= 0) & (minute < 60) & (second < 60) & (scaled <= 240_000)
        clock = (hour * 3_600 + minute * 60 + second) * NS_PER_S
        return Times(
            dates.time // NS_PER_DAY * NS_PER_DAY + np.where(ok, clock, 0), dates.ok & ok, dates.zoned
        )

    return join


def _part_of_hour(seconds: int) -> Callable[[Times, pl.Series], Times]:
    """Minutes or seconds from a column of their own, `seconds` each, on top of the hours."""

    def join(times: Times, column: pl.Series) -> Times:
        number = column.cast(pl.String, strict=False).str.strip_chars().cast(pl.Float64, strict=False)
        whole = number.fill_null(-1.0).fill_nan(-1.0).to_numpy()
        ok = (whole >= 0) & (whole < 60) & (whole == np.floor(whole))
        added = np.where(ok, whole, 0).astype(np.int64) * seconds * NS_PER_S
        return Times(times.time + added, times.ok & ok, times.zoned)

    return join


def _count_of_day(seconds: int) -> Callable[[Times, pl.Series], Times]:
    """Minutes or seconds since midnight, `seconds` each, on top of a date."""

    def join(dates: Times, column: pl.Series) -> Times:
        whole = (
            column.cast(pl.String, strict=False)
            .str.strip_chars()
            .cast(pl.Int64, strict=False)
            .fill_null(-1)
            .to_numpy()
        )
        ok = (whole >= 0) & (whole * seconds <= 86_400)
        clock = np.where(ok, whole, 0) * seconds * NS_PER_S
        return Times(dates.time // NS_PER_DAY * NS_PER_DAY + clock, dates.ok & ok, dates.zoned)

    return join


_WITH: dict[str, Callable[[Times, pl.Series], Times]] = {
    "half": _with_half, "hours": _number_clock("hours"), "hhmm": _number_clock("hhmm"), "h.mm": _number_clock("h.mm"), "hhmmss": _number_clock("hhmmss"),
    "minute of day": _count_of_day(60), "second of day": _count_of_day(1), "minutes": _part_of_hour(60), "seconds": _part_of_hour(1), "clock": _with_clock, "zone": _with_zone, "milliseconds": _with_milliseconds
}  # fmt: skip


def _clock_ns(clocks: pl.Series) -> Times:
    if clocks.dtype == pl.Time:
        return _unzoned(clocks.to_physical().fill_null(0).to_numpy(), clocks.is_not_null().to_numpy())
    if clocks.dtype.is_temporal():
        stamps = _typed(clocks)
        return _unzoned(stamps.time % NS_PER_DAY, stamps.ok)
    if clocks.dtype.is_numeric():
        part = clocks.cast(pl.Float64).fill_null(np.nan).to_numpy()
        ok = (part >= 0.0) & (part < 1.0)
        return _unzoned(np.rint(np.where(ok, part, 0.0) * 86_400_000).astype(np.int64) * MILLISECOND, ok)
    return parse_distinct(clocks, "", clock_only=True)


def _unzoned(time: TimeArray, ok: BoolArray) -> Times:
    return Times(time, ok, np.zeros(ok.size, np.bool_))
