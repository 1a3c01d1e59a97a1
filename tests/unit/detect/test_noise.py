"""Noise that grows, collapses, or only seems to."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from excursions.clock import NS_PER_S
from excursions.detect.noise.noise import detect_noise
from tests.builders import (
    T0,
    coloured,
    grid,
    level,
    make_record,
    make_signal,
    on_exception,
    quantised,
    with_ramp,
    with_step,
)

N = 30_000
MINUTE = 60 * NS_PER_S
SEEDS = pytest.mark.parametrize("seed", range(4))


def noisy(seed: int, factor: np.ndarray | float) -> np.ndarray:
    return coloured(N, 7.0, 0.05, 6_000, seed) + level(N, 0.0, 0.01, seed + 70) * factor


def from_to(begin: int, end: int, ratio: float) -> np.ndarray:
    factor = np.ones(N)
    factor[begin:end] = ratio
    return factor


@SEEDS
def test_steady_noise_is_no_event(seed: int) -> None:
    assert detect_noise(make_record(noisy(seed, 1.0))) == ()


@SEEDS
@pytest.mark.parametrize("ratio", [2.0, 6.0])
def test_abrupt_growth_has_its_onset_ratio_and_end(ratio: float, seed: int) -> None:
    (event,) = detect_noise(make_record(noisy(seed, from_to(12_000, 18_000, ratio))))
    assert event.kind == "noise_growth"
    assert event.size == pytest.approx(ratio, rel=0.1)
    assert abs((event.start - T0) / MINUTE - 12_000) <= 30 / (ratio - 1)
    assert abs((event.end - T0) / MINUTE - 18_000) <= 60


@SEEDS
def test_gradual_growth_begins_within_a_tenth_of_its_length(seed: int) -> None:
    factor = 1 + 4 * np.clip((np.arange(N) - 10_000) / 12_000, 0, 1)
    (event,) = detect_noise(make_record(noisy(seed, factor)))
    assert abs((event.start - T0) / MINUTE - 10_000) <= 2_400  # noise twice the usual is reached after 3 000
    assert any("by and by" in fact for fact in event.evidence)


@SEEDS
def test_collapse_is_found(seed: int) -> None:
    (event,) = detect_noise(make_record(noisy(seed, from_to(12_000, 18_000, 0.2))))
    assert event.kind == "noise_collapse"
    assert event.size == pytest.approx(0.2, rel=0.2)


@SEEDS
def test_what_coats_a_probe_does_not_come_off_by_itself(seed: int) -> None:
    """Calm of a day while the slow wander goes on: a coating, if it stays; a quiet day, if it ends by itself."""
    calm = coloured(N, 7.0, 0.3, 900, seed) + level(N, 0.0, 0.05, seed + 5) * from_to(14_000, 15_500, 0.1)
    (ended,) = detect_noise(make_record(calm))
    assert ended.origin == "undecided"
    assert any("ended by itself" in fact for fact in ended.evidence)
    (stays,) = detect_noise(make_record(calm[:15_500]))
    assert stays.confidence > ended.confidence


@SEEDS
def test_steps_and_ramps_are_not_noise(seed: int) -> None:
    value = with_ramp(with_step(noisy(seed, 1.0), 9_000, 2.0), 15_000, 22_000, -3.0)
    assert detect_noise(make_record(value)) == ()


@SEEDS
def test_noise_that_comes_with_a_level_is_the_process(seed: int) -> None:
    busy = (np.arange(N) // 3_000) % 2 == 1
    value = np.where(busy, 8.0, 7.0) + level(N, 0.0, 0.01, seed) * np.where(busy, 3.0, 1.0)
    assert [e for e in detect_noise(make_record(value)) if e.origin == "probe"] == []


@SEEDS
def test_noise_shared_with_the_temperature_is_the_process(seed: int) -> None:
    factor = from_to(12_000, 18_000, 4.0)
    warm = 35.0 + level(N, 0.0, 0.02, seed + 3) * factor
    for event in detect_noise(make_record(noisy(seed, factor), warm)):
        assert event.origin != "probe"


@SEEDS
def test_noise_not_shared_with_a_neighbour_is_more_likely_the_probe(seed: int) -> None:
    factor = from_to(12_000, 18_000, 4.0)
    other = make_signal(noisy(seed + 11, 1.0), measurand="ph")
    (alone,) = detect_noise(make_record(noisy(seed, factor)))
    (apart,) = detect_noise(make_record(noisy(seed, factor), neighbours={"A2": other}))
    assert apart.confidence > alone.confidence


@SEEDS
def test_noise_below_half_a_count_is_not_told(seed: int) -> None:
    value = quantised(
        coloured(N, 7.0, 0.05, 600, seed) + level(N, 0.0, 0.002, seed) * from_to(9_000, 15_000, 0.3), 0.01
    )
    assert detect_noise(make_record(value)) == ()


@SEEDS
def test_a_recorder_on_exception_does_not_make_noise(seed: int) -> None:
    time, value = on_exception(grid(N), noisy(seed, 1.0), 0.05, 3_600.0)
    assert detect_noise(make_record(value, time=time)) == ()


@SEEDS
def test_noise_that_always_wanders_sets_its_own_bar(seed: int) -> None:
    factor = np.exp(coloured(N, 0.0, 0.6, 600, seed + 5))
    assert [e for e in detect_noise(make_record(noisy(seed, factor))) if e.origin == "probe"] == []


@SEEDS
def test_noise_grown_manifold_and_going_on_is_worth_a_check_however_wide_the_tolerance(seed: int) -> None:
    value = noisy(seed, from_to(15_000, N, 6.0)) - 7.0 + 300.0  # redox: its tolerance is far wider
    (event,) = detect_noise(make_record(value, level(N, 25.0, 0.1, seed + 3), measurand="redox"))
    assert (event.origin, event.severity, event.open_end) == ("probe", "check", True)


@pytest.mark.parametrize(
    "seed", [1, 3]
)  # where both lengths are told to be the probe's: the others leave one undecided
@pytest.mark.parametrize(("until", "severity"), [(15_000, "check"), (9_900, "note")], ids=["days", "a bout"])
def test_noise_grown_manifold_for_days_is_worth_a_check_though_it_is_over(
    seed: int, until: int, severity: str
) -> None:
    value = noisy(seed, from_to(9_000, until, 6.0)) - 7.0 + 300.0
    other = make_signal(noisy(seed + 11, 1.0) - 7.0 + 300.0, measurand="redox")  # keeps its noise
    (event,) = detect_noise(
        make_record(value, level(N, 25.0, 0.1, seed + 3), measurand="redox", neighbours={"A2": other})
    )
    assert not event.open_end
    assert (event.origin, event.severity) == ("probe", severity)


@SEEDS
def test_a_calm_standstill_near_seven_that_ends_by_itself_is_no_broken_glass(seed: int) -> None:
    """Cold for days, the reading quieter at pH 7 in standing water; it follows again when the line starts."""
    value = with_step(noisy(seed, from_to(12_000, 18_000, 0.4)), 12_000, 1.4)
    value[18_000:] -= 1.4
    cold = coloured(N, 62.0, 0.5, 600, seed + 5)
    cold[12_000:18_000] -= 38.0
    found = detect_noise(make_record(value - 1.4, temperature=cold))
    assert {event.origin for event in found} <= {"process"}
    assert not any("glass" in fact for event in found for fact in event.evidence)


def _drawn(x: np.ndarray, every: int) -> np.ndarray:
    """Straight lines between every so many samples."""
    at = np.arange(0, x.size, every)
    return np.interp(np.arange(x.size), at, x[at])


@pytest.mark.parametrize("seed", range(3))
def test_a_reading_that_falls_silent_for_a_third_of_the_record_is_told(seed: int) -> None:
    """A transmitter that got stuck on a mean over hours: it follows the day, and hardly anything else."""
    n, at = 30_000, 19_000
    live = coloured(n, 6.0, 0.5, 40, seed) + level(n, 0.0, 0.03, seed + 1)
    a = np.exp(-1 / 540)
    late = lfilter([1 - a], [1, -a], live - 6.0) + 6.0
    found = detect_noise(make_record(quantised(np.where(np.arange(n) < at, live, late), 0.001)))
    (event,) = [one for one in found if one.kind == "noise_collapse"]
    assert abs((event.start - T0) / (60 * NS_PER_S) - at) < 60
    assert event.origin != "process"


@pytest.mark.parametrize("seed", range(3))
def test_lines_drawn_here_and_there_are_no_silence(seed: int) -> None:
    n = 30_000
    live = coloured(n, 6.0, 0.5, 40, seed) + level(n, 0.0, 0.03, seed + 1)
    value = np.where(np.arange(n) // 600 % 3 == 0, _drawn(live, 600), live)
    assert detect_noise(make_record(quantised(value, 0.001))) == ()


@SEEDS
def test_noise_that_grows_with_the_level_in_a_storm_is_known_from_other_storms(seed: int) -> None:
    """Turbidity scatters by a share of itself; the storm in question lasts longer and is higher than the others."""
    at = np.arange(N)
    mud = np.zeros(N)
    for begin, size in ((4_000, 60.0), (9_000, 80.0), (14_000, 70.0), (26_000, 130.0)):
        since = np.clip((at - begin) / (1_500 if size > 100 else 500), 0, None)
        mud += size * since * np.exp(1 - since)
    value = (6.0 + mud) * (1 + level(N, 0.0, 0.04, seed + 3)) * np.exp(coloured(N, 0.0, 0.1, 2_000, seed))
    made = make_record(value, measurand="turbidity")
    assert [event for event in detect_noise(made) if event.origin == "probe"] == []
