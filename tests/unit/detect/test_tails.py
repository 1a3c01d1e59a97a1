"""Tails: how many as large are due, and which stand apart."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.sudden import _tallest
from excursions.detect.series.tails import TOP, expected_as_large, expected_each, outlying, top_in_order


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("wanted", [1.0, 0.1])
def test_exponential_tail_is_extrapolated_to_within_a_factor(seed: int, wanted: float) -> None:
    """2 000 draws of an exponential law: n exp(-x) = wanted at x = log(n / wanted).

    The shape from 200 tail values is good to 0.1, which eight scales out is a factor of about ten.
    """
    bulk = np.random.default_rng(seed).exponential(size=2_000)
    found = expected_as_large(bulk, np.log(2_000 / wanted))
    assert wanted / 10 < found < wanted * 10


def test_heavy_tail_leaves_room_for_large_ones() -> None:
    rng = np.random.default_rng(1)
    heavy, light = rng.pareto(1.5, 2_000), rng.exponential(size=2_000)
    top = 20.0
    assert expected_as_large(heavy, top) > 1
    assert expected_as_large(light, top) < 1e-3


def test_inside_the_bulk_it_counts() -> None:
    assert expected_as_large(np.arange(100.0), 50.0) == 50.0


def test_few_chances_say_nothing() -> None:
    assert expected_as_large(np.array([1.0, 2.0]), 1e9) == 2.0


def test_many_sizes_are_answered_as_one_by_one() -> None:
    bulk = np.random.default_rng(2).exponential(size=300)
    sizes = np.array([0.5, 3.0, 9.0])
    assert expected_each(bulk, sizes).tolist() == [expected_as_large(bulk, float(s)) for s in sizes]


@pytest.mark.parametrize("seed", range(5))
def test_several_outliers_of_like_size_do_not_hide_one_another(seed: int) -> None:
    sizes = np.random.default_rng(seed).exponential(size=500)
    sizes[:6] = [31.0, 32.0, 33.0, 34.0, 35.0, 36.0]
    assert np.flatnonzero(outlying(sizes, at_most=0.05)).tolist() == [0, 1, 2, 3, 4, 5]


def test_a_bulk_has_outliers_as_seldom_as_asked() -> None:
    """At 0.05 a record 400 records give 20, and at most three roots more."""
    found = sum(
        outlying(np.random.default_rng(s).exponential(size=400), at_most=0.05).any() for s in range(400)
    )
    assert found <= 20 + 3 * 20**0.5


@pytest.mark.parametrize("size", [0, 5, TOP, 2_049, 40_000])
@pytest.mark.parametrize("decimals", [0, 1, 12])
def test_the_top_is_what_sorting_all_would_put_there(size: int, decimals: int) -> None:
    """Also where most sizes are alike, and where all are."""
    sizes = np.round(np.random.default_rng(size).exponential(size=size), decimals)
    for given in (sizes, np.ones(size)):
        found = top_in_order(given)
        assert found[-TOP:].tolist() == np.sort(given)[-TOP:].tolist()
        assert np.sort(found).tolist() == np.sort(given).tolist()


@pytest.mark.parametrize("size", [0, 150, 200, 5_000])
@pytest.mark.parametrize("decimals", [0, 12])
def test_the_tallest_jumps_are_those_of_a_stable_order(size: int, decimals: int) -> None:
    sizes = np.round(np.random.default_rng(size).exponential(size=size), decimals)
    slow = np.sort(np.argsort(sizes, kind="stable")[-200:])
    assert _tallest(sizes).tolist() == slow.tolist()
