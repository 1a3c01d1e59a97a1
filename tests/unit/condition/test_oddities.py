"""What is odd about the clock of a record."""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S
from excursions.condition import condition
from excursions.condition.oddities import oddities
from tests.builders import T0, grid, level, quantised, tag_series


def odd(written: np.ndarray, now: int | None = None) -> list[tuple[str, int]]:
    x = quantised(level(written.size, 7.0, 0.05, seed=3), 0.01)
    done = condition(tag_series(x, time=written), measurand="ph")
    return [(o.kind, o.count) for o in oddities(written, done.signal.time, done.signal.sampling, now)]


def test_an_even_record_has_none() -> None:
    assert odd(grid(2000)) == []
    assert odd(grid(2000)[::-1].copy()) == []  # newest first is an order, not a fault


def test_a_clock_put_back_steps_back_once() -> None:
    time = grid(2000)
    time[1000:] -= NS_PER_HOUR
    assert odd(time) == [("stepped back", 1)]


def test_a_grid_that_jumps_by_seconds_is_shifted() -> None:
    time = grid(2000)
    time[700:] += 17 * NS_PER_S
    assert odd(time) == [("shifted", 1)]


def test_a_trembling_grid_is_not_called_shifted() -> None:
    late = np.random.default_rng(5).integers(0, 20 * NS_PER_S, 2000)
    assert odd(grid(2000) + late) == []


def test_readings_far_from_all_others_are_told_on_either_side() -> None:
    time = grid(2000)
    time[-2:] += 4000 * NS_PER_DAY
    time[0] = T0 - 9000 * NS_PER_DAY
    assert odd(time) == [("far ahead", 2), ("far behind", 1)]


def test_a_shutdown_of_weeks_is_not_odd() -> None:
    time = grid(2000)
    time[1000:] += 60 * NS_PER_DAY
    assert odd(time) == []


def test_the_future_is_told_only_to_those_who_know_the_present() -> None:
    time = grid(2000)
    assert odd(time, now=int(time[-1])) == []
    assert odd(time, now=int(time[-100]) - NS_PER_DAY) == [("in the future", 99)]
