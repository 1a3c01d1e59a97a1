"""What a standard is in the variable of the arithmetic, however it is written, and figures entered without one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.calibrations import evaluate
from excursions.calibrations.models import Known
from excursions.calibrations.standards import Repeat, Resolved, resolve
from excursions.physics.oxygen import air_oxygen_hpa
from excursions.records import Calibration, CalibrationEntry, StandardReading
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard

AIR_HPA = 205.6  # of oxygen in moist air at 25 °C and 1013 hPa: 0.2095 (1013.25 - 31.7)


def one(measurand: str, reading: StandardReading, *, kpa: float = 101.325, **more: object) -> Resolved:
    seen = resolve(measurand, [reading], used=Known(), air_pressure_kpa=kpa, **more)  # type: ignore[arg-type]
    assert seen is not None
    return seen


def only(*entries: CalibrationEntry) -> Calibration:
    return evaluate(entries, PLANT)[-1]


@pytest.mark.parametrize(
    ("value", "unit", "hpa"),
    [
        (100.0, "%sat", AIR_HPA),
        (50.0, "% sat", AIR_HPA / 2.0),
        (100.0, "%", AIR_HPA),
        (20.95, "vol%", AIR_HPA),
        (20.95, "Vol-%", AIR_HPA),
        (20.95, "% O2", AIR_HPA),
        (20.95, "%O2", AIR_HPA),
        (8.263, "mg/L", AIR_HPA),
        (8.263, "", AIR_HPA),
        (200.0, "hPa", 200.0),
        (200.0, "mbar", 200.0),
        (20.0, "kPa", 200.0),
        (0.2, "bar", 200.0),
        (150.0, "mmHg", 199.98),
    ],
)
def test_oxygen_however_it_is_written_is_a_partial_pressure(value: float, unit: str, hpa: float) -> None:
    seen = one("oxygen", standard(value, 60.0, unit=unit, raw_unit="nA"))
    assert seen.true[0] == pytest.approx(hpa, rel=1e-3)


def test_a_bare_number_is_of_the_measurand_s_own_unit() -> None:
    share = one("oxygen_saturation", standard(50.0, 30.0, raw_unit="nA"))
    assert share.true[0] == pytest.approx(AIR_HPA / 2.0, rel=1e-3)


def test_air_is_air_at_the_pressure_of_the_day_whatever_stands_beside_it() -> None:
    """0.2095 (980 - 31.7) hPa; a value written beside the word does not count."""
    for reading in (
        standard(math.nan, 60.0, raw_unit="nA", label="Air"),
        standard(8.0, 60.0, raw_unit="nA", unit="mg/L", label="AIR"),
    ):
        assert one("oxygen", reading, kpa=98.0).true[0] == pytest.approx(198.7, rel=1e-3)
    hot = standard(math.nan, 60.0, raw_unit="nA", label="air", temp=35.0)
    assert one("oxygen", hot).true[0] == pytest.approx(air_oxygen_hpa(35.0))


def test_without_a_temperature_a_standard_is_taken_at_room_temperature_and_known_less_well() -> None:
    unknown, known = (
        one("oxygen", standard(8.263, 60.0, unit="mg/L", raw_unit="nA", temp=temp))
        for temp in (math.nan, 25.0)
    )
    assert unknown.true[0] == known.true[0]
    assert (unknown.temp[0], unknown.u_temp[0], known.u_temp[0]) == (25.0, 2.0, 0.15)
    salty = standard(7.0, 7.0, unit="mg/L", raw_unit="mg/L", temp=math.nan)
    assert one("oxygen", salty, salinity=35.0).raw[0] == pytest.approx(
        one("oxygen", replace(salty, temperature_degc=25.0), salinity=35.0).raw[0]
    )


def test_saturation_in_mg_l_goes_with_the_pressure_of_the_air() -> None:
    """High up, 90 kPa, less is dissolved; the same mg/L are then closer to air, whose pressure is lower too."""
    seen = one("oxygen", standard(8.263, 60.0, unit="mg/L", raw_unit="nA"), kpa=90.0)
    assert seen.true[0] == pytest.approx(AIR_HPA, rel=2e-3)  # what is dissolved has its pressure anywhere


@pytest.mark.parametrize("unit", ["pH", "su", ""])
def test_a_buffer_has_the_value_of_its_temperature(unit: str) -> None:
    """The technical 7.00 moves as equimolal phosphate does, 6.865 at 25 and 6.838 at 40 °C (IUPAC 1985)."""
    cold, warm = (
        one("ph", standard(7.0, 0.0, unit=unit, raw_unit="mV", temp=temp)).true[0] for temp in (25.0, 40.0)
    )
    assert cold == pytest.approx(7.0)
    assert warm - cold == pytest.approx(6.838 - 6.865, abs=0.003)


@pytest.mark.parametrize("label", ["grab sample", "Process", "PRODUCT", "lab", "sample 12"])
def test_a_sample_is_no_buffer(label: str) -> None:
    """It has the pH it was found to have at its own temperature, and is neither the same water nor the same minute."""
    seen = one("ph", standard(7.0, 0.0, unit="pH", raw_unit="mV", temp=40.0, label=label))
    assert (seen.true[0], seen.u_true[0]) == (7.0, 0.05)
    assert any("against a sample" in remark for remark in seen.remarks)


def test_a_sample_leaves_a_co2_probe_in_mbar_as_it_is() -> None:
    seen = one("co2_pressure", standard(100.0, 0.0, unit="mbar", raw_unit="mV", label="sample"))
    assert seen.true[0] == pytest.approx(7.1)


@pytest.mark.parametrize("unit", ["pH", "SU"])
def test_a_co2_probe_checked_in_buffers_is_held_to_them(unit: str) -> None:
    cold, warm = (
        one("co2", standard(7.0, 0.0, unit=unit, raw_unit="mV", temp=temp)).true[0] for temp in (25.0, 40.0)
    )
    assert cold == pytest.approx(7.0)
    assert warm < cold


def test_gas_with_a_share_of_co2_is_taken_saturated_with_water() -> None:
    """10 % of (1013.25 - 31.7) hPa is 98.2 mbar: pH 9.1 - 1.992; a bottle known to 1 % is known to 0.0043 pH."""
    for unit in ("%", "% CO2", "%CO2", "vol%", "vol-%", "vol.-%"):
        seen = one("co2_pressure", standard(10.0, 0.0, unit=unit, raw_unit="mV"))
        assert seen.true[0] == pytest.approx(9.1 - math.log10(98.16), abs=1e-3)
    dry_hills = one("co2_pressure", standard(10.0, 0.0, unit="%", raw_unit="mV"), kpa=90.0)
    assert dry_hills.true[0] == pytest.approx(9.1 - math.log10(86.83), abs=1e-3)
    warm, unknown = (
        one("co2_pressure", standard(10.0, 0.0, unit="%", raw_unit="mV", temp=temp))
        for temp in (45.0, math.nan)
    )
    assert warm.true[0] == pytest.approx(9.1 - math.log10(91.74), abs=1e-3)  # 95.9 hPa of water at 45 °C
    assert unknown.true[0] == seen.true[0]


@pytest.mark.parametrize(
    ("measurand", "unit", "value", "ph"),
    [
        ("co2", "mg/L", 148.0, 7.1),
        ("co2", "g/L", 0.148, 7.1),
        ("co2", "", 148.0, 7.1),
        ("co2", "mbar", 100.0, 7.1),
        ("co2", "kPa", 10.0, 7.1),
        ("co2_pressure", "", 100.0, 7.1),
        ("co2_pressure", "bar", 0.1, 7.1),
    ],
)
def test_co2_however_it_is_written_is_the_ph_of_the_inner_solution(
    measurand: str, unit: str, value: float, ph: float
) -> None:
    seen = one(measurand, standard(value, 0.0, unit=unit, raw_unit="mV"))
    assert seen.true[0] == pytest.approx(ph, abs=1e-3)


def test_the_uncertainty_of_a_buffer_is_its_bottle_and_its_temperature() -> None:
    """7.00 moves 0.0027 pH a kelvin or so: 2 K unknown are 0.005 beside 0.005 of the bottle, 0.15 K next to nothing."""
    known, unknown = (
        one("ph", standard(7.0, 0.0, unit="pH", raw_unit="mV", temp=temp)).u_true[0]
        for temp in (25.0, math.nan)
    )
    assert known == pytest.approx(0.005, abs=1e-4)
    assert 0.006 < unknown < 0.009
    borax = one("ph", standard(9.18, 0.0, unit="pH", raw_unit="mV", temp=math.nan)).u_true[0]
    # Table of 1985: 9.225 at 20 and 9.139 at 30 degC, 0.0086 pH a kelvin.
    assert borax == pytest.approx(math.hypot(0.005, 2.0 * 0.0086), rel=0.02)


def test_a_conductivity_standard_of_unknown_temperature_is_known_to_four_per_cent() -> None:
    """2 % a kelvin, two kelvin; beside that 0.3 % of the bottle."""
    for temp, share in ((25.0, math.hypot(0.003, 0.003)), (math.nan, math.hypot(0.003, 0.04))):
        seen = one("conductivity", standard(1413.0, 1413.0, unit="uS/cm", raw_unit="uS", temp=temp))
        assert seen.u_true[0] / 1413.0 == pytest.approx(share, rel=0.01)


def test_a_compensated_reading_needs_no_temperature_of_its_standard() -> None:
    """Reading and standard are both stated for 25 degC: two kelvin leave what the two factors differ by, 0.2 % a kelvin."""
    seen = one("conductivity", standard(1413.0, 1300.0, unit="uS/cm", raw_unit="uS/cm", temp=math.nan))
    assert seen.u_true[0] / 1413.0 == pytest.approx(math.hypot(0.003, 0.004), rel=0.01)


@pytest.mark.parametrize(
    ("measurand", "reading", "degc_or_mv"),
    [
        ("redox", standard(0.22, 0.232, unit="V", raw_unit="V"), (220.0, 232.0)),
        ("temperature", standard(32.0, 33.8, unit="degF", raw_unit="degF"), (0.0, 1.0)),
        ("temperature", standard(0.0, 100.39, unit="degC", raw_unit="ohm"), (0.0, 1.0)),
        ("temperature", standard(0.0, 1.0039, unit="degC", raw_unit="kohm"), (0.0, 1.0)),
        ("temperature", standard(0.0, 1.0), (0.0, 1.0)),
    ],
)
def test_offsets_are_reckoned_in_the_unit_of_the_measurand(
    measurand: str, reading: StandardReading, degc_or_mv: tuple[float, float]
) -> None:
    seen = one(measurand, reading)
    assert (seen.true[0], seen.raw[0]) == pytest.approx(degc_or_mv, abs=0.01)


def test_zero_and_span_repeat_each_as_they_do() -> None:
    pair = [standard(0.0, 0.1, unit="NTU", raw_unit="counts"), standard(20.0, 20.0, unit="NTU", raw_unit="counts")]  # fmt: skip
    plain, scaled = (
        resolve("turbidity", pair, used=Known(), air_pressure_kpa=101.3, repeat=repeat)
        for repeat in (None, Repeat(span=2.0, zero=3.0))
    )
    assert plain is not None
    assert scaled is not None
    assert (scaled.u_raw / plain.u_raw).tolist() == pytest.approx([3.0, 2.0])


def test_a_slope_entered_with_an_offset_is_a_zero_point_and_without_one_the_whole_nernst_slope() -> None:
    """-12 mV at pH 7: over 59.16 mV 0.2028 pH, over nine tenths of that 0.2254; known to 2 mV."""
    bare = only(entry("ph", 1.0, offset=-12.0)).as_left
    assert set(bare) == {"zero_point"}
    assert bare["zero_point"].value == pytest.approx(7.0 - 0.2028, abs=1e-4)
    assert bare["zero_point"].uncertainty == pytest.approx(2.0 / 59.16, abs=1e-4)
    assert (bare["zero_point"].unit, bare["zero_point"].basis) == ("pH", "entered")
    worn = only(entry("ph", 1.0, slope=90.0, offset=-12.0)).as_left
    assert worn["zero_point"].value == pytest.approx(7.0 - 0.2254, abs=1e-4)
    both = only(entry("ph", 1.0, slope=90.0, offset=-12.0, zero_point=6.8)).as_left
    assert both["zero_point"].value == 6.8
    assert set(both) == {"slope", "zero_point"}
    dead = only(entry("ph", 1.0, slope=0.0, offset=-12.0)).as_left
    assert set(dead) == {"slope"}


@pytest.mark.parametrize(
    ("point", "name", "unit"),
    [
        ("ph", "slope", "%"),
        ("ph", "zero_point", "pH"),
        ("redox", "offset", "mV"),
        ("temperature", "offset", "degC"),
        ("conductivity", "cell_constant", "1/cm"),
        ("oxygen", "slope", "%"),
        ("oxygen", "zero", "mg/L"),
        ("turbidity", "gain", ""),
        ("turbidity", "zero", "NTU"),
        ("turbidity", "slope", "%"),
        ("turbidity", "span", "NTU"),
        ("turbidity", "offset", "mV"),
        ("oxygen", "slope [na]", "nA"),
    ],
)
def test_the_unit_of_a_figure_entered_without_one(point: str, name: str, unit: str) -> None:
    left = only(entry(point, 1.0, **{name: 1.0})).as_left
    assert left[name.partition(" [")[0]].unit == unit


@pytest.mark.parametrize(
    ("point", "readings", "left"),
    [
        ("ph", buffers(7.1, 4.2, raw_unit="pH"), {"slope": 100.0, "zero_point": 7.0}),
        (
            "conductivity",
            (standard(1413.0, 1390.0, unit="uS/cm", raw_unit="uS/cm"),),
            {"cell_constant": 1.0},
        ),
        (
            "turbidity",
            (
                standard(0.0, 0.2, unit="NTU", raw_unit="NTU"),
                standard(20.0, 19.0, unit="NTU", raw_unit="NTU"),
            ),
            {"gain": 1.0, "zero": 0.0},
        ),
        (
            "oxygen",
            (
                standard(0.0, 0.2, unit="mg/L", raw_unit="mg/L"),
                standard(8.0, 7.0, unit="mg/L", raw_unit="mg/L"),
            ),
            {"slope": 100.0, "zero": 0.0},
        ),
    ],
)
def test_adjusted_to_what_was_read_in_the_standards_the_probe_is_left_without_error(
    point: str, readings: tuple[StandardReading, ...], left: dict[str, float]
) -> None:
    """Only what was found is entered, then the adjustment is made: it can only have been to the standards."""
    made = only(entry(point, 1.0, *readings, phase="as_found"))
    assert {name: p.value for name, p in made.as_left.items()} == left
    assert made.as_found != made.as_left
