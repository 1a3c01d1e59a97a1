"""Filters of the simulator: what their parameters promise."""

from __future__ import annotations

import numpy as np
import pytest

from sample_data.simulator.grid import Grid, ar1, lag
from sample_data.simulator.signal import variable_lag
from sample_data.simulator.streams import stream


def test_lag_reaches_63_per_cent_after_its_time_constant() -> None:
    x = np.concatenate([np.zeros(100), np.ones(400)])
    y = lag(x, 1.0, 50.0)
    assert y[99] == 0.0
    assert y[149] == pytest.approx(1 - np.exp(-1), abs=1e-9)


def test_lag_starts_settled() -> None:
    assert lag(np.full(10, 7.3), 1.0, 100.0) == pytest.approx(np.full(10, 7.3))


@pytest.mark.parametrize("tau", [0.0, 60.0, 1200.0])
def test_ar1_has_the_deviation_and_the_correlation_asked_for(tau: float) -> None:
    """200,000 samples: the deviation of 3 is met within four standard errors of the effective number of samples."""
    x = ar1(stream(1, "a"), 200_000, 10.0, 3.0, tau)
    effective = 200_000 / max(2 * tau / 10.0, 1.0)
    assert x.std() == pytest.approx(3.0, abs=4 * 3.0 / np.sqrt(2 * effective))
    keep = np.exp(-10.0 / tau) if tau else 0.0
    assert np.corrcoef(x[1:], x[:-1])[0, 1] == pytest.approx(keep, abs=0.02)


def test_variable_lag_with_one_time_constant_is_the_lag() -> None:
    """Time constants are graded in steps of ten per cent; exp(4.6) is one of the grades."""
    x = np.random.default_rng(3).standard_normal(1000)
    tau = float(np.exp(4.6))
    assert variable_lag(x, 10.0, np.full(1000, tau)) == pytest.approx(lag(x, 10.0, tau))


def test_variable_lag_is_continuous_where_the_time_constant_jumps() -> None:
    x = np.linspace(0, 1, 1000)
    y = variable_lag(x, 1.0, np.where(np.arange(1000) < 500, 5.0, 50.0))
    assert np.max(np.abs(np.diff(y))) < 2e-3


def test_slice_is_half_open() -> None:
    grid = Grid.of(0, 1.0, 60.0)
    assert grid.slice(60.0, 180.0) == slice(1, 3)


def test_streams_differ_by_name_and_seed_only() -> None:
    first = stream(1, "P1", "noise").standard_normal(3)
    assert first == pytest.approx(stream(1, "P1", "noise").standard_normal(3))
    assert not np.allclose(first, stream(1, "P2", "noise").standard_normal(3))
    assert not np.allclose(first, stream(2, "P1", "noise").standard_normal(3))
