"""The small words of a log: dates, numbers, standards, headers, actions."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from excursions.clock import to_ns
from excursions.read.logs.actions import action_of, phase_of, says_sample
from excursions.read.logs.figures import air_pressure_kpa, figure_of, unit_of_column
from excursions.read.logs.headers import meaning_of
from excursions.read.logs.meanings import meanings_of
from excursions.read.logs.moments import read_moments, time_of_day
from excursions.read.logs.standards import standard_of
from excursions.read.model import ReadOptions
from excursions.read.text.numbers import decimal_comma, number_of


def moment(text: str, **options: str) -> str:
    (time,) = read_moments([text], ReadOptions(tz="UTC", **options), file="f").time
    return "" if time is None else datetime.fromtimestamp(time / 1e9, UTC).strftime("%Y-%m-%d %H:%M:%S")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2024-03-05T08:30:15Z", "2024-03-05 08:30:15"),
        ("2024-03-05T08:30:15+02:00", "2024-03-05 06:30:15"),
        ("2024-03-05 08:30:15 UTC", "2024-03-05 08:30:15"),
        ("2024/3/5 8:30", "2024-03-05 08:30:00"),
        ("20240305", "2024-03-05 12:00:00"),
        ("25.03.2024 8.30", "2024-03-25 08:30:00"),
        ("28.10.2025 09.45 Uhr", "2025-10-28 09:45:00"),
        ("25.03.2024 8.75", "2024-03-25 12:00:00"),
        ("25.03.24 08:30", "2024-03-25 08:30:00"),
        ("Tue 5 March 2024, 08:30", "2024-03-05 08:30:00"),
        ("March 5, 2024 8:30 pm", "2024-03-05 20:30:00"),
        ("5. März 2024 08:30 Uhr", "2024-03-05 08:30:00"),
        ("5 août 2024 8h30", "2024-08-05 08:30:00"),
        ("5 de mayo de 2024", "2024-05-05 12:00:00"),
        ("05-Dez-24 12:15 AM", "2024-12-05 00:15:00"),
        ("45292", "2024-01-01 12:00:00"),
        ("45292.25", "2024-01-01 06:00:00"),
        ("1704067200", "2024-01-01 00:00:00"),
        ("1704067200000", "2024-01-01 00:00:00"),
        ("2024-02-30", ""),
        ("2024-13-01", ""),
        ("12", ""),
        ("", ""),
        ("soon", ""),
        ("31.12.1899", ""),
    ],
)
def test_written_moments(text: str, expected: str) -> None:
    assert moment(text) == expected


def test_the_whole_column_decides_the_order() -> None:
    def order(*texts: str, comma: bool = False) -> str:
        read = read_moments(texts, ReadOptions(), file="f", comma=comma)
        return next((d.what for d in read.decisions if "first" in d.what), str(bool(read.problem)))

    assert order("01/02/2024", "13/02/2024") == "dates are day-first"
    assert order("01/02/2024", "02/13/2024") == "dates are month-first"
    assert order("01/02/2024", "03/04/2024") == "True"
    assert order("01/02/2024", "03/04/2024", comma=True) == "dates are day-first"
    assert order("01.02.2024") == "dates are day-first"
    assert order("01/05/2024", "02/03/2024", "03/01/2024", "03/09/2024") == "dates are month-first"
    assert order("05/01/2024", "03/02/2024", "01/03/2024", "09/03/2024") == "dates are day-first"


def test_summer_time_is_the_zones() -> None:
    read = read_moments(["2024-07-01 08:00"], ReadOptions(tz="Europe/Vienna"), file="f")
    assert read.time == (to_ns(datetime(2024, 7, 1, 6, tzinfo=UTC)),)


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("8:05", "8:05"),
        ("1899-12-31 10:30:00", "10:30:00"),
        ("0.5", "12:00:00"),
        ("8.05 Uhr", "8:05"),
        ("0805", "08:05"),
        ("x", ""),
    ],
)
def test_a_time_of_day_in_a_cell_of_its_own(cell: str, clock: str) -> None:
    assert time_of_day(cell) == clock


@pytest.mark.parametrize(
    ("text", "comma", "value", "unit"),
    [
        ("7.02", False, 7.02, ""),
        ("7,02", True, 7.02, ""),
        ("1,413", False, 1413.0, ""),
        ("1.413,5", True, 1413.5, ""),
        ("1 413.5", False, 1413.5, ""),
        ("98.5 %", False, 98.5, "%"),
        ("−1.2 mV", False, -1.2, "mv"),
        ("1.2e-3", False, 0.0012, ""),
        ("1'413", False, 1413.0, ""),
    ],
)
def test_numbers(text: str, comma: bool, value: float, unit: str) -> None:
    assert number_of(text, comma=comma) == (value, unit)


@pytest.mark.parametrize("text", ["", "ok", "-", "pH", "1.2.3.4x/5"])
def test_no_number(text: str) -> None:
    found = number_of(text, comma=False)
    assert found is None or found[1]


@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)))
def test_a_number_comes_back_with_either_mark(value: float) -> None:
    text = f"{value:.3f}"
    assert number_of(text, comma=False) == (value, "")
    assert number_of(text.replace(".", ","), comma=True) == (value, "")


def test_the_whole_file_decides_the_decimal_mark() -> None:
    assert decimal_comma(["7,02", "x"], ";", "")
    assert not decimal_comma(["7.02", "1,413"], ",", "")
    assert decimal_comma(["1,413"], ";", "")
    assert not decimal_comma(["1,413"], ",", "")
    assert decimal_comma(["7.02"], ",", ",")
    assert decimal_comma(["01.02.2024", "7,02"], ";", "")


NAN = math.nan


@pytest.mark.parametrize(
    ("text", "value", "unit", "label"),
    [
        ("7", 7.0, "", "7"),
        ("7.00", 7.0, "", "7.00"),
        ("pH 4.01", 4.01, "pH", "pH 4.01"),
        ("Puffer 4,01", 4.01, "", "Puffer 4,01"),
        ("air", NAN, "", "air"),
        ("Luft", NAN, "", "air"),
        ("air 20.95 %", NAN, "", "air"),
        ("ZoBell", NAN, "", "zobell"),
        ("Light's solution", NAN, "", "light"),
        ("1413 uS/cm", 1413.0, "uS/cm", "1413 uS/cm"),
        ("12.88 mS/cm", 12.88, "mS/cm", "12.88 mS/cm"),
        ("84 µS", 84.0, "uS/cm", "84 µS"),
        ("zero solution", 0.0, "", "zero"),
        ("N2", 0.0, "", "zero"),
        ("nitrogen", 0.0, "", "zero"),
        ("Nulllösung", 0.0, "", "zero"),
        ("20 NTU", 20.0, "NTU", "20 NTU"),
        ("formazin 100", 100.0, "", "formazin 100"),
        ("220 mV", 220.0, "mV", "220 mV"),
        ("grab sample 7.12", 7.12, "", "sample"),
    ],
)
def test_standards(text: str, value: float, unit: str, label: str) -> None:
    found = standard_of(text)
    assert found is not None
    assert found.value == pytest.approx(value, nan_ok=True)
    assert (found.unit, found.label) == (unit, label)


@pytest.mark.parametrize("text", ["", "ok", "--"])
def test_no_standard(text: str) -> None:
    assert standard_of(text) is None


@pytest.mark.parametrize(
    ("header", "kind", "detail"),
    [
        ("Date", "time", ""),
        ("Uhrzeit", "clock", ""),
        ("Messstelle", "point", ""),
        ("punto de medida", "point", ""),
        ("N° de série", "probe", ""),
        ("S/N", "probe", ""),
        ("Probe temperature", "temperature", ""),
        ("sensor mV", "raw", ""),
        ("old probe", "old_probe", ""),
        ("probe type", "model", ""),
        ("Steilheit nachher [%]", "figure", "slope as_left"),
        ("Zéro avant (pH)", "figure", "zero_point as_found"),
        ("cell constant", "figure", "cell_constant "),
        ("Asymmetriepotential (mV)", "figure", "offset "),
        ("next calibration due", "ignored", ""),
        ("last slope", "ignored", ""),
        ("Technician", "ignored", ""),
        ("as found", "value", " as_found"),
        ("raw unit", "raw_unit", ""),
        ("Luftdruck hPa", "air_pressure", ""),
        ("foo", "", ""),
        ("impedance MOhm", "", ""),
        ("reference impedance", "", ""),
        ("Bezugswiderstand kOhm", "", ""),
        ("cell resistance ohm", "figure", "cell_constant"),
        ("2024-02-11", "", ""),
    ],
)
def test_headers(header: str, kind: str, detail: str) -> None:
    found = meaning_of(header)
    assert found.kind == kind
    assert f"{found.figure} {found.phase}".strip() == detail.strip()


def test_numbers_beside_standards_count_or_name_them() -> None:
    counted = meanings_of(["Buffer 1", "mV 1", "Buffer 2", "mV 2"])
    assert [(m.kind, m.index) for m in counted] == [("standard", 1), ("raw", 1), ("standard", 2), ("raw", 2)]
    named = meanings_of(["Buffer 4", "Buffer 7"])
    assert [(m.kind, m.fixed.value if m.fixed else None) for m in named] == [("raw", 4.0), ("raw", 7.0)]


@pytest.mark.parametrize(
    ("text", "action"),
    [
        ("Calibration", "calibration"),
        ("2-Punkt-Kalibrierung", "calibration"),
        ("checked and adjusted", "calibration"),
        ("Verification", "verification"),
        ("Überprüfung", "verification"),
        ("probe exchanged", "install"),
        ("Einbau", "install"),
        ("Remplacement sonde", "install"),
        ("membrane replaced", "clean"),
        ("Ausbau", "remove"),
        ("retirada", "remove"),
        ("gereinigt", "clean"),
        ("not adjusted", "verification"),
        ("Checked only. No adjustment", "verification"),
        ("keine Justierung", "verification"),
        ("without problems adjusted", "calibration"),
        ("cleaned, not calibrated", "clean"),
        ("", ""),
        ("lunch", ""),
    ],
)
def test_actions(text: str, action: str) -> None:
    assert action_of(text) == action


@pytest.mark.parametrize(
    ("text", "phase"),
    [
        ("As Found", "as_found"),
        ("AF", "as_found"),
        ("vorher", "as_found"),
        ("as_left", "as_left"),
        ("après", "as_left"),
        ("after cleaning", "as_found_cleaned"),
        ("found, cleaned", "as_found_cleaned"),
        ("pH", ""),
    ],
)
def test_phases(text: str, phase: str) -> None:
    assert phase_of(text) == phase


@pytest.mark.parametrize(
    ("values", "unit"),
    [
        ([98.0, 101.0], "%"),
        ([0.98, 1.01], "ratio"),
        ([57.0, 58.5], "mv/ph"),
        ([-57.0], "mv/ph"),
        ([70.0], "%"),
    ],
)
def test_slopes_are_told_apart_by_size(values: list[float], unit: str) -> None:
    assert unit_of_column("slope", "", values)[0] == unit


@pytest.mark.parametrize(
    ("values", "unit"), [([6.98, 6.71], "ph"), ([7.02], "ph"), ([6.98, -12.0], ""), ([2.5, 3.1], "")]
)
def test_an_offset_is_a_potential_unless_all_stand_near_seven(values: list[float], unit: str) -> None:
    assert unit_of_column("offset", "", values)[0] == unit


def test_an_offset_in_ph_is_a_zero_point_where_it_can_be_one() -> None:
    assert figure_of("offset", 6.98, "ph") == ("zero_point", 6.98)
    assert figure_of("offset", 0.02, "ph") == ("offset [ph]", 0.02)
    assert figure_of("offset", 6.98, "mv") == ("offset", 6.98)


def test_a_figure_in_a_unit_of_its_own_keeps_it_in_its_name() -> None:
    assert figure_of("slope", 62.0, "na") == ("slope [na]", 62.0)
    assert figure_of("zero_point", 3.0, "mv") == ("offset", 3.0)
    assert figure_of("zero_point", 0.1, "ntu") == ("zero", 0.1)


@pytest.mark.parametrize(
    ("value", "unit", "kpa"),
    [(1013.0, "hpa", 101.3), (1013.0, "", 101.3), (760.0, "mmhg", 101.325), (101.0, "", 101.0)],
)
def test_air_pressure(value: float, unit: str, kpa: float) -> None:
    assert air_pressure_kpa(value, unit) == pytest.approx(kpa, abs=0.01)


def test_what_is_no_air_pressure_is_missing() -> None:
    assert math.isnan(air_pressure_kpa(3.0, "hpa"))


def test_an_offset_that_cannot_be_makes_no_time() -> None:
    moments = read_moments(
        ["2025-03-05 08:00+40:00", "2025-03-05 08:00+01:00"], ReadOptions(), file="log.csv"
    )
    assert moments.time == (None, 1_741_158_000 * 10**9)


@pytest.mark.parametrize(
    ("text", "taken"),
    [("adjusted to grab sample", True), ("auf Stichprobe abgeglichen", True), ("nach Laborwert der Proben", True), ("ajusté sur échantillon", True),
     ("по пробе", False), ("done in the lab", False), ("bijgesteld op monster", True), ("meetpunt monsterpunt 3", False)],
)  # fmt: skip
def test_remarks_that_say_a_sample_was_taken(text: str, taken: bool) -> None:
    assert says_sample(text) is taken


def test_an_offset_of_another_probe_is_no_zero_point() -> None:
    assert unit_of_column("offset", "", [7.1], electrode=False) == ("", "")


@pytest.mark.parametrize("text", ["vóór", "vóór justering", "voor kalibratie"])
def test_before_with_accents_is_as_found(text: str) -> None:
    assert phase_of(text) == "as_found"
