"""The plant's regression against a reference statistics library."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from excursions.link.lessons import clustered


def record(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    cluster = np.repeat(np.arange(12), 6)
    terms = np.column_stack(
        [random.uniform(0.0, 20.0, 72), random.poisson(2.0, 72), random.uniform(0.5, 2.0, 72)]
    )
    change = (
        terms @ np.array([-0.1, -0.05, -0.4])
        + random.normal(0.0, 0.3, 12)[cluster]
        + random.normal(0.0, 0.5, 72)
    )
    return terms, change, random.uniform(0.5, 2.0, 72), cluster


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_coefficients_are_those_of_weighted_least_squares(seed: int) -> None:
    terms, change, weight, cluster = record(seed)
    value, _ = clustered(terms, change, weight, cluster)
    assert value == pytest.approx(sm.WLS(change, terms, weights=weight).fit().params, rel=1e-9)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_covariance_is_the_cluster_jackknife(seed: int) -> None:
    """Each cluster left out and refitted by the library; CV3 of MacKinnon, Nielsen, Webb (2023)."""
    terms, change, weight, cluster = record(seed)
    value, covariance = clustered(terms, change, weight, cluster)
    fits = [
        sm.WLS(change[cluster != g], terms[cluster != g], weights=weight[cluster != g]).fit().params
        for g in range(12)
    ]
    off = np.array(fits) - value
    assert covariance == pytest.approx(11.0 / 12.0 * off.T @ off, rel=1e-8)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_errors_are_near_the_librarys_cluster_robust_ones(seed: int) -> None:
    """The jackknife is a little wider than CR1, by construction; on such even doses by no more than half."""
    terms, change, weight, cluster = record(seed)
    _, covariance = clustered(terms, change, weight, cluster)
    robust = sm.WLS(change, terms, weights=weight).fit(cov_type="cluster", cov_kwds={"groups": cluster}).bse
    ratio = np.sqrt(np.diag(covariance)) / robust
    assert np.all((ratio > 0.9) & (ratio < 1.5))
