"""Samples whose list states no unit: read in the unit of the export or of the measurand, whichever the reading bears out."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.pipeline.inputs import samples_by_point
from excursions.plant import Plant, Point
from excursions.read.logs.samples import SampleReading
from excursions.records import LabSample
from excursions.register import Usual

BASIN = Plant(points=(Point(name="B1", measurand="oxygen", value="B1.PV", unit="ug/L"),))


def listed(*values: float, unit: str = "") -> SampleReading:
    rows = tuple(LabSample(point="B1", time=n, value=v, unit=unit) for n, v in enumerate(values))
    return SampleReading(path=Path("samples.csv"), samples=rows)


@pytest.mark.parametrize("values", [(3_230.0, 3_270.0, 2_980.0), (3.23, 3.27, 2.98)])
def test_the_reading_says_in_which_unit_a_list_without_one_is(values: tuple[float, ...]) -> None:
    usual = {"B1": Usual(unit="ug/L", level=3.4)}
    placed, taken, strange = samples_by_point([listed(*values)], BASIN, usual)
    assert [row.value for row in placed["B1"]] == [3.23, 3.27, 2.98]
    assert not strange
    assert [d.what for d in taken] == [f"samples of B1 are in {'ug/L' if values[0] > 100 else 'mg/L'}"]


def test_a_stated_unit_is_taken_at_its_word_and_needs_no_remark() -> None:
    placed, taken, _ = samples_by_point(
        [listed(3_230.0, unit="ug/L")], BASIN, {"B1": Usual(unit="ug/L", level=900.0)}
    )
    assert placed["B1"][0].value == 3.23
    assert taken == []


def test_where_the_export_has_the_unit_of_the_measurand_nothing_is_asked() -> None:
    placed, taken, _ = samples_by_point([listed(3.23)], BASIN, {"B1": Usual(unit="mg/L", level=3.4)})
    assert placed["B1"][0].value == 3.23
    assert taken == []


def test_below_the_freezing_point_of_the_scale_too() -> None:
    plant = Plant(points=(Point(name="B1", measurand="temperature", value="B1.TT", unit="degF"),))
    (row,) = samples_by_point([listed(14.0)], plant, {"B1": Usual(unit="degF", level=-9.0)})[0]["B1"]
    assert row.value == pytest.approx(-10.0)
