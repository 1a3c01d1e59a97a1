"""The size of a jump, from the samples next to it."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.shape import _beside

N, AT = 64, 32


@pytest.mark.parametrize(
    ("walk", "noise", "wave"), [(0.0, 0.01, 0.0), (0.01, 0.001, 0.0), (0.01, 0.01, 0.0), (0.0, 0.01, 0.1)]
)
def test_a_jump_amid_wandering_has_its_own_size(walk: float, noise: float, wave: float) -> None:
    """Never clearly worse than medians of the 16 samples on either side, and much better where the process walks."""
    rng = np.random.default_rng(1)
    own, plain, unsure = [], [], []
    for _ in range(300):
        value = np.cumsum(rng.normal(0, walk, N)) + rng.normal(0, noise, N)
        value += wave * np.sin(2 * np.pi * (np.arange(N) / N + rng.random())) + (np.arange(N) >= AT)
        before, after, error = _beside(value, AT, AT, (0.0, 0.0))
        own.append(after - before - 1)
        plain.append(np.median(value[AT : AT + 16]) - np.median(value[AT - 16 : AT]) - 1)
        unsure.append(np.hypot(error, noise))
    assert np.std(own) < (0.75 if walk or wave else 1.1) * np.std(plain)
    assert np.std(own) < 2 * np.mean(unsure)
