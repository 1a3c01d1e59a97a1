"""How sharply a reading turns round where a loop turns it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.noise.swing import detect_swing
from excursions.detect.noise.turning import lag_of, sharpness
from tests.builders import T0, level, make_record

DAY = 4_320  # samples at twenty seconds
SEEDS = pytest.mark.parametrize("seed", range(3))


def triangle(days: int, seed: int, period: float = 75.0) -> np.ndarray:
    """A loop between 6.7 and 7.3, its cycle about `period` samples, each as long as its load lets it be."""
    draw = np.random.default_rng(seed)
    load = np.repeat(np.exp(draw.normal(0, 0.1, days * DAY // 40 + 1)), 40)[: days * DAY]
    turn = np.cumsum(load / period) % 1
    return 6.7 + 0.6 * np.minimum(turn / 0.45, (1 - turn) / 0.55)


def behind_lag(value: np.ndarray, tau: np.ndarray) -> np.ndarray:
    """Behind a lag of tau samples, in pieces of a day."""
    out, state = [], value[:1]
    for piece, lag in zip(np.split(value, value.size // DAY), tau[::DAY], strict=True):
        keep = np.exp(-1 / max(float(lag), 1e-6))
        y, _ = lfilter([1 - keep], [1, -keep], piece, zi=keep * state)
        out.append(y)
        state = y[-1:]
    return np.concatenate(out)


@pytest.mark.parametrize("lag", [0.05, 0.3, 0.8, 1.3])
def test_the_formula_is_that_of_a_lag_that_is_driven_up_and_down(lag: float) -> None:
    """Against a lag integrated step by step: up for a long time, then down; h = 1."""
    step = 1e-3
    drive = np.concatenate([np.arange(0, 20, step), 20 - np.arange(0, 5, step)])
    keep = np.exp(-step / lag)
    reading = lfilter([1 - keep], [1, -keep], drive)
    top = int(np.argmax(reading))
    near, far = (
        reading[top] - (reading[top - k] + reading[top + k]) / 2 for k in (round(1 / step), round(2 / step))
    )
    assert near / far == pytest.approx(float(sharpness(np.array([lag]))[0]), abs=2e-3)
    assert lag_of(near, far) == pytest.approx(lag, rel=0.03, abs=0.01)


def test_a_reading_that_does_not_turn_has_no_lag() -> None:
    assert lag_of(0.0, 0.0) == 0.0
    assert lag_of(0.5, -1.0) == 0.0


@SEEDS
def test_a_probe_that_grows_slow_beside_the_loop_is_told(seed: int) -> None:
    days = 24
    tau = 0.5 + 9 * np.clip((np.arange(days * DAY) / DAY - 10) / 8, 0, 1)
    value = behind_lag(triangle(days, seed), tau) + level(days * DAY, 0.0, 0.005, seed)
    (event,) = detect_swing(make_record(value, every_s=20.0))
    assert (event.kind, event.open_end) == ("slow_response", True)
    assert event.origin in ("probe", "undecided")
    assert event.details["time_constant_s"] == pytest.approx(9.5 * 20, rel=0.35)
    assert (event.start - T0) / NS_PER_S / 86_400 == pytest.approx(10, abs=3)


@SEEDS
def test_closer_limits_are_another_setting_of_the_loop(seed: int) -> None:
    """Half the swing in half the time."""
    days = 24
    wide, close = triangle(days, seed), triangle(days, seed + 1, 37.5)
    close = 7.0 + (close - 7.0) / 2
    value = np.concatenate([wide[: 12 * DAY], close[12 * DAY :]]) + level(days * DAY, 0.0, 0.005, seed)
    assert detect_swing(make_record(value, every_s=20.0)) == ()


@SEEDS
def test_a_loop_that_goes_on_as_ever_is_quiet(seed: int) -> None:
    value = triangle(24, seed) + level(24 * DAY, 0.0, 0.005, seed)
    assert detect_swing(make_record(value, every_s=20.0)) == ()
