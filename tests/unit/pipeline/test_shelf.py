"""Series on the shelf are the same numbers, also when the file grows past its first map."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.point import PointCounts, PointInput
from excursions.pipeline.shelf import Shelf
from excursions.plant import Plant, Point
from excursions.report.result import PointFindings
from tests.benchmarks.made_plant import Made, plant_of, series_of


@pytest.fixture(scope="module")
def found() -> tuple[PointFindings, PointCounts]:
    made = Made(points=1, samples=3_000, every_s=60.0)
    point: Point = plant_of(made).points[0]
    return analyse_point(PointInput(point=point, plant=Plant(points=(point,)), series=series_of(made, 0)))


def test_shelved_series_are_the_same_numbers(found: tuple[PointFindings, PointCounts]) -> None:
    findings, counts = found
    long = {
        name: replace(trace, time=np.tile(trace.time, 200), value=np.tile(trace.value, 200))
        for name, trace in findings.traces.items()
    }
    many = [(replace(findings, traces=long), counts)] * 12
    assert sum(t.time.nbytes + t.value.nbytes for t in long.values()) * 12 > 64 * 2**20
    for before, after in zip(many, list(map(Shelf(kept=2), many)), strict=True):
        assert after[1] == before[1]
        for name, trace in before[0].traces.items():
            np.testing.assert_array_equal(after[0].traces[name].time, trace.time)
            np.testing.assert_array_equal(after[0].traces[name].value, trace.value)


def test_a_few_points_stay_as_they_are(found: tuple[PointFindings, PointCounts]) -> None:
    assert Shelf()(found) is found
