"""A temperature signal that is not the temperature; heat is left to heat."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.element.temperature_fault import detect_temperature_fault
from excursions.detect.heat.over_temperature import detect_over_temperature
from excursions.detect.heat.thermal_shock import detect_thermal_shock
from excursions.plant import Plant, Point
from excursions.records import CALIBRATING, MEASURING, Record, StateLine
from tests.builders import T0, all_measuring, coloured, level, make_signal, on_exception, quantised
from tests.scenes import DAY_S, Scene, record_of, scene

SEEDS = range(3)


def routine(days: float = 10.0, every_s: float = 60.0, seed: int = 0) -> Scene:
    made = scene(days, every_s=every_s, seed=seed)
    for day in range(1, int(days) - 1, 3):
        made.steam((day + 0.1) * DAY_S)
        made.clean((day + 1.1) * DAY_S)
        made.calibrate((day + 1.6) * DAY_S, (7.0, 4.01))
    return made


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("every_s", [10.0, 60.0, 600.0])
def test_routine_heat_and_handling_is_no_fault(every_s: float, seed: int) -> None:
    assert detect_temperature_fault(record_of(routine(every_s=every_s, seed=seed))) == ()


@pytest.mark.parametrize("every_s", [60.0, 600.0, 3600.0])
def test_weather_is_no_fault(every_s: float) -> None:
    made = scene(60, every_s=every_s)
    made.temperature = 15 + 9 * np.sin(made.second / 13_750) + coloured(made.second.size, 0, 0.8, 20, 3)
    assert detect_temperature_fault(record_of(made, temperature_step=0.1)) == ()


@pytest.mark.parametrize("degc", [150.0, 850.0, -200.0])
def test_an_open_circuit_is_found_to_the_sample(degc: float) -> None:
    made = routine()
    made.temperature[9000:9400] = degc
    (event,) = detect_temperature_fault(record_of(made))
    assert (event.start - T0) / NS_PER_S == 9000 * 60
    assert (event.end - T0) / NS_PER_S == 9400 * 60
    assert event.size == pytest.approx(degc - 37, abs=1)
    assert event.severity == "act"


def test_a_probe_at_room_temperature_while_it_is_calibrated_is_no_open_circuit() -> None:
    made = scene(10, every_s=60.0)
    made.temperature += 20.0
    made.temperature[7200:7240] = 22.0
    (event,) = detect_temperature_fault(record_of(made))  # the reading goes on as if nothing were
    assert event.start == T0 + 7200 * 60 * NS_PER_S
    made.value[7200:7240] = 7.0
    assert detect_temperature_fault(record_of(made, noted=(T0 + 7220 * 60 * NS_PER_S,))) == ()


def test_wild_samples_within_a_day_are_one_bout() -> None:
    made = routine()
    made.temperature[9000:9900:150] = 149.0
    (event,) = detect_temperature_fault(record_of(made))
    assert event.details["stretches"] == 6
    assert event.severity == "check"


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("size", [-9.0, 7.0, 15.0])
def test_a_jump_and_its_way_back_are_one_fault(size: float, seed: int) -> None:
    made = routine(seed=seed)
    made.temperature[8700:9200] += size
    (event,) = detect_temperature_fault(record_of(made))
    assert event.size == pytest.approx(size, abs=0.6)
    assert ((event.start - T0) / NS_PER_S, (event.end - T0) / NS_PER_S) == (8700 * 60, 9200 * 60)


def test_a_jump_whose_way_back_comes_while_somebody_works_there_came_back() -> None:
    """It was told that it did not come back in this record, beside a calibration whose temperature went there and back."""
    made = routine()
    made.temperature[8700:8724] -= 15.0
    record = record_of(made)
    at = T0 + np.array([0, 8711, 8740, record.temperature.time.size], np.int64) * 60 * NS_PER_S
    states = StateLine(
        start=at[:-1], end=at[1:], code=np.array([MEASURING, CALIBRATING, MEASURING], np.uint8), confidence=np.ones(3), evidence=("",) * 3,
    )  # fmt: skip
    (event,) = detect_temperature_fault(replace(record, states=states))
    assert not event.open_end
    assert (event.end - T0) / NS_PER_S == 8724 * 60
    assert "jumped back after 24 min" in event.evidence


def exception_record(temperature: np.ndarray) -> Record:
    """Six days scanned every ten seconds; the temperature kept at every fifth of a kelvin, or hourly."""
    time = T0 + np.arange(temperature.size, dtype=np.int64) * 10 * NS_PER_S
    reading = make_signal(coloured(time.size, 7.0, 0.02, 500, 3), time=time, measurand="ph")
    kept_at, kept = on_exception(time, np.round(temperature, 2), 0.2, 3_600.0)
    heat = make_signal(kept, time=kept_at, measurand="temperature")
    assert heat.sampling.kind == "exception"
    point = Point(name="A1", measurand="ph", value="A1", temperature="A1.T")
    return Record(
        point=point,
        plant=Plant(points=(point,)),
        value=reading,
        temperature=heat,
        states=all_measuring(reading),
    )


def warmed(warm: np.ndarray, begin: int, end: int) -> None:
    """A warmer medium for a while, through an element with a time constant of forty seconds."""
    at = np.arange(warm.size)
    for when, size in ((begin, 23.0), (end, -23.0)):
        warm += np.where(at > when, size * (1 - np.exp(-np.maximum(at - when, 0) / 4.0)), 0.0)


def test_a_jump_of_an_element_recorded_on_exception_is_found_and_a_medium_is_no_jump() -> None:
    """The recorder would have kept any change on the way: between two samples far apart it came at the last."""
    at = np.arange(6 * 8_640)
    warm = 12.0 + 2.0 * np.sin(at / 8_640 * 2 * np.pi) + level(at.size, 0, 0.03, 5)
    warmed(warm, 45_000, 48_000)
    warmed(warm, 10_000, 12_000)
    assert detect_temperature_fault(exception_record(warm)) == ()
    faulty = warm + np.where((at > 20_000) & (at < 40_000), 23.0, 0.0)
    (event,) = detect_temperature_fault(exception_record(faulty))
    assert event.size == pytest.approx(23.0, abs=0.6)
    assert (event.start - T0) / NS_PER_S == pytest.approx(200_010, abs=20)
    assert (event.end - T0) / NS_PER_S == pytest.approx(400_000, abs=20)


def test_a_jump_that_stays_is_open() -> None:
    made = routine()
    made.temperature[12_000:] -= 8
    (event,) = detect_temperature_fault(record_of(made))
    assert event.open_end


@pytest.mark.parametrize("tau_s", [40.0, 120.0])
def test_a_fast_process_through_an_element_is_no_jump(tau_s: float) -> None:
    """A step of the medium reaches the record through the element's time constant."""
    made = scene(4)
    after = made.second >= 2 * DAY_S
    made.temperature[after] += 15 * (1 - np.exp(-(made.second[after] - 2 * DAY_S + 30) / tau_s))
    assert detect_temperature_fault(record_of(made)) == ()


