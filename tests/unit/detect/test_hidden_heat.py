"""Heat that averages may hide is told as a possibility, and nothing else is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.hidden_heat import detect_hidden_heat
from excursions.plant import Plant, Point
from excursions.records import Record
from excursions.states import recognise
from tests.builders import T0, coloured, make_signal, quantised

FINE = 30.0
DAYS = 20
SEEDS = pytest.mark.parametrize("seed", range(3))


def product(seed: int) -> np.ndarray:
    return coloured(int(DAYS * 86_400 / FINE), 68.0, 1.2, 240, seed)


def blast(x: np.ndarray, at: int, peak: float, minutes: float) -> np.ndarray:
    out = x.copy()
    out[at : at + round(minutes * 60 / FINE)] = peak
    return out


def averaged(x: np.ndarray, *, every: int = 20, **ratings: float) -> Record:
    point = Point(name="A1", measurand="ph", temperature="A1.T", **ratings)  # type: ignore[arg-type]
    plant = Plant(points=(point,))
    mean = quantised(x[: x.size // every * every].reshape(-1, every).mean(axis=1), 0.01)
    signal = make_signal(mean, every_s=every * FINE, measurand="temperature")
    signal = replace(signal, sampling=replace(signal.sampling, kind="averages"))
    states = recognise(point, plant, None, signal, None, None)
    return Record(point=point, plant=plant, value=None, temperature=signal, states=states)


@SEEDS
def test_three_minutes_of_steam_in_averages_of_ten_are_told_with_their_bound(seed: int) -> None:
    at = 28_807
    (event,) = detect_hidden_heat(
        averaged(blast(product(seed), at, 150.0, 3.0), rating_continuous_degc=100.0)
    )
    assert event.start <= T0 + round(at * FINE) * NS_PER_S <= event.end
    assert event.size < 100.0
    assert event.size_low <= 150.0 <= event.size_high
    assert (event.origin, event.severity) == ("undecided", "check")


@SEEDS
def test_a_rating_nobody_stated_makes_it_a_note(seed: int) -> None:
    (event,) = detect_hidden_heat(averaged(blast(product(seed) - 40.0, 28_800, 120.0, 3.0)))
    assert event.severity == "note"


@SEEDS
def test_a_process_that_only_wanders_hides_nothing(seed: int) -> None:
    assert detect_hidden_heat(averaged(product(seed), rating_continuous_degc=75.0)) == ()


@SEEDS
def test_a_hot_cleaning_of_half_an_hour_hides_nothing(seed: int) -> None:
    x = blast(product(seed) - 40.0, 28_800, 80.0, 40.0)
    assert detect_hidden_heat(averaged(x, rating_continuous_degc=100.0)) == ()


@SEEDS
def test_a_rise_whose_area_allows_no_heat_is_none(seed: int) -> None:
    x = blast(product(seed) - 40.0, 28_800, 50.0, 5.0)
    assert detect_hidden_heat(averaged(x, rating_continuous_degc=175.0)) == ()


def test_samples_of_seconds_hide_nothing() -> None:
    x = blast(product(0), 28_800, 90.0, 1.0)
    assert detect_hidden_heat(averaged(x, every=1, rating_continuous_degc=100.0)) == ()
