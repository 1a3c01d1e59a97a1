"""Swings too fast for a probe, and what only looks like one."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.heat.thermal_shock import detect_thermal_shock
from tests.scenes import DAY_S, Scene, record_of, scene


def quenched(rate: float, every_s: float = 10.0, days: float = 4.0, seed: int = 0) -> Scene:
    """Heated slowly to 95 °C, then cooled to 30 °C at `rate` K/min."""
    made = scene(days, every_s=every_s, seed=seed)
    down = 33 + 65 / rate
    made.warm(2 * DAY_S, [(0, 37), (20, 95), (33, 95), (down, 30), (down + 30, 37)])
    return made


@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0])
@pytest.mark.parametrize("rate", [50.0, 65.0])
def test_a_quench_is_found_with_its_rate(rate: float, every_s: float) -> None:
    (event,) = detect_thermal_shock(record_of(quenched(rate, every_s)))
    assert event.kind == "thermal_shock"
    assert event.size == pytest.approx(rate, rel=0.08 if every_s < 60 else 0.25)
    assert event.size <= rate * 1.03  # samples can only average a rate away
    assert "cooled from 95" in event.evidence[0]


@pytest.mark.parametrize("rate", [5.0, 12.0, 25.0])
def test_ordinary_cooling_is_none(rate: float) -> None:
    assert detect_thermal_shock(record_of(quenched(rate))) == ()


def test_fast_for_this_line_is_enough_when_the_line_is_known() -> None:
    made = quenched(34.0, days=16)
    assert detect_thermal_shock(record_of(made)) == ()
    for day in range(3, 15, 2):
        made.steam((day + 0.5) * DAY_S)
    assert len(detect_thermal_shock(record_of(made))) == 1


def test_the_habit_of_a_line_is_no_shock() -> None:
    made = scene(12, every_s=10)
    for day in range(1, 11, 2):
        made.warm(day * DAY_S, [(0, 37), (20, 95), (33, 95), (34.2, 30), (60, 37)])
    assert detect_thermal_shock(record_of(made)) == ()


@pytest.mark.parametrize("until", [3001, 3002, 3600])
@pytest.mark.parametrize("degc", [150.0, -45.0])
def test_a_failing_element_is_no_shock(degc: float, until: int) -> None:
    made = scene(4)
    made.temperature[3000:until] = degc
    assert detect_thermal_shock(record_of(made)) == ()


def test_coarse_samples_say_nothing() -> None:
    assert detect_thermal_shock(record_of(quenched(60.0, every_s=600.0))) == ()


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_tiny_records(n: int) -> None:
    made = scene(1)
    cut = Scene(60.0, made.second[:n], made.value[:n], np.array([20.0, 90.0, 20.0])[:n], 0)
    assert detect_thermal_shock(record_of(cut)) == ()
