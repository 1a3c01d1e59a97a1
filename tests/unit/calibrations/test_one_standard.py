"""One standard, odd units and figures without raw values: which parameter is meant, and how well it is known."""

from __future__ import annotations

import math

import pytest

from excursions.calibrations import evaluate
from excursions.calibrations.models import (
    form,
    indicated,
    inner_ph,
    outer_value,
    raw_of_reading,
    reading_error,
    reading_of_raw,
)
from excursions.calibrations.uncertainty import entered_uncertainty
from excursions.physics.oxygen import air_oxygen_hpa, saturation_mg_l
from excursions.records import Calibration, CalibrationEntry
from tests.unit.calibrations.builders import PLANT, entry, standard


def only(*entries: CalibrationEntry) -> Calibration:
    return evaluate(entries, PLANT)[-1]


@pytest.mark.parametrize(
    ("measurand", "parameter", "value", "unit", "expected"),
    [
        # As the rows of the measurands state them, all common practice without a source.
        ("ph", "slope", 98.0, "%", 0.8),
        ("ph", "zero_point", 6.9, "pH", 0.02),
        ("co2", "slope", 98.0, "%", 1.5),
        ("redox", "offset", -12.0, "mV", 5.0),
        ("temperature", "offset", 0.3, "degC", 0.2),
        ("conductivity", "cell_constant", 0.5, "1/cm", 0.004),  # 0.8 % of it
        ("oxygen", "slope", 95.0, "%", 2.0),
        ("oxygen", "slope", 0.3, "nA/hPa", 0.006),  # 2 % of it
        ("oxygen_saturation", "slope", -60.0, "nA", 1.2),
        ("oxygen", "zero", 0.1, "mg/L", 0.1),
        ("oxygen", "zero", 58.0, "deg", 0.2),
        ("co2", "zero", 58.0, "deg", 0.2),
        ("turbidity", "gain", 0.9, "", 0.018),  # 2 % of it
        ("turbidity", "slope", 95.0, "%", 2.0),
        ("turbidity", "zero", 0.3, "NTU", 0.05),
        # What no row states: 2 % of the figure, and never nothing at all.
        ("turbidity", "span", 20.0, "NTU", 0.4),
        ("ph", "gain", -0.9, "", 0.018),
        ("conductivity", "slope", 2.0, "uS", 0.04),
        ("ph", "zero", 5.0, "", 0.1),
        ("ph", "zero", 0.0, "", 1e-6),
    ],
)
def test_how_well_a_figure_without_raw_values_is_known(
    measurand: str, parameter: str, value: float, unit: str, expected: float
) -> None:
    assert entered_uncertainty(measurand, parameter, value, unit) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("measurand", "given", "units"),
    [
        ("ph", {}, {"slope": "%", "zero_point": "pH"}),
        ("redox", {}, {"offset": "mV"}),
        ("temperature", {}, {"offset": "degC"}),
        ("conductivity", {}, {"cell_constant": "1/cm"}),
        ("oxygen", {}, {"slope": "%", "zero": "mg/L"}),
        ("oxygen", {"slope": "nA/hPa"}, {"slope": "nA/hPa", "zero": "nA"}),
        ("oxygen_saturation", {"slope": "nA"}, {"slope": "nA", "zero": "nA"}),
        ("oxygen_saturation", {"zero": "deg"}, {"slope": "1/hPa", "zero": "deg"}),
        ("turbidity", {}, {"gain": "", "zero": "NTU"}),
        ("turbidity", {"slope": "%"}, {"slope": "%", "zero": "NTU"}),
        ("turbidity", {"span": ""}, {"span": "", "zero": "NTU"}),
        ("other", {}, {"gain": "", "zero": ""}),
    ],
)
def test_the_parameters_of_a_measurand_and_their_units(
    measurand: str, given: dict[str, str], units: dict[str, str]
) -> None:
    assert form(measurand, given).units == units


def test_a_slope_entered_as_the_current_in_air_is_reached_in_air() -> None:
    """60 nA in air at 25 °C over a zero of 0.4 nA: at 100 % of saturation, and at 8.26 mg/L [Benson and Krause]_."""
    state = {"slope": 60.0, "zero": 0.4}
    units = {"slope": "nA", "zero": "nA"}
    share = form("oxygen_saturation", units)
    assert raw_of_reading(share, 100.0, state, 25.0) == pytest.approx(60.4)
    assert reading_of_raw(share, 30.4, state, 25.0) == pytest.approx(50.0)
    content = form("oxygen", units)
    assert saturation_mg_l(25.0) == pytest.approx(8.263, abs=0.001)
    assert raw_of_reading(content, 8.263, state, 25.0) == pytest.approx(60.4, abs=0.01)
    assert reading_of_raw(content, 30.4, state, 25.0) == pytest.approx(4.1315, abs=0.001)


def test_a_current_for_each_hpa_grows_with_warmth_by_what_the_membrane_lets_through() -> None:
    """0.3 nA/hPa in air at 25 °C (207 hPa) is 62 nA; some 3 % more a kelvin at the same pressure of oxygen."""
    share = form("oxygen_saturation", {"slope": "nA/hPa", "zero": "nA"})
    state = {"slope": 0.3, "zero": 0.0}
    at_25, at_35 = (raw_of_reading(share, 100.0, state, temp) for temp in (25.0, 35.0))
    assert at_25 == pytest.approx(0.3 * 205.6, rel=0.01)
    assert at_35 / at_25 == pytest.approx(
        math.exp(0.3) * air_oxygen_hpa(35.0) / air_oxygen_hpa(25.0), rel=1e-6
    )
    assert raw_of_reading(share, 100.0, state, math.nan) == at_25
    content = form("oxygen", {"slope": "nA/hPa", "zero": "nA"})
    assert raw_of_reading(content, saturation_mg_l(35.0), state, 35.0) == pytest.approx(at_35, rel=0.01)


