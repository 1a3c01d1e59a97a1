"""Thinning keeps every extreme that a person could look for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from excursions.report.thin import envelope, thin

MINUTE = 60_000_000_000


def walk(size: int, seed: int, share_missing: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    draw = np.random.default_rng(seed)
    time = np.cumsum(draw.integers(1, 5, size)).astype(np.int64) * MINUTE
    value = np.cumsum(draw.normal(size=size))
    value[draw.random(size) < share_missing] = np.nan
    return time, value


def slow_envelope(value: np.ndarray, bins: int) -> set[int]:
    """The obvious loop that the vectorised envelope must agree with."""
    width = math.ceil(len(value) / bins)
    held: set[int] = set()
    for begin in range(0, len(value), width):
        finite = [i for i in range(begin, min(begin + width, len(value))) if math.isfinite(value[i])]
        if finite:
            low = min(finite, key=lambda i: (value[i], i))
            high = min(finite, key=lambda i: (-value[i], i))
            held |= {finite[0], low, high, finite[-1]}
    return held


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("bins", [1, 3, 7, 50])
def test_envelope_agrees_with_the_plain_loop(seed: int, bins: int) -> None:
    _, value = walk(101 + seed, seed, share_missing=0.2)
    assert set(envelope(value, bins).tolist()) == slow_envelope(value, bins)


def test_a_short_record_is_kept_whole() -> None:
    time, value = walk(100, 1)
    assert thin(time, value, 100).tolist() == list(range(100))


def test_an_empty_record_gives_no_index() -> None:
    assert thin(np.empty(0, np.int64), np.empty(0), 10).size == 0


def test_a_single_spike_survives() -> None:
    time, value = walk(200_000, 2)
    value[77_777], value[123_456] = 1e4, -1e4
    kept = thin(time, value, 2_000)
    assert {77_777, 123_456} <= set(kept.tolist())
    assert kept.size <= 2_000


def test_extremes_of_every_event_are_exact_even_with_many_events() -> None:
    time, value = walk(50_000, 3)
    starts = np.arange(100, 49_000, 60)
    spans = np.column_stack([time[starts], time[starts + 40]])
    kept = thin(time, value, 400, spans)
    for start in starts:
        inside = value[start : start + 40]
        shown = value[kept[(kept >= start) & (kept < start + 40)]]
        assert shown.min() == inside.min()
        assert shown.max() == inside.max()


def test_a_short_event_is_kept_sample_by_sample_with_its_surroundings() -> None:
    time, value = walk(100_000, 4)
    kept = thin(time, value, 1_000, np.array([[time[5_000], time[5_200]]]))
    assert set(range(4_999, 5_201)) <= set(kept.tolist())


def test_what_short_events_leave_goes_to_the_long_one() -> None:
    time, value = walk(100_000, 5)
    short = [[time[i], time[i + 10]] for i in (100, 300, 500)]
    kept = thin(time, value, 1_000, np.array([*short, [time[20_000], time[60_000]]]))
    inside = np.count_nonzero((kept >= 20_000) & (kept < 60_000))
    assert inside > 900


def test_missing_data_still_break_the_line() -> None:
    time, value = walk(50_000, 6)
    value[10_000] = np.nan
    value[20_000:21_000] = np.nan
    kept = set(thin(time, value, 500).tolist())
    assert {9_999, 10_000, 10_001, 19_999, 20_000, 21_000} <= kept


def test_a_record_full_of_holes_stays_bounded_and_keeps_the_longest() -> None:
    time, value = walk(100_000, 7)
    value[::2] = np.nan
    value[40_000:40_500] = np.nan
    kept = thin(time, value, 1_000)
    assert kept.size <= 1_000 + 3 * 500
    assert 39_999 in kept
    assert 40_501 in kept


def test_all_missing_is_a_normal_answer() -> None:
    time, _ = walk(10_000, 8)
    assert thin(time, np.full(10_000, np.nan), 100).tolist() == [0, 9_999]


def test_spans_outside_the_record_and_empty_spans_change_nothing() -> None:
    time, value = walk(10_000, 9)
    far = np.array([[time[-1] + 5, time[-1] + 9], [time[50], time[50]], [0, 1]])
    assert thin(time, value, 400, far).tolist() == thin(time, value, 400).tolist()


def test_input_is_left_alone() -> None:
    time, value = walk(5_000, 10, share_missing=0.1)
    before = value.copy()
    thin(time, value, 100, np.array([[time[5], time[4_000]]]))
    np.testing.assert_array_equal(value, before)


@pytest.mark.parametrize("budget", [-1, 0, 3])
def test_a_budget_below_one_bin_is_refused(budget: int) -> None:
    with pytest.raises(ValueError, match="expected at least 4"):
        thin(np.arange(9), np.arange(9.0), budget)


def test_arrays_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        thin(np.arange(9), np.arange(8.0), 8)


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    size=st.integers(0, 900),
    budget=st.integers(4, 300),
    missing=st.floats(0, 1),
    cuts=st.lists(st.tuples(st.integers(0, 900), st.integers(0, 900)), max_size=8),
)
def test_properties_hold_for_any_record(
    seed: int, size: int, budget: int, missing: float, cuts: list[tuple[int, int]]
) -> None:
    time, value = walk(size, seed, share_missing=missing)
    spans = np.array([[min(c) * 2 * MINUTE, max(c) * 2 * MINUTE] for c in cuts], dtype=np.int64).reshape(
        -1, 2
    )
    kept = thin(time, value, budget, spans)
    assert np.all(np.diff(kept) > 0)
    shown = value[kept]
    if np.isfinite(value).any():
        assert np.nanmin(shown) == np.nanmin(value)
        assert np.nanmax(shown) == np.nanmax(value)
    for start, end in spans:
        inside = value[(time >= start) & (time < end)]
        if np.isfinite(inside).any():
            mine = shown[(time[kept] >= start) & (time[kept] < end)]
            assert np.nanmax(mine) == np.nanmax(inside)
            assert np.nanmin(mine) == np.nanmin(inside)
