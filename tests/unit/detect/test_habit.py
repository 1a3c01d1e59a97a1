"""What happens now and then and becomes a habit: bursts of noise, an offset that is switched."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.limits import detection_limits
from excursions.detect.noise.flurry import detect_flurry
from excursions.detect.noise.switching import detect_switching
from excursions.detect.series.habit import habit_of
from tests.builders import T0, coloured, grid, level, make_record, make_signal, on_exception

N = 60_000  # six weeks at a minute
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(3))


def process(seed: int) -> np.ndarray:
    return coloured(N, 7.0, 0.05, 120, seed) + level(N, 0.0, 0.01, seed + 60)


def spells(seed: int, begin: int, apart: float, length: float) -> list[tuple[int, int]]:
    """Spells of very uneven length and distance from sample `begin` on."""
    draw, at, found = np.random.default_rng(seed), float(begin), []
    while True:
        until = at + length * np.exp(draw.normal(0, 0.6))
        if until >= N:
            return found
        found.append((int(at), int(until)))
        at = until + apart * draw.exponential()


def switched(seed: int, begin: int, size: float = 0.25) -> np.ndarray:
    value = process(seed)
    for a, b in spells(seed + 5, begin, 240.0, 90.0):
        value[a:b] += size
    return value


def bursting(seed: int, begin: int) -> np.ndarray:
    value = process(seed)
    for a, b in spells(seed + 9, begin, 500.0, 40.0):
        value[a:b] += level(b - a, 0.0, 0.15, seed + a)
    return value


@SEEDS
def test_an_offset_that_is_switched_from_one_day_on(seed: int) -> None:
    (event,) = detect_switching(make_record(switched(seed, 25_000)))
    assert event.size == pytest.approx(0.25, rel=0.15)
    assert (event.origin, event.open_end) == ("undecided", True)
    assert (event.start - T0) / MINUTE == pytest.approx(25_000, abs=2_000)


@SEEDS
def test_its_jumps_are_no_steps_and_no_drifts(seed: int) -> None:
    told = [e for e in detect(make_record(switched(seed, 25_000))) if e.origin != "process"]
    assert [event.kind for event in told] == ["switching"]


@SEEDS
def test_a_temperature_that_jumps_along_is_the_process(seed: int) -> None:
    value = switched(seed, 25_000)
    temperature = 40.0 + level(N, 0.0, 0.05, seed + 1)
    for a, b in spells(seed + 5, 25_000, 240.0, 90.0):
        temperature[a:b] += 3.0
    (event,) = detect_switching(make_record(value, temperature))
    assert event.origin == "process"


@SEEDS
def test_a_process_that_is_switched_all_the_time_has_no_onset(seed: int) -> None:
    assert detect_switching(make_record(switched(seed, 100))) == ()


@SEEDS
def test_jumps_of_all_sizes_are_not_one_offset(seed: int) -> None:
    value, draw = process(seed), np.random.default_rng(seed)
    for a, b in spells(seed + 5, 25_000, 240.0, 90.0):
        value[a:b] += draw.exponential(0.3) * draw.choice([-1, 1])
    assert detect_switching(make_record(value)) == ()


@SEEDS
def test_bursts_of_noise_from_one_day_on(seed: int) -> None:
    (event,) = detect_flurry(make_record(bursting(seed, 30_000)))
    assert (event.kind, event.origin, event.open_end) == ("noise_growth", "undecided", True)
    assert event.details["noise"] == pytest.approx(0.15, rel=0.5)
    assert (event.start - T0) / MINUTE == pytest.approx(30_000, abs=3_000)


@SEEDS
def test_bursts_are_seen_where_samples_are_kept_on_exception(seed: int) -> None:
    time, value = on_exception(grid(N), bursting(seed, 30_000), 0.03, 3_600.0)
    (event,) = detect_flurry(make_record(value, time=time))
    assert (event.start - T0) / MINUTE == pytest.approx(30_000, abs=6_000)


@SEEDS
def test_a_process_that_bursts_all_the_time_has_no_onset(seed: int) -> None:
    assert detect_flurry(make_record(bursting(seed, 100))) == ()
    assert detect_flurry(make_record(process(seed))) == ()


@SEEDS
def test_noise_that_is_grown_all_the_time_is_no_flurry(seed: int) -> None:
    value = process(seed)
    value[30_000:] += level(N - 30_000, 0.0, 0.15, seed)
    assert detect_flurry(make_record(value)) == ()


def test_moments_at_one_rate_become_no_habit() -> None:
    for seed in range(200):
        draw = np.random.default_rng(seed)
        assert habit_of(np.sort(draw.integers(0, 10_000, draw.integers(6, 80))), 10_000) is None


def test_moments_in_clusters_become_no_habit() -> None:
    """Campaigns of some days, a few of them in the record, set their own bar."""
    found = 0
    for seed in range(100):
        draw = np.random.default_rng(seed)
        busy = coloured(10_000, 0.0, 1.0, 400.0, seed) > 0.8
        at = np.flatnonzero(busy & (draw.random(10_000) < 0.05))
        found += habit_of(at, 10_000) is not None
    assert found <= 5


def test_the_first_of_a_habit_is_where_its_rate_begins() -> None:
    draw = np.random.default_rng(3)
    at = np.sort(np.append([1_500, 4_000], draw.integers(6_000, 10_000, 60)))
    habit = habit_of(at, 10_000)
    assert habit is not None
    assert (habit.first, habit.last, habit.goes_on) == (2, 62, True)


def test_nothing_at_all() -> None:
    for detector in (detect_flurry, detect_switching):
        assert detector(make_record(np.full(500, np.nan))) == ()
        assert detector(make_record(np.array([7.0]))) == ()
    assert habit_of(np.empty(0, dtype=np.int64), 1_000) is None


def test_a_neighbour_that_keeps_still_speaks_for_the_probe() -> None:
    truth = process(4)
    value = truth.copy()
    for a, b in spells(9, 25_000, 240.0, 90.0):
        value[a:b] += 0.25
    beside = make_signal(truth + level(N, 0.0, 0.01, 8), measurand="ph")
    (event,) = detect_switching(make_record(value, neighbours={"A2": beside}))
    assert event.origin == "probe"


@SEEDS
def test_the_stated_limit_of_a_switched_offset_is_found(seed: int) -> None:
    size = detection_limits(make_record(process(seed)))["switching"].size
    assert 0.05 < size < 0.3
    (event,) = detect_switching(make_record(switched(seed, 25_000, 1.1 * size)))
    assert event.size == pytest.approx(1.1 * size, rel=0.2)
