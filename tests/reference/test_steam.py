"""Saturated steam against the printed verification values of the release and against an outside library."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.physics.steam import saturation_pressure_kpa, saturation_temperature_degc

# IAPWS R7-97(2012), Table 35 (T in K, p in MPa) and Table 36 (p in MPa, T in K), nine printed digits.
TABLE_35 = ((300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2))
TABLE_36 = ((0.1, 0.372755919e3), (1.0, 0.453035632e3), (10.0, 0.584149488e3))


@pytest.mark.parametrize(("kelvin", "mpa"), TABLE_35)
def test_table_35_to_the_last_printed_digit(kelvin: float, mpa: float) -> None:
    half_digit = 0.5e-8 * 10 ** np.ceil(np.log10(mpa))
    # 273.15 is not exact in binary: the round trip through degC moves the pressure by less than a digit
    assert saturation_pressure_kpa(kelvin - 273.15) / 1000 == pytest.approx(mpa, abs=half_digit)


@pytest.mark.parametrize(("mpa", "kelvin"), TABLE_36)
def test_table_36_to_the_last_printed_digit(mpa: float, kelvin: float) -> None:
    assert saturation_temperature_degc(mpa * 1000) + 273.15 == pytest.approx(kelvin, abs=0.5e-6)


def test_agrees_with_an_outside_library_over_the_range_of_steam_cycles() -> None:
    iapws97 = pytest.importorskip("iapws.iapws97")
    for t in range(60, 181, 5):
        theirs = iapws97._PSat_T(t + 273.15) * 1000
        assert saturation_pressure_kpa(float(t)) == pytest.approx(theirs, rel=1e-9)


def test_the_two_equations_undo_each_other() -> None:
    t = np.linspace(1.0, 370.0, 200)
    # the release asks for consistency between the equations; they solve one quadratic relation exactly
    np.testing.assert_allclose(saturation_temperature_degc(saturation_pressure_kpa(t)), t, atol=1e-7)


def test_outside_the_range_of_validity_there_is_no_value() -> None:
    assert np.isnan(saturation_pressure_kpa([-1.0, 400.0])).all()
    assert np.isnan(saturation_temperature_degc([0.1, 30_000.0])).all()
