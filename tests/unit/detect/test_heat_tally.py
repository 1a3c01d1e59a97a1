"""What a point's temperature adds up to, also where it belongs to no reading."""

from __future__ import annotations

import numpy as np

from excursions.detect.heat.tally import heat_tally
from excursions.plant import Point
from tests.builders import level, make_record


def test_a_temperature_of_no_reading_is_added_up_like_a_probe_s() -> None:
    temp = level(4000, 40.0, 0.2, seed=3)
    temp[2000:2040] = 145.0
    loose = Point(name="T1", measurand="temperature", value="T1")
    alone = heat_tally(make_record(temp, None, measurand="temperature", point=loose))
    beside = heat_tally(make_record(level(4000, 7.0, 0.01), temp))
    assert np.nanmax(alone.peak_degc) == np.nanmax(beside.peak_degc)
    np.testing.assert_allclose(alone.hours, beside.hours)


def test_a_reading_without_a_temperature_has_no_heat() -> None:
    assert heat_tally(make_record(level(500, 7.0, 0.01), None)).hours.size == 0
