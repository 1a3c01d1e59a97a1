"""Numbers that stand for times: seconds since 1970 and its kin, days of spreadsheets."""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.read.exports.timeplan import MILLISECOND, TimePlan, Times
from excursions.records import FloatArray

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


def parse_numbers(column: pl.Series, plan: TimePlan) -> Times:
    """Numbers since some zero; what is no number of the right size is not understood."""
    low, high, unit, zero = NUMBER_TIMES[plan.kind]
    real = _plain_number(column)
    number = real.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy()
    with np.errstate(invalid="ignore"):
        ok = (number >= low) & (number <= high)
    whole, part = _whole_and_part(real, np.where(ok, number, 0.0), unit)
    if plan.kind == SERIAL:
        # A spreadsheet keeps milliseconds; a double of its day number is good to some microseconds.
        part = (part + MILLISECOND // 2) // MILLISECOND * MILLISECOND
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
