"""Figures with the digits that their uncertainty supports, for tables and drawings: what arithmetic adds is no finding.

In sentences an uncertainty stands with its first digit; data that somebody reckons on with keep one digit more of it
(JCGM 100:2008, 7.2.6: at most two).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.records import FloatArray

OF_UNCERTAINTY = 2
OF_OTHERS = 5  # digits of a figure whose uncertainty nobody states
LEAST_OF_HOURS = 2  # decimals, so that a long time keeps its minutes
MOST_OF_DEGREES = 2  # decimals that a record of a temperature has at most (cp)
AS_RECORDED = {("corrected", "value")}  # a reading is never changed

# table -> column -> the column that holds its uncertainty
UNCERTAIN = {
    "points": {"error": "error_band", "error_band": "error_band"},
    "calibrations": {"value": "uncertainty", "uncertainty": "uncertainty"},
    "shifts": {
        **dict.fromkeys(("before", "after", "change", "uncertainty"), "uncertainty"),
        **dict.fromkeys(("reading_error", "reading_error_uncertainty"), "reading_error_uncertainty"),
    },
    "links": dict.fromkeys(("predicted", "predicted_uncertainty"), "predicted_uncertainty"),
    "doubts": {
        **dict.fromkeys(("error_start", "band_start"), "band_start"),
        **dict.fromkeys(("error_end", "band_end"), "band_end"),
        **dict.fromkeys(("error_most", "band_most"), "band_most"),
    },
    "exposures": dict.fromkeys(("error", "error_band"), "error_band"),
    "corrected": dict.fromkeys(("corrected", "band"), "band"),
}


def rounded(table: str, frame: pl.DataFrame) -> pl.DataFrame:
    """A table with its figures rounded, by their uncertainty where a column states it; what is missing is null."""
    by = UNCERTAIN.get(table, {})
    figures = [n for n, kind in frame.schema.items() if kind == pl.Float64 and (table, n) not in AS_RECORDED]
    new = {}
    for name in figures:
        value = frame[name].to_numpy().astype(np.float64)
        new[name] = _plainly(name, value)
        if name in by:
            half = frame[by[name]].to_numpy().astype(np.float64)
            new[name] = np.where(half > 0, to_uncertainty(value, half), new[name])
    columns = [pl.Series(name, value).fill_nan(None) for name, value in new.items()]
    return frame.with_columns(columns)


def _plainly(name: str, value: FloatArray) -> FloatArray:
    """Values (n,) whose uncertainty nobody states, by the unit at the end of their column's name."""
    if name.endswith("_degc"):
        return np.round(value, MOST_OF_DEGREES)
    if name.startswith("hours") or name.endswith("_h"):
        return np.where(
            np.abs(value) >= 10.0 ** (OF_OTHERS - LEAST_OF_HOURS),
            np.round(value, LEAST_OF_HOURS),
            to_digits(value, OF_OTHERS),
        )
    return to_digits(value, OF_OTHERS)


def to_uncertainty(value: FloatArray, uncertainty: FloatArray) -> FloatArray:
    """Values (n,) to `OF_UNCERTAINTY` digits of their uncertainties (n,); as they are where one is not positive."""
    known = np.isfinite(uncertainty) & (uncertainty > 0)
    power = np.floor(np.log10(np.where(known, uncertainty, 1.0))).astype(np.int64)
    return np.where(known, _to_decimals(value, OF_UNCERTAINTY - 1 - power), value)


def to_digits(value: FloatArray, digits: int) -> FloatArray:
    """Values (n,) to so many digits that count."""
    size = np.abs(value)
    known = np.isfinite(size) & (size > 0)
    power = np.floor(np.log10(np.where(known, size, 1.0))).astype(np.int64)
    return np.where(known, _to_decimals(value, digits - 1 - power), value)


def _to_decimals(value: FloatArray, decimals: np.ndarray) -> FloatArray:
    """Each value to its own number of decimals; fewer than none are tens and hundreds."""
    up = 10.0 ** np.clip(decimals, 0, 18)
    down = 10.0 ** np.clip(-decimals, 0, 18)
    return np.asarray(np.round(value * up / down) / up * down)
