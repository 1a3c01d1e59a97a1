"""Steps: onset, size, and whose they are."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.evidence.beside import Changes
from excursions.detect.evidence.origin import Clue
from excursions.detect.level.alike import alike_changes, moves
from excursions.detect.level.step import _is_none, detect_step
from excursions.detect.series.shape import transition_of
from excursions.detect.series.survey import survey_of
from excursions.plant import Point
from excursions.records import CALIBRATING, MEASURING, STEAMING, Event, Record
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    on_exception,
    quantised,
    state_line,
    swinging_door,
    with_ramp,
    with_step,
)

N = 30_000
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(4))


def process(seed: int, n: int = N, at: float = 7.0) -> np.ndarray:
    return coloured(n, at, 0.05, 120, seed) + level(n, 0.0, 0.01, seed + 60)


def minute(event: Event) -> float:
    return (event.start - T0) / MINUTE


@SEEDS
def test_a_record_without_a_step_has_none(seed: int) -> None:
    assert detect_step(make_record(process(seed))) == ()


@SEEDS
@pytest.mark.parametrize("size", [0.4, -0.4, 1.5])
def test_onset_is_found_to_the_sample_and_size_within_its_interval(size: float, seed: int) -> None:
    (event,) = detect_step(make_record(with_step(process(seed), 17_123, size)))
    assert abs(minute(event) - 17_123) <= 2
    assert event.size_low - 0.05 <= size <= event.size_high + 0.05  # the process's own standard deviation
    assert event.origin == "probe"


@SEEDS
def test_a_ramp_of_minutes_is_one_step_that_begins_with_it(seed: int) -> None:
    (event,) = detect_step(make_record(with_ramp(process(seed), 17_000, 17_020, 0.8)))
    assert abs(minute(event) - 17_000) <= 6
    assert event.details["transition_s"] == pytest.approx(20 * 60, rel=0.4)


@SEEDS
def test_two_steps_are_two(seed: int) -> None:
    value = with_step(with_step(process(seed), 8_000, 0.5), 20_000, 0.9)
    assert [round(minute(e), -1) for e in detect_step(make_record(value))] == [8_000, 20_000]


@SEEDS
def test_set_points_that_come_and_go_are_the_process(seed: int) -> None:
    """Every one or two days the level goes to one of four set-points, with a lag of twenty minutes."""
    rng = np.random.default_rng(seed)
    target = np.repeat(rng.choice([6.6, 6.9, 7.2, 7.5], 30), rng.integers(900, 2_200, 30))[:N]
    value = process(seed, target.size, 0.0)
    value += coloured_lag(target, 20.0)
    assert [e for e in detect_step(make_record(value)) if e.origin == "probe"] == []


def coloured_lag(target: np.ndarray, tau: float) -> np.ndarray:
    from scipy.signal import lfilter

    a = np.exp(-1 / tau)
    return lfilter([1 - a], [1, -a], target - target[0]) + target[0]


@SEEDS
def test_a_jump_among_set_points_is_told_by_its_speed(seed: int) -> None:
    rng = np.random.default_rng(seed)
    target = np.repeat(rng.choice([6.6, 6.9, 7.2, 7.5], 30), rng.integers(900, 2_200, 30))[:N]
    value = process(seed, target.size, 0.0) + coloured_lag(target, 30.0)
    found = detect_step(make_record(with_step(value, 15_000, 0.9)))
    assert any(abs(minute(e) - 15_000) <= 2 and e.origin != "process" for e in found)


@SEEDS
def test_a_temperature_that_moves_too_speaks_for_the_process(seed: int) -> None:
    warm = with_step(coloured(N, 35.0, 0.1, 200, seed + 9), 17_000, 6.0)
    (event,) = detect_step(make_record(with_step(process(seed), 17_000, 0.5), warm))
    assert event.origin != "probe"
    assert any("temperature changed" in fact for fact in event.evidence)


@SEEDS
def test_a_neighbour_that_moves_too_makes_it_the_process(seed: int) -> None:
    common = with_step(coloured(N, 7.0, 0.05, 120, seed), 17_000, 0.5)
    other = make_signal(common + level(N, 0.1, 0.01, seed + 5), measurand="ph")
    record = make_record(common + level(N, 0.0, 0.01, seed + 6), neighbours={"A2": other})
    assert [e.origin for e in detect_step(record)] in ([], ["process"])


@SEEDS
def test_a_neighbour_that_stays_makes_it_the_probe(seed: int) -> None:
    """A step no larger than the process's own wandering shows against the neighbour."""
    common = coloured(N, 7.0, 0.3, 900, seed)
    other = make_signal(common + level(N, 0.1, 0.01, seed + 5), measurand="ph")
    value = with_step(common + level(N, 0.0, 0.01, seed + 6), 17_000, 0.3)
    (event,) = [e for e in detect_step(make_record(value, neighbours={"A2": other})) if e.origin == "probe"]
    assert abs(minute(event) - 17_000) <= 2


