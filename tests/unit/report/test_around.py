"""Whether a change is unusual for its own record."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR
from excursions.report.around import WINDOW_H, hourly, move

HOURS = 400
TIME = np.arange(HOURS, dtype=np.int64) * NS_PER_HOUR


def test_a_lone_step_is_rare_and_has_its_size() -> None:
    level = np.where(np.arange(HOURS) >= 200, 3.0, 1.0)
    seen = move(TIME, level, 200 * NS_PER_HOUR, 200 * NS_PER_HOUR)
    assert seen is not None
    assert (seen.before, seen.after, seen.change) == (1.0, 3.0, 2.0)
    # Of windows of six hours just one pair of neighbours straddles the step whole.
    assert seen.share == pytest.approx(1 / (HOURS - WINDOW_H), rel=0.05)
    assert seen.unusual


def test_a_step_of_a_record_that_steps_all_the_time_is_usual() -> None:
    level = np.where(np.arange(HOURS) // 12 % 2 == 0, 1.0, 3.0)
    seen = move(TIME, level, 204 * NS_PER_HOUR, 204 * NS_PER_HOUR)
    assert seen is not None
    assert not seen.unusual


def test_hours_without_a_level_are_waited_out_only_so_far() -> None:
    level = np.ones(HOURS)
    level[195:206] = np.nan
    assert move(TIME, level, 200 * NS_PER_HOUR, 200 * NS_PER_HOUR) is None
    level[201:206] = 1.0
    level[195:199] = 1.0
    assert move(TIME, level, 200 * NS_PER_HOUR, 200 * NS_PER_HOUR) is not None


@pytest.mark.parametrize("at", [0, 3, HOURS + 5])
def test_the_ends_of_the_record_cannot_say(at: int) -> None:
    assert move(TIME, np.ones(HOURS), at * NS_PER_HOUR, at * NS_PER_HOUR) is None


def test_nothing_in_nothing_out() -> None:
    assert hourly(np.empty(0, np.int64), np.empty(0))[0].size == 0
    assert move(TIME, np.full(HOURS, np.nan), 0, 0) is None
