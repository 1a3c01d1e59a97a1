"""What a probe reads with parameters that are not the transmitter's: signs, round trips, inverses."""

from __future__ import annotations

import math

import pytest

from excursions.calibrations.models import (
    form,
    indicated,
    raw_of_reading,
    reading_error,
    reading_of_raw,
    truth,
)

CASES = {
    "ph": ("ph", {}, {"slope": 98.0, "zero_point": 6.9}, {"slope": 91.0, "zero_point": 7.3}, 4.5),
    "redox": ("redox", {}, {"offset": 3.0}, {"offset": -12.0}, 250.0),
    "temperature": ("temperature", {}, {"offset": 0.1}, {"offset": 1.1}, 60.0),
    "conductivity": ("conductivity", {}, {"cell_constant": 1.02}, {"cell_constant": 0.95}, 800.0),
    "oxygen in %": ("oxygen", {}, {"slope": 100.0, "zero": 0.05}, {"slope": 80.0, "zero": -0.1}, 6.0),
    "oxygen in nA": ("oxygen", {"slope": "nA/hPa", "zero": "nA"}, {"slope": 0.3, "zero": 0.1}, {"slope": 0.2, "zero": 0.5}, 6.0),
    "oxygen in nA in air": ("oxygen_saturation", {"slope": "nA", "zero": "nA"}, {"slope": 60.0, "zero": 0.1}, {"slope": 50.0, "zero": 0.5}, 60.0),
    "oxygen by light": ("oxygen_saturation", {"slope": "1/hPa", "zero": "deg"}, {"slope": 0.0075, "zero": 58.0}, {"slope": 0.007, "zero": 56.0}, 70.0),
    "co2": ("co2", {}, {"slope": 99.0, "zero_point": 7.1}, {"slope": 93.0, "zero_point": 7.2}, 2500.0),
    "co2 pressure": ("co2_pressure", {}, {"slope": 99.0, "zero_point": 7.1}, {"slope": 93.0, "zero_point": 7.0}, 900.0),
    "turbidity": ("turbidity", {}, {"gain": 1.0, "zero": 0.1}, {"gain": 0.8, "zero": 0.7}, 20.0),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_the_truth_behind_an_indication_is_the_truth(name: str) -> None:
    measurand, units, used, real, true = CASES[name]
    shape = form(measurand, units)
    reading = indicated(shape, true, used=used, real=real, temp_degc=33.0)
    assert truth(shape, reading, used=used, real=real, temp_degc=33.0) == pytest.approx(true, rel=1e-9)
    assert reading_error(shape, reading, used=used, real=real, temp_degc=33.0) == pytest.approx(
        reading - true, rel=1e-6
    )


@pytest.mark.parametrize("name", CASES)
def test_a_probe_with_the_transmitters_parameters_reads_right(name: str) -> None:
    measurand, units, used, _, true = CASES[name]
    assert indicated(form(measurand, units), true, used=used, real=used) == pytest.approx(true, rel=1e-9)


@pytest.mark.parametrize("name", CASES)
def test_raw_and_reading_are_inverse(name: str) -> None:
    measurand, units, used, _, true = CASES[name]
    shape = form(measurand, units)
    raw = raw_of_reading(shape, true, used, 18.0)
    assert reading_of_raw(shape, raw, used, 18.0) == pytest.approx(true, rel=1e-9)


def test_ph_error_as_the_formula_has_it() -> None:
    """reading = pH0_0 + (s1/s0)(pH - pH0_1), worked by hand: 6.9 + (91/98)(4.5 - 7.3) = 4.3."""
    _, _, used, real, true = CASES["ph"]
    assert indicated(form("ph", {}), true, used=used, real=real) == pytest.approx(
        6.9 + 91.0 / 98.0 * (4.5 - 7.3)
    )


@pytest.mark.parametrize(
    ("measurand", "units", "used", "moved", "level", "error"),
    [
        ("ph", {}, {"zero_point": 7.0}, {"zero_point": 7.42}, 7.0, -0.42),
        ("redox", {}, {"offset": 0.0}, {"offset": 10.0}, 200.0, 10.0),
        ("temperature", {}, {"offset": 0.0}, {"offset": 1.5}, 60.0, 1.5),
        ("conductivity", {}, {"cell_constant": 1.0}, {"cell_constant": 1.05}, 1000.0, -50.0),
        ("oxygen", {}, {"slope": 100.0}, {"slope": 90.0}, 9.0, -1.0),
        ("oxygen", {}, {"zero": 0.0}, {"zero": 0.3}, 5.0, 0.3),
        ("turbidity", {}, {"zero": 0.0}, {"zero": 0.5}, 5.0, 0.5),
        ("turbidity", {}, {"gain": 1.0}, {"gain": 0.8}, 8.0, -2.0),
    ],
)
def test_signs(
    measurand: str,
    units: dict[str, str],
    used: dict[str, float],
    moved: dict[str, float],
    level: float,
    error: float,
) -> None:
    """A zero found d higher makes a pH reading d too low, an offset or zero d too high; and so on."""
    assert reading_error(form(measurand, units), level, used=used, real=moved) == pytest.approx(error)


@pytest.mark.parametrize("measurand", ["co2", "co2_pressure"])
def test_a_zero_move_scales_a_co2_reading(measurand: str) -> None:
    """The reading goes with 10^-pH of the inner solution: a zero 0.1 pH higher reads 10^0.1 too high."""
    reading = indicated(form(measurand, {}), 1000.0, used={"zero_point": 7.0}, real={"zero_point": 7.1})
    assert reading == pytest.approx(1000.0 * 10**0.1)


def test_slope_loss_matters_far_from_the_zero_point_only() -> None:
    shape = form("ph", {})
    worn = {"used": {"slope": 100.0, "zero_point": 7.0}, "real": {"slope": 90.0, "zero_point": 7.0}}
    assert reading_error(shape, 7.0, **worn) == pytest.approx(0.0)
    assert reading_error(shape, 4.3, **worn) == pytest.approx(0.3)


def test_a_dead_probe_has_no_truth() -> None:
    assert math.isnan(truth(form("ph", {}), 7.0, used={"slope": 98.0}, real={"slope": 0.0}))


def test_co2_below_zero_has_no_reading() -> None:
    assert math.isnan(indicated(form("co2", {}), -5.0, used={}, real={}))
