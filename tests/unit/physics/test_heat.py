"""Minutes above a limit and doses on cases small enough to check on paper."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_MINUTE
from excursions.physics.heat import ageing_dose, lethality_f0, minutes_above


def minutes(*values: float) -> np.ndarray:
    return (np.array(values) * NS_PER_MINUTE).astype(np.int64)


def test_a_triangle_is_above_half_its_height_for_half_its_time() -> None:
    assert minutes_above(minutes(0, 10, 20), np.array([100.0, 140.0, 100.0]), 120.0) == pytest.approx(10.0)


def test_irregular_samples_of_one_line_give_the_same_minutes() -> None:
    time = minutes(0, 1, 7, 7.5, 19, 20)
    temp = 100 + 2 * time / NS_PER_MINUTE
    assert minutes_above(time, temp, 127.0) == pytest.approx(6.5)


def test_touching_the_limit_is_not_above_it() -> None:
    assert minutes_above(minutes(0, 10), np.array([120.0, 120.0]), 120.0) == 0.0


def test_nan_breaks_the_line_on_both_sides() -> None:
    temp = np.array([130.0, 130.0, np.nan, 130.0, 130.0])
    assert minutes_above(minutes(0, 1, 2, 3, 4), temp, 120.0) == pytest.approx(2.0)


def test_a_long_silence_counts_for_nothing_when_it_is_named() -> None:
    time, temp = minutes(0, 1, 61, 62), np.full(4, 130.0)
    assert minutes_above(time, temp, 120.0) == pytest.approx(62.0)
    assert minutes_above(time, temp, 120.0, longest_s=300) == pytest.approx(2.0)
    assert lethality_f0(time, np.full(4, 121.1), longest_s=300) == pytest.approx(2.0)


@pytest.mark.parametrize("n", [0, 1])
def test_nothing_and_one_sample_make_no_minutes(n: int) -> None:
    time, temp = minutes(*range(n)), np.full(n, 150.0)
    assert minutes_above(time, temp, 120.0) == 0.0
    assert lethality_f0(time, temp) == 0.0
    assert ageing_dose(time, temp, 80.0) == 0.0


def test_dose_of_a_triangle_counts_only_the_part_above_the_rating() -> None:
    """From 80 to 100 and back in 2 x 60 min, rated 90: twice half an hour from x1 to x2, mean 1 / ln 2."""
    dose = ageing_dose(minutes(0, 60, 120), np.array([80.0, 100.0, 80.0]), 90.0)
    assert dose == pytest.approx(1.0 / np.log(2.0), rel=1e-12)


def test_a_level_stretch_and_a_nearly_level_one_agree() -> None:
    time = minutes(0, 10)
    level = ageing_dose(time, np.array([95.0, 95.0]), 90.0)
    assert ageing_dose(time, np.array([95.0, 95.0 + 1e-10]), 90.0) == pytest.approx(level, rel=1e-9)


def test_input_is_left_as_it_was() -> None:
    time, temp = minutes(0, 1, 2), np.array([100.0, np.nan, 140.0])
    before = temp.copy()
    minutes_above(time, temp, 120.0)
    lethality_f0(time, temp)
    np.testing.assert_array_equal(temp, before)
