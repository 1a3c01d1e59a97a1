"""Worked electrodes: parameters from raw values, to the digits given."""

from __future__ import annotations

import math

import pytest

from excursions.calibrations import evaluate
from excursions.plant import Plant, Point
from excursions.records import Calibration, CalibrationEntry, StandardReading

PLANT = Plant(points=(Point(name="P", measurand="ph"),))


def electrode(first: tuple[float, float], second: tuple[float, float], temp: float = 25.0) -> Calibration:
    standards = tuple(
        StandardReading(standard=ph, raw=mv, standard_unit="pH", raw_unit="mV", temperature_degc=temp)
        for ph, mv in (first, second)
    )
    (found,) = evaluate([CalibrationEntry(time=1, file="log", line=1, point="P", standards=standards)], PLANT)
    return found


def test_a_typical_two_point_entry() -> None:
    """Common practice, no source: buffers 7.00 and 4.01, -1.2 mV and +176.9 mV at 25 degC: slope 100.7 %, zero pH 6.98."""
    found = electrode((7.00, -1.2), (4.01, 176.9)).as_left
    assert found["slope"].value == pytest.approx(100.7, abs=0.05)
    assert found["zero_point"].value == pytest.approx(6.98, abs=0.005)


@pytest.mark.parametrize(
    ("at_7", "at_4", "slope", "zero"), [(-15.0, 160.0, 98.60, 6.7529), (15.0, 160.0, 81.70, 7.3203)]
)
def test_worked_electrodes_of_a_teaching_sheet(at_7: float, at_4: float, slope: float, zero: float) -> None:
    """Two electrodes of an unattributed teaching sheet (7.01 and 4.01 at 25 degC; 175 mV acceptable, 145 mV not)."""
    found = electrode((7.01, at_7), (4.01, at_4)).as_left
    assert found["slope"].value == pytest.approx(slope, abs=0.05)
    assert found["zero_point"].value == pytest.approx(zero, abs=0.0005)


def test_acceptance_bands_are_named() -> None:
    """USP <791> (USP 39, first supplement): 90.0 to 105.0 %, 30 mV at pH 7."""
    checks = " ".join(electrode((7.01, 15.0), (4.01, 160.0)).checks)
    assert "81.7 % outside 90 to 105 % (USP <791>)" in checks
    offset = " ".join(electrode((7.00, 40.0), (4.01, 217.0)).checks)
    assert "beyond 30 mV (USP <791>)" in offset


def test_buffers_at_their_own_temperature() -> None:
    """Phthalate and borax at 10 degC: 3.997 and 9.332 (IUPAC 2002); slope by hand with k(10) = 56.1830 mV."""
    found = electrode((4.01, 165.0), (9.18, -130.0), temp=10.0).as_left
    expected = 100.0 * 295.0 / (9.332 - 3.997) / 56.1830
    assert found["slope"].value == pytest.approx(expected, abs=0.01)


def test_uncertainty_of_slope_and_zero() -> None:
    """By hand: 0.5 mV and 0.005 pH a buffer, 2.99 pH apart: slope about 0.47 %, zero about 0.01 pH."""
    found = electrode((7.00, 0.0), (4.01, 176.9)).as_left
    one = math.hypot(0.5, 0.005 * 59.16)
    assert found["slope"].uncertainty == pytest.approx(100 * math.sqrt(2) * one / (2.99 * 59.16), rel=0.1)
    assert found["zero_point"].uncertainty == pytest.approx(one / 59.16, rel=0.1)
