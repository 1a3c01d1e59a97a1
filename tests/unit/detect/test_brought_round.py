"""Which of two related points jumped, where a loop brought the faulty one back; and several jumps of one probe."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.evidence.apart import apart_from_neighbours
from excursions.detect.level.step import detect_step
from excursions.detect.series.several import worth
from excursions.detect.series.survey import survey_of
from excursions.records import FloatArray
from tests.builders import T0, coloured, level, make_record, make_signal, with_step

N, AT = 30_000, 18_007
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(3))


def medium(seed: int) -> FloatArray:
    return coloured(N, 6.9, 0.05, 40, seed) + coloured(N, 0.0, 0.03, 400, seed + 30)


def pair(seed: int, *, error: float, loop_min: float) -> tuple[FloatArray, FloatArray]:
    """A held by a loop at its set-point, its zero moves by `error`; B in the same vessel sees what the loop does."""
    a = np.exp(-1 / loop_min)
    off = with_step(np.zeros(N), AT, error)
    medium_now = medium(seed) - lfilter([1 - a], [1, -a], off)
    return medium_now + off + level(N, 0, 0.006, seed), medium_now + 0.03 + level(N, 0, 0.006, seed + 9)


@SEEDS
@pytest.mark.parametrize(("error", "loop_min"), [(0.35, 15.0), (-0.5, 15.0), (0.35, 5.0)])
def test_the_point_that_jumped_is_named_though_a_loop_took_it_back(
    seed: int, error: float, loop_min: float
) -> None:
    a, b = pair(seed, error=error, loop_min=loop_min)
    (event,) = [
        e
        for e in detect_step(make_record(a, neighbours={"B": make_signal(b, measurand="ph")}))
        if e.origin != "process"
    ]
    assert event.origin == "probe"
    assert event.start == T0 + AT * MINUTE
    assert event.size == pytest.approx(error, abs=0.05)
    assert not event.went_back


@SEEDS
def test_the_sound_neighbour_of_a_point_in_a_loop_is_not_blamed(seed: int) -> None:
    a, b = pair(seed, error=0.35, loop_min=15.0)
    found = detect_step(make_record(b, neighbours={"A": make_signal(a, measurand="ph")}))
    assert [event for event in found if event.origin != "process"] == []
    (led,) = {words for event in found for words in event.evidence if words.startswith("A jumped by")}
    assert " pH first" in led  # a figure has its unit


@SEEDS
def test_without_a_loop_the_point_that_went_alone_is_named(seed: int) -> None:
    a, b = pair(seed, error=0.0, loop_min=15.0)
    b = with_step(b, AT, -0.35)
    (own,) = detect_step(make_record(b, neighbours={"A": make_signal(a, measurand="ph")}))
    assert own.origin == "probe"
    assert detect_step(make_record(a, neighbours={"B": make_signal(b, measurand="ph")})) == ()


@SEEDS
def test_what_both_see_within_the_hour_stays_out_of_the_difference(seed: int) -> None:
    """The medium wanders by 0.05 within the hour, the two probes differ by 0.006 a sample."""
    a, b = pair(seed, error=0.0, loop_min=15.0)
    b[12_000:12_030] += 1.5  # its own calibration is kept out as well
    survey = survey_of(make_record(a, neighbours={"B": make_signal(b, measurand="ph")}))
    assert survey is not None
    ((_, apart),) = apart_from_neighbours(survey)
    assert float(np.ptp(apart)) < 0.1


def test_a_few_jumps_speak_as_one_does_and_many_are_a_way_of_the_process() -> None:
    assert worth(0) == worth(1) == 1.0
    assert worth(2) < 1.5 < worth(4) < worth(8)


@SEEDS
def test_three_jumps_of_a_slow_medium_are_not_laid_to_the_process(seed: int) -> None:
    value = coloured(4 * N, -120.0, 6.0, 300, seed) + level(4 * N, 0, 0.5, seed)
    for at, size in ((25_000, 28.0), (60_000, 25.0), (95_000, 33.0)):
        value = with_step(value, at, size)
    found = detect_step(make_record(value, measurand="redox"))
    assert [round((event.start - T0) / MINUTE) for event in found] == [25_000, 60_000, 95_000]
    assert all(event.origin == "undecided" for event in found)


@SEEDS
def test_a_dozen_jumps_are_the_way_of_the_process(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value = coloured(4 * N, 0.0, 6.0, 300, seed) + level(4 * N, 0, 0.5, seed)
    for at in np.linspace(8_000, 110_000, 12).astype(int):
        value = with_step(
            value, int(at + rng.integers(0, 2_000)), float(rng.choice([-1, 1]) * rng.uniform(22, 40))
        )
    assert [
        event for event in detect_step(make_record(value, measurand="redox")) if event.origin != "process"
    ] == []
