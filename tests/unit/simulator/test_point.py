"""Simulated points: what is planted shows, and the truth says what was planted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_data.simulator import Fault, SimulatedPoint, Swap
from sample_data.simulator.catalogue import CARES, PROBES
from sample_data.simulator.grid import DAY_S
from tests.unit.simulator.plain import STEAMED, plain, run


def median(sim: SimulatedPoint, values: np.ndarray, first: float, end: float) -> float:
    """Median of values over days [first, end)."""
    return float(np.median(values[sim.grid.slice(first * DAY_S, end * DAY_S)]))


def test_a_faultless_point_reads_the_truth_within_its_noise() -> None:
    sim = run(plain())
    assert np.median(np.abs(sim.reading - sim.true)) < 0.02
    assert np.max(np.abs(sim.error)) < 0.02


def test_the_same_seed_gives_the_same_point_and_another_seed_another() -> None:
    assert np.array_equal(run(plain()).reading, run(plain()).reading)
    assert not np.array_equal(run(plain()).reading, run(plain(), seed=6).reading)


def test_a_step_shows_at_its_size_and_an_adjustment_takes_it_out() -> None:
    care = replace(CARES["ph"], calibrate_days=(7.0,))
    sim = run(plain("ph", Fault("step", 4.0, size=0.5), care=care))
    assert median(sim, sim.error, 3.0, 4.0) == pytest.approx(0.0, abs=0.02)
    assert median(sim, sim.error, 4.0, 7.0) == pytest.approx(0.5, abs=0.02)
    assert median(sim, sim.error, 8.0, 10.0) == pytest.approx(0.0, abs=0.04)


@pytest.mark.parametrize("measurand", list(PROBES))
@pytest.mark.parametrize("share", [-0.1, 0.1])
def test_a_step_is_as_large_as_asked_for_every_measurand(measurand: str, share: float) -> None:
    level = 2.0 if measurand == "ph" else None
    spec = plain(measurand)
    size = share * (level or spec.process.setpoints[0])
    sim = run(replace(spec, faults=(Fault("step", 4.0, size=size),)))
    assert median(sim, sim.error, 5.0, 10.0) == pytest.approx(size, rel=0.1, abs=0.02 * abs(size) + 1e-3)


def test_a_frozen_reading_does_not_move() -> None:
    sim = run(plain("ph", Fault("stuck", 4.0, 1.0, mode="frozen")))
    part = sim.reading[sim.grid.slice(4.0 * DAY_S, 5.0 * DAY_S)]
    assert np.ptp(part) == 0.0


def test_broken_glass_reads_near_seven_whatever_the_process() -> None:
    sim = run(plain("ph", Fault("stuck", 4.0, mode="glass")))
    assert median(sim, sim.reading, 5.0, 10.0) == pytest.approx(7.0, abs=0.25)
    assert abs(median(sim, sim.true, 5.0, 10.0) - 7.0) > 0.5


@pytest.mark.parametrize("ratio", [3.0, 8.0])
def test_noise_grows_by_the_ratio_asked_for(ratio: float) -> None:
    sim = run(plain("ph", Fault("noise_growth", 5.0, 4.0, ratio, mode="abrupt")))
    moves = [np.diff(sim.reading[sim.grid.slice(a * DAY_S, b * DAY_S)]) for a, b in ((3.0, 5.0), (5.0, 9.0))]
    assert np.std(moves[1]) / np.std(moves[0]) == pytest.approx(ratio, rel=0.1)


def test_steam_above_the_rating_costs_slope_and_routine_steam_little() -> None:
    cooked = run(plain("ph", Fault("over_temperature", 6.0, 0.006, 148.0, mode="steam_out"), vessel=STEAMED))
    fine = run(plain("ph", vessel=STEAMED))
    lost = [life.now(0.0)[0] - life.now(9.9 * DAY_S)[0] for sim in (cooked, fine) for life in sim.lives]
    assert lost[0] > 0.03
    assert 0 < lost[1] < 0.01
    assert cooked.lives[0].doses[0][1] > 0.2


def test_heat_below_the_rating_does_no_damage() -> None:
    sim = run(plain("ph", Fault("over_temperature", 6.0, 0.006, 128.0, mode="steam_out")))
    assert sim.lives[0].doses == []


def test_held_output_stands_still_and_the_flag_says_so() -> None:
    care = replace(CARES["ph"], calibrate_days=(4.0,), hold=("calibration",))
    sim = run(plain("ph", care=care))
    assert np.count_nonzero(sim.hold) > 20
    assert np.ptp(sim.reading[sim.hold]) == 0.0


def test_a_calibration_without_hold_shows_its_buffers() -> None:
    care = replace(CARES["ph"], calibrate_days=(4.0,), standards=(7.0, 4.01))
    sim = run(plain("ph", care=care), step_s=10.0)
    span = next(s for s in sim.spans if s.kind == "calibration")
    for number, ph in enumerate((7.02, 4.0)):
        dip = sim.grid.slice(span.marks[f"left{number}_end"] - 120, span.marks[f"left{number}_end"] - 20)
        assert float(np.median(sim.reading[dip])) == pytest.approx(ph, abs=0.12)


def test_dirt_is_taken_off_by_cleaning_in_part() -> None:
    care = replace(CARES["turbidity"], clean_days=(5.0,), restored=0.75)
    sim = run(plain("turbidity", Fault("fouling", 1.0, 4.0, 2.0, more={"period": 4.0}), care=care))
    dirty, clean = median(sim, sim.error, 4.9, 5.0), median(sim, sim.error, 5.5, 6.0)
    assert dirty == pytest.approx(2.0, abs=0.1)
    assert clean == pytest.approx(0.5, abs=0.05)


def test_a_swap_brings_fresh_parameters_the_transmitter_does_not_know() -> None:
    probe = replace(PROBES["ph"], fresh_b=(7.0, 0.3))
    sim = run(plain("ph", probe=probe, swaps=(Swap(5.0, "S-2", logged=False),)))
    moved = sim.lives[1].b - sim.lives[0].b
    assert median(sim, sim.error, 6.0, 10.0) - median(sim, sim.error, 3.0, 5.0) == pytest.approx(
        -moved, abs=0.05
    )


def test_a_failing_element_enters_the_reading_through_the_compensation() -> None:
    """Ten kelvin too hot at 2 %/K and 25 degC: the reading falls to 1/1.2."""
    sim = run(plain("conductivity", Fault("temperature_fault", 5.0, 2.0, 10.0, mode="jump")))
    ratio = median(sim, sim.reading, 5.2, 6.8) / median(sim, sim.true, 5.2, 6.8)
    assert ratio == pytest.approx(1 / 1.2, rel=0.02)


def test_missing_and_bad_samples_are_as_many_as_planted() -> None:
    sim = run(plain("ph", Fault("dropout", 3.0, 0.5), Fault("bad_quality", 6.0, 0.25, more={"word": 1})))
    assert np.count_nonzero(sim.missing) * 60 == pytest.approx(0.5 * DAY_S)
    assert np.count_nonzero(sim.quality == 2) * 60 == pytest.approx(0.25 * DAY_S)
