"""Robust statistics of many groups: the same as numpy's of each group alone."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.groups import group_median
from excursions.detect.series.stillness import Bins
from excursions.ranks import median


@pytest.mark.parametrize("size", [1, 2, 3, 8, 9, 1_000, 1_001])
def test_the_median_is_numpys(size: int) -> None:
    value = np.random.default_rng(size).normal(size=size)
    assert median(value) == np.median(value)


def test_the_median_of_nothing_is_nothing() -> None:
    assert np.isnan(median(np.empty(0)))


@pytest.mark.parametrize("usual", [7, 8])
def test_groups_of_one_size_among_others_have_their_own_medians(usual: int) -> None:
    draw = np.random.default_rng(usual)
    count = np.where(draw.random(60) < 0.8, usual, draw.integers(0, 20, 60))
    edge = np.concatenate([[0], np.cumsum(count)])
    value = draw.normal(size=edge[-1])
    found = group_median(value, edge[:-1], edge[1:])
    for a, b, one in zip(edge[:-1], edge[1:], found, strict=True):
        assert np.isnan(one) if a == b else one == np.median(value[a:b])


@pytest.mark.parametrize(("width", "every"), [(1, 1), (2, 1), (3, 1), (5, 2), (8, 4), (13, 6), (40, 20)])
def test_ranges_of_runs_are_those_of_their_bins(width: int, every: int) -> None:
    draw = np.random.default_rng(width)
    low = draw.normal(size=40)
    bins = Bins(first=np.arange(41), low=low, high=low + draw.random(40))
    expected = [
        bins.high[at : at + width].max() - bins.low[at : at + width].min()
        for at in range(0, 41 - width, every)
    ]
    assert bins.ranges(width, every).tolist() == expected
