"""Stuck and pinned readings, played-back blocks, and the stillness that is neither."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.detect.still.repeated import detect_repeated
from excursions.detect.still.stuck import StuckSettings, detect_stuck, shortest_stuck
from excursions.plant import Point
from excursions.records import HOLD, MEASURING
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    on_exception,
    quantised,
    state_line,
    swinging_door,
    with_stuck,
)

N = 40_000
MINUTE = 60_000_000_000
SEEDS = pytest.mark.parametrize("seed", range(4))


def live(seed: int, n: int = N) -> np.ndarray:
    return quantised(coloured(n, 7.0, 0.08, 120, seed) + level(n, 0.0, 0.01, seed + 30), 0.01)


@SEEDS
def test_a_live_signal_is_not_stuck(seed: int) -> None:
    assert detect_stuck(make_record(live(seed))) == ()


@SEEDS
@pytest.mark.parametrize(("length", "origin"), [(120, "undecided"), (300, "probe"), (3_000, "probe")])
def test_a_frozen_reading_is_found_to_the_sample(length: int, origin: str, seed: int) -> None:
    """Within the hours of a hold that nobody exports, it may be one."""
    at = 20_000 + int(np.argmin(np.abs(live(seed)[20_000:21_000] - 7.0)))  # not where a process would rest
    value = with_stuck(live(seed), at, at + length)
    (event,) = detect_stuck(make_record(value))
    assert (event.kind, event.origin, event.size) == ("stuck", origin, value[at])
    assert abs(event.start - (T0 + at * MINUTE)) <= 2 * MINUTE
    assert abs(event.end - (T0 + (at + length) * MINUTE)) <= 2 * MINUTE


@SEEDS
def test_a_last_digit_that_flickers_is_stuck_too(seed: int) -> None:
    value = with_stuck(live(seed), 20_000, 21_500)
    value[20_000:21_500] += 0.01 * (np.random.default_rng(seed).random(1_500) < 0.3)
    (event,) = detect_stuck(make_record(np.round(value, 2)))
    assert abs(event.start - (T0 + 20_000 * MINUTE)) <= 10 * MINUTE


@SEEDS
def test_a_reading_at_the_end_of_its_range_is_pinned(seed: int) -> None:
    value = live(seed)
    value[20_000:20_500] = 14.0
    point = Point(name="A1", measurand="ph", value="A1", range=(0.0, 14.0))
    (event,) = detect_stuck(make_record(value, point=point))
    assert (event.kind, event.size) == ("pinned", 14.0)


def test_without_a_register_a_level_beyond_all_others_is_pinned() -> None:
    value = live(1)
    value[20_000:20_500] = 14.0
    (event,) = detect_stuck(make_record(value))
    assert event.kind == "pinned"


def test_conductivity_at_zero_may_be_an_empty_pipe() -> None:
    value = np.round(coloured(N, 35.0, 1.0, 600, 1) + level(N, 0.0, 0.2, 2), 1)
    value[9_000:12_000] = 0.0
    (event,) = detect_stuck(make_record(value, measurand="conductivity"))
    assert (event.kind, event.origin, event.severity) == ("pinned", "undecided", "check")
    assert any("empty pipe" in fact for fact in event.evidence)


@pytest.mark.parametrize(("current", "kind"), [(21.6, "pinned"), (12.0, "stuck"), (3.7, "pinned")])
def test_a_current_loop_is_pinned_outside_its_measuring_range(current: float, kind: str) -> None:
    """NAMUR NE 43: 3.8 to 20.5 mA is measured."""
    value = np.round(12.0 + 10 * (live(2) - 7.0), 2)
    value[20_000:20_500] = current
    record = make_record(value, measurand="other")
    signal = dataclasses.replace(record.value, unit="mA")
    (event,) = detect_stuck(dataclasses.replace(record, value=signal))
    assert event.kind == kind


def test_hold_is_not_stuck() -> None:
    value = with_stuck(live(3), 20_000, 20_300)
    hold = (T0 + 19_999 * MINUTE, T0 + 20_301 * MINUTE)
    states = state_line([(T0, hold[0], MEASURING), (*hold, HOLD), (hold[1], T0 + N * MINUTE, MEASURING)])
    assert detect_stuck(make_record(value, states=states)) == ()


@SEEDS
def test_the_silence_of_a_recorder_on_exception_is_not_stuck(seed: int) -> None:
    time, value = on_exception(grid(N), live(seed), 0.05, 3_600.0)
    assert detect_stuck(make_record(value, time=time)) == ()


@SEEDS
def test_the_silence_of_a_swinging_door_is_not_stuck(seed: int) -> None:
    time, value = swinging_door(grid(N), live(seed), 0.03, 4 * 3_600.0)
    assert detect_stuck(make_record(value, time=time)) == ()


@SEEDS
def test_a_frozen_reading_shows_through_a_recorder_on_exception(seed: int) -> None:
    frozen = with_stuck(live(seed), 20_000, 22_000)
    time, value = on_exception(grid(N), frozen, 0.05, 3_600.0)
    (event,) = detect_stuck(make_record(value, time=time))
    assert abs(event.start - (T0 + 20_000 * MINUTE)) <= 61 * MINUTE


@SEEDS
def test_quiet_weekends_are_the_process(seed: int) -> None:
    """Six weeks; the reading rests within a count from Friday evening to Monday morning."""
    n = 6 * 7 * 24 * 12
    hours = np.arange(n) / 12.0
    at_work = (hours % 168 > 6) & (hours % 168 < 114)
    busy = quantised(coloured(n, 7.4, 0.1, 20, seed) + level(n, 0.0, 0.02, seed + 9), 0.01)
    rest = quantised(7.05 + level(n, 0.0, 0.001, seed), 0.01)
    assert detect_stuck(make_record(np.where(at_work, busy, rest), every_s=300.0)) == ()


@SEEDS
def test_a_process_that_often_rests_at_zero_is_not_stuck(seed: int) -> None:
    rng = np.random.default_rng(seed)
    on = np.repeat(rng.random(200) < 0.5, rng.integers(20, 400, 200))
    flow = np.where(on, 30 + level(on.size, 0.0, 0.5, seed), 0.0)
    assert [e for e in detect_stuck(make_record(flow, measurand="other")) if e.origin == "probe"] == []


def test_a_reading_frozen_together_with_its_temperature_is_left_open() -> None:
    value, warm = with_stuck(live(1), 20_000, 21_000), coloured(N, 35.0, 0.5, 300, 8)
    warm = with_stuck(warm, 20_000, 21_000)
    (event,) = detect_stuck(make_record(value, warm))
    assert event.origin == "undecided"
    assert any("frozen too" in fact for fact in event.evidence)


def test_a_temperature_that_moves_on_speaks_for_the_probe() -> None:
    value, warm = with_stuck(live(1), 20_000, 21_000), coloured(N, 35.0, 0.5, 300, 8)
    (event,) = detect_stuck(make_record(value, warm))
    assert any("moving" in fact for fact in event.evidence)


def test_a_process_that_lives_near_seven_says_nothing_of_glass() -> None:
    value = live(1)
    value[20_000:22_000] = 7.02
    value[19_940:20_000] += 0.3
    (event,) = detect_stuck(make_record(value, point=Point(name="A1", measurand="ph", value="A1")))
    assert event.kind == "stuck"
    assert not any("broken glass" in fact for fact in event.evidence)


def test_broken_glass_is_named_when_the_reading_goes_to_seven() -> None:
    value = live(1) - 2.0
    value[20_000:22_000] = 7.02
    point = Point(name="A1", measurand="ph", value="A1", range=(0.0, 14.0))
    (event,) = detect_stuck(make_record(value, point=point))
    assert any("broken glass" in fact for fact in event.evidence)


@SEEDS
def test_a_standstill_of_the_stated_length_is_found(seed: int) -> None:
    record = make_record(live(seed))
    samples = int(1.2 * shortest_stuck(record, StuckSettings())[0] / 60)
    found = detect_stuck(make_record(with_stuck(live(seed), 20_000, 20_000 + samples)))
    assert len(found) == 1


@SEEDS
def test_a_block_that_comes_twice_is_the_archive(seed: int) -> None:
    value = live(seed)
    value[30_000:30_400] = value[12_345:12_745]
    (event,) = detect_repeated(make_record(value))
    assert event.origin == "record"
    assert abs(event.start - (T0 + 30_000 * MINUTE)) <= 2 * MINUTE
    assert event.details["lag_s"] == pytest.approx((30_000 - 12_345) * 60)


@SEEDS
def test_no_block_of_a_live_signal_comes_twice(seed: int) -> None:
    assert detect_repeated(make_record(live(seed))) == ()


def test_a_signal_that_repeats_itself_by_its_nature_is_left_alone() -> None:
    value = np.tile(np.round(np.sin(np.linspace(0, 2 * np.pi, 1_440, endpoint=False)), 3), 20)
    assert detect_repeated(make_record(value, measurand="other")) == ()


@pytest.mark.parametrize("seed", range(3))
def test_the_rest_of_a_plant_that_stands_every_weekend_is_not_stuck(seed: int) -> None:
    """Eight weeks; from Friday evening on the line stands, and the reading with it, always near the same pH."""
    n = 8 * 7 * 1_440
    minute = np.arange(n)
    runs_now = (minute / 1_440) % 7 < 4.75
    a = np.exp(-1 / 20)
    share = lfilter([1 - a], [1, -a], runs_now.astype(float))
    value = (
        9.4 * share
        + 7.2 * (1 - share)
        + coloured(n, 0.0, 0.06, 60, seed) * share
        + level(n, 0.0, 0.004, seed)
    )
    warm = 18.0 + 45.0 * share + coloured(n, 0.0, 0.3, 120, seed + 5)
    assert [e for e in detect_stuck(make_record(quantised(value, 0.01), warm)) if e.origin != "process"] == []


@pytest.mark.parametrize("seed", range(3))
def test_a_reading_stuck_through_a_week_of_work_is_told_beside_such_rests(seed: int) -> None:
    n = 8 * 7 * 1_440
    minute = np.arange(n)
    share = lfilter([1 - np.exp(-1 / 20)], [1, -np.exp(-1 / 20)], ((minute / 1_440) % 7 < 4.75).astype(float))
    value = (
        9.4 * share
        + 7.2 * (1 - share)
        + coloured(n, 0.0, 0.06, 60, seed) * share
        + level(n, 0.0, 0.004, seed)
    )
    value[30_600:33_000] = value[30_600]
    found = [e for e in detect_stuck(make_record(quantised(value, 0.01))) if e.origin != "process"]
    assert any(abs((e.start - T0) / MINUTE - 30_600) < 5 for e in found)
