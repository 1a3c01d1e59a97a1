"""Series on the shelf are the same numbers, also when the file grows past its first map."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest

from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.point import PointCounts, PointInput
from excursions.pipeline.shelf import Shelf
from excursions.plant import Plant, Point
from excursions.report.result import PointFindings
from excursions.site.codec import decode, encode
from tests.benchmarks.made_plant import Made, plant_of, series_of


def arrays_of(held: Any) -> Iterator[np.ndarray[Any, Any]]:
    """Every array in a record, at whatever depth."""
    if isinstance(held, np.ndarray):
        yield held
    elif isinstance(held, dict):
        for value in held.values():
            yield from arrays_of(value)
    elif is_dataclass(held):
        for one in fields(held):
            yield from arrays_of(getattr(held, one.name))


@pytest.fixture(scope="module")
def found() -> tuple[PointFindings, PointCounts]:
    made = Made(points=1, samples=3_000, every_s=60.0)
    point: Point = plant_of(made).points[0]
    return analyse_point(PointInput(point=point, plant=Plant(points=(point,)), series=series_of(made, 0)))


def longer(findings: PointFindings, times: int) -> PointFindings:
    traces = {
        name: replace(trace, time=np.tile(trace.time, times), value=np.tile(trace.value, times))
        for name, trace in findings.traces.items()
    }
    return replace(findings, traces=traces)


def test_shelved_series_are_the_same_numbers(found: tuple[PointFindings, PointCounts]) -> None:
    findings, counts = found
    long = longer(findings, 200)
    many = [(long, counts)] * 12
    assert sum(t.time.nbytes + t.value.nbytes for t in long.traces.values()) * 12 > 64 * 2**20
    for before, after in zip(many, list(map(Shelf(kept=2), many)), strict=True):
        assert after[1] == before[1]
        for name, trace in before[0].traces.items():
            np.testing.assert_array_equal(after[0].traces[name].time, trace.time)
            np.testing.assert_array_equal(after[0].traces[name].value, trace.value)


def test_of_a_remembered_point_no_array_stays_in_memory(found: tuple[PointFindings, PointCounts]) -> None:
    long = longer(found[0], 20)
    content = encode((long, found[1]))
    arrays = sum(array.nbytes for array in arrays_of(long))
    shelf = Shelf(kept=0)
    kept = [shelf(decode(content))]
    tracemalloc.start()
    kept += [shelf(decode(content)) for _ in range(8)]
    held = tracemalloc.get_traced_memory()[0] / 8
    tracemalloc.stop()
    assert held < arrays / 4  # events and words; arrays, or the bytes they came in, would be as much again
    for array, same in zip(arrays_of(long), arrays_of(kept[-1][0]), strict=True):
        np.testing.assert_array_equal(same, array)


def test_a_few_points_stay_as_they_are(found: tuple[PointFindings, PointCounts]) -> None:
    assert Shelf()(found) is found
