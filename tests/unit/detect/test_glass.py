"""Broken glass that reads near 7, and a process that rests there."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.glass import detect_glass
from tests.builders import T0, coloured, level, make_record

N = 30_000
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(4))


def process(seed: int, at: float = 5.2) -> np.ndarray:
    return coloured(N, at, 0.15, 200, seed) + level(N, 0.0, 0.01, seed + 9)


@SEEDS
def test_glass_that_still_follows_a_little_is_found(seed: int) -> None:
    value = process(seed)
    value[12_000:20_000] = 7.05 + 0.02 * (value[12_000:20_000] - 5.2)
    (event,) = detect_glass(make_record(value))
    assert (event.kind, event.origin) == ("stuck", "probe")
    assert event.size == pytest.approx(7.05, abs=0.02)
    assert abs((event.start - T0) / MINUTE - 12_000) <= 60
    assert abs((event.end - T0) / MINUTE - 20_000) <= 60


@SEEDS
def test_a_live_process_near_seven_is_none(seed: int) -> None:
    assert detect_glass(make_record(process(seed, 7.0))) == ()


@SEEDS
def test_calm_at_another_level_is_none(seed: int) -> None:
    value = process(seed)
    value[12_000:20_000] = 5.6 + 0.02 * (value[12_000:20_000] - 5.2)
    assert detect_glass(make_record(value)) == ()


@SEEDS
def test_a_process_that_often_rests_is_less_suspect(seed: int) -> None:
    value = process(seed)
    value[12_000:14_000] = 7.05 + 0.02 * (value[12_000:14_000] - 5.2)
    (bare,) = detect_glass(make_record(value))
    for begin in range(15_000, 27_000, 3_000):
        value[begin : begin + 2_000] = 5.0 + 0.02 * (value[begin : begin + 2_000] - 5.2)
    resting = detect_glass(make_record(value))
    assert max((event.confidence for event in resting), default=0.0) < bare.confidence


def test_other_measurands_have_no_glass() -> None:
    value = process(1)
    value[12_000:20_000] = 7.05
    assert detect_glass(make_record(value, measurand="redox")) == ()
