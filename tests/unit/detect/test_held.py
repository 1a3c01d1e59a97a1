"""Holds without a flag: known by the hour, by the length of the work and by the state they are there for."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.still.stuck import detect_stuck
from excursions.records import MEASURING, RECOVERING, STEAMING, Event
from tests.builders import T0, coloured, level, make_record, quantised, state_line, with_stuck

N = 60 * 24 * 40  # forty days at one minute
DAY = 1_440
MINUTE = 60_000_000_000


def live(seed: int) -> np.ndarray:
    return quantised(coloured(N, 7.0, 0.08, 120, seed) + level(N, 0.0, 0.01, seed + 30), 0.01)


def blamed(events: tuple[Event, ...]) -> list[Event]:
    return [event for event in events if event.origin == "probe"]


@pytest.mark.parametrize("seed", range(3))
def test_standstills_of_one_length_at_one_hour_are_holds(seed: int) -> None:
    value = live(seed)
    for k, day in enumerate((4, 11, 19, 27, 34)):
        at = day * DAY + 600 + 17 * k  # begun between ten and a quarter past eleven
        value = with_stuck(value, at, at + 50 + 2 * k)
    assert blamed(detect_stuck(make_record(value))) == []


@pytest.mark.parametrize("seed", range(3))
def test_standstills_at_any_hour_and_of_any_length_are_the_probe_s(seed: int) -> None:
    value = live(seed)
    for day, hour, length, near in ((5, 3, 90, 6.95), (16, 22, 700, 7.0), (30, 10, 260, 7.05)):
        at = day * DAY + hour * 60
        at += int(np.argmin(np.abs(value[at : at + 400] - near)))  # not where a process would rest
        value = with_stuck(value, at, at + length)
    assert len(blamed(detect_stuck(make_record(value)))) == 3


def test_a_standstill_around_steaming_is_the_hold_that_belongs_to_it() -> None:
    value = live(1)
    at = 20 * DAY
    value = with_stuck(value, at, at + 105)
    line = [
        (T0, T0 + (at + 1) * MINUTE, MEASURING),
        (T0 + (at + 1) * MINUTE, T0 + (at + 65) * MINUTE, STEAMING),
        (T0 + (at + 65) * MINUTE, T0 + (at + 80) * MINUTE, RECOVERING),
        (T0 + (at + 80) * MINUTE, T0 + N * MINUTE, MEASURING),
    ]
    assert blamed(detect_stuck(make_record(value, states=state_line(line)))) == []


def test_a_flat_piece_of_a_drawn_line_is_no_standstill() -> None:
    """An export that draws straight lines between values recorded up to an hour apart, two of them equal."""
    rng = np.random.default_rng(5)
    knots = np.round(7.0 + np.cumsum(0.02 * rng.standard_normal(1_000)) * 0.3, 3)
    knots[500] = knots[501]
    drawn = np.interp(np.arange(12_000) / 12.0, np.arange(1_000), knots)
    assert detect_stuck(make_record(drawn, every_s=300.0)) == ()
