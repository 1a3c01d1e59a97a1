"""Loops that swing between two limits."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.noise.swing import detect_swing, limit_cycle
from excursions.detect.series.survey import survey_of
from tests.builders import T0, coloured, level, make_record

DAY = 2_880  # samples at thirty seconds
SEEDS = pytest.mark.parametrize("seed", range(3))


def loop(period: np.ndarray, overshoot: np.ndarray, seed: int) -> np.ndarray:
    """A saw between 6.8 and 7.8 that overshoots both, its cycle `period` samples long, each a little different."""
    draw = np.random.default_rng(seed)
    phase = np.cumsum(
        1 / (period * np.repeat(draw.normal(1, 0.08, period.size // 40 + 1), 40)[: period.size])
    )
    turn = phase % 1
    rise = np.where(turn < 0.7, turn / 0.7, (1 - turn) / 0.3)
    return 6.8 - overshoot + (1.0 + 2 * overshoot) * rise + level(period.size, 0.0, 0.01, seed)


def record(days: int, slower_from: int | None, seed: int, *, wider: bool = True):
    at = np.arange(days * DAY) / DAY
    slow = np.clip((at - slower_from) / 6, 0, 1) if slower_from is not None else np.zeros(at.size)
    return make_record(loop(32 * (1 + 0.7 * slow), 0.15 + 0.08 * slow * wider, seed), every_s=30.0)


@SEEDS
def test_a_loop_that_slows_is_told_with_its_cycle_and_nothing_beside(seed: int) -> None:
    told = [event for event in detect(record(24, 10, seed)) if event.origin != "process"]
    (event,) = told
    assert (event.kind, event.origin, event.open_end) == ("slow_response", "undecided", True)
    assert event.size == pytest.approx(1.7, rel=0.1)
    assert event.details["period_before_s"] == pytest.approx(960, rel=0.1)
    assert (event.start - T0) / NS_PER_S / 86_400 == pytest.approx(10, abs=2.5)


@SEEDS
def test_a_loop_that_goes_on_as_ever_is_quiet(seed: int) -> None:
    assert limit_cycle(survey_of(record(20, None, seed))) is not None
    assert detect_swing(record(20, None, seed)) == ()


def test_a_longer_cycle_of_the_same_swing_is_another_load() -> None:
    assert detect_swing(record(24, 10, 1, wider=False)) == ()


@SEEDS
def test_what_only_wanders_has_no_cycle(seed: int) -> None:
    value = coloured(20 * DAY, 7.0, 0.3, 40, seed) + level(20 * DAY, 0, 0.002, seed)
    assert limit_cycle(survey_of(make_record(value, every_s=30.0))) is None
