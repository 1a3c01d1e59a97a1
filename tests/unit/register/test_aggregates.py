"""Average, least and greatest of one signal are one signal: the greatest of a temperature, the average of all else."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.plant import Plant, Point
from excursions.records import TagSeries
from excursions.register import infer_plant


def series(*names: str) -> dict[str, TagSeries]:
    time = np.arange(200, dtype=np.int64) * 300_000_000_000
    base = np.sin(np.arange(200) / 9.0)
    return {
        name: TagSeries(
            tag=name, time=time, quality=np.zeros(200, np.uint8), value=(25.0 if "TEMP" in name else 7.0) + base * (1 + number / 10)
        )
        for number, name in enumerate(names)
    }  # fmt: skip


@pytest.mark.parametrize("form", ["AE9.{} {}", "AE9.{}_{}", "AE9.{}/{}"])
def test_six_columns_of_one_probe_are_one_point(form: str) -> None:
    names = [form.format(what, kind) for what in ("PH", "TEMP") for kind in ("avg", "min", "max")]
    plant, decisions = infer_plant(series(*names))
    (point,) = plant.points
    assert (point.value, point.temperature) == (form.format("PH", "avg"), form.format("TEMP", "max"))
    left = {d.subject for d in decisions if d.what == "left out" and "no probe of its own" in d.why}
    assert left == set(names) - {point.value, point.temperature}


def test_a_lone_max_beside_a_value_is_not_taken_for_its_figure() -> None:
    plant, _ = infer_plant(series("AE9.PH", "AE9.TEMP", "AE9.TEMP max"))
    assert [point.temperature for point in plant.points if point.value == "AE9.PH"] == ["AE9.TEMP"]


def test_what_the_register_names_stays() -> None:
    stated = Plant(points=(Point(name="AE9", value="AE9.PH max", measurand="ph"),))
    plant, _ = infer_plant(series("AE9.PH avg", "AE9.PH min", "AE9.PH max"), stated)
    assert [(point.name, point.value) for point in plant.points] == [("AE9", "AE9.PH max")]
