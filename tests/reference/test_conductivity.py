"""Conductivity standards and compensation against printed values."""

from __future__ import annotations

import pytest

from excursions.physics.conductivity import (
    kcl_conductivity,
    natural_factor,
    pure_water,
    standard_conductivity,
    to_25,
)
from tests.reference.tables import rows


@pytest.mark.parametrize(
    ("molality", "temp", "us_cm"),
    [
        (0.01, 25, 1408.23),
        (0.1, 25, 12824.6),
        (1.0, 25, 108620.0),
        (0.01, 0, 772.92),
        (1.0, 50, 157670.0),
        (0.1, 18, 11140.6),
    ],
)
def test_kcl_by_molality(molality: float, temp: float, us_cm: float) -> None:
    """Pratt and others, Pure Appl. Chem. 73 (2001) 1783."""
    assert kcl_conductivity(molality, temp) == pytest.approx(us_cm, rel=1e-9)


@pytest.mark.parametrize("row", rows("conductivity_standards"), ids=lambda row: row["kcl_g_per_kg"])
def test_standards_of_oiml_r56_are_what_their_label_says(row: dict[str, str]) -> None:
    """OIML R 56 (1981): a standard is its label at 25 degC."""
    assert standard_conductivity(float(row["us_cm"]), 25.0) == pytest.approx(float(row["us_cm"]), rel=1e-9)


@pytest.mark.parametrize(
    ("solution", "nominal", "cold"), [("B", 12856.0, 7138.0), ("C", 1408.8, 773.6), ("A", 111342.0, 65176.0)]
)
def test_standards_at_0_degc(solution: str, nominal: float, cold: float) -> None:
    """ASTM D1125 solutions at 0 and 25 degC (from memory): the shape over temperature holds within 0.5 %."""
    assert standard_conductivity(nominal, 0.0) == pytest.approx(cold, rel=0.005)


def test_1413_at_20_degc() -> None:
    """Usual labels of 1413 standards print 1278 at 20 degC (common practice)."""
    assert standard_conductivity(1413.0, 20.0) == pytest.approx(1278.0, abs=1.0)


def test_pure_water() -> None:
    """IAPWS guideline (1990): 0.05499 uS/cm at 25 degC."""
    assert pure_water(25.0) == pytest.approx(0.05499, abs=5e-6)


@pytest.mark.parametrize("temp", [5.0, 18.0, 40.0])
def test_natural_compensation_takes_kcl_to_25_degc(temp: float) -> None:
    assert to_25(kcl_conductivity(0.01, temp), temp, method="natural") == pytest.approx(1408.23, rel=1e-9)


@pytest.mark.parametrize(("temp", "factor"), [(5.0, 1.581), (15.0, 1.234), (35.0, 0.834)])
def test_natural_compensation_factor(temp: float, factor: float) -> None:
    """Worked by hand from the 0.01 mol/kg column: 1408.23 over 890.96, 1141.45 and 1687.79."""
    assert 1.0 / natural_factor(temp) == pytest.approx(factor, abs=0.0005)


def test_pure_water_compensates_to_its_own_value() -> None:
    """USP <645>: pure water at any temperature is pure water at 25 degC."""
    assert to_25(pure_water(80.0), 80.0, method="pure") == pytest.approx(pure_water(25.0), rel=1e-12)


def test_another_method_is_refused() -> None:
    with pytest.raises(ValueError, match="not one of"):
        to_25(100.0, 20.0, method="guess")
