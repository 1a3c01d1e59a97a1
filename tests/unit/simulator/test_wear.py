"""Wear by hand: doses and layers of dirt small enough to check on paper."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator.wear import Move, dose_hours, fouling_layer


def test_dose_doubles_every_ten_kelvin() -> None:
    """Ten minutes at 140 and ten at 150 on a rating of 130: (2 + 4) / 6 h."""
    warm = np.concatenate([np.full(10, 140.0), np.full(10, 150.0), np.full(50, 120.0)])
    assert dose_hours(warm, 60.0, 130.0) == pytest.approx(1.0)


def test_no_dose_at_or_below_the_rating() -> None:
    assert dose_hours(np.full(100, 130.0), 60.0, 130.0) == 0.0


def test_dirt_grows_and_is_taken_off_in_part() -> None:
    """A layer a day; cleaned after two days by 90 %, then one more day: 2, 0.2, 1.2."""
    times, layer = fouling_layer(0.0, 3.0, 1.0, [2.0], 0.9)
    assert np.interp([1.0, 1.99, 2.01, 3.0], times, layer) == pytest.approx([1.0, 1.99, 0.21, 1.2], abs=0.01)


def test_dirt_stays_when_it_stops_growing() -> None:
    times, layer = fouling_layer(0.0, 2.0, 1.0, [], 0.9)
    assert np.interp(10.0, times, layer) == pytest.approx(2.0)


def test_a_move_is_nothing_before_and_lasts_after() -> None:
    move = Move.step("step", "b", 100.0, 0.4, 50.0)
    assert move.at(np.array([0.0, 99.0, 125.0, 150.0, 1e6])) == pytest.approx([0, 0, 0.2, 0.4, 0.4], abs=1e-4)
