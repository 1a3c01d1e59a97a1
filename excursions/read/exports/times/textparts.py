"""Written times taken apart: each distinct text once, one pass a shape."""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.read.exports.times.timeplan import LETTERS, Times
from excursions.read.exports.times.timeshapes import (
    FIRST_YEAR,
    MONTHS,
    TimeShape,
    clock_shape_of,
    shape_of,
    spoken,
    zone_offset,
)
from excursions.read.text.fold import plain
from excursions.records import BoolArray

_MOST_SHAPES = 300


_TRIES = 5


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
        if shape is not None and not (shape.date == "abc" and order not in LETTERS):
            time[index], ok[index], zoned[index] = _by_shape(distinct.gather(index), shape, order)
    table = pl.DataFrame({"text": distinct, "time": time, "ok": ok, "zoned": zoned})
    found = pl.DataFrame({"text": texts}).join(table, on="text", how="left", maintain_order="left")
    return Times(
        found["time"].fill_null(0).to_numpy().copy() if size else time,
        found["ok"].fill_null(False).to_numpy().copy(),
        found["zoned"].fill_null(False).to_numpy().copy(),
        passes=bool(distinct.str.contains(r"(?:^|\D)\d{2}[AB]:\d{2}").any()),
    )


def _by_shape(texts: pl.Series, shape: TimeShape, order: str) -> tuple[TimeArray, BoolArray, BoolArray]:
    plainly = texts.str.strip_chars() if _is_plain(texts) else pl.Series([spoken(text) for text in texts])
    parts = plainly.str.extract_groups(shape.regex).struct.unnest()
    matched = parts.get_columns()[0].is_not_null() if parts.width else pl.Series([False] * len(texts))
    year, month, day = _date_numbers(parts, shape, order)
    hour, minute, second = (_number(parts, name) for name in ("H", "M", "S"))
    hour, half_ok = _half_days(parts, hour)
    if shape.date in _DAYS:
        days, valid = _DAYS[shape.date](year, parts)
    elif shape.date:
        days, valid = civil_days(year, month, day)
    else:
        days, valid = np.zeros(len(texts), np.int64), np.ones(len(texts), np.bool_)
    valid &= (hour < 24) | ((hour == 24) & (minute == 0) & (second == 0))
    valid &= (minute < 60) & (second < 61) & half_ok
    offset, zoned, known = _offsets(parts)
    time = days * NS_PER_DAY + (hour * 3_600 + minute * 60 + second - offset) * NS_PER_S + _fraction(parts)
    ok = valid & known & matched.to_numpy()
    return np.where(ok, time, 0), ok, zoned & ok


# Quotes and the like around it, a mark of the doubled hour, the clock at the end of an interval.
_WRAPPED = r"""^\s*['"=]|\d[AB]:|\d\s*[-/~>a-z]+\s+\d{1,2}[:.]\d{2}"""


def _is_plain(texts: pl.Series) -> bool:
    """Plain letters and digits, nothing wrapped around them and no interval."""
    ascii_only = texts.str.len_bytes() == texts.str.len_chars()
    return bool((ascii_only & ~texts.str.contains(_WRAPPED) & (texts.str.len_bytes() < 32)).all())


def day_of_year(year: TimeArray, day: TimeArray) -> tuple[TimeArray, BoolArray]:
    """Days since 1970-01-01 of the n-th days of years, and which of them exist."""
    ones = np.ones(year.size, np.int64)
    first, ok = civil_days(year, ones, ones)
    following, _ = civil_days(year + 1, ones, ones)
    ok &= (day >= 1) & (day <= np.where(following > first, following - first, 366))
    return np.where(ok, first + day - 1, 0), ok


def _of_year(year: TimeArray, parts: pl.DataFrame) -> tuple[TimeArray, BoolArray]:
    return day_of_year(year, _number(parts, "j"))


def _of_week(year: TimeArray, parts: pl.DataFrame) -> tuple[TimeArray, BoolArray]:
    """ISO 8601: the week of 4 January is the first, and weeks begin on Monday."""
    week, weekday = _number(parts, "w"), _number(parts, "e")
    fourth, ok = civil_days(year, np.ones_like(year), np.full_like(year, 4))
    next_fourth, _ = civil_days(year + 1, np.ones_like(year), np.full_like(year, 4))
    monday, next_monday = (
        days - (days + 3) % 7 for days in (fourth, next_fourth)
    )  # 1970-01-01 was a Thursday
    days = monday + (week - 1) * 7 + weekday - 1
    ok &= (week >= 1) & (days < np.where(next_fourth > fourth, next_monday, monday + 371))
    return np.where(ok, days, 0), ok


_DAYS = {"yj": _of_year, "yWd": _of_week}


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
        slots = dict(zip(LETTERS[order], "abc", strict=True))
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
    return offset_columns(parts["zone"].fill_null(""))


def offset_columns(words: pl.Series) -> tuple[TimeArray, BoolArray, BoolArray]:
    """Offsets from UTC (n,) in seconds, where one is written, and where it is understood."""
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
