"""Figures of tables carry the digits that their uncertainty supports, and no more."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from excursions.report.rounded import UNCERTAIN, rounded, to_digits, to_uncertainty
from excursions.report.write import all_tables
from tests.unit.dashboards.made_result import made_result


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [(0.0916737, 0.2022, 0.09), (523.094, 273.49, 520.0), (7.0425841, 0.0130437, 7.043), (5.0, 0.0, 5.0), (1.23456, np.nan, 1.23456)],
)  # fmt: skip
def test_a_figure_keeps_two_digits_of_its_uncertainty(
    value: float, uncertainty: float, expected: float
) -> None:
    assert to_uncertainty(np.array([value]), np.array([uncertainty]))[0] == expected


def test_a_figure_without_one_keeps_five_digits_and_nothing_stays_nothing() -> None:
    value = np.array([16.921380510299684, -0.000123456789, 0.0, np.nan, 2_879_983.3])
    np.testing.assert_array_equal(to_digits(value, 5), [16.921, -0.00012346, 0.0, np.nan, 2_880_000.0])


def test_what_is_missing_is_null_and_a_reading_stays_as_it_was_recorded() -> None:
    frame = pl.DataFrame({"value": [2.8123456], "corrected": [2.89172587], "band": [0.2022791]})
    row = rounded("corrected", frame).to_dicts()[0]
    assert row == {"value": 2.8123456, "corrected": 2.89, "band": 0.2}
    assert rounded("points", pl.DataFrame({"error": [np.nan], "error_band": [np.nan]})).null_count().row(
        0
    ) == (1, 1)


def test_no_figure_of_a_scan_has_digits_that_arithmetic_added() -> None:
    tables = all_tables(made_result(days=110.0, step_min=20, budget=400))
    assert set(UNCERTAIN) <= set(tables)
    for name, frame in tables.items():
        for column, kind in frame.schema.items():
            if kind == pl.Float64 and (name, column) != ("corrected", "value"):
                texts = [repr(v).lstrip("-").replace(".", "").lstrip("0") for v in frame[column].drop_nulls()]
                assert max((len(t.rstrip("0")) for t in texts if "e" not in t), default=0) <= 6, (
                    name,
                    column,
                )


def test_hours_keep_their_minutes_and_temperatures_the_decimals_of_their_record() -> None:
    frame = pl.DataFrame({"hours": [2879.983333], "dose_h": [0.0123456789], "maximum_degc": [148.0557547]})
    assert rounded("lives", frame).row(0) == (2879.98, 0.012346, 148.06)
