"""Recorders against their slow twins and their promises."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator.compress import exception, swinging_door
from sample_data.simulator.grid import FloatArray


def twin(t: FloatArray, x: FloatArray, deadband: float, heartbeat: float) -> list[int]:
    """The rule as a plain loop."""
    kept = [0]
    for i in range(1, t.size):
        last = kept[-1]
        moved = abs(x[i] - x[last]) > deadband
        if moved or np.isnan(x[i]) != np.isnan(x[last]) or t[i] - t[last] >= heartbeat:
            kept.append(i)
    return kept


def made(seed: int, n: int) -> tuple[FloatArray, FloatArray]:
    """A wandering noisy signal with a flat stretch and a hole."""
    rng = np.random.default_rng(seed)
    x = np.cumsum(0.02 * rng.standard_normal(n)) + 0.05 * rng.standard_normal(n)
    x[n // 2 : n // 2 + n // 9] = x[n // 2]
    x[n // 4 : n // 4 + n // 20] = np.nan
    return np.arange(n) * 10.0, x


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("n", [1, 2, 3, 100, 5003])
@pytest.mark.parametrize(("deadband", "heartbeat"), [(0.1, 600.0), (0.5, 3600.0), (3.0, 700.0), (0.0, 1e9)])
def test_exception_recording_equals_the_plain_loop(
    seed: int, n: int, deadband: float, heartbeat: float
) -> None:
    t, x = made(seed, n)
    assert list(np.flatnonzero(exception(t, x, deadband, heartbeat))) == twin(t, x, deadband, heartbeat)


@pytest.mark.parametrize("seed", range(4))
def test_swinging_door_reconstructs_within_its_deviation(seed: int) -> None:
    """Straight lines between kept samples pass every sample within twice the deviation (the door's full width)."""
    t, x = made(seed, 4000)
    finite = np.isfinite(x)
    keep = swinging_door(t, x, 0.2, 1e9)
    line = np.interp(t, t[keep & finite], x[keep & finite])
    assert np.max(np.abs(line - x)[finite]) <= 2 * 0.2 + 1e-12
    assert np.count_nonzero(keep) < 0.5 * t.size


def test_swinging_door_keeps_a_straight_ramp_by_its_ends() -> None:
    t = np.arange(1000) * 1.0
    assert list(np.flatnonzero(swinging_door(t, 0.01 * t, 0.05, 1e9))) == [0, 999]


def test_swinging_door_never_stays_silent_longer_than_its_heartbeat() -> None:
    t = np.arange(5000) * 10.0
    kept = t[swinging_door(t, np.zeros(5000), 0.1, 600.0)]
    assert np.max(np.diff(kept)) <= 600.0
