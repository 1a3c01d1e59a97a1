"""Times whose year, month, day, hour and so on stand in columns of their own, as many loggers write them."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.read.exports.times.textparts import civil_days, day_of_year
from excursions.read.exports.times.timeplan import Times
from excursions.read.text.words import fold
from excursions.records import BoolArray

# The parts in their order, the words for each, and the span of its numbers.
PARTS: dict[str, tuple[frozenset[str], int, int]] = {
    part: (frozenset(words.split("|")), low, high)
    for part, words, low, high in (
        ("year", "year|yyyy|yr|jahr|annee|ano|anno|jaar|ar|rok|vuosi|год|年", 1900, 2199),
        ("month", "month|mm|mo|mon|monat|mois|mes|mese|maand|manad|miesiac|mesic|kuukausi|месяц|月", 1, 12),
        ("day", "day|dd|tag|jour|dia|giorno|dag|dzien|den|paiva|день|日|day of month", 1, 31),
        (
            "yearday",
            "day of year|doy|yearday|year day|julian day|jday|julianday|tag des jahres|jour de l annee",
            1,
            366,
        ),
        ("hour", "hour|hh|hr|h|stunde|heure|hora|ora|uur|timme|time|godzina|hodina|tunti|час|時|时", 0, 24),
        ("hhmm", "hhmm|hour minute|hourmin|time hhmm|time", 0, 2400),
        ("minute", "minute|min|mi|minuto|minuut|minut|minuta|minuutti|минута|分", 0, 59),
        (
            "second",
            "second|sec|ss|s|sekunde|seconde|segundo|secondo|sekund|sekunda|sekunti|секунда|秒",
            0,
            60,
        ),
    )
}
_DIGITS = 6
_SECONDS = NS_PER_DAY // NS_PER_S


def is_part(part: str, header: str, cells: Sequence[str]) -> bool:
    """Whether a column is named as a part of a date or a clock, and holds numbers of its span; only days of the year have fractions."""
    words, low, high = PARTS[part]
    filled = [cell for cell in cells if cell]
    if fold(header) not in words or not filled:
        return False
    numbers = [_whole(re.sub(r"[.,]\d+$", "", cell) if part == "yearday" else cell) for cell in filled]
    return all(number is not None and low <= number <= high for number in numbers)


def _whole(text: str) -> int | None:
    said = text.strip().removesuffix(".0")
    return int(said) if said.isdecimal() and said.isascii() and len(said) <= _DIGITS else None


def parse_calendar(columns: Sequence[pl.Series], parts: Sequence[str]) -> Times:
    """Times (n,) from columns of whole numbers; a row with a part missing or out of its span is not understood."""
    size = len(columns[0])
    numbers: dict[str, TimeArray] = {}
    part_of_day: TimeArray = np.zeros(size, np.int64)
    ok: BoolArray = np.ones(size, np.bool_)
    for column, part in zip(columns, parts, strict=True):
        text = column.cast(pl.String, strict=False).str.strip_chars().str.replace(",", ".", literal=True)
        _, low, high = PARTS[part]
        value = text.cast(pl.Float64, strict=False).fill_null(-1.0).fill_nan(-1.0).to_numpy()
        whole = np.floor(value)
        fits = (value >= low) & (whole <= high) & ((value == whole) | (part == "yearday"))
        if part == "yearday":
            part_of_day = np.rint(np.where(fits, value - whole, 0.0) * _SECONDS).astype(np.int64) * NS_PER_S
        ok &= fits
        numbers[part] = np.where(fits, value, low).astype(np.int64)
    year, zero = numbers["year"], np.zeros(size, np.int64)
    days, real = (
        day_of_year(year, numbers["yearday"])
        if "yearday" in numbers
        else civil_days(year, numbers["month"], numbers["day"])
    )
    clock = numbers.get("hhmm", zero)
    hour = numbers.get("hour", clock // 100)
    minute, second = numbers.get("minute", clock % 100), numbers.get("second", zero)
    ok &= real & (minute < 60) & ((hour < 24) | ((minute == 0) & (second == 0)))
    time = days * NS_PER_DAY + part_of_day + (hour * 3_600 + minute * 60 + second) * NS_PER_S
    return Times(np.where(ok, time, 0), ok, np.zeros(size, np.bool_))
