"""Lethality, A0 and ageing against published figures; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S
from excursions.physics.heat import ageing_dose, lethality_f0


def held(degc: float, minutes: float) -> tuple[np.ndarray, np.ndarray]:
    time = np.array([0, round(minutes * NS_PER_MINUTE)], dtype=np.int64)
    return time, np.array([degc, degc])


# Lethal rates at z = 10 K, as printed in text books and lecture notes on thermal processing.
@pytest.mark.parametrize(
    ("degc", "rate"), [(101.1, 0.01), (111.1, 0.1), (121.1, 1.0), (131.1, 10.0), (141.1, 100.0)]
)
def test_lethal_rate(degc: float, rate: float) -> None:
    assert lethality_f0(*held(degc, 1.0)) == pytest.approx(rate, rel=1e-12)


# Minutes that give F0 = 2.4 min (the 12-D process), same notes; the last two are printed rounded to 15 s and 1.5 s.
@pytest.mark.parametrize(
    ("degc", "minutes"), [(101.1, 240.0), (111.1, 24.0), (121.1, 2.4), (131.1, 0.24), (141.1, 0.024)]
)
def test_twelve_d_times(degc: float, minutes: float) -> None:
    assert lethality_f0(*held(degc, minutes)) == pytest.approx(2.4, rel=1e-9)


# Worked one-line examples with reference 121 degC.
@pytest.mark.parametrize(("degc", "expected"), [(121.0, 15.0), (111.0, 1.5)])
def test_fifteen_minutes_with_reference_121(degc: float, expected: float) -> None:
    assert lethality_f0(*held(degc, 15.0), t_ref=121.0) == pytest.approx(expected, rel=1e-12)


def test_fao_fish_canning_sum_of_rates() -> None:
    """FAO 1985, Fish canning, 1.5: rates that sum to 2.925 at steps of 5 min make F0 = 14.6 min.

    Only the sum is at hand, so a process of our own with that sum stands in: one rate held at each step's
    whole length.  A piecewise constant temperature is integrated exactly, hence the printed digits.
    """
    rates = np.array([0.1, 0.3, 0.5, 0.776, 0.776, 0.473])
    assert rates.sum() == pytest.approx(2.925)
    total = sum(lethality_f0(*held(121.1 + 10 * np.log10(r), 5.0)) for r in rates)
    assert total == pytest.approx(14.6, abs=0.05)


def test_fine_sampling_reaches_the_exact_integral_of_a_ramp() -> None:
    """A ramp from 100 to 121.1 degC at 1 K/min: F0 = (z / ln 10) (1 - 10^-2.11) min, any sampling."""
    exact = 10 / np.log(10) * (1 - 10**-2.11)
    for n in (2, 7, 1000):
        time = np.linspace(0, 21.1 * NS_PER_MINUTE, n).astype(np.int64)
        temp = 100 + time / NS_PER_MINUTE
        assert lethality_f0(time, temp) == pytest.approx(exact, rel=1e-9)


# ISO 15883-1, Annex B: A0 in seconds at 80 degC, z = 10 K: 600 is 10 min at 80 degC; 3000 and 60 are levels.
@pytest.mark.parametrize(
    ("degc", "minutes", "a0"),
    [(80.0, 10.0, 600.0), (70.0, 100.0, 600.0), (90.0, 1.0, 600.0), (80.0, 50.0, 3000.0)],
)
def test_a0_is_the_same_integral_at_80_degc(degc: float, minutes: float, a0: float) -> None:
    assert 60 * lethality_f0(*held(degc, minutes), t_ref=80.0) == pytest.approx(a0, rel=1e-12)


# Accelerated ageing (form of ASTM F1980): 55 against 25 degC with Q10 = 2 is a factor 8; 730 d become 91.25 d.
def test_accelerated_ageing_factor() -> None:
    days = np.array([0, round(91.25 * 24 * NS_PER_HOUR)], dtype=np.int64)
    dose_h = ageing_dose(days, np.array([55.0, 55.0]), 25.0)
    assert dose_h / 24 == pytest.approx(730.0, rel=1e-12)


def test_ageing_without_the_floor_counts_cool_time_too() -> None:
    time = np.array([0, 10 * NS_PER_HOUR], dtype=np.int64)
    temp = np.array([20.0, 20.0])
    assert ageing_dose(time, temp, 30.0) == 0.0
    assert ageing_dose(time, temp, 30.0, above_only=False) == pytest.approx(5.0)


def test_seconds_and_nanoseconds_are_not_mixed_up() -> None:
    assert lethality_f0(np.array([0, 60 * NS_PER_S]), np.array([121.1, 121.1])) == pytest.approx(1.0)
