"""Which neighbours are second probes of the same medium."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.alike import gain, related, shows_as_large
from excursions.detect.slow.drift import detect_drift
from tests.builders import coloured, level, make_record, make_signal, with_stuck

N = 12_000
SEEDS = pytest.mark.parametrize("seed", range(3))


def water(seed: int) -> np.ndarray:
    return coloured(N, 640.0, 20.0, 700, seed)


@SEEDS
def test_noise_at_both_does_not_make_two_probes_of_one_medium_strangers(seed: int) -> None:
    a, b = (water(seed) + level(N, 0.0, 15.0, seed + k) for k in (10, 20))
    assert shows_as_large(a, b)


@SEEDS
def test_a_probe_that_failed_half_way_through_was_one_of_the_same_medium(seed: int) -> None:
    assert shows_as_large(with_stuck(water(seed), N // 3, N), water(seed) + level(N, 0.0, 2.0, seed))


@SEEDS
def test_before_and_behind_a_membrane_are_two_media(seed: int) -> None:
    assert related(0.016 * water(seed), water(seed))
    assert not shows_as_large(0.016 * water(seed), water(seed))
    assert not shows_as_large(water(seed), 0.016 * water(seed))


@SEEDS
def test_a_membrane_that_ages_is_no_drift_of_the_probe_behind_it(seed: int) -> None:
    passage = 0.016 * (1.0 + 0.5 * np.arange(N) / N)
    behind = make_record(
        water(seed) * passage,
        every_s=900.0,
        measurand="conductivity",
        neighbours={"FEED": make_signal(water(seed), every_s=900.0, measurand="conductivity")},
    )
    assert [event for event in detect_drift(behind) if event.origin == "probe"] == []


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("times", [1.0, 0.5, -2.0])
def test_noise_of_both_makes_a_gain_no_smaller(times: float, seed: int) -> None:
    """Two probes in one medium that moves, from block to block, no farther than each of them is noisy by."""
    medium = np.cumsum(level(4_000, 0.0, 1.0, seed))
    one = medium + level(4_000, 0.0, 1.0, seed + 10)
    other = times * (medium + level(4_000, 0.0, 1.0, seed + 20))
    assert gain(other, one) == pytest.approx(times, rel=0.06)
    assert gain(one, other) == pytest.approx(1 / times, rel=0.06)


def test_a_signal_that_stands_still_has_a_gain_of_nothing_and_none_is_divided_by_it() -> None:
    moving = level(1_000, 0.0, 1.0, 1)
    assert gain(np.full(1_000, 3.0), moving) == 0.0
    assert gain(moving, np.full(1_000, 3.0)) == 1.0
