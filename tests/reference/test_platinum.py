"""Platinum thermometers against IEC 60751, from -200 to 850 degC."""

from __future__ import annotations

import math

import pytest

from excursions.physics.platinum import element_ohm, resistance_ohm, temperature_degc
from tests.reference.tables import rows


@pytest.mark.parametrize("row", rows("platinum_iec60751"), ids=lambda row: row["temp_C"])
def test_resistance_to_the_digits_given(row: dict[str, str]) -> None:
    """IEC 60751, equation and coefficients; the printed table has two decimals."""
    temp = float(row["temp_C"])
    assert resistance_ohm(temp) == pytest.approx(float(row["pt100_ohm"]), abs=5e-5)
    assert resistance_ohm(temp, at_zero_ohm=1000.0) == pytest.approx(float(row["pt1000_ohm"]), abs=5e-4)
    assert temperature_degc(float(row["pt100_ohm"])) == pytest.approx(temp, abs=5e-4)


def test_the_element_is_told_by_its_resistance() -> None:
    """110 ohm is a warm Pt100, 1097 ohm the same of a Pt1000; 20 ohm is neither."""
    assert element_ohm(110.0) == 100.0
    assert element_ohm(1097.3) == 1000.0
    assert math.isnan(element_ohm(20.0))
    assert math.isnan(temperature_degc(5.0))
