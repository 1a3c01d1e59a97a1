"""Medians and quantiles are numpy's own, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.ranks import (
    PROBES,
    SHORT,
    known_row_median,
    median,
    quantile,
    quantiles,
    row_median,
    scatter_of,
)

SHARES = (0.0, 0.01, 0.05, 0.25, 0.5, 0.9, 0.95, 0.997, 1.0)
SIZES = (1, 2, 3, 7, 30, 255, SHORT, SHORT + 1, 5 * SHORT, 5 * SHORT + 3)
PERIOD = SIZES[-1] // PROBES  # of the probes: they meet one phase of such a record alone


def draws(size: int) -> dict[str, np.ndarray]:
    """Records of the sorts that are met: noise, a lattice, steps of a clock, a ramp, one value, a period that fools probes."""
    draw = np.random.default_rng([7, size])
    noise = draw.standard_normal(size)
    return {
        "noise": noise,
        "lattice": np.round(noise, 1),
        "steps": np.where(draw.random(size) < 0.01, 20, 10) * 10**9 + 0 * np.arange(size),
        "jitter": draw.integers(9, 12, size) * 10**9,
        "ramp": np.arange(size) / 7,
        "one": np.full(size, 3.25),
        "period": np.where(np.arange(size) % PERIOD == 0, 50.0, noise),
        "two": np.where(np.arange(size) % 2 == 0, 1.0, 2.0),
    }


@pytest.mark.parametrize("size", SIZES)
def test_all_are_what_numpy_says(size: int) -> None:
    for name, value in draws(size).items():
        assert median(value) == np.median(value), name
        assert [quantile(value, share) for share in SHARES] == list(np.quantile(value, SHARES)), name
        assert list(quantiles(value, SHARES)) == list(np.quantile(value, SHARES)), name


@pytest.mark.parametrize("size", [3, 30, 5 * SHORT])
def test_one_value_that_is_missing_leaves_nothing_to_say(size: int) -> None:
    value = np.random.default_rng(3).standard_normal(size)
    value[1] = np.nan
    assert np.isnan(median(value))
    assert np.isnan(quantile(value, 0.1))
    assert np.isnan(quantiles(value, (0.1, 0.9))).all()


def test_of_no_values_there_is_no_median() -> None:
    assert np.isnan(median(np.empty(0)))


@pytest.mark.parametrize("width", [1, 2, 3, 16, 31, 256])
def test_a_median_of_each_row(width: int) -> None:
    rows = np.round(np.random.default_rng(5).standard_normal((40, width)), 2)
    assert np.array_equal(row_median(rows), np.median(rows, axis=1))


def test_the_scatter_of_a_normal_law_is_its_standard_deviation_whatever_a_few_do() -> None:
    value = np.random.default_rng(3).normal(7.0, 0.2, 20_000)
    assert scatter_of(value) == pytest.approx(0.2, rel=0.03)  # three standard errors, 1.17 / sqrt(n) each
    value[:100] = 1e6
    assert scatter_of(value) == pytest.approx(0.2, rel=0.04)
    assert np.isnan(scatter_of(np.append(value, np.nan)))


@pytest.mark.filterwarnings("ignore:All-NaN")
@pytest.mark.parametrize("size", [1, 2, 7, 8])
def test_of_rows_with_unknown_values_the_known_are_asked(size: int) -> None:
    rows = np.random.default_rng(size).normal(size=(50, size))
    rows[np.random.default_rng(9).random(rows.shape) < 0.4] = np.nan
    assert np.array_equal(known_row_median(rows), np.nanmedian(rows, axis=1), equal_nan=True)
    assert known_row_median(np.empty((0, 3))).shape == (0,)
