"""What healthy plants do that looked like faults of probes."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_MINUTE, NS_PER_S
from excursions.detect.evidence.unmoved import detect_unmoved
from excursions.detect.level.step import detect_step
from excursions.detect.noise.swing import _rests_at_its_ends, detect_swing, limit_cycle
from excursions.detect.series.survey import survey_of
from excursions.detect.slow.drift import detect_drift
from excursions.detect.slow.fouling import detect_fouling
from excursions.detect.slow.plateaus import Joined
from excursions.detect.slow.walks import _walk
from excursions.detect.still.stuck import detect_stuck
from excursions.physics.oxygen import saturation_mg_l
from excursions.records import CLEANING, MEASURING, Event
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    quantised,
    state_line,
    swinging_door,
)

SEEDS = pytest.mark.parametrize("seed", range(3))
STEP = 600 * NS_PER_S


@SEEDS
def test_a_silence_of_the_whole_record_is_no_standstill_of_the_reading(seed: int) -> None:
    """Recorded on change; for five hours nothing is, and the reading comes back to the digit it had."""
    n = 40_000
    value = quantised(coloured(n, 7.0, 0.08, 120, seed) + level(n, 0.0, 0.01, seed + 30), 0.01)
    at = 20_000 + int(np.argmin(np.abs(value[20_000:21_000] - 7.0)))
    value[at + 300] = value[at]
    goes_on = quantised(coloured(n, 18.0, 1.0, 600, seed + 5), 0.1)
    gone = np.zeros(n, dtype=bool)
    gone[at + 1 : at + 300] = True
    time, kept = value_on_change(grid(n)[~gone], value[~gone])
    here = make_record(kept, time=time)

    def told(missing: np.ndarray) -> tuple[Event, ...]:
        warm_at, warm = swinging_door(grid(n)[~missing], goes_on[~missing], 0.2, 3_600.0)
        temperature = make_signal(warm, time=warm_at, measurand="temperature", tag="T")
        return detect_stuck(dataclasses.replace(here, temperature=temperature))

    assert told(gone) == ()
    (event,) = told(np.zeros(n, dtype=bool))
    assert event.kind == "stuck"


def value_on_change(time: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Every change of the last digit, and nothing between: a recorder without a heartbeat."""
    kept = np.flatnonzero(np.diff(value, prepend=np.nan) != 0)
    edge = np.flatnonzero(np.diff(time) > NS_PER_MINUTE)  # and both ends of a silence
    kept = np.union1d(kept, np.concatenate([edge, edge + 1]))
    return time[kept], value[kept]


