"""Heat that averages may hide is told as a possibility, and nothing else is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.heat.hidden_heat import detect_hidden_heat
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


def cycles(seed: int) -> np.ndarray:
    """Weekly sterilisations at 121 °C for forty minutes, heated and cooled within half an hour."""
    x = coloured(int(DAYS * 86_400 / FINE), 35.0, 0.3, 240, seed)
    for day in (2, 9, 16):
        at = round(day * 86_400 / FINE)
        x[at : at + 60] = np.maximum(x[at : at + 60], np.linspace(35, 121.4, 60))
        x[at + 60 : at + 140] = 121.4
        x[at + 140 : at + 200] = np.linspace(121.4, 35, 60)
    return x


@SEEDS
def test_a_blast_that_passes_for_a_sterilisation_is_held_against_that_rating(seed: int) -> None:
    at = 40_000
    x = blast(cycles(seed), at, 149.0, 4.0)
    x[at + 8 : at + 24] = np.linspace(149.0, 40.0, 16)
    record = averaged(x, rating_sterilisation_degc=135.0)
    assert float(record.temperature.value.max()) < 135.0  # type: ignore[union-attr]
    (event,) = detect_hidden_heat(record)
    assert event.start <= T0 + round(at * FINE) * NS_PER_S <= event.end
    assert event.size_high > 149.0


@SEEDS
def test_sterilisations_as_ever_hide_nothing(seed: int) -> None:
    assert detect_hidden_heat(averaged(cycles(seed), rating_sterilisation_degc=125.0)) == ()


@SEEDS
def test_short_sterilisations_that_are_all_alike_hide_nothing(seed: int) -> None:
    """Ten minutes at 121 °C in averages of ten: each may have been hotter, none more than the others."""
    x = coloured(int(DAYS * 86_400 / FINE), 35.0, 0.3, 240, seed)
    for at in range(4_000, x.size - 4_000, 6_007):
        x[at : at + 20] = 121.4
        x[at + 20 : at + 40] = np.linspace(121.4, 35.0, 20)
    assert detect_hidden_heat(averaged(x, rating_sterilisation_degc=125.0)) == ()
