"""Changes of level against a famous series, a change-point library, and nominal error rates.

Sources: the Nile at Aswan 1871-1970 (carried by statsmodels), whose change between 1898 and 1899 is the
textbook case (G. W. Cobb, "The problem of the Nile: conditional solution to a changepoint problem",
Biometrika 65 (1978) 243); the change-point library ruptures; asymptotic points of D. W. K. Andrews,
Econometrica 61 (1993) 821 and 71 (2003) 395.
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.datasets import nile

from excursions.detect.catalogue import detect
from excursions.detect.series.scan import changes
from excursions.detect.series.short import strongest, tail_probability
from tests.builders import T0, coloured, level, make_record, with_step

NO_RUPTURES = "ruptures is not made for this version of Python"


def nile_record():
    data = nile.load().data
    time = np.array([np.datetime64(f"{int(year)}-01-01", "ns") for year in data["year"]]).astype(np.int64)
    return make_record(data["volume"].to_numpy(dtype=float), time=time, measurand="other")


def test_the_change_of_the_nile_comes_out_as_a_step_in_1899() -> None:
    (step,) = [event for event in detect(nile_record()) if event.kind == "step"]
    assert np.datetime64(step.start, "ns").astype("datetime64[Y]") == np.datetime64("1899")
    assert step.size < 0


def test_the_step_of_the_nile_has_the_size_of_the_difference_of_means() -> None:
    """The windows beside the change are shorter than the two eras: a tenth of the difference is allowed."""
    data = nile.load().data
    eras = data["volume"][data["year"] >= 1899].mean() - data["volume"][data["year"] < 1899].mean()
    (step,) = [event for event in detect(nile_record()) if event.kind == "step"]
    assert step.size == pytest.approx(eras, rel=0.1)


def test_nothing_else_is_found_in_the_nile() -> None:
    assert [event.kind for event in detect(nile_record())] == ["step"]


@pytest.mark.parametrize("seed", range(8))
def test_change_points_agree_with_a_change_point_library(seed: int) -> None:
    """Piecewise constant levels in white noise: exact segmentation with the known number of changes."""
    ruptures = pytest.importorskip("ruptures", reason=NO_RUPTURES)
    signal, truth = ruptures.pw_constant(600, 1, 4, noise_std=1.0, delta=(4, 8), seed=seed)
    series = signal[:, 0]
    theirs = np.array(ruptures.KernelCPD(kernel="linear", min_size=10).fit(series).predict(n_bkps=4)[:-1])
    ours = np.array([change.at for change in changes(series, np.zeros(600, bool), floor=0.0)])
    ours = np.array([k for k in ours if np.min(np.abs(theirs - k)) <= 2])
    assert np.all(np.abs(theirs - np.array(truth[:-1])) <= 2)
    assert ours.size == theirs.size


@pytest.mark.parametrize("seed", range(6))
def test_a_step_in_autocorrelated_noise_lies_where_the_library_puts_it(seed: int) -> None:
    series = with_step(coloured(1_000, 0.0, 1.0, 5.0, seed=seed), 600, 4.0)
    ruptures = pytest.importorskip("ruptures", reason=NO_RUPTURES)
    theirs = ruptures.Binseg(model="l2", min_size=50, jump=1).fit(series).predict(n_bkps=1)[0]
    found = changes(series, np.zeros(1_000, bool), floor=0.0)
    assert min(abs(change.at - theirs) for change in found) <= 5


@pytest.mark.parametrize("nominal", [0.10, 0.05, 0.01])
def test_tail_probability_passes_through_the_asymptotic_points(nominal: float) -> None:
    statistic = {0.10: 7.12, 0.05: 8.68, 0.01: 12.16}[nominal]
    assert tail_probability(statistic) == pytest.approx(nominal, rel=0.06)


# Upper bounds: nominal plus three standard errors of a share of 1 500 draws for white noise; under
# autocorrelation the estimated coefficient adds to the rate, which shrinks with the length.
RATES = [(100, 0.0, 1.4), (300, 0.0, 1.4), (300, 2.0, 2.0), (300, 4.5, 3.0)]


@pytest.mark.parametrize(("n", "tau", "factor"), RATES)
def test_false_alarm_rate_of_the_short_series_test(n: int, tau: float, factor: float) -> None:
    draws = 1_500
    statistic = np.empty(draws)
    for i in range(draws):
        _, size, error = strongest(coloured(n, 0.0, 1.0, tau, seed=10_000 * n + i), floor=0.0)
        statistic[i] = (size / error) ** 2
    rate = np.mean([tail_probability(s) <= 0.05 for s in statistic])
    assert rate <= 0.05 * factor


@pytest.mark.parametrize("tau", [0.0, 5.0, 100.0])
def test_scan_of_a_record_without_change_alarms_no_oftener_than_it_says(tau: float) -> None:
    """Expected number 0.1 a record, over 150 records: at most 15 and three roots of that."""
    alarms = sum(
        bool(changes(coloured(3_000, 0.0, 1.0, tau, seed=900 + i), np.zeros(3_000, bool), floor=0.0))
        for i in range(150)
    )
    assert alarms <= 15 + 3 * 15**0.5


def test_a_step_of_ten_noises_is_found_to_the_sample() -> None:
    value = with_step(level(20_000, 7.0, noise=0.01, seed=4), 12_345, 0.1)
    (step,) = [e for e in detect(make_record(value, every_s=60.0, measurand="other")) if e.kind == "step"]
    assert step.start == T0 + 12_345 * 60_000_000_000
    assert step.size_low < 0.1 < step.size_high
