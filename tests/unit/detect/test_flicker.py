"""A temperature element with a loose wire, and blocks of values that an archive plays back over and over."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.detect.element.temperature_fault import detect_temperature_fault
from excursions.detect.still.repeated import detect_repeated
from tests.builders import T0, coloured, level, make_record, quantised

MINUTE = 60_000_000_000
N = 20_000


def temperature(seed: int) -> np.ndarray:
    return quantised(coloured(N, 35.0, 0.3, 200, seed) + level(N, 0.0, 0.03, seed + 9), 0.01)


@pytest.mark.parametrize("seed", range(3))
def test_a_loose_wire_is_one_event_and_hides_no_other_jump(seed: int) -> None:
    x = temperature(seed)
    rng = np.random.default_rng(seed)
    x[4_000:4_600] += 9.0 * np.repeat(rng.random(200) < 0.3, 3)
    x[12_000:12_800] -= 11.0
    events = detect_temperature_fault(make_record(None, x))
    assert [
        abs(event.start - (T0 + at * MINUTE)) <= 30 * MINUTE
        for event, at in zip(events, (4_000, 12_000), strict=True)
    ] == [True, True]
    assert events[0].size == pytest.approx(9.0, abs=0.5)
    assert events[1].size == pytest.approx(-11.0, abs=0.5)


def test_a_heater_that_ramps_up_and_down_is_no_loose_wire() -> None:
    x = temperature(1) + 8.0 * np.clip(np.abs((np.arange(N) % 400) - 200) / 40.0 - 2, 0, 1)
    assert detect_temperature_fault(make_record(None, x)) == ()


def test_media_that_come_in_turn_through_a_slow_element_are_no_loose_wire() -> None:
    turn = np.where((np.arange(N) // 40) % 2 == 0, 6.0, 26.0)
    seen = lfilter([1 - np.exp(-60 / 150)], [1, -np.exp(-60 / 150)], turn, zi=[6.0 * np.exp(-60 / 150)])[0]
    x = np.where((np.arange(N) > 8_000) & (np.arange(N) < 8_600), seen, 6.0) + level(N, 0.0, 0.03, 1)
    assert detect_temperature_fault(make_record(None, quantised(x, 0.1))) == ()


@pytest.mark.parametrize("times", [1, 6, 120])
def test_a_block_played_over_and_over_is_one_event(times: int) -> None:
    value = quantised(coloured(N, 7.0, 0.1, 60, 3) + level(N, 0.0, 0.02, 4), 0.001)
    value[9_000 : 9_000 + 60 * times] = np.tile(value[8_940:9_000], times)
    (event,) = detect_repeated(make_record(value))
    assert event.start == T0 + 9_000 * MINUTE
    assert event.end == T0 + (9_000 + 60 * times) * MINUTE
