"""Numbers that stand for times: seconds since 1970 and its kin, days of spreadsheets, Julian days."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.errors import InputFileError
from excursions.read.exports.times.timeplan import MILLISECOND, TimePlan, Times
from excursions.records import FloatArray

SERIAL = "days since 1899-12-30"
JULIAN = "Julian days"
YEAR_ZERO = "days since year 0"

# Numbers that stand for times: lowest and highest plausible number (years 2000 to 2100 or wider), ns a unit,
# units from 1970 to the zero.  The spans do not overlap, so the size alone tells them apart.
NUMBER_TIMES: dict[str, tuple[float, float, int, int]] = {
    SERIAL: (20_000.0, 80_000.0, NS_PER_DAY, -25_569),
    YEAR_ZERO: (700_000.0, 780_000.0, NS_PER_DAY, -719_529),
    JULIAN: (2_430_000.0, 2_490_000.0, NS_PER_DAY, -2_440_588),  # and half a day: they begin at noon
    "seconds since 1970": (1e8, 9.9e9, NS_PER_S, 0),
    "milliseconds since 1970": (1e11, 9.9e12, 1_000_000, 0),
    "microseconds since 1970": (1e14, 9.9e15, 1_000, 0),
    "100 ns since 1601": (1.1e17, 1.6e17, 100, -116_444_736_000_000_000),
    "100 ns since year 1": (6.2e17, 6.7e17, 100, -621_355_968_000_000_000),
    "nanoseconds since 1970": (6.8e17, 4.2e18, 1, 0),
}
# Of the same size as others: only the name of the column tells.
NAMED_TIMES: dict[str, tuple[float, float, int, int]] = {
    "modified Julian days": (40_000.0, 90_000.0, NS_PER_DAY, -40_587),
}
WALL_KINDS = (SERIAL, YEAR_ZERO)  # counted by a clock on a wall; all others count from an instant
SERIAL_1904 = 1_462 * NS_PER_DAY
_SHIFTS = {JULIAN: NS_PER_DAY // 2}
_FEW_DIGITS = 6  # of a day: such a number is good to a tenth of a second at best, and is rounded to seconds

# "1,700,000,000" and its kin, and "/Date(1700000000000)/" as some programs write milliseconds since 1970.
_GROUPED = r"^\d{1,3}(?:(?:,\d{3}){2,6}|(?:\.\d{3}){2,6}|(?:['\s]\d{3}){2,6})$"
_WRAPPED = r"^\\?/Date\((\d+)(?:[+-]\d{4})?\)\\?/$"


def number_of(text: str) -> float | None:
    """The number of a cell that may stand for a time, or None."""
    said = text.strip()
    if re.match(_GROUPED, said):
        said = re.sub(r"\D", "", said)
    elif wrapped := re.match(_WRAPPED, said):
        said = wrapped[1]
    return float(said.replace(",", ".")) if re.fullmatch(r"\d{5,19}([.,]\d+)?", said) else None


def as_number_time(text: str) -> str | None:
    """The kind of time a number can stand for by its size, or None."""
    number = number_of(text)
    if number is None:
        return None
    return next((kind for kind, (low, high, _, _) in NUMBER_TIMES.items() if low <= number <= high), None)


def kind_of(name: str, kind: str) -> str:
    """The kind of time of a column by its name, where that says more than the size of its numbers."""
    named = re.search(r"\bmjd\b|modified julian da(?:y|te)s?", name.casefold().replace("_", " "))
    return "modified Julian days" if named else kind


# yymmddhhmmss, or yymmddhhmm from 2020 on: such numbers of ten digits would be seconds after May 2033, and those below are seconds
# of plants that run today.
_SHORT_DATE = re.compile(
    r"(?=\d{12}$|[2-9]\d{9}$)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[01]\d|2[0-3])[0-5]\d(?:[0-5]\d)?"
)
_FEWEST = 5  # values that differ: a single number may look so by chance
_FIRST_DAY = 25_569  # 1970-01-01


def refuse_other_readings(cells: Sequence[str], kind: str, *, stated: bool) -> None:
    """Refuse numbers of which their size does not say what they are.

    cells : the filled ones of the sample; stated : whether the user names the first year of day numbers

    Raises
    ------
    InputFileError
        If all look like dates of two-digit years, 260312224000, or stand for days before 1970 as a spreadsheet counts
        them: no export of a plant is so old, and days since 1970 are numbers of that size.
    """
    if len(set(cells)) >= _FEWEST and all(map(_SHORT_DATE.fullmatch, cells)):
        raise InputFileError(
            found=f'numbers such as "{cells[0]}", which may be dates of two-digit years or {kind}', expected="dates that are marked as such",
            mend="export the times with marks between their parts, best as ISO 8601 (2024-03-01 14:05:00)",
        )  # fmt: skip
    numbers = [number for number in map(number_of, cells) if number is not None]
    if kind == SERIAL and not stated and numbers and max(numbers) < _FIRST_DAY:
        year = np.datetime64(int(max(numbers)) - _FIRST_DAY, "D").astype("datetime64[Y]")
        other = np.datetime64(int(max(numbers)), "D").astype("datetime64[Y]")
        raise InputFileError(
            found=f'day numbers such as "{cells[0]}", which a spreadsheet counts to {year}, and days since 1970 to {other}', expected="dates, or numbers that say from when they count",
            mend="export the times as dates, or pass --date-system 1900 if they are a spreadsheet's",
        )  # fmt: skip


def parse_numbers(column: pl.Series, plan: TimePlan) -> Times:
    """Numbers since some zero; what is no number of the right size is not understood."""
    low, high, unit, zero = (NUMBER_TIMES | NAMED_TIMES)[plan.kind]
    real = _plain_number(column)
    number = real.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy()
    with np.errstate(invalid="ignore"):
        ok = (number >= low) & (number <= high)
    whole, part = _whole_and_part(real, np.where(ok, number, 0.0), unit)
    if unit == NS_PER_DAY:
        part = _rounded(real, part)
    time = (
        np.where(ok, whole + zero, 0) * unit + np.where(ok, part, 0) + plan.shift + _SHIFTS.get(plan.kind, 0)
    )
    return Times(np.where(ok, time, 0), ok, np.full(ok.size, plan.kind not in WALL_KINDS))


def _rounded(column: pl.Series, part: TimeArray) -> TimeArray:
    """Parts of days in ns as clocks show them: a spreadsheet keeps milliseconds, and few digits only seconds."""
    grain = np.full(part.size, MILLISECOND)
    if column.dtype == pl.String:
        digits = column.str.extract(r"\.(\d+)$").str.len_chars().fill_null(0).to_numpy()
        grain = np.where(digits <= _FEW_DIGITS, NS_PER_S, MILLISECOND)
    rounded: TimeArray = (part + grain // 2) // grain * grain
    return rounded


def _plain_number(column: pl.Series) -> pl.Series:
    if column.dtype != pl.String:
        return column
    said = column.str.strip_chars()
    if said.str.contains(r"[.,'\s]\d{3}[.,'\s]|\(").any():
        grouped = said.str.contains(_GROUPED)
        said = pl.select(
            pl.when(grouped).then(said.str.replace_all(r"\D", "")).otherwise(said.str.replace(_WRAPPED, "$1"))
        ).to_series()
    return said.str.replace(",", ".", literal=True)


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
