"""Stated detection limits: what lies above them is found."""

from __future__ import annotations

import math

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.catalogue import detect
from excursions.detect.element.fault import TemperatureFaultSettings
from excursions.detect.element.temperature_fault import detect_temperature_fault
from excursions.detect.limits import detection_limits
from excursions.digits import written
from excursions.kinds import KINDS
from tests.builders import T0, coloured, level, make_record, quantised, with_ramp, with_step, with_stuck

N = 40_000
SEEDS = pytest.mark.parametrize("seed", range(3))
MARGIN = 1.2  # above the limit


def process(seed: int) -> np.ndarray:
    return quantised(coloured(N, 70.0, 0.8, 90, seed) + level(N, 0.0, 0.2, seed + 40), 0.1)


def record(value: np.ndarray):
    return make_record(value, measurand="other")


def kinds(value: np.ndarray) -> set[str]:
    return {event.kind for event in detect(record(value))}


def limit(kind: str, seed: int) -> float:
    return detection_limits(record(process(seed)))[kind].size


def test_every_limit_is_of_a_kind_and_says_what_it_means() -> None:
    for kind, found in detection_limits(record(process(0))).items():
        assert kind in KINDS
        assert found.sentence


@SEEDS
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_step_above_the_limit_is_found(side: float, seed: int) -> None:
    assert "step" in kinds(with_step(process(seed), 21_000, side * MARGIN * limit("step", seed)))


@SEEDS
def test_a_step_at_once_above_its_own_limit_is_found(seed: int) -> None:
    found = detection_limits(record(process(seed)))["step"]
    assert found.at_once < found.size
    assert "step" in kinds(with_step(process(seed), 21_000, MARGIN * found.at_once))


@SEEDS
def test_a_ramp_of_minutes_above_the_limit_is_found(seed: int) -> None:
    size = MARGIN * limit("step", seed)
    assert "step" in kinds(with_ramp(process(seed), 21_000, 21_020, size))


@SEEDS
def test_a_drift_above_the_limit_is_found(seed: int) -> None:
    value = with_ramp(process(seed), 18_000, 18_000 + N // 8, MARGIN * limit("drift", seed))
    assert "drift" in kinds(value)


@SEEDS
def test_a_standstill_above_the_limit_is_found(seed: int) -> None:
    at = 20_000 + int(np.argmin(np.abs(process(seed)[20_000:21_000] - 70.0)))
    samples = math.ceil(MARGIN * limit("stuck", seed) / 60)
    assert "stuck" in kinds(with_stuck(process(seed), at, at + samples))


@SEEDS
def test_noise_above_the_limit_is_found(seed: int) -> None:
    value = process(seed)
    more = 0.2 * math.sqrt((MARGIN * limit("noise_growth", seed)) ** 2 - 1)
    value[20_000:21_440] += level(1_440, 0.0, more, seed + 7)
    assert "noise_growth" in kinds(quantised(value, 0.1))


@SEEDS
def test_a_cycle_above_the_limit_is_found(seed: int) -> None:
    value = process(seed)
    value[18_000:23_000] += MARGIN * limit("periodic", seed) * np.sin(np.arange(5_000) / 1.7)
    assert "periodic" in kinds(value)


def test_more_noise_means_higher_limits() -> None:
    calm = detection_limits(record(level(N, 70.0, 0.1, 1)))
    loud = detection_limits(record(level(N, 70.0, 1.0, 1)))
    for kind in ("step", "drift", "periodic"):
        assert loud[kind].size == pytest.approx(10 * calm[kind].size, rel=0.5)


def test_a_record_that_cannot_show_it_says_so() -> None:
    short = detection_limits(record(level(200, 70.0, 0.1, 1)))
    assert math.isnan(short["periodic"].size)
    assert short["periodic"].sentence == "this record cannot show it"


def test_a_record_without_samples_has_no_limits() -> None:
    assert set(detection_limits(record(np.full(100, np.nan)))) <= {"dropout", "bad_quality", "bridged"}


def test_limits_are_worded_as_what_may_be_missed() -> None:
    found = detection_limits(record(process(0)))
    step = found["step"]
    assert step.sentence.startswith(f"a step smaller than {written(step.size, 2)} (")
    assert (
        f" ({written(step.at_once, 2)} where it comes from one sample to the next), or one that"
        in step.sentence
    )
    assert all(
        limit.sentence.endswith(("may not be seen here", "cannot show it")) for limit in found.values()
    )


@SEEDS
def test_the_limit_of_a_jump_between_samples_far_apart_follows_the_settings(seed: int) -> None:
    warm = coloured(4_000, 12.0, 1.0, 60, seed)
    limits = [
        detection_limits(
            make_record(process(seed)[:4_000], warm, every_s=600.0),
            {"temperature_fault": TemperatureFaultSettings(jump_outruns=outruns)},
        )["temperature_fault"].size
        for outruns in (3.0, 12.0)
    ]
    assert limits[0] < limits[1] < 20.0
    warm[2_000:] += 1.05 * limits[0]
    (event,) = detect_temperature_fault(make_record(process(seed)[:4_000], warm, every_s=600.0))
    assert event.start == T0 + 2_000 * 600 * NS_PER_S


@SEEDS
def test_a_jump_of_the_element_above_the_limit_is_found(seed: int) -> None:
    x = quantised(coloured(N, 35.0, 0.4, 90, seed) + level(N, 0.0, 0.05, seed + 9), 0.01)
    least = detection_limits(make_record(process(seed), x))["temperature_fault"].size
    found = detect(make_record(process(seed), with_step(x, 21_000, MARGIN * least, 23_000)))
    assert "temperature_fault" in {event.kind for event in found}


@pytest.mark.parametrize("interval_s", [1.0, 60.0, 600.0])
def test_the_recording_alone_sets_what_heat_and_holes_can_hide(interval_s: float) -> None:
    x = level(3_000, 35.0, 0.05, 2)
    found = detection_limits(make_record(level(3_000, 70.0, 0.1, 1), x, every_s=interval_s))
    assert found["over_temperature"].size == 4 * interval_s
    assert found["dropout"].size == pytest.approx(4.5 * interval_s)
    assert math.isnan(found["thermal_shock"].size) == (interval_s > 30)
