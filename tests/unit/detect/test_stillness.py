"""The chance number of a stillness is what it says it is, for any colour of the noise."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.series.stillness import bins_of, least_width, stillness
from excursions.detect.series.survey import survey_of
from excursions.detect.still.stuck import StuckSettings, detect_stuck, shortest_stuck
from tests.builders import coloured, level, make_record, quantised, with_stuck

N, RECORDS, WIDTH = 4_000, 24, 12


@pytest.mark.parametrize(("hours", "step"), [(0, 0.0), (0, 0.02), (1, 0.0), (20, 0.02)])
def test_chance_shows_the_stillest_stretch_of_a_live_record_as_often_as_it_says(
    hours: int, step: float
) -> None:
    below = 0
    for seed in range(RECORDS):
        value = coloured(N, 7.0, 0.05, 60 * hours, seed) if hours else level(N, 7.0, 0.05, seed)
        value = value + level(N, 0.0, 0.005, seed + 900)
        survey = survey_of(make_record(quantised(value, step) if step else value))
        bins = bins_of(survey.live, survey.blocks, thinned=False)
        lo = int(np.argmin(bins.ranges(WIDTH)))  # the luckiest of them all
        below += stillness(bins, lo, lo + WIDTH, step=step, at_most=0.05).expected <= 0.1
    assert below <= 0.1 * RECORDS + 3 * (0.1 * 0.9 * RECORDS) ** 0.5  # three standard errors above a tenth


def test_a_stretch_that_hardly_moves_is_not_chance() -> None:
    value = level(N, 7.0, 0.05, 1)
    value[2_000:2_100] = 7.0 + level(100, 0.0, 0.002, 2)
    survey = survey_of(make_record(value))
    bins = bins_of(survey.live, survey.blocks, thinned=False)
    found = stillness(bins, *bins.within(2_000, 2_099), step=0.0, at_most=0.05)
    assert found.expected < 1e-3
    assert found.least > 0.1


def test_a_record_too_short_to_compare_says_nothing() -> None:
    survey = survey_of(make_record(level(60, 7.0, 0.05, 1)))
    bins = bins_of(survey.live, survey.blocks, thinned=False)
    assert stillness(bins, 0, 2, step=0.0, at_most=0.05).expected == np.inf
    assert least_width(bins, 0.0, step=0.0, at_most=0.01) is None


@pytest.mark.parametrize("seed", range(3))
def test_a_flicker_of_the_stated_length_is_found(seed: int) -> None:
    value = quantised(coloured(20_000, 7.0, 0.08, 120, seed) + level(20_000, 0.0, 0.01, seed + 30), 0.01)
    shortest = shortest_stuck(make_record(value), StuckSettings())[1]
    length = int(1.3 * shortest / 60)
    at = 10_000 + int(np.argmin(np.abs(value[10_000:11_000] - 7.0)))
    value = with_stuck(value, at, at + length)
    value[at : at + length] += 0.01 * (np.random.default_rng(seed).random(length) < 0.3)
    (event,) = detect_stuck(make_record(quantised(value, 0.01)))
    assert abs(event.start - survey_of(make_record(value)).live.time[at]) <= 10 * 60_000_000_000


@pytest.mark.parametrize("seed", range(3))
def test_a_process_that_is_busy_by_turns_is_not_stuck_while_it_rests(seed: int) -> None:
    busy = np.exp(coloured(20_000, 0.0, 1.0, 600, seed))
    value = 7.0 + np.cumsum(busy * np.random.default_rng(seed).normal(0, 0.001, 20_000))
    assert not [e for e in detect_stuck(make_record(quantised(value, 0.01))) if e.origin == "probe"]


def test_a_flicker_between_two_counts_of_a_coarse_converter_is_found() -> None:
    value = quantised(
        coloured(20_000, 115.0, 30.0, 60, 1), 100 / 204
    )  # the export writes one decimal all the same
    value[8_000:10_000] = 131.0 + 100 / 204 * np.random.default_rng(2).integers(0, 2, 2_000)
    (event,) = detect_stuck(make_record(np.round(value, 1), measurand="redox"))
    assert event.details["samples"] == pytest.approx(2_000, abs=20)
    assert event.origin == "probe"


def test_a_long_standstill_hides_no_shorter_one() -> None:
    value = quantised(coloured(40_000, 7.0, 0.08, 120, 3) + level(40_000, 0.0, 0.03, 33), 0.01)
    value = with_stuck(with_stuck(value, 10_000, 12_000), 30_000, 30_100)
    assert len(detect_stuck(make_record(value))) == 2


@pytest.mark.parametrize("seed", range(3))
def test_runs_of_a_coarse_reading_drawn_on_a_finer_grid_are_not_stuck(seed: int) -> None:
    """Whole numbers every quarter of an hour, drawn on a grid of ten minutes: thirds, and runs that begin where they like."""
    logged = np.round(coloured(9_000, 520.0, 6.0, 400, seed) + level(9_000, 0.0, 0.35, seed + 5))
    value = np.round(np.interp(np.arange(13_000) * 600.0, np.arange(9_000) * 900.0, logged), 4)
    assert detect_stuck(make_record(value, every_s=600.0, measurand="conductivity")) == ()
