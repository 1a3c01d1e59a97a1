"""Slower response where changes of level are the habit of the process."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.response import detect_slow_response
from excursions.records import FloatArray
from tests.builders import T0, level, make_record

N, EVERY_S = 40_000, 10.0
SEEDS = pytest.mark.parametrize("seed", [1, 2])


def batches(tau_s: FloatArray, seed: int) -> FloatArray:
    """pH 4, 9, 7 over and over for 30 to 60 min each, followed with a time constant (n,) that may change."""
    rng = np.random.default_rng(seed)
    length = rng.integers(180, 360, N // 180)
    held = np.repeat(np.resize([4.0, 9.0, 7.0], length.size) + rng.normal(0, 0.05, length.size), length)[:N]
    value = np.empty(N)
    now = float(held[0])
    for i, (target, share) in enumerate(zip(held, -np.expm1(-EVERY_S / tau_s), strict=True)):
        now += share * (target - now)
        value[i] = now
    return np.round(value + level(N, 0.0, 0.006, seed), 2)


@SEEDS
def test_batches_followed_more_slowly_are_found(seed: int) -> None:
    tau = np.interp(np.arange(N), [0, 22_000, 28_000, N], [15.0, 15.0, 120.0, 120.0])
    (event,) = detect_slow_response(make_record(batches(tau, seed), every_s=EVERY_S))
    assert event.size == pytest.approx(8, rel=0.6)
    assert 21_000 < (event.start - T0) / (EVERY_S * 1e9) < 28_000
    assert event.open_end
    assert event.severity == "check"
    assert "upward and downward alike" in event.evidence


@SEEDS
def test_batches_followed_as_ever_are_none(seed: int) -> None:
    """About as fast as the samples come: one or two of them on the way, by chance."""
    assert detect_slow_response(make_record(batches(np.full(N, 9.0), seed), every_s=EVERY_S)) == ()
