"""The simulator's own physics, against published values and against itself."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator.physics import (
    MODELS,
    air_oxygen,
    buffer_ph,
    carbon_dioxide_solubility,
    nernst,
    oxygen_solubility,
    water_vapour,
)

T = np.array([5.0, 25.0, 40.0])
LEVELS = {
    "ph": [3.0, 7.0, 11.0],
    "redox": [-200.0, 220.0, 700.0],
    "conductivity": [5.0, 1413.0, 50000.0],
    "oxygen": [0.5, 4.0, 9.0],
    "oxygen_saturation": [2.0, 40.0, 100.0],
    "co2": [50.0, 1500.0, 5000.0],
    "turbidity": [0.1, 5.0, 90.0],
}
USED = {
    "ph": 7.0,
    "redox": 3.0,
    "conductivity": 0.0,
    "oxygen": 0.1,
    "oxygen_saturation": 58.0,
    "co2": 2.0,
    "turbidity": 0.05,
}


def test_nernst_factor_at_25_degc() -> None:
    """59.1593 mV/pH from the exact SI constants (CODATA 2018), printed digits."""
    assert nernst(np.array([25.0]))[0] == pytest.approx(59.1593, abs=5e-5)


@pytest.mark.parametrize(
    ("degc", "mg_l"), [(0.0, 14.621), (10.0, 11.288), (20.0, 9.092), (25.0, 8.263), (40.0, 6.412)]
)
def test_oxygen_solubility(degc: float, mg_l: float) -> None:
    """Standard Methods 4500-O, table of Benson and Krause 1984 (from memory; the equation is the same): half a digit."""
    assert oxygen_solubility(np.array([degc]))[0] == pytest.approx(mg_l, abs=1.5e-3)


def test_water_vapour_at_100_degc_is_one_atmosphere() -> None:
    """The vapour equation is meant for cold water; at 100 degC it still holds to one per cent."""
    assert water_vapour(np.array([100.0]))[0] == pytest.approx(1013.25, rel=0.01)


def test_air_oxygen_at_20_degc() -> None:
    """0.2095 (1013.25 - 23.37) hPa."""
    assert air_oxygen(np.array([20.0]))[0] == pytest.approx(207.38, abs=0.05)


@pytest.mark.parametrize(
    ("nominal", "degc", "ph"),
    [(6.86, 25.0, 6.865), (4.01, 25.0, 4.005), (9.18, 10.0, 9.332), (7.0, 25.0, 7.0)],
)
def test_buffers(nominal: float, degc: float, ph: float) -> None:
    """IUPAC 1985/2002 values; a 7.00 buffer is its own value at 25 degC."""
    assert buffer_ph(nominal, np.array([degc]))[0] == pytest.approx(ph, abs=5e-4)


def test_carbon_dioxide_at_25_degc() -> None:
    """0.034 mol/(L atm) x 44.01 g/mol: 1496 mg/L at one atmosphere."""
    assert 1013.25 * carbon_dioxide_solubility(np.array([25.0]))[0] == pytest.approx(1496.3, abs=0.5)


@pytest.mark.parametrize("measurand", list(MODELS))
def test_inverse_undoes_forward(measurand: str) -> None:
    model = MODELS[measurand]
    x = np.array(LEVELS[measurand])
    a, b = np.full(3, 0.97), np.full(3, USED[measurand])
    assert model.inverse(model.forward(x, T, a, b), T, a, b) == pytest.approx(x, rel=1e-9)


@pytest.mark.parametrize("measurand", list(MODELS))
@pytest.mark.parametrize("share", [-0.2, 0.15])
def test_offset_move_shifts_the_reading_by_what_was_asked(measurand: str, share: float) -> None:
    model = MODELS[measurand]
    x, t, a, b = LEVELS[measurand][1], 25.0, 0.97, USED[measurand]
    d = share * x
    moved_a, moved_b = model.offset_move(d, x, t, a, b)
    one, at = np.array([x]), np.array([t])
    raw = model.forward(one, at, np.array([a + moved_a]), np.array([b + moved_b]))
    reading = model.inverse(raw, at, np.array([a]), np.array([b]))[0]
    assert reading - x == pytest.approx(d, rel=1e-6)


def test_slope_loss_shows_far_from_the_zero_point_only() -> None:
    """reading = pH0 + (s1/s0)(pH - pH0): nothing at pH 7, 0.3 of 3 pH at pH 4 when a tenth is lost."""
    model = MODELS["ph"]
    x, t = np.array([7.0, 4.0]), np.array([25.0, 25.0])
    raw = model.forward(x, t, np.full(2, 0.9), np.full(2, 7.0))
    assert model.inverse(raw, t, np.ones(2), np.full(2, 7.0)) == pytest.approx([7.0, 4.3])
