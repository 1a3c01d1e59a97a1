"""Departures of a temperature towards room: small ones count only where they are rare; levels are taken past heat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_MINUTE
from excursions.records import FloatArray
from excursions.states.settling import pace_of
from excursions.states.trace import Trace
from excursions.states.walk import departures, level_beside, walk_during

MINUTES = 10 * 24 * 60


def trace(value: FloatArray) -> Trace:
    return Trace(
        time=np.arange(value.size, dtype=np.int64) * NS_PER_MINUTE, value=value, interval_s=60.0, usual_s=60.0, gap_s=300.0,
        resolution=0.05, held=False, drawn=False,
    )  # fmt: skip


def days(*visits: tuple[float, float]) -> list[float]:
    """Days of the departures of a line at 37 °C that goes to (day, degC) for forty minutes each."""
    value = np.full(MINUTES, 37.0)
    for day, degc in visits:
        value[round(day * 1440) : round(day * 1440) + 40] = degc
    return [round(start / NS_PER_DAY, 1) for start, _ in departures(trace(value))]


def test_a_walk_of_a_few_kelvin_shows_where_nothing_like_it_happens() -> None:
    assert days((4.5, 33.5)) == [4.5]
    assert days((4.5, 34.5)) == []


def test_where_small_ones_are_the_process_s_own_only_a_large_one_counts() -> None:
    own = [(day + 0.2, 33.5) for day in range(1, 9)]
    assert days(*own) == []
    assert days(*own, (4.5, 25.0)) == [4.5]


def test_where_large_ones_are_the_process_s_own_none_counts() -> None:
    assert days(*((day + 0.2, 25.0) for day in range(1, 9))) == []


@pytest.mark.parametrize(
    ("heat", "level"), [([], 80.0), ([(100, 190)], 30.0), ([(100, 150), (150, 190)], 30.0)]
)
def test_the_level_before_is_taken_from_before_the_heat(heat: list[tuple[int, int]], level: float) -> None:
    """Hot from minute 100 to 190, work from minute 200 on."""
    value = np.full(600, 30.0)
    value[100:190] = 80.0
    hot = np.array(heat, dtype=np.int64).reshape(-1, 2) * NS_PER_MINUTE
    assert level_beside(trace(value), 200 * NS_PER_MINUTE, -1, hot) == level
    value = value[::-1].copy()
    mirrored = (600 * NS_PER_MINUTE - hot)[::-1, ::-1]
    assert level_beside(trace(value), 400 * NS_PER_MINUTE, +1, mirrored) == level


@pytest.mark.parametrize(("times", "walked"), [(1, True), (2, True), (6, False)])
def test_a_temperature_that_goes_to_and_fro_is_a_failing_element(times: int, walked: bool) -> None:
    """Thirty minutes at 20 °C in one piece, in two beakers, or in six pieces."""
    value = np.full(400, 37.0)
    for part in np.array_split(np.arange(180, 180 + 30 + 2 * (times - 1)), times):
        value[part[: 30 // times]] = 20.0
    calm = pace_of(trace(37.0 + 0.02 * np.sin(np.arange(400.0))), 0.5)
    assert calm is not None
    pace = replace(calm, trace=trace(value))
    walk = walk_during(pace, 180 * NS_PER_MINUTE, (180 + 30 + 2 * (times - 1)) * NS_PER_MINUTE)
    assert walk is not None
    assert (walk.kelvin > 10.0) is walked
