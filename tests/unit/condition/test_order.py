"""Order and repeats: what is kept, what is counted."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.condition import condition
from excursions.condition.order import put_in_order
from tests.builders import T0, tag_series

NAN = float("nan")


def ordered(times: list[int], values: list[float], quality: list[int] | None = None):
    q = np.array(quality or [0] * len(times), np.uint8)
    return put_in_order(np.array(times, np.int64), np.array(values), q)


def test_rows_out_of_order_are_sorted() -> None:
    got = ordered([3, 1, 2], [30.0, 10.0, 20.0])
    assert got.time.tolist() == [1, 2, 3]
    assert got.value.tolist() == [10.0, 20.0, 30.0]
    assert got.moved


def test_an_exact_repeat_is_a_duplicate() -> None:
    got = ordered([1, 2, 2, 3], [1.0, 2.0, 2.0, 3.0])
    assert (got.duplicates, got.conflicts) == (1, 0)
    assert got.value.tolist() == [1.0, 2.0, 3.0]


def test_of_contradicting_rows_the_last_in_file_order_stays() -> None:
    got = ordered([2, 1, 2, 2], [7.0, 1.0, 8.0, 9.0])
    assert got.value.tolist() == [1.0, 9.0]
    assert (got.duplicates, got.conflicts) == (0, 2)


def test_a_row_that_repeats_the_kept_one_counts_as_duplicate_among_conflicts() -> None:
    got = ordered([1, 1, 1], [5.0, 6.0, 5.0])
    assert (got.duplicates, got.conflicts) == (1, 1)
    assert got.value.tolist() == [5.0]


def test_two_missing_values_at_one_instant_are_a_duplicate() -> None:
    assert ordered([1, 1], [NAN, NAN]).duplicates == 1


def test_same_value_of_other_quality_is_a_conflict() -> None:
    got = ordered([1, 1], [5.0, 5.0], [0, 2])
    assert (got.duplicates, got.conflicts) == (0, 1)
    assert got.quality.tolist() == [2]


@pytest.mark.parametrize("seed", range(5))
def test_every_row_is_accounted_for(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time = T0 + rng.integers(0, 50, 200) * 10**9
    done = condition(tag_series(rng.integers(0, 3, 200).astype(float), time=time), measurand="ph")
    assert done.rows == 200 == len(done.signal) + done.duplicates + done.conflicts
    assert (np.diff(done.signal.time) > 0).all()
    assert any("contradict" in d.what for d in done.decisions)


def test_the_input_is_left_as_it_was() -> None:
    series = tag_series([3.0, NAN, 1.0], time=np.array([T0 + 5, T0, T0 + 5]), quality=[0, 2, 0])
    before = (series.time.copy(), series.value.copy(), series.quality.copy())
    condition(series, measurand="ph")
    for had, has in zip(before, (series.time, series.value, series.quality), strict=True):
        np.testing.assert_array_equal(had, has)


@pytest.mark.parametrize("n", [0, 1])
def test_empty_and_single_series_are_normal(n: int) -> None:
    done = condition(tag_series([7.0] * n), measurand="ph")
    assert len(done.signal) == n == done.rows
    assert done.signal.segments.tolist() == [[0, 1]] * n
    assert done.signal.bridged.shape == (0, 2)
