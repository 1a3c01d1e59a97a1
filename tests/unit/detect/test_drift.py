"""Slow walks, saw-teeth, slower responses and cycles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.evidence.laboratory import disagreements
from excursions.detect.noise.periodic import detect_periodic
from excursions.detect.series.slopes import steady_runs
from excursions.detect.series.straight import slope_and_error
from excursions.detect.series.survey import survey_of, surveyed
from excursions.detect.slow.disturbances import time_constant
from excursions.detect.slow.drift import detect_drift
from excursions.detect.slow.fouling import detect_fouling
from excursions.detect.slow.plateaus import joined
from excursions.detect.slow.resets import adjusted
from excursions.detect.slow.response import detect_slow_response
from excursions.detect.slow.walks import Walk
from excursions.detect.slow.way_gone import gone_as_far
from excursions.records import CALIBRATING, CLEANING, MEASURING, RECOVERING, STEAMING, THEIR_SIZE, Record
from tests.builders import T0, coloured, grid, level, make_record, make_signal, state_line, with_ramp

N = 8_640  # sixty days at ten minutes
STEP = 600 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(4))


def process(seed: int, noise: float = 0.05) -> np.ndarray:
    return coloured(N, 7.0, noise, 12, seed) + level(N, 0.0, 0.01, seed + 80)


def record(value: np.ndarray, **given):
    return make_record(value, every_s=600.0, **given)


def with_states(code: int, every: int, length: int = 6):
    """Spans of one state every so many samples, measuring between."""
    spans, at = [], 0
    for begin in range(every, N - every // 2, every):
        spans += [
            (T0 + at * STEP, T0 + begin * STEP, MEASURING),
            (T0 + begin * STEP, T0 + (begin + length) * STEP, code),
        ]
        at = begin + length
    return state_line([*spans, (T0 + at * STEP, T0 + N * STEP, MEASURING)])


def saw(every: int, size: float, begin: int, end: int) -> np.ndarray:
    at = np.arange(N)
    since = (at % every) / every
    return np.where((at >= begin) & (at < end), size * since, 0.0)


@SEEDS
def test_a_piece_of_a_walk_is_not_told_where_samples_show_all_of_it(seed: int) -> None:
    """Five weeks of drift, three days of it steeper; a sample every three days."""
    error = with_ramp(with_ramp(np.zeros(N), 3_600, 8_600, 0.36), 6_000, 6_430, 0.24)
    at = np.arange(300, N, 432)
    truth = process(seed)[at] + level(at.size, 0.0, 0.03, seed + 7)
    (event,) = detect_drift(record(process(seed) + error, sample_time=grid(N, 600.0)[at], sample_value=truth))
    assert event.origin == "probe"
    assert event.size == pytest.approx(0.6, abs=0.12)
    assert (event.start - T0) / STEP < 5_400


@SEEDS
def test_a_stationary_record_does_not_drift(seed: int) -> None:
    assert detect_drift(record(process(seed))) == ()


@SEEDS
def test_a_drift_has_its_onset_size_and_rate(seed: int) -> None:
    (event,) = detect_drift(record(with_ramp(process(seed), 3_000, 5_000, 1.0)))
    assert event.kind == "drift"
    assert event.size == pytest.approx(1.0, abs=0.1)
    assert abs((event.start - T0) / STEP - 3_000) <= 200
    assert event.details["rate_per_day"] == pytest.approx(1.0 / (2_000 / 144), rel=0.2)


@SEEDS
def test_the_value_alone_does_not_say_whose_drift_it_is(seed: int) -> None:
    (event,) = detect_drift(record(with_ramp(process(seed), 3_000, 5_000, 1.0)))
    assert event.origin == "undecided"


@SEEDS
def test_a_neighbour_that_stays_says_it(seed: int) -> None:
    common = coloured(N, 7.0, 0.3, 400, seed)
    other = make_signal(common + level(N, 0.0, 0.01, seed + 4), every_s=600.0, measurand="ph")
    value = with_ramp(common + level(N, 0.0, 0.01, seed + 5), 3_000, 5_000, 0.6)
    (event,) = [e for e in detect_drift(record(value, neighbours={"A2": other})) if e.origin == "probe"]
    assert abs((event.start - T0) / STEP - 3_000) <= 200


@SEEDS
def test_laboratory_samples_say_it(seed: int) -> None:
    at = np.arange(200, N, 400)
    samples = {"sample_time": grid(N, 600.0)[at], "sample_value": process(seed)[at]}
    (event,) = detect_drift(record(with_ramp(process(seed), 3_000, 5_000, 1.0), **samples))
    assert event.origin == "probe"


@SEEDS
def test_a_drift_goes_on_through_set_points(seed: int) -> None:
    rng = np.random.default_rng(seed)
    target = np.repeat(rng.choice([6.0, 7.0, 8.0], 20), rng.integers(300, 560, 20))[:N]
    value = with_ramp(
        process(seed) - 7.0 + np.pad(target, (0, N - target.size), mode="edge"), 3_000, 5_000, 1.0
    )
    found = [e for e in detect_drift(record(value)) if abs((e.start - T0) / STEP - 3_000) <= 400]
    assert len(found) == 1
    assert found[0].size == pytest.approx(1.0, abs=0.25)


@SEEDS
def test_fouling_is_a_saw_tooth_over_cleanings(seed: int) -> None:
    value = process(seed) + saw(432, -0.6, 0, N)
    (event,) = detect_fouling(record(value, states=with_states(CLEANING, 432)))
    assert event.kind == "fouling"
    assert event.origin == "probe"
    assert event.size == pytest.approx(-0.6, abs=0.12)
    assert event.details["restored_share"] == pytest.approx(1.0, abs=0.25)


@SEEDS
def test_cleanings_without_a_saw_tooth_are_no_fouling(seed: int) -> None:
    assert detect_fouling(record(process(seed), states=with_states(CLEANING, 432))) == ()


@SEEDS
def test_a_process_that_is_cleaned_at_one_place_of_its_cycle_is_not_fouled(seed: int) -> None:
    phase = np.arange(N) % 432
    value = process(seed) + np.where(phase < 70, -2.0, 0.4)  # another medium right after each cleaning
    assert detect_fouling(record(value, states=with_states(CLEANING, 432))) == ()


def product_steps(seed: int) -> np.ndarray:
    """Water, then three products in a fixed order with lengths of their own, between cleanings 432 samples apart."""
    rng = np.random.default_rng([seed, 5])
    out = np.zeros(N)
    for begin in range(0, N, 432):
        for part, down in ((0.25, 0.3), (0.5, 0.1), (0.75, 0.2)):
            at = begin + int(432 * (part + rng.uniform(-0.1, 0.1)))
            out[at : begin + 432] -= down
    return out


@SEEDS
@pytest.mark.parametrize("every", [1, 3])
def test_products_that_go_by_steps_between_cleanings_are_no_dirt(seed: int, every: int) -> None:
    """Their median over the stretches goes by and by: the steps come at another time in each."""
    made = make_record(
        (process(seed, 0.02) + product_steps(seed))[::every],
        every_s=600.0 * every,
        states=with_states(CLEANING, 432),
    )
    assert detect_fouling(made) == ()


@SEEDS
def test_dirt_grows_through_products_that_go_by_steps(seed: int) -> None:
    value = process(seed, 0.02) + product_steps(seed) + saw(432, -0.8, 0, N)
    (event,) = detect_fouling(record(value, states=with_states(CLEANING, 432)))
    assert event.kind == "fouling"


@SEEDS
@pytest.mark.parametrize("bend", [0.35, 1.0, 3.0])
def test_dirt_that_settles_or_quickens_is_dirt(seed: int, bend: float) -> None:
    since = (np.arange(N) % 432) / 432
    value = process(seed, 0.02) - 0.6 * np.expm1(-since / bend) / np.expm1(-1 / bend)
    (event,) = detect_fouling(record(value, states=with_states(CLEANING, 432)))
    assert event.kind == "fouling"


@SEEDS
def test_a_batch_that_clears_up_between_cleanings_is_no_film_on_the_window(seed: int) -> None:
    cloudy = 30.0 - 20.0 * ((np.arange(N) % 432) / 432) + 5 * (process(seed) - 7.0)
    made = record(cloudy, states=with_states(CLEANING, 432), measurand="turbidity")
    assert [event for event in detect_fouling(made) if event.origin != "process"] == []


@SEEDS
def test_drift_taken_out_by_calibrations_is_drift(seed: int) -> None:
    value = process(seed) + saw(864, 0.5, 0, N)
    (event,) = detect_fouling(record(value, states=with_states(CALIBRATING, 864)))
    assert (event.kind, event.origin) == ("drift", "probe")


@SEEDS
def test_a_trifle_is_not_reported(seed: int) -> None:
    assert detect_drift(record(with_ramp(process(seed, 0.002), 3_000, 5_000, 0.04))) == ()


def test_joined_plateaus_keep_the_walk_and_drop_the_jumps() -> None:
    value = with_ramp(process(1), 3_000, 5_000, 1.0)
    for at in (1_500, 3_600, 4_300, 6_500):
        value[at:] += 2.0 if at % 200 else -2.0
    survey = survey_of(record(value))
    pieces = joined(survey.rest, survey.blocks.broken, quantum=survey.quantum)
    assert pieces.level[-300:].mean() - pieces.level[:300].mean() == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize("walk", ["white", "wandering"])
def test_no_steadier_walk_is_seen_in_chance_oftener_than_said(walk: str) -> None:
    """0.1 expected a record: 60 records may give 6 and three roots of that."""
    found = 0
    for seed in range(60):
        x = level(3_000, 0.0, 1.0, seed)
        found += bool(steady_runs(np.cumsum(x) if walk == "wandering" else x, at_most=0.1))
    assert found <= 6 + 3 * 6**0.5


@SEEDS
def test_slope_error_covers_the_truth_under_autocorrelation(seed: int) -> None:
    x = np.arange(400.0)
    slope, error = slope_and_error(x, 0.01 * x + coloured(400, 0.0, 1.0, 5, seed))
    assert abs(slope - 0.01) < 4 * error


def test_samples_that_disagree_for_a_while_are_named() -> None:
    at = np.arange(200, N, 400)
    value = process(2)
    truth = value[at] + level(at.size, 0.0, 0.02, 3)
    truth[8:13] -= 0.5
    one = record(value, sample_time=grid(N, 600.0)[at], sample_value=truth)
    (found,) = disagreements(one, survey_of(one))
    assert (found.start - T0) // STEP == at[8]
    assert found.shift == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize("tau", [300.0, 900.0, 3_600.0])
def test_time_constant_of_an_exponential(tau: float) -> None:
    """The end of the record is taken as settled: after seven time constants a thousandth is missing."""
    time = np.arange(0, 7 * tau, 60.0)
    value = 5.0 + 3.0 * np.exp(-time / tau)
    found = time_constant((time * 1e9).astype(np.int64), value, noise=0.001)
    assert found == pytest.approx(tau, abs=45.0)


@SEEDS
def test_slower_returns_after_steaming_are_found(seed: int) -> None:
    every = 288
    value, spans, at = process(seed, 0.01), [], 0
    for k, begin in enumerate(range(every, N - every, every)):
        tau = (2.0 if k < 16 else 9.0) * (1 + 0.05 * np.sin(7 * k))
        value[begin : begin + 6] = 9.0
        after = np.arange(every - 6)
        value[begin + 6 : begin + every] += 2.0 * np.exp(-(after + 1) / tau)
        edges = T0 + np.array([at, begin, begin + 6, begin + 40]) * STEP
        spans += [
            (edges[0], edges[1], MEASURING),
            (edges[1], edges[2], STEAMING),
            (edges[2], edges[3], RECOVERING),
        ]
        at = begin + 40
    states = state_line([*spans, (T0 + at * STEP, T0 + N * STEP, MEASURING)])
    (event,) = detect_slow_response(record(value, states=states))
    assert event.size == pytest.approx(4.5, rel=0.35)
    assert (event.start - T0) / STEP == pytest.approx(17 * every, abs=every)


@SEEDS
@pytest.mark.parametrize("period", [5.3, 22.0])
def test_a_cycle_is_found_with_its_period_and_span(period: float, seed: int) -> None:
    n = 40_000
    value = coloured(n, 7.0, 0.02, 600, seed) + level(n, 0.0, 0.01, seed + 3)
    value[14_000:24_000] += 0.03 * np.sin(2 * np.pi * np.arange(10_000) / period)
    (event,) = detect_periodic(make_record(value))
    assert event.details["period_s"] == pytest.approx(60 * period, rel=0.01)
    assert event.size == pytest.approx(0.03, rel=0.2)
    assert abs((event.start - T0) / (60 * NS_PER_S) - 14_000) <= 150
    assert abs((event.end - T0) / (60 * NS_PER_S) - 24_000) <= 150


@SEEDS
def test_red_noise_has_no_cycle(seed: int) -> None:
    assert detect_periodic(make_record(coloured(40_000, 7.0, 0.1, 200, seed))) == ()


@SEEDS
def test_a_cycle_the_process_always_has_is_no_event(seed: int) -> None:
    n = 40_000
    value = level(n, 7.0, 0.01, seed) + 0.03 * np.sin(2 * np.pi * np.arange(n) / 22.0)
    assert detect_periodic(make_record(value)) == ()


@SEEDS
def test_a_cycle_the_temperature_shows_too_is_the_process(seed: int) -> None:
    n = 40_000
    cycle = np.zeros(n)
    cycle[14_000:24_000] = np.sin(2 * np.pi * np.arange(10_000) / 22.0)
    warm = 35.0 + level(n, 0.0, 0.05, seed + 1) + 0.3 * cycle
    (event,) = detect_periodic(make_record(level(n, 7.0, 0.01, seed) + 0.03 * cycle, warm))
    assert event.origin == "process"


@SEEDS
def test_a_walk_that_goes_on_to_the_end_begins_where_it_began(seed: int) -> None:
    """Two thirds of the record: too long for any window beside another."""
    value = with_ramp(process(seed, 0.03), 2_800, N, -0.6)
    (event,) = detect_drift(record(value))
    assert event.size == pytest.approx(-0.6, rel=0.15)
    assert (event.start - T0) / STEP == pytest.approx(2_800, abs=0.1 * N)


@SEEDS
def test_of_two_that_walk_apart_the_one_that_went_is_named(seed: int) -> None:
    """Both show the same process; one of them walks away for half of the record."""
    truth = process(seed)
    good = truth + level(N, 0.0, 0.01, seed + 5)
    bad = with_ramp(truth + level(N, 0.0, 0.01, seed + 6), 4_000, N, -0.5)
    (gone,) = detect_drift(record(bad, neighbours={"A2": make_signal(good, every_s=600.0, measurand="ph")}))
    kept = detect_drift(record(good, neighbours={"A2": make_signal(bad, every_s=600.0, measurand="ph")}))
    assert "this reading went away, A2 stayed where it was" in gone.evidence
    assert all("A2 went away, this reading stayed where it was" in event.evidence for event in kept)
    assert gone.origin == "probe"
    assert all(event.origin != "probe" for event in kept)
    assert all(event.details[THEIR_SIZE] == pytest.approx(-0.5, rel=0.2) for event in kept)


def season(seed: int, days: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Temperature [degC] and oxygen [mg/L] of a river at ten minutes over more than a year."""
    at = np.arange(days * 144)
    temperature = 13 - 9 * np.cos(2 * np.pi * at / (365 * 144)) + coloured(at.size, 0.0, 1.0, 432, seed)
    return temperature, 14.5 - 0.3 * temperature + coloured(at.size, 0.0, 0.25, 144, seed + 3)