@SEEDS
def test_a_step_across_heat_says_so(seed: int) -> None:
    warm = coloured(N, 35.0, 0.1, 200, seed + 9)
    warm[17_000:17_040] = 145.0
    steam = (T0 + 16_990 * MINUTE, T0 + 17_060 * MINUTE)
    states = state_line(
        [(T0, steam[0], MEASURING), (*steam, STEAMING), (steam[1], T0 + N * MINUTE, MEASURING)]
    )
    (event,) = detect_step(make_record(with_step(process(seed), 17_000, 0.6), warm, states=states))
    assert event.origin == "probe"
    assert minute(event) == 17_060
    assert any("after heat: 145 °C" in fact for fact in event.evidence)


@SEEDS
def test_an_adjustment_is_no_step(seed: int) -> None:
    done = (T0 + 16_990 * MINUTE, T0 + 17_060 * MINUTE)
    states = state_line(
        [(T0, done[0], MEASURING), (*done, CALIBRATING), (done[1], T0 + N * MINUTE, MEASURING)]
    )
    assert detect_step(make_record(with_step(process(seed), 17_000, 0.6), states=states)) == ()


@SEEDS
def test_laboratory_samples_decide(seed: int) -> None:
    value = with_step(process(seed), 17_000, 0.4)
    at = np.arange(1_000, N, 2_000)
    truth = process(seed)[at]
    with_samples = make_record(value, sample_time=grid(N)[at], sample_value=truth)
    (event,) = detect_step(with_samples)
    (bare,) = detect_step(make_record(value))
    assert event.confidence > bare.confidence
    assert any(
        re.search(r"laboratory samples show the error move by \S+ pH$", fact) for fact in event.evidence
    )
    assert re.match(r"level went from \S+ to \S+ pH within ", event.evidence[0])


@SEEDS
def test_a_step_that_takes_an_error_away_is_no_fault(seed: int) -> None:
    """Nobody wrote the adjustment down; the samples were 0.4 below the reading before it and agree since."""
    value = with_step(process(seed) + 0.4, 17_000, -0.4)
    at = np.arange(1_000, N, 2_000)
    assert detect_step(make_record(value, sample_time=grid(N)[at], sample_value=process(seed)[at])) == ()


@SEEDS
def test_a_change_far_below_the_tolerance_is_not_reported(seed: int) -> None:
    value = with_step(level(N, 7.0, 0.002, seed), 17_000, 0.03)
    assert detect_step(make_record(value)) == ()


def test_severity_follows_the_tolerance() -> None:
    severities = [
        detect_step(make_record(with_step(process(1), 17_000, size)))[0].severity for size in (0.25, 0.8)
    ]
    assert severities == ["check", "act"]


@SEEDS
def test_a_valve_closed_for_a_shift_is_one_event_of_the_process(seed: int) -> None:
    value = process(seed)
    for at in (8_000, 15_000, 22_000):
        value[at : at + 300] -= 3.0 * (1 - np.exp(-np.arange(300) / 8.0))
        value[at + 300 : at + 500] -= 3.0 * np.exp(-np.arange(200) / 8.0)
    events = detect_step(make_record(value))
    assert [round(minute(event), -2) for event in events] == [8_000, 15_000, 22_000]
    assert {event.origin for event in events} == {"process"}
    assert all((event.end - event.start) / MINUTE == pytest.approx(320, abs=40) for event in events)
    assert all(event.parts for event in events)


