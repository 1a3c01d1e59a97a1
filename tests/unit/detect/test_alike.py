"""Which neighbours are second probes of the same medium."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.alike import related, shows_as_large
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
