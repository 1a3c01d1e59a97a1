"""Slower response where changes of level are the habit of the process."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.detect.series.survey import survey_of, surveyed
from excursions.detect.slow.disturbances import between_stays
from excursions.detect.slow.phases import FALL, phase_changes
from excursions.detect.slow.response import (
    ResponseSettings,
    _slowest,
    detect_slow_response,
    slower_since,
    slowest_run,
)
from excursions.records import CLEANING, MEASURING, FloatArray
from tests.builders import T0, grid, level, make_record, on_exception, state_line

N, EVERY_S = 40_000, 10.0
SEEDS = pytest.mark.parametrize("seed", [1, 2])


def batches(tau_s: FloatArray, seed: int) -> FloatArray:
    """pH 4, 9, 7 over and over for 30 to 60 min each, followed with a time constant (n,) that may change."""
    rng = np.random.default_rng(seed)
    length = rng.integers(180, 360, N // 180)
    held = np.repeat(np.resize([4.0, 9.0, 7.0], length.size) + rng.normal(0, 0.05, length.size), length)[:N]
    value = np.empty(N)
    now = float(held[0])
    for i, (target, share) in enumerate(zip(held, -np.expm1(-EVERY_S / tau_s), strict=True)):
        now += share * (target - now)
        value[i] = now
    return np.round(value + level(N, 0.0, 0.006, seed), 2)


@SEEDS
def test_batches_followed_more_slowly_are_found(seed: int) -> None:
    tau = np.interp(np.arange(N), [0, 22_000, 28_000, N], [15.0, 15.0, 120.0, 120.0])
    (event,) = detect_slow_response(make_record(batches(tau, seed), every_s=EVERY_S))
    assert event.size == pytest.approx(8, rel=0.6)
    assert 21_000 < (event.start - T0) / (EVERY_S * 1e9) < 28_000
    assert event.open_end
    assert event.severity == "check"
    assert "upward and downward alike" in event.evidence


@SEEDS
def test_samples_kept_on_exception_are_known_to_a_look_not_to_a_silence(seed: int) -> None:
    """Between cleanings next to nothing is kept for an hour; of a return from one, every look is."""
    rng = np.random.default_rng(seed)
    quiet = level(N, 7.0, 0.006, seed)
    quiet[::4_000] += 1.0
    time, value = on_exception(grid(N, EVERY_S), np.round(quiet, 2), 0.1, 3_600.0)
    record = surveyed(make_record(value, time=time))
    survey = survey_of(record)
    assert survey is not None
    assert survey.interval_s == 3_600.0
    tau = np.append(np.full(50, 54.0), np.full(20, 277.0)) * np.exp(rng.normal(0, 0.02, 70))
    when = T0 + np.arange(70) * (N // 70) * round(EVERY_S * 1e9)
    event = _slowest(record, survey, (when, tau, np.full(70, 4)), ResponseSettings())
    assert event is not None
    assert event.size == pytest.approx(277 / 54, rel=0.1)


@SEEDS
def test_batches_followed_as_ever_are_none(seed: int) -> None:
    """About as fast as the samples come: one or two of them on the way, by chance."""
    assert detect_slow_response(make_record(batches(np.full(N, 9.0), seed), every_s=EVERY_S)) == ()


@SEEDS
def test_a_growth_from_faster_than_a_block_is_seen_from_its_begin(seed: int) -> None:
    """What was followed within a block and what takes longer are marked in one or two blocks, and compared all the same."""
    tau = np.interp(np.arange(N), [0, 12_000, N], [15.0, 15.0, 300.0])
    (event,) = detect_slow_response(make_record(batches(tau, seed), every_s=EVERY_S))
    assert 10_000 < (event.start - T0) / (EVERY_S * 1e9) < 22_000
    assert event.size > 4
    assert event.open_end


@pytest.mark.parametrize(("then_s", "events"), [(60.0, 0), (120.0, 1)])
def test_a_sample_more_or_less_is_no_slower_response(then_s: float, events: int) -> None:
    """One or two samples to 63 % is when, between two samples, the changes of a batch happened to come."""
    record = surveyed(make_record(level(20_000, 7.0, 0.01, 3), every_s=30.0))
    when = T0 + np.arange(47) * 3_600 * 10**9 * 3
    tau = np.where(np.arange(47) < 25, 30.0, then_s)
    every = (when, tau, np.full(47, -2))
    found = _slowest(record, survey_of(record), every, ResponseSettings())
    assert (found is not None) == events


@pytest.mark.parametrize(("start_up_s", "events"), [(4_100.0, 0), (60.0, 1)])
def test_a_process_followed_in_two_ways_is_not_slower_where_the_slow_way_comes_oftener(
    start_up_s: float, events: int
) -> None:
    """Shut-downs take a minute, start-ups an hour; the record begins with three start-ups. Without them later on, it is slower."""
    record = surveyed(make_record(level(20_000, 7.0, 0.01, 3), every_s=30.0))
    tau = np.full(17, 60.0)
    tau[[0, 1, 2, 5]] = 3_900.0
    tau[[9, 11, 13, 15]] = start_up_s
    every = (T0 + np.arange(17) * 10_800 * 10**9, tau, np.full(17, -1))
    found = _slowest(record, survey_of(record), every, ResponseSettings())
    assert (found is not None) == events


def test_what_is_slower_is_held_against_its_like() -> None:
    """Returns of a minute and of an hour in turn, an hour a little oftener before; both take three times as long from then on."""
    record = surveyed(make_record(level(20_000, 7.0, 0.01, 3), every_s=30.0))
    sort = np.array([4, 5] * 12 + [5, 5] + [4, 5, 4] * 4)
    tau = np.where(sort == 5, 3_600.0, 60.0)
    tau[26:] *= 3.0
    when = T0 + np.arange(sort.size) * 10_800 * 10**9
    event = _slowest(record, survey_of(record), (when, tau, sort), ResponseSettings())
    assert event is not None
    assert event.size == pytest.approx(3.0)


def test_changes_have_room_and_no_break_to_either_side() -> None:
    """Marks side by side are one change; the next change, a break or the end of the record ends the look at it."""
    broken = np.zeros(100, dtype=np.bool_)
    broken[[50, 73]] = True
    marks = np.array([1, 20, 21, 30, 49, 60, 80, 98])
    at, lo, hi = (found.tolist() for found in between_stays(marks, broken))
    assert (at, lo, hi) == ([20, 30, 80], [18, 28, 78], [29, 46, 96])
    assert [found.size for found in between_stays(np.empty(0, np.int64), broken)] == [0, 0, 0]


@pytest.mark.parametrize("seed", range(4))
def test_a_growth_over_most_of_the_record_is_held_against_what_was_before(seed: int) -> None:
    """A coating that grows from a third of the record on to its end: half of what there is is slow, and no two alike."""
    rng = np.random.default_rng(seed)
    log = np.log(55.0 * (1 + 6 * np.clip((np.arange(80) - 25) / 40, 0, 1))) + rng.normal(0.0, 0.05, 80)
    log -= np.median(log)
    assert slowest_run(log, 0.1)[2] > 0.02
    i, j, chance = slower_since(log, 0.1)
    assert 25 <= i <= 45
    assert j == 80
    assert chance < 1e-6


@pytest.mark.parametrize("search", [slowest_run, slower_since])
def test_disturbances_that_resemble_the_one_before_are_no_slower_response(
    search: Callable[[FloatArray, float], tuple[int, int, float]],
) -> None:
    """Of 200 records of 120 whose neighbours correlate by 0.8, at most one in ten stands out; by their scatter alone half do."""
    rng = np.random.default_rng(3)
    every = [lfilter([1.0], [1.0, -0.8], rng.normal(0.0, 0.3, 140))[20:] for _ in range(200)]
    assert sum(search(log, 0.1)[2] < 0.02 for log in every) <= 20


@SEEDS
def test_the_fall_from_caustic_is_timed_from_when_it_began_not_from_the_last_value_kept(seed: int) -> None:
    """On the plateau the dead band keeps a value every few minutes; the rinse comes some time after one of them."""
    every, top = 3_000, 180
    rng = np.random.default_rng(seed)
    plateau = np.arange(N) % every
    target = np.where((plateau >= 100) & (plateau < 100 + top), 62.0, 0.7)
    share = -np.expm1(-EVERY_S / 45.0)
    value = lfilter([share], [1.0, share - 1.0], target)
    value *= 1.0 + lfilter([0.0024], [1.0, -0.8], rng.normal(size=N))
    spans, begin = [], T0
    for at in range(90, N, every):
        edges = [T0 + round(k * EVERY_S) * 10**9 for k in (at, at + top + 60)]
        spans += [(begin, edges[0], MEASURING), (edges[0], edges[1], CLEANING)]
        begin = edges[1]
    spans.append((begin, T0 + round(N * EVERY_S) * 10**9, MEASURING))
    time, value = on_exception(grid(N, EVERY_S), value, 0.5, 3_600.0)
    record = make_record(value, time=time, measurand="conductivity", states=state_line(spans))
    falls = [tau for _, tau, sort in phase_changes(record, 0.05) if sort == FALL]
    assert record.value is not None
    assert record.value.sampling.kind == "exception"
    assert len(falls) >= 5
    assert max(falls) - min(falls) <= 2 * EVERY_S
