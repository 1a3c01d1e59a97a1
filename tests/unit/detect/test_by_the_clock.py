"""Moments that keep to a clock."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S
from excursions.detect.series.by_the_clock import clock_hours
from tests.builders import T0


@pytest.mark.parametrize("seed", range(5))
def test_some_of_the_washes_of_every_eight_hours_keep_to_a_clock(seed: int) -> None:
    rng = np.random.default_rng(seed)
    wash = rng.choice(540, size=30, replace=False) * 8 * NS_PER_HOUR + 18 * NS_PER_MINUTE
    assert clock_hours(T0 + np.sort(wash) + rng.integers(0, 90, 30) * NS_PER_S, 60.0) is not None
    with_strays = np.append(wash, rng.integers(0, 180 * 24 * NS_PER_HOUR, 5))
    assert clock_hours(T0 + np.sort(with_strays), 300.0) is not None


def test_a_clock_of_the_day_is_named() -> None:
    assert clock_hours(T0 + 24 * NS_PER_HOUR * np.arange(1, 20) + 7 * NS_PER_HOUR, 60.0) in (1, 24)


@pytest.mark.parametrize("every_s", [1.0, 60.0, 600.0])
def test_moments_at_random_keep_to_none(every_s: float) -> None:
    """Rounded to the samples, as all moments are; few false ones in many draws."""
    rng = np.random.default_rng(3)
    step = round(every_s * NS_PER_S)
    drawn = [
        np.sort(rng.integers(0, 90 * 86_400, size) * NS_PER_S) // step * step for size in [5, 9, 40] * 100
    ]
    assert sum(clock_hours(T0 + one, every_s) is not None for one in drawn) <= 1


def test_few_moments_show_nothing() -> None:
    assert clock_hours(T0 + 8 * NS_PER_HOUR * np.arange(4), 60.0) is None
