"""The Nernst factor against printed values."""

from __future__ import annotations

import pytest

from excursions.physics.nernst import nernst_slope_mv
from tests.reference.tables import rows


def test_factor_at_25_degc_from_exact_si_constants() -> None:
    """ln(10) R T / F with R = 8.31446261815324 J/(mol K), F = 96485.33212331 C/mol (SI 2019): 59.1593 mV."""
    assert nernst_slope_mv(25.0) == pytest.approx(59.1593, abs=5e-5)


@pytest.mark.parametrize(("temp", "mv"), [(0, 54.1988), (37, 61.5404), (100, 74.0410)])
def test_factor_over_temperature(temp: float, mv: float) -> None:
    """The same formula worked by hand to four decimals."""
    assert nernst_slope_mv(float(temp)) == pytest.approx(mv, abs=5e-5)


@pytest.mark.parametrize("row", rows("nernst_pharmacopoeia"), ids=lambda row: row["temp_degc"])
def test_factor_as_the_pharmacopoeias_print_it(row: dict[str, str]) -> None:
    """USP <791> Table 1 and Ph. Eur. 2.2.3 print rounded or linear values, up to 0.5e-4 V from the exact ones."""
    exact = nernst_slope_mv(float(row["temp_degc"])) / 1000.0
    assert exact == pytest.approx(float(row["usp_791_v"]), abs=1.0e-5)
    assert exact == pytest.approx(float(row["ph_eur_v"]), abs=6.0e-5)
