"""Hours and ageing by band and day against figures worked by hand and against the slow integrals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S
from excursions.detect.heat.bands import tally_heat
from excursions.physics.heat import ageing_dose, minutes_above

EDGES = np.array([80.0, 100.0, 130.0])


def at(*minutes: float) -> np.ndarray:
    """Instants of the first day, from 10:00 on."""
    return np.array([10 * NS_PER_HOUR + round(m * NS_PER_MINUTE) for m in minutes], dtype=np.int64)


def test_lines_are_cut_where_they_cross_an_edge_however_samples_fall() -> None:
    # 90 to 110 degC in 10 min, 20 min at 110, down to 90 in 5 min: 5 + 20 + 2.5 min above 100.
    found = tally_heat(at(0, 10, 30, 35), np.array([90.0, 110.0, 110.0, 90.0]), EDGES)
    assert found.hours[0] * 60 == pytest.approx([0.0, 7.5, 27.5, 0.0])
    # Ageing above 100 in minutes at 100: a ramp of 10 K doubles, so its mean is 1 / ln 2; at 110 it is 2.
    expected = 5.0 / math.log(2) + 20 * 2.0 + 2.5 / math.log(2)
    assert found.ageing_h[0, 2] * 60 == pytest.approx(expected, rel=1e-12)
    assert found.peak_degc[0] == 110.0
    assert found.peak_time[0] == at(10)[0]


def test_a_plateau_at_an_edge_is_not_above_it() -> None:
    found = tally_heat(at(0, 60), np.array([130.0, 130.0]), EDGES)
    assert found.hours[0].tolist() == [0.0, 0.0, 1.0, 0.0]


def test_midnight_and_a_swap_cut_the_line_at_its_interpolated_height() -> None:
    # 23:00 to 01:00 from 60 to 140 degC: 100 is crossed at midnight, the swap at 00:15 stands at 110.
    time = np.array([23, 25], dtype=np.int64) * NS_PER_HOUR
    swap = NS_PER_DAY + 15 * NS_PER_MINUTE
    found = tally_heat(time, np.array([60.0, 140.0]), EDGES, cuts=np.array([swap]))
    assert found.start.tolist() == [23 * NS_PER_HOUR, NS_PER_DAY, swap]
    assert found.hours.sum(axis=1) == pytest.approx([1.0, 0.25, 0.75])
    assert found.hours[0] == pytest.approx([0.5, 0.5, 0.0, 0.0])
    assert found.hours[1] == pytest.approx([0.0, 0.0, 0.25, 0.0])
    assert found.hours[2] == pytest.approx([0.0, 0.0, 0.5, 0.25])


def test_nothing_counts_across_a_gap_or_to_a_sample_that_is_no_heat() -> None:
    time, temp = at(0, 10, 20, 80, 90), np.array([90.0, 90.0, 400.0, 90.0, 90.0])
    wild = np.array([False, False, True, False, False])
    found = tally_heat(time, temp, EDGES, gap_s=900.0, left_out=wild)
    assert found.hours[0] * 60 == pytest.approx([0.0, 20.0, 0.0, 0.0])
    assert found.peak_degc[0] == 90.0


def test_it_agrees_with_the_plain_integrals_on_an_irregular_record() -> None:
    random = np.random.default_rng(11)
    time = np.cumsum(random.integers(1, 7_000, 4_000)) * NS_PER_S
    temp = 90 + np.cumsum(random.normal(0, 6, 4_000)) % 70
    found = tally_heat(time, temp, EDGES, gap_s=6_000.0)
    for number, edge in enumerate(EDGES.tolist(), start=1):
        minutes = found.hours[:, number:].sum() * 60
        assert minutes == pytest.approx(minutes_above(time, temp, edge, longest_s=6_000.0), rel=1e-9)
        dose = found.ageing_h[:, number:].sum() * 2 ** ((100.0 - edge) / 10)
        assert dose == pytest.approx(ageing_dose(time, temp, edge, longest_s=6_000.0), rel=1e-9)


def test_no_sample_gives_no_row() -> None:
    found = tally_heat(np.empty(0, np.int64), np.empty(0), EDGES)
    assert found.start.size == 0
    assert tally_heat(at(3), np.array([95.0]), EDGES).peak_degc.tolist() == [95.0]
