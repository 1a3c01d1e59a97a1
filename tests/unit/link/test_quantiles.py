"""Quantiles of short series and tolerances of many levels are those of the plain way, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from excursions.plant import Point
from excursions.ranks import many_quantiles

READINGS = st.floats(-1e6, 1e6).map(lambda value: round(value, 3))


@given(known=st.lists(READINGS, min_size=1, max_size=60), count=st.integers(1, 20))
def test_quantiles_are_those_of_numpy(known: list[float], count: int) -> None:
    shares = (np.arange(count) + 0.5) / count
    np.testing.assert_array_equal(many_quantiles(np.array(known), shares), np.quantile(known, shares))


def test_quantiles_of_several_series_are_those_of_each() -> None:
    rows, shares = np.random.default_rng(5).normal(size=(7, 24)), (np.arange(9) + 0.5) / 9
    np.testing.assert_array_equal(many_quantiles(rows, shares), [many_quantiles(row, shares) for row in rows])


@pytest.mark.parametrize("stated", [None, 0.25])
@given(levels=st.lists(READINGS | st.just(float("nan")), max_size=20))
def test_tolerances_at_many_levels_are_those_at_each(stated: float | None, levels: list[float]) -> None:
    point = Point(name="AT-1", measurand="conductivity", value="AT-1.PV", unit="uS/cm", tolerance=stated)
    np.testing.assert_array_equal(
        point.tolerances_at(np.array(levels)), [point.tolerance_at(level) for level in levels]
    )