@pytest.mark.parametrize("seed", range(2))
def test_a_season_is_the_temperatures_doing(seed: int) -> None:
    temperature, oxygen = season(seed)
    events = detect_drift(make_record(oxygen, temperature, every_s=600.0, measurand="oxygen"))
    assert [event for event in events if event.origin != "process"] == []
    events = detect_drift(make_record(oxygen, every_s=600.0, measurand="oxygen"))
    assert all("explains" not in words for event in events for words in event.evidence)


def test_a_drift_in_spring_is_not_explained_by_a_temperature_that_the_reading_never_followed() -> None:
    temperature, _ = season(5)
    value = with_ramp(coloured(temperature.size, 7.0, 0.05, 144, 6), 12_000, 24_000, 0.8)
    events = detect_drift(make_record(value, temperature, every_s=600.0))
    assert [event.origin for event in events] == ["undecided"]
    assert all("explains" not in words for event in events for words in event.evidence)


def back_and_forth(seed: int, fade: float) -> np.ndarray:
    """Batches between 0.5 and 60, of which the upper level fades by this share from day 25 to 55."""
    draw, value, at = np.random.default_rng(seed), np.full(N, 0.5), 20
    while at < N:
        until = min(at + int(18 * np.exp(draw.normal(0, 0.2))), N)
        value[at:until] = 60.0 + draw.normal(0, 1.0)
        at = until + int(30 * np.exp(draw.normal(0, 0.3)))
    share = 1 - fade * np.clip((np.arange(N) / 144 - 25) / 30, 0, 1)
    return np.where(value > 30, value * share, value) + level(N, 0.0, 0.02, seed)


