"""Entries to calibrations: pairing, phases, what each kind of value means."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.calibrations import evaluate
from excursions.physics.oxygen import air_oxygen_hpa
from excursions.plant import Installation, Plant, Point
from excursions.records import Calibration, CalibrationEntry
from tests.unit.calibrations.builders import PLANT, buffers, entry, standard


def only(*entries: CalibrationEntry, plant: Plant = PLANT) -> Calibration:
    (found,) = evaluate(entries, plant)
    return found


def test_rows_found_and_left_are_one_calibration() -> None:
    found = only(
        entry("ph", 1.0, *buffers(20.0, 195.0), phase="as_found"), entry("ph", 1.02, *buffers(0.0, 176.0))
    )
    assert found.as_found["zero_point"].value > found.as_left["zero_point"].value + 0.3
    assert found.time == entry("ph", 1.02).time


def test_rows_of_different_days_are_two() -> None:
    rows = [entry("ph", 1.0, *buffers(20.0, 195.0), phase="as_found"), entry("ph", 3.0, *buffers(0.0, 176.0))]
    assert len(evaluate(rows, PLANT)) == 2


def test_order_of_rows_does_not_matter() -> None:
    rows = [
        entry("ph", d, *buffers(d, 176.0 + d), phase=p) for d in (1.0, 30.0) for p in ("as_found", "as_left")
    ]
    assert evaluate(rows, PLANT) == evaluate(rows[::-1], PLANT)


def test_a_row_left_with_raw_signals_stands_for_both() -> None:
    found = only(entry("ph", 1.0, *buffers(0.0, 176.0)))
    assert found.as_found == found.as_left


def test_figures_entered_as_left_say_nothing_of_what_was_found() -> None:
    left = replace(entry("ph", 1.0, slope=98.8, zero_point=7.0), phase_said=True)
    made = only(left)
    assert made.as_found == {}
    assert made.as_left["zero_point"].value == 7.0
    assert made.left_only
    unsaid = only(replace(left, phase_said=False))
    assert unsaid.as_found == unsaid.as_left
    assert not unsaid.left_only
    raw = only(replace(entry("ph", 1.0, *buffers(0.0, 176.0)), phase_said=True))
    assert raw.as_found == raw.as_left  # an adjustment does not change raw signals


def test_a_verification_leaves_nothing() -> None:
    found = only(entry("ph", 1.0, *buffers(0.0, 176.0), phase="as_found", action="verification"))
    assert found.as_left == {}
    assert set(found.as_found) == {"slope", "zero_point"}


def test_one_point_keeps_the_slope() -> None:
    first = entry("ph", 1.0, *buffers(0.0, 170.0))
    second = entry("ph", 30.0, standard(7.0, 10.0, unit="pH", raw_unit="mV"))
    before, after = evaluate([first, second], PLANT)
    assert set(after.as_found) == {"zero_point"}
    assert after.as_left["slope"].basis == "kept"
    assert after.as_left["slope"].value == before.as_left["slope"].value
    step = before.as_left["slope"].value / 100.0 * 59.1593
    assert after.as_left["zero_point"].value == pytest.approx(7.0 + 10.0 / step)


def test_three_buffers_are_fitted_and_a_wrong_one_is_noticed() -> None:
    """A line through pH 4.01, 7.00 and 10.00 with 59 mV per pH, the last one 20 mV off."""
    good = (standard(4.01, 176.4, unit="pH", raw_unit="mV"), standard(7.0, 0.0, unit="pH", raw_unit="mV"))
    right = only(entry("ph", 1.0, *good, standard(10.0, -177.0, unit="pH", raw_unit="mV")))
    wrong = only(entry("ph", 1.0, *good, standard(10.0, -157.0, unit="pH", raw_unit="mV")))
    assert right.as_left["slope"].value == pytest.approx(59.0 / 59.1593 * 100.0, abs=0.05)
    assert not any("do not agree" in check for check in right.checks)
    assert any("do not agree" in check for check in wrong.checks)


def test_figures_alone_are_taken_with_a_larger_uncertainty() -> None:
    entered = only(entry("ph", 1.0, slope=97.5, zero_point=6.95)).as_left
    computed = only(entry("ph", 1.0, *buffers(0.0, 176.0))).as_left
    assert entered["slope"].basis == "entered"
    assert entered["slope"].value == 97.5
    assert all(entered[name].uncertainty > computed[name].uncertainty for name in entered)


def test_an_offset_in_mv_is_a_zero_point() -> None:
    """12 mV at pH 7 and 100 %: zero point 7 + 12/59.16."""
    assert only(entry("ph", 1.0, slope=100.0, offset=12.0)).as_left["zero_point"].value == pytest.approx(
        7.2028, abs=1e-4
    )


def test_figures_that_do_not_follow_from_the_raw_values_are_named() -> None:
    checks = only(entry("ph", 1.0, *buffers(-1.2, 176.9), slope=93.0, zero_point=6.98)).checks
    assert any("slope entered 93, raw values give 100.7" in check for check in checks)
    assert not any("zero point entered" in check for check in checks)


def test_an_offset_with_its_sign_turned_round_is_suspected() -> None:
    checks = only(entry("redox", 1.0, standard(220.0, 232.0, unit="mV", raw_unit="mV"), offset=-12.0)).checks
    assert any("sign may be turned round" in check for check in checks)


@pytest.mark.parametrize(
    ("raw", "words", "zero"),
    [
        ((176.9, -1.2), "exchanged between the two standards", 6.98),
        ((1.2, -176.9), "sign turned round", 6.98),
        ((-300.0, -400.0), "not used", None),
    ],
)
def test_exchanged_buffers_are_noticed_and_set_right_where_it_is_plain_what_was_meant(
    raw: tuple[float, float], words: str, zero: float | None
) -> None:
    """No electrode has a negative slope: -1.2 and +176.9 mV are 100.7 % and pH 6.98, whichever way they were written."""
    found = only(entry("ph", 1.0, *buffers(*raw)))
    assert any("wrong way" in check and words in check for check in found.checks)
    if zero is None:
        assert not found.as_left
    else:
        assert found.as_left["slope"].value == pytest.approx(100.7, abs=0.05)
        assert found.as_left["zero_point"].value == pytest.approx(zero, abs=0.005)


def test_buffers_too_close_give_no_slope() -> None:
    close = (standard(7.0, 0.0, unit="pH", raw_unit="mV"), standard(6.86, 8.0, unit="pH", raw_unit="mV"))
    found = only(entry("ph", 1.0, *close))
    assert "slope" not in found.as_found
    assert any("too close" in check for check in found.checks)


def test_readings_in_buffers_are_relative_until_the_transmitter_is_known() -> None:
    rows = [
        entry("ph", 1.0, *buffers(7.0, 4.01, raw_unit="pH")),
        entry("ph", 30.0, *buffers(7.1, 4.11, raw_unit="pH"), phase="as_found"),
    ]
    first, second = evaluate(rows, PLANT)
    assert first.as_left["zero_point"].basis == "relative"
    assert second.as_found["zero_point"].value - first.as_left["zero_point"].value == pytest.approx(-0.1)


def test_readings_are_worked_back_through_entered_parameters() -> None:
    """Transmitter at 98 %, pH 6.9, reads 7.1 in 7.00 and 4.02 in 4.01: slope 98 * 3.08/2.99, zero by the same line."""
    rows = [
        entry("ph", 1.0, slope=98.0, zero_point=6.9),
        entry("ph", 30.0, *buffers(7.1, 4.02, raw_unit="pH"), phase="as_found"),
    ]
    found = evaluate(rows, PLANT)[1].as_found
    ratio = 3.08 / 2.99
    assert found["slope"].value == pytest.approx(98.0 * ratio, rel=1e-6)
    assert found["zero_point"].value == pytest.approx(7.0 - (7.1 - 6.9) / ratio, abs=1e-6)


def test_values_in_ntu_are_raw_where_the_figures_follow_from_them() -> None:
    def row(day: float, zero: float, span: float) -> CalibrationEntry:
        gain = (span - zero) / 20.0
        return entry(
            "turbidity", day, standard(0.0, zero, unit="NTU", raw_unit="NTU"), standard(20.0, span, unit="NTU", raw_unit="NTU"),
            gain=round(gain, 3), zero=round(zero, 2),
        )  # fmt: skip

    first, second = evaluate([row(1.0, 0.1, 18.1), row(30.0, 0.3, 17.3)], PLANT)
    assert (first.as_left["gain"].value, second.as_left["gain"].value) == pytest.approx((0.9, 0.85))
    assert second.as_left["gain"].basis == "computed"


@pytest.mark.parametrize(("zero", "gain", "split"), [(3.4, 1.0, True), (0.4, 1.3, True), (2.0, 1.0, False)])
def test_figures_that_account_for_one_standard_say_how_its_error_is_split(
    zero: float, gain: float, split: bool
) -> None:
    """13.4 NTU in 10 NTU: an offset, a gain or something of both; figures that do not add up say nothing of it."""
    raw = standard(10.0, 13.4, unit="NTU", raw_unit="NTU")
    found = only(entry("turbidity", 1.0, raw, phase="as_found", zero=zero, gain=gain)).as_found
    assert found["gain"].value == pytest.approx(gain if split else 1.34)
    assert ("zero" in found) is split
    if split:
        assert found["zero"].value == zero


def test_membrane_current_in_air_and_zero() -> None:
    """S = (60 - 0.2) nA over the partial pressure in moist air at 25 °C and 98 kPa."""
    air, zero = (
        standard(math.nan, 60.0, raw_unit="nA", label="air"),
        standard(0.0, 0.2, raw_unit="nA", label="zero"),
    )
    row = replace(entry("oxygen", 1.0, air, zero), air_pressure_kpa=98.0)
    found = only(row).as_left
    assert found["slope"].value == pytest.approx(59.8 / air_oxygen_hpa(25.0, pressure_kpa=98.0))
    assert found["zero"].value == pytest.approx(0.2)
    assert (found["slope"].unit, found["zero"].unit) == ("nA/hPa", "nA")


def test_phase_of_an_optical_probe() -> None:
    """tan(phi0)/tan(phi) = 1 + K p at 100 % saturation: phi0 = 58 deg, K = 0.0075 per hPa."""
    pressure = air_oxygen_hpa(25.0)
    phase = math.degrees(math.atan(math.tan(math.radians(58.0)) / (1.0 + 0.0075 * pressure)))
    rows = standard(100.0, phase, unit="%", raw_unit="deg"), standard(0.0, 58.0, unit="%", raw_unit="deg")
    found = only(entry("oxygen_saturation", 1.0, *rows)).as_left
    assert found["slope"].value == pytest.approx(0.0075, rel=1e-6)
    assert found["zero"].value == pytest.approx(58.0, abs=1e-6)


@pytest.mark.parametrize("point", ["co2", "co2_pressure"])
def test_co2_standards_in_mbar_mean_the_same_for_content_and_pressure(point: str) -> None:
    """57.5 mV a decade at 25 °C is 97.2 %; 0 mV at 100 mbar is inner pH 9.1 - 2."""
    rows = (
        standard(100.0, 0.0, unit="mbar", raw_unit="mV"),
        standard(1000.0, 57.5, unit="mbar", raw_unit="mV"),
    )
    found = only(entry(point, 1.0, *rows)).as_left
    assert found["slope"].value == pytest.approx(100.0 * 57.5 / 59.1593, rel=1e-4)
    assert found["zero_point"].value == pytest.approx(7.1, abs=1e-9)


def test_conductance_at_another_temperature() -> None:
    """1413 uS/cm KCl conducts 1278 at 20 °C: K = 1278/1278 from 1278 uS."""
    found = only(entry("conductivity", 1.0, standard(1.413, 1.2773, unit="mS/cm", raw_unit="mS", temp=20.0)))
    assert found.as_left["cell_constant"].value == pytest.approx(1.0, abs=1e-3)


def test_zobell_is_known_by_name() -> None:
    found = only(entry("redox", 1.0, standard(math.nan, 239.0, raw_unit="mV", label="zobell")))
    assert found.as_left["offset"].value == pytest.approx(10.0, abs=0.01)


def test_a_copied_entry_is_marked() -> None:
    first, second = evaluate([entry("ph", d, *buffers(-1.2, 176.9, temp=21.3)) for d in (1.0, 30.0)], PLANT)
    assert not first.copied
    assert second.copied
    assert any("to the last digit" in check for check in second.checks)


def test_an_entry_that_repeats_the_other_probe_of_the_point_is_a_copy_too() -> None:
    rows = [entry("ph", d, *buffers(-1.2, 176.9, temp=21.3), probe=p) for d, p in ((1.0, "S1"), (30.0, "S2"))]
    assert [c.copied for c in evaluate(rows, PLANT)] == [False, True]


def test_a_figure_that_a_spreadsheet_worked_out_again_is_still_a_copy() -> None:
    """0.1 + 0.2 is 0.30000000000000004: what differs in the sixteenth digit nobody wrote."""
    first = entry("ph", 1.0, *buffers(-1.2, 176.9, temp=21.3), slope=99.3)
    again = entry("ph", 30.0, *buffers(-1.2, 176.9, temp=21.3), slope=99.30000000000001)
    assert [c.copied for c in evaluate([first, again], PLANT)] == [False, True]


def test_figures_tell_readings_apart_but_not_raw_signals_from_which_they_follow() -> None:
    """The same millivolts in both buffers at the same temperatures give one slope: with another one they were copied."""
    for values, unit, copied in (((-1.2, 176.9), "mV", True), ((7.02, 4.03), "pH", False)):
        rows = [
            entry("ph", d, *buffers(*values, temp=21.3, raw_unit=unit), slope=slope)
            for d, slope in ((1.0, 99.3), (30.0, 98.1))
        ]
        assert [c.copied for c in evaluate(rows, PLANT)] == [False, copied]


def test_readings_that_meet_their_buffers_are_no_copy() -> None:
    rows = [entry("ph", d, *buffers(7.0, 4.01, raw_unit="pH")) for d in (1.0, 30.0)]
    assert not any(c.copied for c in evaluate(rows, PLANT))


def test_a_bench_calibration_finds_its_point_by_the_serial_number() -> None:
    plant = Plant(
        points=(Point(name="P9", measurand="ph"),),
        installations=(Installation(probe="S1", point="P9", end=int(5e15)),),
    )
    found = only(entry("", 1.0, *buffers(0.0, 176.0)), plant=plant)
    assert (found.point, found.measurand) == ("P9", "ph")


def test_a_nameless_entry_belongs_to_the_probe_that_sat_there() -> None:
    plant = replace(PLANT, installations=(Installation(probe="S7", point="ph"),))
    assert only(entry("ph", 1.0, *buffers(0.0, 176.0), probe=""), plant=plant).probe == "S7"


@pytest.mark.parametrize(
    ("row", "measurand"),
    [
        (entry("?", 1.0, *buffers(0.0, 176.0)), "ph"),
        (entry("?", 1.0, standard(1413.0, 1400.0, unit="uS/cm", raw_unit="uS")), "conductivity"),
        (entry("?", 1.0, standard(20.0, 19.0, unit="NTU", raw_unit="NTU")), "turbidity"),
        (entry("?", 1.0, standard(math.nan, 230.0, raw_unit="mV", label="zobell")), "redox"),
        (entry("?", 1.0, standard(math.nan, 60.0, raw_unit="nA", label="air")), "oxygen"),
    ],
)
def test_an_unknown_point_is_known_by_what_it_stood_in(row: CalibrationEntry, measurand: str) -> None:
    assert only(row).measurand == measurand


def test_nothing_gives_nothing() -> None:
    assert evaluate([], PLANT) == ()


def test_an_entry_without_values_is_kept_empty() -> None:
    found = only(entry("ph", 1.0, standard(math.nan, math.nan)))
    assert found.as_found == {}


@pytest.mark.parametrize("raw", [0.0, -5.0, math.inf, 1e300])
def test_absurd_raw_values_do_not_stop_the_rest(raw: float) -> None:
    rows = [
        entry("conductivity", 1.0, standard(1413.0, raw, unit="uS/cm", raw_unit="uS")),
        entry("oxygen_saturation", 1.0, standard(100.0, raw, unit="%", raw_unit="deg"), standard(0.0, raw, unit="%", raw_unit="deg")),
        entry("ph", 1.0, *buffers(0.0, 176.0)),
    ]  # fmt: skip
    assert evaluate(rows, PLANT)[-1].as_left


def test_a_reading_of_a_membrane_probe_is_checked_at_the_temperature_it_was_read() -> None:
    """Currents are stated for 25 °C, readings are not: nine tenths of saturation at 20 °C is nine tenths of the slope."""
    rows = [
        entry("oxygen", 1.0, standard(100.0, 65.2, unit="%", raw_unit="nA", temp=20.0)),
        entry(
            "oxygen", 30.0, standard(9.092, 8.183, unit="mg/L", raw_unit="mg/L", temp=20.0),
            phase="as_found", action="verification",
        ),
    ]  # fmt: skip
    first, second = evaluate(rows, PLANT)
    assert first.as_left["slope"].value == pytest.approx(65.2 / (0.2095 * (1013.25 - 23.3)), rel=1e-3)
    assert second.as_found["slope"].value == pytest.approx(0.9 * first.as_left["slope"].value, rel=1e-3)


def test_salt_water_holds_less_oxygen_at_the_same_pressure() -> None:
    """Benson and Krause at 20 °C: 9.092 mg/L in fresh water, 7.396 mg/L at a salinity of 35; both are air-saturated."""
    in_air = 0.2095 * (1013.25 - 23.3)
    salt = replace(
        entry("oxygen", 1.0, standard(7.396, 65.2, unit="mg/L", raw_unit="nA", temp=20.0)), salinity=35.0
    )
    read = replace(
        entry("oxygen", 9.0, standard(7.396, 7.396, unit="mg/L", raw_unit="mg/L", temp=20.0), phase="as_found", action="verification"),
        salinity=35.0,
    )  # fmt: skip
    first, second = evaluate([salt, read], PLANT)
    assert first.as_left["slope"].value == pytest.approx(65.2 / in_air, rel=1e-3)
    assert second.as_found["slope"].value == pytest.approx(first.as_left["slope"].value, rel=1e-3)


def test_buffers_read_wrongly_after_the_adjustment_are_told() -> None:
    """EPA SW-846 9040C (from memory): readings within 0.05 pH of the buffers."""
    wrong = only(entry("ph", 1.0, *buffers(7.01, 4.10, raw_unit="pH")))
    assert any("as left: pH 4.1 read in buffer 4.01" in check for check in wrong.checks)
    right = only(entry("ph", 1.0, *buffers(7.02, 4.04, raw_unit="pH")))
    assert not any("as left: pH" in check for check in right.checks)
