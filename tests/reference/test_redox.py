"""Redox standards."""

from __future__ import annotations

import pytest

from excursions.physics.redox import LIGHT_VS_AGCL_MV, LIGHT_VS_SHE_MV, zobell_mv, zobell_vs_agcl_mv

# Standard Methods (1997), Table 2580:I, 1 to 30 °C.
_ZOBELL = (
    481, 479, 476, 474, 472, 470, 468, 465, 463, 461, 459, 457, 454, 452, 450,
    448, 446, 443, 441, 439, 437, 435, 432, 430, 428, 426, 424, 421, 419, 417,
)  # fmt: skip


@pytest.mark.parametrize(("temp", "mv"), list(enumerate(_ZOBELL, start=1)))
def test_zobell(temp: float, mv: float) -> None:
    """Every value of the table, to the millivolt it is given in."""
    assert zobell_mv(temp) == pytest.approx(mv, abs=0.5)


@pytest.mark.parametrize("temp", [10.0, 25.0, 30.0])
def test_zobell_by_another_equation(temp: float) -> None:
    """Nordstrom (1977), 430.28 - 2.5157 (t - 25) - 0.0037979 (t - 25)^2 (from memory): sources differ by some 6 mV."""
    other = 430.28 - 2.5157 * (temp - 25.0) - 0.0037979 * (temp - 25.0) ** 2
    assert zobell_mv(temp) == pytest.approx(other, abs=7.0)


def test_zobell_as_a_probe_shows_it() -> None:
    """428 mV against SHE less 199 mV of the Ag/AgCl half cell (handbook value)."""
    assert zobell_vs_agcl_mv(25.0) == pytest.approx(229.0, abs=0.5)


def test_light() -> None:
    """Standard Methods 2580 / ASTM D1498: 475 mV against Ag/AgCl, 675 against SHE, both rounded."""
    assert pytest.approx(200.0, abs=1.5) == LIGHT_VS_SHE_MV - LIGHT_VS_AGCL_MV
