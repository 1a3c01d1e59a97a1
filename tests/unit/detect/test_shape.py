"""The size of a jump, from the samples next to it."""

from __future__ import annotations

from typing import cast

import numpy as np
import pytest

from excursions.detect.live import Live
from excursions.detect.shape import _beside
from excursions.detect.survey import Survey
from excursions.once import Once
from excursions.records import FloatArray

N, AT = 2_048, 1_000


class _Surveyed:
    """As much of a survey as the levels beside a jump ask for."""

    def __init__(self, value: FloatArray) -> None:
        at = np.arange(value.size, dtype=np.int64)
        self.live = Live(time=at, value=value, index=at, fresh=np.zeros(value.size, dtype=np.bool_))
        self.once = Once()


@pytest.mark.parametrize(
    ("walk", "noise", "wave"), [(0.0, 0.01, 0.0), (0.01, 0.001, 0.0), (0.01, 0.01, 0.0), (0.0, 0.01, 0.1)]
)
def test_a_jump_amid_wandering_has_its_own_size(walk: float, noise: float, wave: float) -> None:
    """Never clearly worse than medians of the 16 samples on either side, and much better where the process walks."""
    rng = np.random.default_rng(1)
    own, plain, unsure = [], [], []
    for _ in range(300):
        value = np.cumsum(rng.normal(0, walk, N)) + rng.normal(0, noise, N)
        value += wave * np.sin(2 * np.pi * (np.arange(N) / 64 + rng.random())) + (np.arange(N) >= AT)
        before, after, error = _beside(cast(Survey, _Surveyed(value)), AT, AT, (0.0, 0.0))
        own.append(after - before - 1)
        plain.append(np.median(value[AT : AT + 16]) - np.median(value[AT - 16 : AT]) - 1)
        unsure.append(error)
    assert np.std(own) < (0.75 if walk or wave else 1.1) * np.std(plain)
    inside = np.mean(np.abs(own) <= 1.645 * np.array(unsure))
    assert 0.85 < inside < 0.95  # nine in ten, within three standard errors of 300 draws


def test_a_sample_that_holds_a_part_of_the_jump_is_left_out() -> None:
    """An average over the instant of the jump lies between the two levels."""
    rng = np.random.default_rng(2)
    walk = np.cumsum(rng.normal(0, 0.05, N))
    part = np.where(np.arange(N) >= AT, 1.0, 0.0)
    part[AT - 1] = 0.5
    whole, halved = (
        _beside(cast(Survey, _Surveyed(walk + jump)), AT, AT, (0.0, 0.0))
        for jump in ((part > 0.75).astype(float), part)
    )
    assert halved[:2] == whole[:2]
