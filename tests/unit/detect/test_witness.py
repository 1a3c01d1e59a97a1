"""Without a second witness a change of the reading stays undecided; with one it is the probe's."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.evidence.laboratory import samples_clue
from excursions.detect.evidence.origin import (
    MOVED,
    WIDEST_COMPANY,
    Clue,
    Companion,
    companions,
    moved_together,
    witnessed,
)
from excursions.detect.level.step import detect_step
from excursions.detect.noise.noise import detect_noise
from excursions.detect.series.survey import survey_of
from excursions.detect.slow.disturbances import time_constant
from excursions.detect.slow.drift import detect_drift
from excursions.records import MEASURING, WASHING
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    quantised,
    state_line,
    with_ramp,
    with_step,
)

N = 30_000
MINUTE = 60_000_000_000
SEEDS = pytest.mark.parametrize("seed", range(3))


def process(seed: int, tau: float = 120.0) -> np.ndarray:
    return coloured(N, 7.0, 0.05, tau, seed) + level(N, 0.0, 0.01, seed + 60)


def test_a_witness_lifts_the_cap() -> None:
    assert witnessed(0.95, ()) == witnessed(0.95, (Clue(odds=1.5),)) < 0.7
    assert 0.7 < witnessed(0.95, (Clue(odds=2.0),)) < 0.85, "one mild witness makes it likely, not certain"
    assert witnessed(0.95, (Clue(odds=8.0), Clue(odds=6.0))) == 0.95
    assert witnessed(0.95, (Clue(odds=2.0), Clue(odds=0.1))) < 0.4, "a witness against is heard as well"
    assert witnessed(0.2, ()) == 0.2


@SEEDS
def test_a_step_that_took_its_time_is_undecided_when_alone(seed: int) -> None:
    value = with_ramp(process(seed), 17_000, 17_060, 0.8)
    (alone,) = detect_step(make_record(value))
    assert alone.origin == "undecided"
    other = make_signal(process(seed) + level(N, 0.0, 0.01, seed + 5), measurand="ph")
    (apart,) = detect_step(make_record(value, neighbours={"A2": other}))
    assert apart.origin == "probe"


@SEEDS
def test_a_step_faster_than_any_vessel_needs_no_other_witness(seed: int) -> None:
    (event,) = detect_step(make_record(with_step(process(seed), 17_000, 0.8)))
    assert event.origin == "probe"


@SEEDS
def test_a_step_inside_missing_data_may_have_taken_its_time(seed: int) -> None:
    value = with_step(process(seed), 17_400, 0.8)
    value[17_000:17_800] = np.nan
    for event in detect_step(make_record(value)):
        assert event.origin != "probe"


@SEEDS
def test_glass_that_still_follows_a_little_is_not_taken_for_a_quiet_process(seed: int) -> None:
    live = coloured(N, 0.0, 0.1, 400, seed) + level(N, 0.0, 0.01, seed + 60)
    value = 6.0 + live
    value[12_000:] = 6.96 + 0.1 * live[12_000:]
    told = [event for event in detect_noise(make_record(value)) if event.kind == "noise_collapse"]
    assert told
    assert told[0].origin != "process"
    assert any("broken glass" in fact for fact in told[0].evidence)


@SEEDS
def test_a_coating_leaves_the_slow_wander_and_a_quiet_process_does_not(seed: int) -> None:
    wander = coloured(N, 0.0, 0.2, 400, seed)
    fast = level(N, 0.0, 0.02, seed + 9)
    calm = np.ones(N)
    calm[12_000:15_000] = 0.25
    (coated,) = detect_noise(make_record(7.0 + wander + calm * fast))
    (quiet,) = detect_noise(make_record(7.0 + np.cumsum(calm * np.diff(wander, prepend=0.0)) + calm * fast))
    assert any("stayed as it was" in fact for fact in coated.evidence)
    assert any("changed with it" in fact for fact in quiet.evidence)
    assert quiet.origin == "process"
    assert coated.origin != "process"


@SEEDS
def test_a_drift_among_many_washes_is_not_taken_out_by_one_of_them(seed: int) -> None:
    """A wash every eight hours; one of very many returns is bound to lie near a change of the process."""
    value = with_ramp(coloured(N, 7.0, 0.03, 300, seed), 12_000, 16_000, 0.5)
    value[16_480:] -= 0.4  # a set-point back, at a wash by accident
    value[18_880:] += 0.4
    value[21_280:] -= 0.45
    edges = range(480, N - 480, 480)
    line, last = [], T0
    for at in edges:
        line += [(last, T0 + at * MINUTE, MEASURING), (T0 + at * MINUTE, T0 + (at + 3) * MINUTE, WASHING)]
        last = T0 + (at + 3) * MINUTE
    line.append((last, T0 + N * MINUTE, MEASURING))
    told = [event.origin for event in detect_drift(make_record(value, states=state_line(line)))]
    assert told, "it is found, and left open or to the process"
    assert "probe" not in told


@pytest.mark.parametrize(("moved", "speaks_for_the_probe"), [(40.0, True), (4.0, False)])
def test_samples_that_move_a_little_say_nothing_for_a_large_step(
    moved: float, speaks_for_the_probe: bool
) -> None:
    value = with_step(level(N, 100.0, 0.5, 3), 15_000, 40.0)
    at = np.arange(600, N - 600, 1_000)
    truth = value[at] - np.where(at >= 15_000, moved, 0.0)
    record = make_record(value, measurand="other", sample_time=grid(N)[at], sample_value=truth)
    survey = survey_of(record)
    assert survey is not None
    clues = samples_clue(record, survey, T0 + 15_000 * MINUTE, T0 + 20_000 * MINUTE, 40.0)
    assert (clues[0].odds > 2) == speaks_for_the_probe


def test_a_straight_ramp_has_no_time_constant() -> None:
    time = grid(400)
    lag = np.exp(-np.arange(400) / 40.0)
    ramp = np.clip(1.0 - np.arange(400) / 250.0, 0.0, 1.0)
    assert time_constant(time, lag, noise=0.001) == pytest.approx(40 * 60, rel=0.05)
    assert time_constant(time, ramp, noise=0.001) == 0.0


@SEEDS
def test_a_collapse_that_came_with_a_jump_of_the_level_begins_with_it(seed: int) -> None:
    """Glass of a probe in a loop at pH 7.3 breaks: within three minutes it reads 6.95 and hardly follows."""
    at = 15_007
    value = coloured(N, 7.3, 0.06, 20, seed) + coloured(N, 0.0, 0.03, 4, seed + 3)
    value[at:] = 6.95 + coloured(N - at, 0.0, 0.012, 120, seed + 5) + level(N - at, 0.0, 0.004, seed)
    value[at : at + 3] = np.linspace(value[at - 1], 6.95, 3)
    (event,) = [one for one in detect_noise(make_record(value)) if one.kind == "noise_collapse"]
    assert abs((event.start - T0) / MINUTE - at) <= 5
    assert event.origin != "process"


@pytest.mark.parametrize(("resolution", "moved"), [(0.1, False), (0.001, True)])
def test_one_count_of_a_coarse_temperature_is_no_move(resolution: float, moved: bool) -> None:
    warm = 30.0 + quantised(with_step(np.zeros(N), 15_000, 0.1), 0.1)
    warm[::37] += resolution  # shows how finely it is recorded
    record = make_record(with_step(process(0), 15_000, 0.8), warm)
    survey = survey_of(record)
    assert survey is not None
    at = survey.blocks.at(T0 + 15_000 * MINUTE)
    (other,) = companions(record, survey)
    assert (moved_together(other, at, width=2, broken=False) > MOVED) == moved


@pytest.mark.parametrize(
    ("stays", "broken", "moved"), [(False, True, False), (False, False, True), (True, True, True)]
)
def test_a_temperature_still_returning_from_steam_did_not_move_with_the_reading(
    stays: bool, broken: bool, moved: bool
) -> None:
    level = np.random.default_rng(5).normal(60.0, 0.1, 200)
    level[100] += 20.0  # the last of the cooling
    level[100:] += 5.0 * stays
    other = Companion(name="the temperature", level=level, usual=np.full(WIDEST_COMPANY, 0.1), related=False)
    assert (moved_together(other, 100, width=2, broken=broken) > MOVED) == moved