@SEEDS
def test_batches_that_use_up_their_oxygen_and_are_cleaned_between_are_not_fouled(seed: int) -> None:
    n, every = 8_640, 432
    lost = (np.arange(n) % every) / every
    noise = coloured(n, 0.0, 0.1, 12, seed)
    spans, at = [], 0
    for begin in range(every, n - every // 2, every):
        spans += [(at, begin, MEASURING), (begin, begin + 6, CLEANING)]
        at = begin + 6
    states = state_line([(T0 + a * STEP, T0 + b * STEP, code) for a, b, code in (*spans, (at, n, MEASURING))])

    def told(share: float) -> list[str]:
        reading = 8.0 * (1 - share * lost) + noise
        record = make_record(reading, every_s=600.0, measurand="oxygen", states=states)
        return [event.origin for event in detect_fouling(record)]

    assert told(0.8) == ["process"]
    assert told(0.3) == ["probe"]


def followed(x: np.ndarray, lag: float) -> np.ndarray:
    """Behind a first-order lag of so many samples."""
    left = np.exp(-1 / lag)
    return np.asarray(lfilter([1 - left], [1, -left], x, zi=[x[0] * left])[0])


@SEEDS
def test_batches_between_two_levels_have_no_corner_that_a_probe_could_round(seed: int) -> None:
    at = np.arange(40 * 1_440)
    noise = coloured(at.size, 0.0, 0.03, 60, seed) + level(at.size, 0.0, 0.01, seed + 1)
    batches = np.round(followed(np.where(at % 300 < 120, 2.3, 8.6), 8.0) + noise, 2)
    record = make_record(batches)
    assert limit_cycle(survey_of(record)) is not None
    assert _rests_at_its_ends(survey_of(record))
    assert detect_swing(record) == ()
    saw = 2.0 + 6.0 * np.abs((at / 150) % 2 - 1)
    for lag in (1.0, 60.0, 300.0):
        assert not _rests_at_its_ends(survey_of(make_record(np.round(followed(saw, lag) + noise, 2))))


@SEEDS
def test_a_train_that_stood_and_runs_again_did_not_step(seed: int) -> None:
    """Two trains of one source; one stands for a week at another pH, and all that it measures returns with the flow."""
    n = 50 * 1_440
    at = np.arange(n)
    source = coloured(n, 7.3, 0.08, 720, seed)
    stands = (at > 25 * 1_440) & (at < 31 * 1_440)
    aside = followed(np.where(stands, source[25 * 1_440] + 0.2, source), 10.0) + level(
        n, 0.0, 0.006, seed + 1
    )
    along = source + level(n, 0.0, 0.006, seed + 2)
    oxygen = followed(np.where(stands, 0.1, coloured(n, 6.0, 0.4, 180, seed + 3)), 10.0)
    warm = coloured(n, 17.0, 0.5, 4_000, seed + 4)
    neighbours = {
        "A2": make_signal(along, measurand="ph", tag="A2"),
        "O2": make_signal(oxygen, measurand="oxygen", tag="O2"),
    }
    told = detect_step(make_record(aside, warm, neighbours=neighbours))
    assert [event for event in told if event.origin == "probe"] == []
    kept = make_record(along, warm, neighbours={"A2": make_signal(aside, measurand="ph", tag="A2")})
    assert [event for event in detect_step(kept) if event.origin == "probe"] == []


def test_teeth_that_stand_between_their_ends_do_not_walk() -> None:
    """What fluctuates is high right after a jump upward, and low right before it: that is what the jump was chosen for."""
    walks = _of_teeth(np.r_[np.linspace(0.2, 0.0, 6), np.zeros(48), np.linspace(0.0, -0.2, 6)])
    assert walks is None
    straight = _of_teeth(np.linspace(0.2, -0.2, 60))
    assert straight is not None
    assert straight.returns == 4
    settling = _of_teeth(0.4 * 10 ** (-np.arange(60) / 30))
    assert settling is not None


def _of_teeth(tooth: np.ndarray):
    """The walk of five teeth whose returns are taken out, in the midst of a record that keeps its level."""
    ends, drop = 60, tooth[0] - tooth[-1]
    noise = level(5 * tooth.size + 2 * ends, 0.0, 0.01, 3)
    joined = np.concatenate([tooth - k * drop for k in range(5)])
    joined = noise + np.r_[np.full(ends, joined[0]), joined, np.full(ends, joined[-1])]
    survey = survey_of(make_record(level(joined.size * 8, 7.0, 0.01, 4)))
    joint = ends + tooth.size * np.arange(1, 5)
    pieces = Joined(
        **{
            **{f.name: None for f in dataclasses.fields(Joined)},
            "level": joined,
            "block": np.arange(joined.size),
            "joint": joint,
            "jump": np.full(4, drop),
        }
    )
    place = (0, joined.size, ends, joined.size - ends)
    return _walk(survey, pieces, "", place, 0.01, 1e-6)


@SEEDS
def test_oxygen_that_falls_as_warm_water_holds_less_is_the_seasons_doing(seed: int) -> None:
    n = 20_000
    warm = np.linspace(8.0, 19.0, n) + coloured(n, 0.0, 0.5, 400, seed)
    noise = coloured(n, 0.0, 0.05, 12, seed + 1)
    held = np.array([saturation_mg_l(float(t)) for t in warm]) + noise
    cold = coloured(n, 12.0, 0.5, 400, seed + 2)
    told = [
        [event.origin for event in detect_drift(make_record(value, at, every_s=600.0, measurand="oxygen"))]
        for value, at in ((held, warm), (held, cold))
    ]
    assert set(told[0]) <= {"process"}
    assert told[1] != []
    assert "process" not in told[1]


@SEEDS
def test_a_line_drawn_across_missing_data_is_not_calm(seed: int) -> None:
    """A swinging door with an outage of hours: what would be drawn across it has no noise, and says nothing."""
    n = 40_000
    value = quantised(coloured(n, 2.0, 0.15, 30, seed) + level(n, 0.0, 0.03, seed + 1), 0.01)
    gone = np.zeros(n, dtype=bool)
    gone[20_010:20_400] = True
    time, kept = swinging_door(grid(n)[~gone], value[~gone], 0.03, 3_600.0)
    survey = survey_of(make_record(kept, time=time, measurand="oxygen"))
    noises = survey.noises
    lost = slice(*np.searchsorted(noises.start, grid(n)[[20_010, 20_400]]) + np.array([-2, 2]))
    beside = noises.sigma[lost]
    assert not np.any(beside < 1e-6 * np.nanmedian(noises.sigma))


@SEEDS
def test_a_standstill_longer_than_the_others_is_no_step(seed: int) -> None:
    """Three times a day the reading jumps up and is back within the hour; once it stays for two."""
    n = 30 * 1_440
    feed = coloured(n, 620.0, 30.0, 2_000, seed) + level(n, 0.0, 0.5, seed + 2)
    value = 9.0 * feed / 620.0 + level(n, 0.0, 0.03, seed + 1)
    begins = 200 + 480 * np.arange(89) + np.random.default_rng(seed).integers(0, 120, 89)
    for k, begin in enumerate(begins):
        value[begin : begin + (120 if k == 40 else 45)] += 31.0
    beside = {"FEED": make_signal(feed, measurand="conductivity", tag="FEED")}
    record = make_record(np.round(value, 1), measurand="conductivity", neighbours=beside)
    assert [event for event in detect_step(record) if event.origin != "process"] == []


@SEEDS
def test_a_reading_that_comes_back_to_its_neighbours_ends_what_was_odd(seed: int) -> None:
    """Shut off for days it walks away by and by; the flow brings it back at once.  A step away is told as ever."""
    n = 60 * 288
    at = np.arange(n)
    source = coloured(n, 480.0, 30.0, 600, seed)
    begin, end = 30 * 288, 36 * 288
    stands = (at >= begin) & (at < end)
    alone = source[begin] + 60.0 * (at - begin) / (end - begin)
    beside = {
        f"T{k}": make_signal(
            source + level(n, 0.0, 1.0, seed + k), every_s=300.0, measurand="conductivity", tag=f"T{k}"
        )
        for k in (1, 2)
    }
    told = []
    for value in (np.where(stands, alone, source), source + np.where(at >= end, -60.0, 0.0)):
        noisy = np.round(value + level(n, 0.0, 1.0, seed + 5))
        record = make_record(noisy, every_s=300.0, measurand="conductivity", neighbours=beside)
        back = T0 + 300 * NS_PER_S * end
        near = [event for event in detect_step(record) if abs(event.start - back) < 3_600 * NS_PER_S]
        told.append([event.origin for event in near])
    assert set(told[0]) <= {"process"}
    assert told[1] == ["probe"]


@SEEDS
def test_a_train_that_went_to_the_temperature_of_the_room_was_shut_off(seed: int) -> None:
    n, begin, end = 12_000, 6_000, 7_500  # of five minutes
    base = 7.0 + 0.4 * np.sin(2 * np.pi * np.arange(n) / 490) + coloured(n, 0.0, 0.05, 300, seed)
    own = base + level(n, 0.0, 0.006, seed + 1)
    own[begin:end] = 6.6 + level(end - begin, 0.0, 0.006, seed + 2)
    other = make_signal(quantised(base, 0.001), every_s=300.0, measurand="ph", unit="pH", tag="B")
    warm = coloured(n, 16.0, 0.6, 900, seed + 3)
    cooled = warm.copy()
    cooled[begin:end] = 22.0 + coloured(end - begin, 0.0, 0.3, 100, seed + 4)
    told = [
        detect_unmoved(
            make_record(quantised(own, 0.001), at, every_s=300.0, neighbours={"B": other, "C": other})
        )
        for at in (warm, cooled)
    ]
    assert told[0][0].origin == "undecided"
    assert told[1][0].origin == "process"
