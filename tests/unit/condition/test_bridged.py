"""Drawn lines are found; measured ramps, quiet stretches and flat lines are not taken for them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.condition import condition
from tests.builders import (
    coloured,
    grid,
    level,
    quantised,
    swinging_door,
    tag_series,
    with_bridge,
    with_missing,
    with_stuck,
)

N = 12_000
SEEDS = range(4)


def bridged(x, **given) -> list[list[int]]:
    return condition(tag_series(x, **given), measurand="ph").signal.bridged.tolist()


def lively(seed: int, noise: float = 0.02) -> np.ndarray:
    return coloured(N, 7.0, 0.2, 300, seed) + level(N, 0.0, noise, seed + 50)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_line_across_an_outage_is_found_to_the_sample(seed: int) -> None:
    assert bridged(with_bridge(lively(seed), 5000, 5030)) == [[5001, 5030]]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_printed_line_is_found_too(seed: int) -> None:
    x = lively(seed)
    x[5500] = x[5000] + 0.3
    ((lo, hi),) = bridged(quantised(with_bridge(x, 5000, 5500), 0.01))
    assert abs(lo - 5001) <= 3
    assert abs(hi - 5500) <= 3


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("step", [0.0, 0.01, 0.05])
def test_a_live_record_has_none(seed: int, step: float) -> None:
    x = lively(seed)
    assert bridged(quantised(x, step) if step else x) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_lines_are_found_where_outages_take_much_of_the_record(seed: int) -> None:
    ends = [(1_000, 1_400), (4_000, 4_300), (7_000, 7_350)]
    x = lively(seed)
    for lo, hi in ends:
        x = with_bridge(x, lo, hi)
    assert bridged(quantised(x, 1e-4)) == [[lo + 1, hi] for lo, hi in ends]


def test_a_flat_line_is_not_bridged() -> None:
    assert bridged(with_stuck(lively(1), 5000, 7000)) == []
    assert bridged(level(N, 7.0)) == []


@pytest.mark.parametrize("step", [0.01, 0.1])
def test_slow_measured_ramps_of_a_quiet_record_are_not_bridged(step: float) -> None:
    t = np.arange(N)
    assert bridged(quantised(20 + 5 * np.sin(t / 800), step)) == []
    assert bridged(quantised(25 + 0.002 * t + level(N, 0.0, step / 5, seed=3), step)) == []


def test_ramps_of_a_controlled_cycle_are_not_bridged() -> None:
    corners = np.interp(np.arange(N) % 2000, [0, 900, 1000, 1200, 1300, 2000], [25, 25, 121, 121, 25, 25])
    assert bridged(quantised(corners + level(N, 0.0, 0.05, seed=1), 0.1)) == []


def test_a_smooth_record_without_noise_is_not_bridged() -> None:
    smooth = lfilter([0.01], [1, -0.99], coloured(N, 0.0, 2.0, 300, 2))
    assert bridged(smooth) == []
    assert bridged(with_bridge(smooth, 5000, 5100)) == [[5001, 5100]]


def test_a_record_that_is_all_lines_has_none_that_stands_out() -> None:
    time, kept = swinging_door(grid(N, 10.0), lively(2, 0.005), 0.03, 3600.0)
    assert bridged(np.interp(grid(N, 10.0), time, kept), every_s=10.0) == []


def test_missing_values_draw_no_line() -> None:
    assert bridged(with_missing(lively(1), 5000, 6000)) == []


def test_records_on_exception_are_not_searched() -> None:
    time = np.cumsum(np.random.default_rng(1).integers(1, 50, N)) * 10**9
    assert bridged(with_bridge(lively(1), 5000, 5030), time=time) == []


@pytest.mark.parametrize("n", range(12))
def test_short_records_are_safe(n: int) -> None:
    assert bridged(np.arange(float(n))) == []