def test_a_frozen_element_is_found_when_the_reading_lives() -> None:
    made = scene(6)
    made.temperature[4000:4400] = made.temperature[4000]
    record = record_of(made)
    (event,) = detect_temperature_fault(record)
    assert event.details["minutes_wrong_min"] == pytest.approx(400, abs=2)
    assert re.match(r"stood at \d+\.\d °C without a change for", event.evidence[0])
    made.value[4000:4400] = made.value[4000]  # everything stands still: nothing says it is the element
    assert detect_temperature_fault(record_of(made)) == ()


def test_an_element_that_jumps_to_the_end_of_its_range_and_stays_tells_the_jump_and_where_it_stands() -> None:
    made = scene(6)
    made.temperature[5000:] = 200.0
    events = detect_temperature_fault(record_of(made))
    (event,) = [e for e in events if "stood_at_degc" in e.details]
    assert event.details["stood_at_degc"] == 200.0
    assert event.size == pytest.approx(200.0 - made.temperature[4999], abs=0.5)


def test_a_coarse_quiet_temperature_is_not_frozen() -> None:
    made = scene(20)
    made.temperature = quantised(coloured(made.second.size, 25.0, 0.6, 900, 4), 0.5)
    assert detect_temperature_fault(record_of(made, temperature_step=0.5)) == ()


def often(days: float, seed: int) -> Scene:
    """A line that is sterilised every other day."""
    made = scene(days, every_s=60.0, seed=seed)
    scatter = np.random.default_rng(seed).normal(0, 0.2, int(days))
    for day in range(1, int(days) - 1, 2):
        made.steam((day + 0.1) * DAY_S, degc=121.5 + scatter[day])
    return made


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("size", [-6.0, 4.0])
def test_an_element_that_creeps_shows_at_the_sterilisations(size: float, seed: int) -> None:
    made = often(40, seed)
    made.temperature += size * np.clip((made.second / DAY_S - 15) / 20, 0, 1)
    (event,) = detect_temperature_fault(record_of(made))
    assert event.origin == "probe"
    assert event.size == pytest.approx(size, rel=0.25)
    assert event.open_end
    assert (event.start - T0) / NS_PER_S / DAY_S == pytest.approx(15, abs=6)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_process_that_warms_while_the_sterilisations_stay_is_no_element(seed: int) -> None:
    made = often(40, seed)
    cold = made.temperature < 60
    made.temperature[cold] += 6.0 * made.second[cold] / made.second[-1]
    assert detect_temperature_fault(record_of(made)) == ()


