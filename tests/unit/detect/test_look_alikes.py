"""What a specialist tells apart at a look: each fault beside the process that resembles it."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.detect.catalogue import detect
from excursions.detect.gone.spikes import detect_spikes
from excursions.detect.level.step import detect_step
from excursions.detect.noise.noise import detect_noise
from excursions.detect.slow.drift import detect_drift
from excursions.detect.slow.response import detect_slow_response
from excursions.detect.still.stuck import detect_stuck
from excursions.records import CLEANING, MEASURING, FloatArray, Record, StateLine
from tests.builders import (
    T0,
    coloured,
    level,
    make_record,
    make_signal,
    quantised,
    state_line,
    with_ramp,
    with_step,
    with_stuck,
)

N = 20_000  # two weeks at a minute
MINUTE = 60 * 10**9
SEEDS = pytest.mark.parametrize("seed", range(3))


def calm(seed: int, at: float = 7.0, noise: float = 0.05) -> FloatArray:
    return coloured(N, at, noise, 60, seed) + level(N, 0.0, noise / 10, seed + 50)


# --- steps ---------------------------------------------------------------------------------------


def steps(value: FloatArray) -> list[str]:
    found = detect_step(make_record(value))
    return [e.origin for e in found if abs(e.size) > 0.3]


@SEEDS
def test_stairs_that_go_one_way_are_not_laid_to_the_process(seed: int) -> None:
    value = calm(seed)
    for at in (6_000, 10_000, 14_000):
        value = with_step(value, at, 0.5)
    assert steps(value) == ["undecided"] * 3


@SEEDS
def test_levels_that_come_and_go_are_the_process(seed: int) -> None:
    value = calm(seed)
    for at, size in ((4_000, 0.5), (7_000, -0.5), (11_000, 0.5), (15_000, -0.5)):
        value = with_step(value, at, size)
    assert "probe" not in steps(value)


@SEEDS
def test_two_readings_that_take_each_others_level_were_exchanged(seed: int) -> None:
    one, other = calm(seed, 6.0), calm(seed + 9, 8.5)
    here, there = one.copy(), other.copy()
    here[12_000:], there[12_000:] = other[12_000:], one[12_000:]
    record = make_record(here, neighbours={"B": make_signal(there, measurand="ph")})
    (event,) = detect_step(record)
    assert event.origin == "probe"
    assert "exchanged" in " ".join(event.evidence)
    assert event.start == T0 + 12_000 * MINUTE


@SEEDS
def test_a_neighbour_that_moves_along_elsewhere_is_no_exchange(seed: int) -> None:
    here, there = with_step(calm(seed, 6.0), 12_000, 1.0), with_step(calm(seed + 9, 8.5), 12_000, 1.0)
    (event,) = detect_step(make_record(here, neighbours={"B": make_signal(there, measurand="ph")}))
    assert event.origin == "process"


# --- slow changes --------------------------------------------------------------------------------


def batches(seed: int) -> FloatArray:
    """Each begins high and falls within hours, not twice the same, and goes up at once at its end."""
    draw, parts, total = np.random.default_rng(seed), [], 0
    while total < N:
        rest, fall, low = (int(draw.uniform(*span)) for span in ((200, 500), (300, 900), (600, 1_400)))
        parts.append(np.concatenate([np.full(rest, 8.0), np.linspace(8.0, 6.0, fall), np.full(low, 6.0)]))
        total += rest + fall + low
    return np.concatenate(parts)[:N] + level(N, 0.0, 0.02, seed)


@SEEDS
def test_the_fall_of_every_batch_is_the_process(seed: int) -> None:
    assert [e for e in detect_drift(make_record(batches(seed))) if e.origin != "process"] == []


@SEEDS
def test_a_walk_that_comes_to_a_level_and_stays_is_worth_asking(seed: int) -> None:
    (event,) = detect_drift(make_record(with_ramp(calm(seed), 9_000, 12_000, 0.8)))
    assert event.origin == "undecided"
    assert event.confidence >= 0.4
    assert "it stayed where it had gone" in event.evidence


# --- still readings ------------------------------------------------------------------------------


def cleaned(seed: int, tau: FloatArray) -> tuple[FloatArray, StateLine]:
    """A reading at rest between cleanings, which it follows with a time constant (n,) in samples."""
    target, spans, at = np.full(N, 0.4), [], 0
    for begin in range(400, N - 200, 500):
        target[begin : begin + 60] = 60.0
        spans += [(at, begin - 5, MEASURING), (begin - 5, begin + 95, CLEANING)]
        at = begin + 95
    value, now = np.empty(N), 0.4
    for i, (goal, share) in enumerate(zip(target, -np.expm1(-1 / tau), strict=True)):
        now += share * (goal - now)
        value[i] = now
    rows = [(T0 + a * MINUTE, T0 + b * MINUTE, code) for a, b, code in (*spans, (at, N, MEASURING))]
    return quantised(value + level(N, 0.0, 0.003, seed), 0.01), state_line(rows)


def conductivity(value: FloatArray, states: StateLine | None = None) -> Record:
    temperature = coloured(N, 20.0, 0.5, 300, 99) + level(N, 0.0, 0.05, 98)
    return make_record(value, temperature, measurand="conductivity", states=states)


@SEEDS
def test_a_reading_that_follows_every_cleaning_is_not_stuck_between_them(seed: int) -> None:
    value, states = cleaned(seed, np.where(np.arange(N) < 8_000, 0.3, 6.0))
    assert detect_stuck(conductivity(value, states)) == ()


@SEEDS
def test_one_that_follows_no_cleaning_is(seed: int) -> None:
    moving = coloured(N, 5.0, 1.0, 60, seed)
    _, states = cleaned(seed, np.full(N, 0.3))
    (event,) = detect_stuck(conductivity(with_stuck(moving, 12_000, N), states))
    assert event.open_end
    assert event.start == T0 + 12_000 * MINUTE


@SEEDS
def test_a_probe_that_follows_cleanings_more_slowly_is_found_by_them(seed: int) -> None:
    value, states = cleaned(seed, np.where(np.arange(N) < 12_000, 0.3, 6.0))
    (event,) = detect_slow_response(conductivity(value, states))
    assert event.end > T0 + 18_000 * MINUTE
    assert (event.start - T0) / MINUTE == pytest.approx(12_000, abs=1_500)  # two or three cleanings
    value, states = cleaned(seed, np.full(N, 0.3))
    assert detect_slow_response(conductivity(value, states)) == ()


@SEEDS
def test_a_last_digit_that_the_export_rounds_flickers(seed: int) -> None:
    """Counts of 0.244 written to one place: 0.2 and 0.3 apart."""
    count = 1000 / 4095
    value = np.round(coloured(N, 700.0, 10.0, 60, seed) / count)
    value[12_000:] = value[12_000] + np.random.default_rng(seed).choice([0, 0, 0, 1, -1], N - 12_000)
    (event,) = detect_stuck(make_record(np.round(value * count, 1), measurand="redox"))
    assert (event.kind, event.open_end) == ("stuck", True)
    assert event.start == pytest.approx(T0 + 12_000 * MINUTE, abs=5 * MINUTE)


# --- noise ---------------------------------------------------------------------------------------


@SEEDS
def test_a_coated_probe_whose_last_digit_flips_is_found(seed: int) -> None:
    value = coloured(N, 7.5, 0.3, 40, seed)
    share = -np.expm1(-1 / 120.0)
    for i in range(13_000, N):
        value[i] = value[i - 1] + share * (value[i] - value[i - 1])
    (event,) = detect_noise(make_record(quantised(value, 0.01)))
    assert (event.kind, event.open_end) == ("noise_collapse", True)
    assert (event.start - T0) / MINUTE == pytest.approx(13_000, abs=60)


def bubbled(seed: int, back: float) -> FloatArray:
    value = coloured(N, 170.0, 1.0, 3_000, seed) + level(N, 0.0, 0.1, seed + 1)
    value[12_000:12_500] *= 0.8 + coloured(500, 0.0, 0.02, 7, seed)
    value[12_500:] *= back
    return value


@SEEDS
def test_gas_in_a_cell_is_the_probe(seed: int) -> None:
    (event,) = (e for e in detect_noise(conductivity(bubbled(seed, 1.0))) if e.kind == "noise_growth")
    assert event.origin == "probe"
    assert "gas" in " ".join(event.evidence)


@SEEDS
def test_a_restless_hour_that_ends_elsewhere_is_not_gas(seed: int) -> None:
    found = detect_noise(conductivity(bubbled(seed, 0.9)))
    assert not any("gas" in " ".join(event.evidence) for event in found)


@SEEDS
def test_bursts_of_every_shift_from_one_day_on_are_one_event(seed: int) -> None:
    minute = np.arange(N)
    moist = (minute % 480 < 120) & (minute > 8_600)
    value = calm(seed) + np.where(moist, level(N, 0.0, 0.2, seed + 7), 0.0)
    found = [e for e in detect(make_record(value)) if e.kind == "noise_growth" and "bursts" in e.details]
    assert len(found) == 1
    assert found[0].open_end
    assert (found[0].start - T0) / MINUTE == pytest.approx(8_640, abs=60)


# --- lost signals --------------------------------------------------------------------------------


@SEEDS
def test_losses_that_are_all_alike_are_dropouts(seed: int) -> None:
    value = quantised(calm(seed, 9.0), 0.01)
    draw = np.random.default_rng(seed)
    for at in np.sort(draw.choice(np.arange(12_000, 14_000, 20), 12, replace=False)):
        value[at : at + draw.integers(1, 4)] = 0.0
    assert [e.kind for e in detect_spikes(make_record(value, measurand="oxygen"))] == ["dropout"]


# --- slow averages -------------------------------------------------------------------------------


def days(seed: int, calm_from: int) -> FloatArray:
    """Forty days at five minutes of a daily round; from a sample on a slow average of it."""
    minute = np.arange(0, 40 * 1_440, 5)
    value = 8.0 + 0.25 * np.sin(2 * np.pi * minute / 1_440) + coloured(minute.size, 0.0, 0.05, 300, seed)
    share = -np.expm1(-1 / 700.0)
    for i in range(calm_from, value.size):
        value[i] = value[i - 1] + share * (value[i] - value[i - 1])
    return value


@SEEDS
def test_a_reading_that_goes_through_no_day_any_more(seed: int) -> None:
    temperature = quantised(15.0 + days(seed + 5, 20_000), 0.1)
    record = make_record(quantised(days(seed, 8_000), 0.01), temperature, every_s=300.0)
    (event,) = detect_noise(record)
    assert (event.kind, event.origin, event.open_end) == ("noise_collapse", "undecided", True)
    assert "the temperature goes on through its days" in event.evidence
    assert (event.start - T0) / (5 * MINUTE) == pytest.approx(8_000, abs=144)


@SEEDS
def test_a_plant_that_stands_calms_its_temperature_too(seed: int) -> None:
    temperature = quantised(15.0 + 4 * days(seed + 5, 8_000), 0.1)
    record = make_record(quantised(days(seed, 8_000), 0.01), temperature, every_s=300.0)
    assert [event.origin for event in detect_noise(record)] == ["process"]


@SEEDS
def test_days_that_go_on_are_none(seed: int) -> None:
    assert detect_noise(make_record(quantised(days(seed, 20_000), 0.01), every_s=300.0)) == ()
