"""The recording rule as the record itself shows it."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.condition import condition
from excursions.condition.lattice import resolution
from excursions.records import Sampling
from tests.builders import coloured, grid, level, on_exception, quantised, swinging_door, tag_series

SEEDS = range(4)


def sampling(x, time=None, **given) -> Sampling:
    return condition(tag_series(x, time=time, **given), measurand="ph").signal.sampling


@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0, 600.0, 3600.0])
def test_even_samples_are_a_grid_with_their_interval(every_s: float) -> None:
    got = sampling(level(2000, 7.0, 0.02, seed=1), every_s=every_s)
    assert (got.kind, got.interval_s) == ("grid", every_s)
    assert got.gap_s == pytest.approx(3.5 * every_s)
    assert got.deadband == 0.0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_grid_with_chronic_holes_is_still_a_grid(seed: int) -> None:
    rng = np.random.default_rng(seed)
    keep = rng.random(5000) > 0.1
    x = quantised(coloured(5000, 7.0, 0.1, 60, seed), 0.01)
    assert sampling(x[keep], grid(5000)[keep]).kind == "grid"


@pytest.mark.parametrize("seed", SEEDS)
def test_exception_reporting_shows_its_deadband_and_heartbeat(seed: int) -> None:
    x = coloured(40_000, 7.0, 0.05, 3000, seed)
    time, kept = on_exception(grid(40_000, 10.0), x, 0.02, 600.0)
    got = sampling(kept, time)
    assert got.kind == "exception"
    assert got.heartbeat_s == pytest.approx(600.0, rel=0.05)
    assert got.deadband == pytest.approx(0.02, rel=0.1)
    assert 600 < got.gap_s < 1300
    assert got.longest_silence_s == pytest.approx(600.0)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_busy_signal_on_exception_is_not_taken_for_a_grid(seed: int) -> None:
    """Nine of ten changes exceed the dead band, so nearly all intervals are equal; the quiet rest is no gap."""
    x = level(20_000, 7.0, 0.1, seed)
    x[5000:6000] = 7.0 + 0.001 * x[5000:6000]
    time, kept = on_exception(grid(20_000, 10.0), x, 0.02, 1e9)
    got = sampling(kept, time)
    assert got.kind == "exception"
    assert got.gap_s > 35.0


def with_the_looks_before(time, x, deadband: float):
    """On exception, and with each change (not with a heartbeat) the last look before it."""
    kept, written = on_exception(time, x, deadband, 1800.0)
    at = np.searchsorted(time, kept)
    changed = at[1:][np.abs(np.diff(written)) > deadband * (1 - 1e-6)]
    both = np.union1d(at, changed - 1)
    return time[both], x[both]


@pytest.mark.parametrize("wander", [0.02, 0.3])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_recorder_that_writes_the_look_before_a_change_too_shows_its_deadband(
    seed: int, wander: float
) -> None:
    """Whether the signal moves all the time, so that most intervals are equal, or rarely."""
    charges = np.interp(np.arange(40_000) % 400, [0, 250, 330, 400], [0, 1, 1, 0])
    x = quantised(7.0 + wander * 10 * charges + level(40_000, 0.0, 0.004, seed), 0.001)
    got = sampling(*with_the_looks_before(grid(40_000, 30.0), x, 0.02)[::-1])
    assert got.kind == "exception"
    assert got.deadband == pytest.approx(0.02, rel=0.2)  # four of a hundred may lie below where they begin
    assert got.gap_s > 330.0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_swinging_door_record_keeps_small_changes_too(seed: int) -> None:
    x = coloured(20_000, 7.0, 0.2, 300, seed) + level(20_000, 0.0, 0.005, seed + 9)
    time, kept = swinging_door(grid(20_000, 10.0), x, 0.03, 3600.0)
    assert sampling(kept, time).kind == "swinging"


def test_a_swinging_door_record_put_on_a_grid_is_interpolated() -> None:
    x = coloured(20_000, 7.0, 0.2, 300, 2) + level(20_000, 0.0, 0.005, 3)
    time, kept = swinging_door(grid(20_000, 10.0), x, 0.03, 3600.0)
    assert sampling(np.interp(grid(20_000, 10.0), time, kept), grid(20_000, 10.0)).kind == "interpolated"


def test_averages_are_called_so_only_when_the_name_says_it() -> None:
    x = level(500, 7.0, 0.02, seed=1)
    assert sampling(x, tag="AT101_AVG").kind == "averages"
    assert sampling(x, description="10 min mean").kind == "averages"
    assert sampling(x, tag="MEANDER").kind == "grid"


def test_a_handful_of_samples_shows_no_rule() -> None:
    assert sampling([7.0, 7.1, 7.0]).kind == "sparse"


@pytest.mark.parametrize("step", [0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 10.0])
def test_decimal_steps_are_found_exactly(step: float) -> None:
    x = quantised(level(3000, 400.0, 12 * step, seed=2), step)
    assert resolution(x) == pytest.approx(step, rel=1e-9)


def test_single_precision_does_not_hide_the_step() -> None:
    x = quantised(level(3000, 7.0, 0.1, seed=2), 0.01).astype(np.float32).astype(np.float64)
    assert resolution(x) == pytest.approx(0.01)


def test_the_count_of_a_converter_is_found_from_the_spacing() -> None:
    count = 14.0 / 4095  # a 12 bit count of a 0 to 14 range
    x = np.round(level(3000, 7.0, 0.05, seed=2) / count) * count
    assert resolution(x) == pytest.approx(count, rel=1e-3)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_continuous_record_has_no_step(seed: int) -> None:
    assert resolution(level(3000, 7.0, 0.1, seed)) == 0.0


def test_a_few_interpolated_values_do_not_hide_the_step() -> None:
    x = quantised(level(3000, 7.0, 0.1, seed=2), 0.01)
    x[100:120] = np.linspace(7.0, 7.1234567, 20)
    assert resolution(x) == pytest.approx(0.01)


def test_all_missing_has_no_step_and_no_kind_of_its_own() -> None:
    got = sampling(level(100, np.nan))
    assert (got.kind, got.resolution) == ("grid", 0.0)


@pytest.mark.parametrize("seed", range(2))
def test_a_signal_that_is_noisy_while_high_and_rests_while_low_is_compressed(seed: int) -> None:
    n = 40_000
    high = (np.arange(n) % 4_000) > 3_000
    value = np.where(high, 6_000.0, 30.0) + level(n, 0.0, 1.0, seed) * np.where(high, 180.0, 0.3)
    time, kept = swinging_door(grid(n, 15.0), value, 3.0, 1_800.0)
    found = sampling(kept, time)
    assert found.kind in ("swinging", "exception")
    assert found.gap_s > 1_800.0


@pytest.mark.parametrize("seed", range(3))
def test_a_lively_signal_that_falls_silent_but_for_its_heartbeats_has_no_data_missing(seed: int) -> None:
    """Recorded on change, with the value before each change: at nearly every scan until the glass breaks, then seldom."""
    n, broke = 60_000, 40_000
    x, every = coloured(n, 8.6, 0.5, 20, seed), grid(n, 30.0)
    x[broke:] = 7.05 + 0.04 * (x[broke:] - 8.6)
    time, _ = on_exception(every, np.round(x, 2), 0.03, 1_800.0)
    at = np.searchsorted(every, time)
    at = np.unique(np.append(at, np.maximum(at - 1, 0)))
    found = sampling(np.round(x, 2)[at], every[at])
    assert (found.kind, found.sure) == ("exception", False)
    assert found.gap_s > 1_800.0