def test_light_is_quenched_by_pressure_whatever_the_reading_s_unit() -> None:
    """tan(phi0)/tan(phi) = 1 + K p; 58 deg and 0.0075 a hPa in air at 25 °C, 205 hPa: tan(phi) is 1.600/2.54."""
    state, units = {"slope": 0.0075, "zero": 58.0}, {"slope": "1/hPa", "zero": "deg"}
    in_air = math.degrees(math.atan(math.tan(math.radians(58.0)) / (1.0 + 0.0075 * air_oxygen_hpa(25.0))))
    assert raw_of_reading(form("oxygen_saturation", units), 100.0, state, 25.0) == pytest.approx(in_air)
    content = raw_of_reading(form("oxygen", units), saturation_mg_l(25.0), state, 25.0)
    assert content == pytest.approx(in_air, abs=0.05)


@pytest.mark.parametrize("pair", [({"zero": 0.3}, {}), ({}, {"zero": 0.3})], ids=["used", "real"])
def test_what_one_side_does_not_know_is_taken_from_the_other(
    pair: tuple[dict[str, float], dict[str, float]],
) -> None:
    """The zero of one side alone moves nothing: nobody said that it changed."""
    used, real = pair
    assert indicated(form("turbidity", {}), 5.0, used=used, real=real) == pytest.approx(5.0)
    assert reading_error(form("oxygen", {}), 5.0, used=used, real=real) == pytest.approx(0.0)


def test_the_inner_solution_of_a_co2_probe() -> None:
    """A decade of pressure is one pH; 1 mbar is 9.1 and 1.48 mg/L; nothing below nothing."""
    assert inner_ph("co2_pressure", 1.0) == pytest.approx(9.1)
    assert inner_ph("co2_pressure", 0.1) == pytest.approx(10.1)
    assert inner_ph("co2", 14.8) == pytest.approx(8.1)
    assert all(math.isnan(inner_ph("co2_pressure", value)) for value in (0.0, -1.0))
    assert outer_value("co2", 8.1) == pytest.approx(14.8)
    assert outer_value("co2_pressure", 10.1) == pytest.approx(0.1)
    assert math.isfinite(outer_value("co2_pressure", -1e9))


def turbidity(day: float, *standards: tuple[float, float]) -> CalibrationEntry:
    return entry(
        "turbidity",
        day,
        *(standard(value, raw, unit="NTU", raw_unit="counts") for value, raw in standards),
    )


def test_one_standard_far_from_zero_gives_the_gain_over_the_zero_that_was_kept() -> None:
    """Zero 4 counts and 2 counts/NTU; then 34 counts in 20 NTU: (34 - 4) / 20 = 1.5."""
    found = only(turbidity(1.0, (0.0, 4.0), (20.0, 44.0)), turbidity(30.0, (20.0, 34.0)))
    assert set(found.as_found) == {"gain"}
    assert found.as_found["gain"].value == pytest.approx(1.5)
    assert found.as_left["zero"].value == pytest.approx(4.0)
    assert found.as_left["zero"].basis == "kept"


@pytest.mark.parametrize(("near", "moved"), [(0.0, "zero"), (0.05, "zero"), (1.0, "gain")])
def test_one_standard_that_could_be_zero_gives_the_zero(near: float, moved: str) -> None:
    """A zero standard is known to 0.02 NTU: three of that are 0.06 NTU."""
    found = only(turbidity(1.0, (0.0, 4.0), (20.0, 44.0)), turbidity(30.0, (near, 10.0)))
    assert set(found.as_found) == {moved}
    if moved == "zero":
        assert found.as_found["zero"].value == pytest.approx(10.0 - 2.0 * near)


@pytest.mark.parametrize(
    ("pairs", "expected"),
    [
        (((5.0, 4.5), (0.0, 0.1)), {"slope": 88.0, "zero": 0.1}),
        (((5.0, 4.1),), {"slope": 82.0}),
        (((0.0, 0.2),), {"zero": 0.2}),
    ],
    ids=["two", "far from zero", "at zero"],
)
def test_a_gain_in_per_cent_is_a_hundredth_of_raw_over_true(
    pairs: tuple[tuple[float, float], ...], expected: dict[str, float]
) -> None:
    """Shown with 100 % and no zero: 4.5 in 5.0 mg/L and 0.1 in none are 88 % and a zero of 0.1 mg/L."""
    seen = [standard(true, read, unit="mg/L", raw_unit="mg/L") for true, read in pairs]
    found = only(
        entry("oxygen", 1.0, slope=100.0, zero=0.0), entry("oxygen", 30.0, *seen, phase="as_found")
    ).as_found
    assert {name: p.value for name, p in found.items()} == pytest.approx(expected)
    assert {p.basis for p in found.values()} == {"computed"}


def test_a_cell_in_several_standards_takes_the_ones_that_conduct() -> None:
    """1413 uS/cm read as 1413 and 0.5 as 0.5 uS: K is 1; a dead contact at 0 uS gives none."""
    rows = [standard(value, value, unit="uS/cm", raw_unit="uS") for value in (1413.0, 0.5)]
    assert only(entry("conductivity", 1.0, *rows)).as_left["cell_constant"].value == pytest.approx(
        1.0, abs=0.01
    )
    dead = standard(1413.0, 0.0, unit="uS/cm", raw_unit="uS")
    assert only(entry("conductivity", 1.0, dead)).as_left == {}