@SEEDS
def test_a_season_that_was_there_before_has_not_to_do_with_a_drift_that_begins(seed: int) -> None:
    """Thirty still days, then thirty of drift; the temperature falls by the same rate through all sixty."""
    value = with_ramp(process(seed), N // 2, N, -0.5)
    falling = coloured(N, 18.0, 0.05, 12, seed + 30) - 5.0 * np.arange(N) / N
    begun = coloured(N, 18.0, 0.05, 12, seed + 30) - 5.0 * np.maximum(np.arange(N) - N // 2, 0) / N
    season, together = (detect_drift(record(value, temperature=t)) for t in (falling, begun))
    assert "walked too" not in " ".join(season[0].evidence)
    assert season[0].origin == "undecided"
    assert together[0].origin == "process" or together[0].confidence < 0.6 * season[0].confidence


@pytest.mark.parametrize("seed", range(3))
def test_a_steep_walk_of_days_is_one_where_blocks_are_hours_long(seed: int) -> None:
    """A year of ten-minute samples is seen in blocks of hours, over which a walk of three days looks sudden."""
    n = 52_560
    value = coloured(n, 300.0, 5.0, 12, seed) + level(n, 0.0, 1.0, seed + 40)
    value = with_ramp(value, 30_000, 30_360, 280.0)
    events = detect_drift(make_record(value, every_s=600.0, measurand="redox"))
    (event,) = (one for one in events if one.origin != "process")
    assert event.size == pytest.approx(280.0, rel=0.1)
    assert (event.start - T0) / STEP == pytest.approx(30_000, abs=60)


@SEEDS
def test_one_of_two_levels_that_fades_is_told_and_left_open(seed: int) -> None:
    (event,) = detect_drift(record(back_and_forth(seed, 0.3)))
    assert "of its upper level alone: the lower one stayed" in event.evidence
    assert event.size == pytest.approx(-18, rel=0.25)
    assert event.origin == "undecided"
    assert (event.start - T0) / STEP / 144 == pytest.approx(25, abs=6)
    assert detect_drift(record(back_and_forth(seed, 0.0))) == ()


def beside_a_twin(seed: int) -> Record:
    """Set-points that two probes follow one after the other, so that their difference twitches at each; one drifts by 0.5."""
    rng = np.random.default_rng(seed + 7)
    moves = np.sort(rng.integers(0, N, 60))
    held = 0.3 * rng.integers(-1, 3, 61)[np.searchsorted(moves, np.arange(N))]
    held += coloured(N, 0.0, 0.03, 12, seed)
    first, second = (
        lfilter([1 - k], [1, -k], held) + level(N, 6.6, 0.005, seed + i) for i, k in enumerate((0.3, 0.85))
    )
    twin = make_signal(second, every_s=600.0, measurand="ph")
    return record(with_ramp(first, 4_000, 6_500, 0.5), neighbours={"B": twin})


def test_a_drift_beside_a_twin_keeps_its_size_through_many_set_points() -> None:
    found = [event for seed in range(4) for event in detect_drift(beside_a_twin(seed))]
    assert [event.origin for event in found] == ["probe"] * 4
    assert np.median([event.size for event in found]) == pytest.approx(0.5, abs=0.12)


@SEEDS
def test_a_walk_that_comes_back_by_itself_is_the_process(seed: int) -> None:
    """A shock of load in a digester: down within a day and a half, back within ten; nobody touched the probe."""
    day = np.arange(N) / 144
    shock = np.clip(day - 20, 0, None) / 2.5
    value = process(seed) - 0.6 * shock * np.exp(1 - shock)
    assert [e for e in detect_drift(record(value)) if e.origin != "process"] == []


@SEEDS
def test_a_walk_that_ends_at_once_is_not_said_to_come_back_by_itself(seed: int) -> None:
    value = with_ramp(process(seed), 3_000, 3_600, 0.8) - 0.8 * (np.arange(N) >= 4_200)
    (event,) = [e for e in detect_drift(record(value)) if e.size > 0]
    assert event.origin == "undecided"
    assert not any("by and by" in words for words in event.evidence)


def among_set_points(seed: int) -> np.ndarray:
    """Set-points 0.3 apart come and go."""
    rng = np.random.default_rng(seed)
    moves, high = np.sort(rng.integers(0, N, 24)), rng.integers(0, 2, 25)
    return process(seed, noise=0.02) + 0.3 * high[np.searchsorted(moves, np.arange(N))]


def test_a_drift_over_a_third_of_a_record_is_not_its_own_usual_change() -> None:
    """Set-points that happen to undo it look like cleanings, and then its size is shared among them: not so in most."""
    drifts = [with_ramp(among_set_points(seed), N // 2, N - N // 8, 0.6) for seed in range(8)]
    told = [event for value in drifts for event in detect_drift(record(value)) if event.origin != "process"]
    assert len(told) == 8
    assert [(event.start - T0) / STEP for event in told] == pytest.approx([N / 2] * 8, abs=N / 16)
    assert np.median([event.size for event in told]) == pytest.approx(0.6, abs=0.1)


@pytest.mark.parametrize("seed", range(8))
def test_set_points_alone_are_no_drift(seed: int) -> None:
    assert [e for e in detect_drift(record(among_set_points(seed))) if e.origin != "process"] == []


@pytest.mark.parametrize(("days", "others"), [(2.5, 4), (4.5, 4), (8.0, 0)])
def test_what_other_batches_do_within_a_week_is_counted(days: float, others: int) -> None:
    """Of five batches each climbs as far, and is emptied; over more than a week set-points come and go as well."""
    day = np.arange(N) / 144
    value = np.interp(day % 12, [0, 2, 2 + days, 11.5, 11.51, 12], [40, 40, 100, 100, 40, 40])
    made = surveyed(record(value + coloured(N, 0.0, 1.0, 6, 5), measurand="other"))
    survey = survey_of(made)
    assert survey is not None
    lo, hi = (survey.blocks.at(T0 + int(d * 144) * STEP) for d in (26.0, 26.0 + days))
    walk = Walk(lo=lo, hi=hi, before=40.0, size=60.0, spread=1.0, expected=0.0)
    assert gone_as_far(survey, walk) == others


@pytest.mark.parametrize("seed", range(2))
def test_storms_that_muddy_a_river_at_once_and_clear_by_and_by_are_no_film_on_the_window(seed: int) -> None:
    """Dirt on the window makes turbidity rise; what falls for days and is sent back up at once is rain."""
    rng = np.random.default_rng(seed)
    storms = np.zeros(12_960)
    for k in range(6):
        since = np.arange(12_960) - int((k + rng.uniform(0.2, 0.8)) * 713)
        height, falls = rng.uniform(0.3, 1.2), rng.uniform(70, 230)
        storms += np.where(since >= 0, height * np.exp(-np.maximum(since, 0) / falls), 0.0)
    muddy = 6.0 * np.exp(0.8 * storms + coloured(12_960, 0.0, 0.15, 216, seed))
    found = detect_drift(record(muddy * (1.0 + 0.02 * rng.normal(size=12_960)), measurand="turbidity"))
    assert [event for event in found if event.origin != "process"] == []


@pytest.mark.parametrize("seed", range(2))
def test_an_adjustment_is_no_drift_of_its_day(seed: int) -> None:
    """What calibrations put right, in the middle of the record, is no walk of the hours about it."""
    value = process(seed) - np.where(np.arange(N) < N // 2, 0.3, 0.0)
    done = (T0 + (N // 2 - 3) * STEP, T0 + (N // 2 + 2) * STEP)
    states = state_line([(T0, done[0], MEASURING), (*done, CALIBRATING), (done[1], T0 + N * STEP, MEASURING)])
    walk = Walk(lo=0, hi=0, before=6.7, size=0.3, spread=0.05, expected=1e-4)
    given = surveyed(record(value, states=states))
    survey = survey_of(given)
    assert survey is not None
    lo, hi = survey.blocks.at(done[0]) - 8, survey.blocks.at(done[1]) + 8
    assert adjusted(given, survey, replace(walk, lo=lo, hi=hi))
    assert not adjusted(given, survey, replace(walk, lo=lo, hi=hi, size=-0.3))
    assert not adjusted(given, survey, replace(walk, lo=hi, hi=hi + 20))


@SEEDS
def test_a_walk_that_a_cleaning_took_out_is_over_with_the_cleaning(seed: int) -> None:
    begin, ended, length = 3_000, 5_500, 6
    cleaned = (1_200, 2_400, 5_700)
    truth = process(seed)
    value = with_ramp(truth, begin, ended, 0.6)
    value[cleaned[-1] :] -= 0.6
    spans, at = [], 0
    for first in cleaned:
        spans += [
            (T0 + at * STEP, T0 + first * STEP, MEASURING),
            (T0 + first * STEP, T0 + (first + length) * STEP, CLEANING),
        ]
        at = first + length
    states = state_line([*spans, (T0 + at * STEP, T0 + N * STEP, MEASURING)])
    drawn = np.arange(300, N, 1_008)
    samples = {"sample_time": grid(N, 600.0)[drawn], "sample_value": truth[drawn]}
    (event,) = detect_drift(record(value, states=states, **samples))
    assert event.kind == "fouling"
    assert event.back_at == T0 + (cleaned[-1] + length) * STEP
