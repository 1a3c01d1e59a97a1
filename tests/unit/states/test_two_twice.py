"""Two levels of no process, each stood at twice: work in standards that nobody entered and that no window knows."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.records import CALIBRATING
from tests.scenes import DAY_S, record_of, scene, spans_of

WORN = (
    4.9,
    7.9,
)  # buffers 4 and 7 as a probe far off reads them; the process sits at 6.2, at room temperature


def calibrations(made: object, **point: object) -> list[tuple[float, float]]:
    return spans_of(record_of(made, **point).states, CALIBRATING)  # type: ignore[arg-type]


def test_two_standards_read_twice_are_seen_without_entry_window_or_walk() -> None:
    made = scene(12, at=6.2, warm=22.0)
    made.calibrate(6.4 * DAY_S, WORN)
    ((start, end),) = calibrations(made)
    assert start == pytest.approx(6.4 * DAY_S, abs=600)
    assert end - start == pytest.approx(35 * 60, abs=300)


def test_one_look_at_two_levels_is_none() -> None:
    made = scene(12, at=6.2, warm=22.0)
    for number, at in enumerate(WORN):
        made.read(6.4 * DAY_S + 540 * number, 8, at, 0.002)
    assert calibrations(made) == []


def test_a_reading_that_swings_is_none() -> None:
    made = scene(12, at=6.2, warm=22.0)
    for number in range(12):
        made.read(6.4 * DAY_S + 300 * number, 5, WORN[number % 2], 0.002)
    assert calibrations(made) == []


def test_a_process_as_lively_there_as_ever_is_none() -> None:
    made = scene(12, at=6.2, warm=22.0, noise=0.02)
    for number in range(4):
        made.read(6.4 * DAY_S + 540 * number, 8, WORN[number % 2], 0.02)
    assert calibrations(made) == []


def test_what_comes_every_day_is_the_process() -> None:
    made = scene(12, at=6.2, warm=22.0)
    for day in range(1, 11):
        made.calibrate((day + 0.4) * DAY_S, WORN)
    assert calibrations(made) == []


def test_a_wandering_upset_is_none() -> None:
    made = scene(12, at=6.2, warm=22.0)
    where = made.inside(6.4 * DAY_S, 150)
    steps = np.random.default_rng(5).normal(0.0, 0.05, int(where.sum()))
    made.value[where] -= 0.5 + np.abs(np.cumsum(steps)) % 0.4
    assert calibrations(made) == []


def test_the_temperature_at_which_the_probe_stood_is_kept() -> None:
    made = scene(12, at=6.2, warm=37.0)
    made.calibrate(6.4 * DAY_S, (7.0, 4.0), room=9.0)
    states = record_of(made).states
    (work,) = np.flatnonzero(states.code == CALIBRATING)
    assert states.stood_at(int(work)) == pytest.approx(9.0, abs=0.2)
    assert np.isnan(states.stood_at(int(work) - 1))
