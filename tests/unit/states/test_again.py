"""The same level twice, elsewhere in between: one standard as found and as left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE, NS_PER_S
from excursions.states.again import twice
from excursions.states.trace import Trace

MINUTE = NS_PER_MINUTE
ALL = (0, 180 * MINUTE)


def trace(*parts: tuple[int, float]) -> Trace:
    """A sample a minute: so many minutes at each level, with a little noise."""
    value = np.concatenate([np.full(minutes, level) for minutes, level in parts])
    value = value + np.random.default_rng(3).normal(0.0, 0.2, value.size)
    return Trace(
        time=np.arange(value.size, dtype=np.int64) * MINUTE, value=value, interval_s=60.0, usual_s=60.0, gap_s=300.0,
        resolution=0.1, held=False, drawn=False,
    )  # fmt: skip


def found(*parts: tuple[int, float], after: float = 300.0) -> list[tuple[int, int]]:
    spans = twice(trace(*parts), ALL, (490.0, after), 10.0, 15.0)
    return [(start // MINUTE, end // MINUTE) for start, end in spans]


def test_a_standard_between_the_old_level_and_the_new_one() -> None:
    """Redox 490 mV, 395 mV in the solution twice, 495 mV in water in between, then adjusted to 300 mV."""
    assert found((40, 490.0), (8, 395.0), (4, 495.0), (6, 395.0), (60, 300.0)) == [(40, 57)]


def test_once_is_a_visit_of_the_process() -> None:
    assert found((40, 490.0), (14, 395.0), (60, 300.0)) == []


def test_two_levels_are_not_one() -> None:
    assert found((40, 490.0), (8, 395.0), (4, 495.0), (6, 380.0), (60, 300.0)) == []


def test_without_leaving_it_in_between_it_is_one_stay() -> None:
    assert found((40, 490.0), (8, 395.0), (3, 402.0), (6, 395.0), (60, 300.0)) == []


def test_the_process_s_own_level_is_no_standard() -> None:
    assert found((40, 490.0), (8, 395.0), (4, 495.0), (6, 395.0), (60, 390.0), after=390.0) == []


def test_too_far_apart_is_no_single_piece_of_work() -> None:
    assert found((20, 490.0), (6, 395.0), (110, 495.0), (6, 395.0), (30, 300.0)) == []


def test_nothing_in_nothing() -> None:
    assert found((2, 490.0)) == []


def test_nothing_is_known_in_a_gap_and_outside_of_the_record() -> None:
    made = replace(trace((4, 490.0)), time=np.array([0, 1, 120, 121], np.int64) * MINUTE)
    when = np.array([-60, 30, 3_600, 7_230, 9_000], np.int64) * NS_PER_S
    assert np.isnan(made.at(when)).tolist() == [True, False, True, False, True]