def test_a_temperature_that_rests_at_one_value_again_and_again_is_not_frozen() -> None:
    made = scene(20)
    for day in (5, 12, 19):
        made.temperature[(day - 1) * 1440 : day * 1440] = 20.0
    assert detect_temperature_fault(record_of(made)) == ()


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_tiny_records(n: int) -> None:
    made = scene(1)
    cut = Scene(60.0, made.second[:n], made.value[:n], np.array([20.0, 900.0, 20.0])[:n], 0)
    assert len(detect_temperature_fault(record_of(cut))) <= 1


def loose(degc: float, every_s: float = 60.0) -> Scene:
    """An element that flickers to the end of its range for two hours, then rests there for half a day."""
    made = scene(10.0, every_s=every_s)
    minute = round(every_s / 60.0) or 1
    day = round(DAY_S / every_s)
    for at in (9, 15, 18, 40, 49, 52, 58, 63, 68, 70):
        made.temperature[5 * day + at // minute : 5 * day + at // minute + 2] = degc
    made.temperature[5 * day + 120 // minute : 5 * day + 840 // minute] = degc
    return made


@pytest.mark.parametrize("degc", [150.0, 200.0])
def test_a_loose_element_at_its_range_end_is_one_fault_and_neither_heat_nor_shock(degc: float) -> None:
    record = record_of(loose(degc), temperature_step=0.1)
    (event,) = detect_temperature_fault(record)
    assert (event.start - T0) / NS_PER_S == 5 * DAY_S + 9 * 60
    assert (event.end - T0) / NS_PER_S == 5 * DAY_S + 840 * 60
    assert not event.open_end
    assert detect_over_temperature(record) == ()
    assert detect_thermal_shock(record) == ()


def test_an_element_at_its_range_end_for_most_of_the_record_is_no_heat() -> None:
    made = scene(10.0, every_s=60.0)
    made.temperature[4000:] = 150.0
    record = record_of(made, temperature_step=0.1)
    assert detect_over_temperature(record) == ()
    assert [event.kind for event in detect_temperature_fault(record)] == ["temperature_fault"]


def test_an_element_at_its_range_end_is_no_heat_at_five_minutes_either() -> None:
    made = scene(10.0, every_s=300.0)
    made.temperature[1500:1600] = 150.0
    record = record_of(made, temperature_step=0.1)
    assert detect_over_temperature(record) == ()
    assert len(detect_temperature_fault(record)) == 1


@pytest.mark.parametrize("every_s", [300.0, 600.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_lasting_jump_between_samples_far_apart_is_undecided(every_s: float, seed: int) -> None:
    made = scene(60, every_s=every_s, seed=seed)
    made.temperature = 15 + 2 * np.sin(made.second / 13_750) + coloured(made.second.size, 0, 0.8, 200, seed)
    at = made.second.size // 2
    made.temperature[at:] += 9.0
    (event,) = detect_temperature_fault(record_of(made, temperature_step=0.1))
    assert event.origin == "undecided"
    assert (event.start - T0) / NS_PER_S == made.second[at]
    assert event.size == pytest.approx(9.0, abs=0.6)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_line_that_is_also_else_given_another_temperature_jumps_by_itself(seed: int) -> None:
    made = scene(60, every_s=600.0, seed=seed)
    made.temperature += np.where(np.arange(made.second.size) > 4_000, 9.0, 0.0)
    made.temperature += np.where(np.arange(made.second.size) > 6_000, -5.0, 0.0)
    assert detect_temperature_fault(record_of(made)) == ()


@pytest.mark.parametrize("every_s", [60.0, 600.0])
def test_a_line_that_stood_cold_and_is_started_again_is_no_jump_of_the_element(every_s: float) -> None:
    """It cooled for days by and by; the hot medium is back from one sample to the next."""
    made = scene(40, every_s=every_s)
    day = made.second / DAY_S
    cold = (day >= 18) & (day < 23.6)
    made.temperature = 45 + coloured(made.second.size, 0, 0.5, 50, 3)
    made.temperature[cold] = 20 + 25 * np.exp(-6 * (day[cold] - 18)) + np.sin(6.28 * day[cold])
    assert detect_temperature_fault(record_of(made, temperature_step=0.1)) == ()