def walked_to(seed: int) -> np.ndarray:
    """Set-points of 2 every two days, each walked to with a time constant of twenty minutes."""
    moves = np.resize([1.0, -1.0], N // 2_880 + 1)[np.arange(N) // 2_880]
    lagged = np.empty(N)
    last = moves[0]
    for i, target in enumerate(moves):
        last += (target - last) / 20
        lagged[i] = last
    return process(seed) + lagged


@SEEDS
def test_a_jump_smaller_than_the_set_points_that_are_walked_to_is_found(seed: int) -> None:
    found = detect_step(make_record(with_step(walked_to(seed), 17_123, 0.5)))
    (event,) = [e for e in found if e.origin != "process"]
    assert abs(minute(event) - 17_123) <= 2


@SEEDS
def test_set_points_alone_that_are_walked_to_are_nobodys_fault(seed: int) -> None:
    assert [e for e in detect_step(make_record(walked_to(seed))) if e.origin != "process"] == []


def test_what_a_calibration_of_the_log_took_out_did_not_come_back_by_itself() -> None:
    """An adjustment at the transmitter leaves no trace but the level, which returns at the minute of the entry."""
    value = with_step(process(3), 10_000, 0.6, until=20_000)
    record = make_record(value)
    entry = (record.point.name, T0 + 20_003 * MINUTE)
    logged = dataclasses.replace(record, plant=dataclasses.replace(record.plant, noted=(entry,)))
    alone, (told,) = detect_step(record), detect_step(logged)
    assert alone[0].confidence < told.confidence
    assert told.origin == "probe"
    assert "a calibration or cleaning took it out again" in told.evidence
    assert abs(minute(told) - 10_000) <= 2


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_change_within_a_minute_amid_a_medium_that_takes_a_quarter_of_an_hour_is_not_laid_to_it(
    seed: int,
) -> None:
    """Ten seconds a sample, set-points followed with a time constant of ten minutes, one of them while the fault lasts."""
    n = 14 * 8_640
    x = 4.0 + coloured(n, 0.0, 0.03, 360, seed) + level(n, 0.0, 0.005, seed + 9)
    at = np.arange(n)
    for when, size in ((20_000, 1.0), (35_000, 1.2), (50_000, -1.5), (95_000, 0.7), (110_000, -0.9)):
        x += size * (1 - np.exp(-np.maximum(at - when, 0) / 60.0))
    x -= 0.6 * np.clip((at - 70_000) / 6, 0, 1)
    found = detect_step(make_record(quantised(x, 0.01), measurand="oxygen", every_s=10.0))
    (event,) = [event for event in found if event.details["transition_s"] <= 60.0]
    assert event.origin == "undecided"
    assert event.size == pytest.approx(-0.6, abs=0.1)


@SEEDS
def test_three_jumps_of_a_process_that_never_jumps_are_not_its_way(seed: int) -> None:
    """A damped output takes two samples to show each of them."""
    offset = with_step(with_step(with_step(np.zeros(N), 7_000, 0.4), 15_000, 0.3), 23_000, -0.5)
    damped = 0.6 * offset + 0.4 * np.roll(offset, 1)
    events = detect_step(make_record(process(seed) + damped))
    assert [round(minute(event)) for event in events] == [7_000, 15_000, 23_000]
    assert [event.origin for event in events] == ["undecided"] * 3
    assert [event.size for event in events] == pytest.approx([0.4, 0.3, -0.5], abs=0.08)


@SEEDS
def test_jumps_recorded_on_exception_came_within_one_look(seed: int) -> None:
    """The last value stood, within the dead band, until one look before: the silence before a jump is no slowness of it."""
    value = coloured(N, 300.0, 4.0, 240, seed) + level(N, 0.0, 0.5, seed + 60)
    for at, size in ((14_003, 35.0), (17_021, -50.0), (23_111, 40.0)):
        value = with_step(value, at, size)
    time, value = on_exception(grid(N, 20.0), value, 2.0, 3_600.0)
    record = make_record(value, time=time, measurand="redox")
    assert record.value is not None
    assert record.value.sampling.kind == "exception"
    found = [event for event in detect_step(record) if event.origin != "process"]
    assert 23_111 in [round(3 * minute(event)) for event in found]  # the others are undone


@SEEDS
def test_where_the_record_ends_what_explains_the_others_may_still_have_come(seed: int) -> None:
    """Seven jumps alike, all but one beside a temperature that moved: the last of them the record cuts off."""
    value = process(seed)
    for at in (*range(4_000, 28_000, 4_000), N - 25):
        value = with_step(value, at, 0.6)
    record = make_record(value)
    survey = survey_of(record)
    assert survey is not None
    changes = Changes(record, survey, survey.changes, "", ())
    shapes = [transition_of(survey, change) for change in changes.every]

    def alike(one: int) -> int:
        company = [(Clue(odds=1.5 if k == one else 0.15),) for k in range(len(shapes))]
        return len(alike_changes(changes, one, shapes, company))

    assert len(shapes) == 7
    assert [alike(one) for one in (2, 6)] == [0, 6]


@SEEDS
def test_a_change_whose_samples_go_the_other_way_is_no_step(seed: int) -> None:
    """Where a basin is aired and rests in turn, neighbouring blocks differ one way and the samples between them the other."""
    record = make_record(with_step(process(seed), 15_000, 0.6))
    survey = survey_of(record)
    assert survey is not None
    changes = Changes(record, survey, survey.changes, "", ())
    (change,) = survey.changes
    shape = transition_of(survey, change)
    start, until = int(survey.live.time[shape.first]), int(survey.live.time[-1])
    assert not _is_none(changes, change, shape, start, until)
    assert _is_none(changes, dataclasses.replace(change, size=-change.size), shape, start, until)


def steamed(seed: int, *, every_time: bool) -> Record:
    """Ten steamings a week apart, after one of which the reading stands half a unit higher; the neighbour, which measures another
    medium, is steamed an hour later: each time, or that time alone."""
    week, length, n = 2_016, 12, 11 * 2_016  # of five minutes
    begins = np.arange(1, 11) * week
    spans, at = [], 0
    other = coloured(n, 5.0, 0.05, 120, seed + 1) + level(n, 0.0, 0.005, seed + 2)
    own = coloured(n, 7.0, 0.05, 120, seed) + level(n, 0.0, 0.005, seed + 3)
    for number, begin in enumerate(begins.tolist()):
        spans += [
            (T0 + at * 5 * MINUTE, T0 + begin * 5 * MINUTE, MEASURING),
            (T0 + begin * 5 * MINUTE, T0 + (begin + length) * 5 * MINUTE, STEAMING),
        ]
        at = begin + length
        own[begin:at] -= 3.0
        if every_time or number == 5:
            other[begin + 12 : begin + 24] -= 4.0
    own[begins[5] + length + 3 :] += 0.6
    spans.append((T0 + at * 5 * MINUTE, T0 + n * 5 * MINUTE, MEASURING))
    beside = {"A2": make_signal(other, every_s=300.0)}
    return make_record(own, every_s=300.0, states=state_line(spans), neighbours=beside)


@SEEDS
def test_a_neighbour_that_is_steamed_after_each_steaming_is_no_company_of_a_step_after_one(seed: int) -> None:
    each, once = (
        [e for e in detect_step(steamed(seed, every_time=so)) if e.size > 0.4] for so in (True, False)
    )
    assert each
    assert all(event.origin != "process" for event in each)
    assert any("as it mostly does after such a state" in words for event in each for words in event.evidence)
    assert all(event.origin == "process" for event in once)


def behind_a_filter(seed: int, *, step: float) -> Record:
    """Turbidity kept by a swinging door: a backwash every 38 h lets a peak of half an hour through; on day 30 the level rises."""
    n = 50 * 1_440
    rng, at = np.random.default_rng(seed), np.arange(n)
    x = level(n, 0.09, 0.002, seed) * np.exp(coloured(n, 0.0, 0.06, 1_440, seed + 5))
    for washed in np.cumsum(rng.uniform(34, 42, 30) * 60):
        x += np.where(at >= washed, 0.5 * np.exp(-np.clip(at - washed, 0, None) / 25.0), 0.0)
    time, kept = swinging_door(grid(n), np.round(with_ramp(x, 43_200, 43_230, step), 3), 0.004, 7_200)
    point = Point(name="A1", measurand="turbidity", value="A1", tolerance=0.05)
    return make_record(kept, time=time, measurand="turbidity", point=point)


@pytest.mark.parametrize("seed", [1, 2])
def test_peaks_that_are_over_within_the_hour_are_not_the_like_of_a_level_that_stays(seed: int) -> None:
    record = behind_a_filter(seed, step=0.15)
    survey = survey_of(record)
    assert survey is not None
    assert moves(survey, 0.15, 1_800.0) > 10
    assert moves(survey, 0.15, 1_800.0, stay=8) <= 2
    (event,) = detect_step(record)
    assert minute(event) == pytest.approx(43_215, abs=180)
    assert detect_step(behind_a_filter(seed, step=0.0)) == ()
