"""A reading is told in the unit of its export: figures, bands and spans, with the digits they had."""

from __future__ import annotations

import dataclasses
import math
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from excursions.plant import Point
from excursions.report.reader import Reader, exported_in, looking, times
from excursions.report.result import PointFindings
from tests.unit.dashboards.made_result import STORIES, made_result

HOUSE = Reader(tz=ZoneInfo("UTC"))


def reader(measurand: str, unit: str, temperature: str = "degC") -> Reader:
    point = Point(name="p", measurand=measurand)
    return dataclasses.replace(HOUSE, temperature=temperature, exported=exported_in(point, unit))


@pytest.mark.parametrize(
    ("measurand", "unit", "given", "shown"),
    [
        ("oxygen", "ug/L", "Step of +0.0065 mg/L on 8 Mar", "Step of +6.5 µg/L on 8 Mar"),
        ("oxygen", "µg/l", "up to 0.01 mg/L high (± 0.02 mg/L)", "up to 10 µg/l high (± 20 µg/l)"),
        ("oxygen", "ppb", "between −0.3 and +0.5 mg/L", "between −300 and +500 ppb"),
        ("oxygen", "ug/L", "0.012 ± 0.002 mg/L, and 0.012 mg/L ± 0.002", "12 ± 2 µg/L, and 12 µg/L ± 2"),
        ("oxygen", "ug/L", "slope 98 % ± 2, zero 0.004 mg/L a day", "slope 98 % ± 2, zero 4 µg/L a day"),
        ("oxygen", "ug/L", "0.01 mg/L ± 0.3 K/min", "10 µg/L ± 0.3 K/min"),
        ("conductivity", "mS/cm", "1413 µS/cm of 150 uS/cm", "1.413 mS/cm of 0.15 mS/cm"),
        ("conductivity", "mS/cm", "cell constant 0.1 cm⁻¹, 12 mV, FW-3", "cell constant 0.1 cm⁻¹, 12 mV, FW-3"),
        ("turbidity", "FNU", "over 100 NTU", "over 100 FNU"),
        ("co2_pressure", "mmHg", "133 mbar", "99.8 mmHg"),
    ],
)  # fmt: skip
def test_a_reading_in_a_sentence_is_told_in_the_unit_of_its_export(
    measurand: str, unit: str, given: str, shown: str
) -> None:
    assert reader(measurand, unit).text(given) == shown


@pytest.mark.parametrize(
    ("measurand", "unit"),
    [("oxygen", "mg/l"), ("oxygen", ""), ("oxygen", "furlong"), ("ph", "pH units"), ("conductivity", "µS/cm"),
     ("oxygen_saturation", "%"), ("temperature", "degF"), ("other", "bar")],
)  # fmt: skip
def test_what_is_exported_in_the_unit_of_the_house_stays(measurand: str, unit: str) -> None:
    assert exported_in(Point(name="p", measurand=measurand), unit) is None


def test_a_figure_has_the_same_digits_in_a_sentence_on_a_scale_and_in_a_column() -> None:
    trace = reader("oxygen", "ug/L")
    assert trace.amount(0.01234, "mg/L", 0.002) == "12 µg/L"
    assert trace.figure(0.01234, "mg/L", 0.002) == "12"
    assert trace.half(0.0021, "mg/L") == "2"
    assert trace.difference(-0.0065, "mg/L", 0.0003, signed=True) == "−6.5 µg/L"
    assert trace.unit("mg/L") == "µg/L"
    assert trace.amount(7.01, "pH", 0.1) == "7.0 pH"
    assert reader("oxygen", "ug/L", "degF").text("12 K at 100 °C, 0.001 mg/L") == "22 °F at 212 °F, 1 µg/L"


def test_what_is_drawn_is_what_was_exported_to_the_last_digit() -> None:
    exported = np.array([12.34, 0.01, -3.0, math.nan])
    np.testing.assert_array_equal(reader("oxygen", "ug/L").level(exported * 0.001, "mg/L"), exported)
    np.testing.assert_array_equal(reader("oxygen", "ug/L").apart(exported * 0.001, "mg/L"), exported)
    np.testing.assert_array_equal(HOUSE.level(exported, "mg/L"), exported)


@pytest.mark.parametrize(
    ("figure", "factor", "shown"),
    [("0.045", 1000.0, "45"), ("150", 0.001, "0.15"), ("1.50", 0.001, "0.00150"), ("−0.3", 1000.0, "−300"), ("+0.3", 1e3, "+300"), ("0", 1e3, "0")],
)  # fmt: skip
def test_a_written_figure_keeps_the_digits_it_had(figure: str, factor: float, shown: str) -> None:
    assert times(figure, factor) == shown


def in_micrograms() -> PointFindings:
    quiet = next(story for story in STORIES if not story.kind)
    story = dataclasses.replace(quiet, name="FW1")
    made = made_result((story,), days=5.0, budget=200).points[0]
    point = dataclasses.replace(made.point, name="FW1", measurand="oxygen")
    return dataclasses.replace(made, point=point, exported_unit="ug/L")


def test_what_stands_beside_a_point_is_told_as_exported_too_unless_it_shares_its_unit() -> None:
    own = in_micrograms()
    cell = dataclasses.replace(
        own,
        point=dataclasses.replace(own.point, name="C1", measurand="conductivity"),
        traces={"value": dataclasses.replace(own.traces["value"], unit="uS/cm")},
        exported_unit="mS/cm",
    )
    own = dataclasses.replace(own, traces={"value": dataclasses.replace(own.traces["value"], unit="mg/L")})
    twin = dataclasses.replace(own, exported_unit="ppb")
    reader = HOUSE.of(own, (twin, cell))
    assert (
        reader.text("C1 changed by −110 µS/cm, FW2 by 0.002 mg/L")
        == "C1 changed by −0.11 mS/cm, FW2 by 2 µg/L"
    )


def test_who_looks_at_several_points_reads_each_in_its_own_unit() -> None:
    at = looking([in_micrograms()], HOUSE)
    assert at("FW1").text("0.02 mg/L") == "20 µg/L"
    assert at("another").text("0.02 mg/L") == "0.02 mg/L"
