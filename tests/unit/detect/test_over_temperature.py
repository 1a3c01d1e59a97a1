"""Heat on the probe: what is an excursion, what is a cycle, and what the sampling could hide."""

from __future__ import annotations

import numpy as np
import pytest

from excursions.clock import NS_PER_S
from excursions.detect.heat.exposure import hidden_peak
from excursions.detect.heat.over_temperature import detect_over_temperature
from excursions.physics.steam import saturation_pressure_kpa
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import CLEANING, Event, Record
from excursions.states import recognise
from excursions.states.trace import trace_of
from tests.builders import T0, grid, make_record, make_signal, on_exception, quantised
from tests.scenes import DAY_S, Scene, record_of, scene

RATED = {
    "rating_continuous_degc": 100.0,
    "rating_sterilisation_degc": 130.0,
    "rating_sterilisation_min": 60.0,
}


def of_kind(events: tuple[Event, ...], kind: str) -> list[Event]:
    return [e for e in events if e.kind == kind]


def steamed(days: float = 12.0, every_s: float = 60.0, seed: int = 0) -> Scene:
    """A sterilisation every other day."""
    made = scene(days, every_s=every_s, seed=seed)
    for day in np.arange(1, days - 1, 2):
        made.steam((day + 0.1) * DAY_S)
    return made


def temperature_only(time: np.ndarray, x: np.ndarray, **ratings: float) -> Record:
    point = Point(name="A1", measurand="ph", temperature="A1.T", **ratings)  # type: ignore[arg-type]
    plant = Plant(points=(point,))
    signal = make_signal(x, time=time, measurand="temperature")
    states = recognise(point, plant, None, signal, None, None)
    return Record(point=point, plant=plant, value=None, temperature=signal, states=states)


def test_a_recipe_that_outlasts_the_stated_rating_is_told_once() -> None:
    rated = RATED | {"rating_sterilisation_min": 20.0}
    events = detect_over_temperature(record_of(steamed(), **rated))
    (told,) = of_kind(events, "over_temperature")
    assert (told.origin, told.severity, told.details["stretches"]) == ("process", "check", 5.0)
    assert "5 of 5 sterilisations last longer than the 20 min" in told.evidence[0]
    assert len(of_kind(events, "sterilisation")) == 5


def test_one_cycle_of_many_that_outlasts_the_rating_is_the_excursion() -> None:
    made = scene(12.0, every_s=60.0, seed=0)
    for day in np.arange(1, 10, 2):
        made.steam((day + 0.1) * DAY_S)
    made.steam(10.1 * DAY_S, hold=110.0)
    events = detect_over_temperature(record_of(made, **RATED))
    (told,) = of_kind(events, "over_temperature")
    assert told.origin == "probe"
    assert any("rated for 60 min" in fact for fact in told.evidence)


# --- the family ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_routine_cycles_are_sterilisations_and_worth_a_note(seed: int) -> None:
    events = detect_over_temperature(record_of(steamed(seed=seed), **RATED))
    assert [e.kind for e in events] == ["sterilisation"] * 5
    assert {e.origin for e in events} == {"routine"}
    assert {e.severity for e in events} == {"note"}
    assert events[0].size == pytest.approx(121.5, abs=0.4)
    assert events[0].details["minutes_above_110_degc_min"] == pytest.approx(25 + 11.5 / 3 + 11.5 / 2, abs=0.7)


def test_f0_of_a_cycle_is_the_exact_integral() -> None:
    """Hold 25 min at 121.5 °C: 27.4 min; ramps of 3 and 2 K/min add (z / ln 10)(1/3 + 1/2) 10^0.04 = 4.0 min."""
    event = detect_over_temperature(record_of(steamed(), temperature_step=0.001, **RATED))[0]
    hold = 25 * 10**0.04
    ramps = 10 / np.log(10) * (1 / 3 + 1 / 2) * 10**0.04
    assert event.details["f0_min"] == pytest.approx(hold + ramps, rel=0.02)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"degc": 127.0}, "hotter than the other cycles: 127 °C against 122 °C"),
        ({"hold": 55.0}, "longer"),
        ({"rate": 9.0}, "heated faster"),
    ],
)
def test_the_odd_cycle_is_named(given: dict[str, float], word: str) -> None:
    made = steamed(14)
    made.steam(6.5 * DAY_S, **given)
    events = of_kind(detect_over_temperature(record_of(made, **RATED)), "sterilisation")
    odd = [e for e in events if e.severity == "check"]
    assert len(odd) == 1
    assert any(word in fact for fact in odd[0].evidence)


def test_a_cycle_without_its_hold_while_cooling_is_named() -> None:
    made = steamed(14)
    made.warm(6.5 * DAY_S, [(0, 37), (28, 121.5), (53, 121.5), (57, 60), (62, 37)])
    odd = [e for e in detect_over_temperature(record_of(made, **RATED)) if e.severity == "check"]
    assert len(odd) == 1
    assert any("half way down" in fact for fact in odd[0].evidence)


def test_two_kinds_of_cycle_are_two_habits() -> None:
    made = scene(20)
    for day in range(1, 19, 2):
        made.steam((day + 0.1) * DAY_S, degc=126.0 if day % 6 == 1 else 121.5)
    events = detect_over_temperature(record_of(made, **RATED))
    assert {e.severity for e in events} == {"note"}


# --- cleanings as a family -----------------------------------------------------------------------


def cleaned(hot: float, usual: float = 76.0, days: float = 14.0) -> Scene:
    """A caustic cleaning every other day, and one at another heat."""
    made = scene(days)
    for day in np.arange(1, days - 1, 2):
        made.clean((day + 0.1) * DAY_S, degc=usual)
    made.clean(6.5 * DAY_S, degc=hot)
    return made


@pytest.mark.parametrize("hot", [96.0, 107.0])
@pytest.mark.parametrize("rated", [{}, RATED | {"rating_continuous_degc": 85.0}])
def test_the_hotter_cleaning_of_a_family_is_held_against_the_rating_of_the_process(
    hot: float, rated: dict[str, float]
) -> None:
    record = record_of(cleaned(hot), **rated)
    (event,) = detect_over_temperature(record)
    assert (event.kind, event.origin) == ("over_temperature", "probe")
    assert event.size == pytest.approx(hot, abs=0.3)
    assert "hotter than the other cleanings, usually 76 °C" in event.evidence
    assert record.states.at(np.array([event.start], dtype=np.int64))[0] == CLEANING


def test_cleanings_of_two_heats_are_two_habits() -> None:
    made = scene(26)
    for day in range(1, 25):
        made.clean((day + 0.1) * DAY_S, degc=94.0 if day % 6 == 1 else 76.0)
    assert detect_over_temperature(record_of(made)) == ()


def test_a_lone_overheated_cleaning_is_cleaning_and_held_against_the_rating_of_the_process() -> None:
    made = scene(4)
    made.clean(1.5 * DAY_S, degc=107.0)
    record = record_of(made)
    (event,) = detect_over_temperature(record)
    assert (event.kind, event.origin) == ("over_temperature", "probe")
    assert record.states.at(np.array([event.start], dtype=np.int64))[0] == CLEANING


# --- excursions ----------------------------------------------------------------------------------


def test_a_steam_out_above_the_rating_is_an_excursion_of_the_probe() -> None:
    made = steamed()
    made.warm(6.5 * DAY_S, [(0, 37), (4.5, 148), (20, 148), (40, 37)])
    (event,) = of_kind(detect_over_temperature(record_of(made, **RATED)), "over_temperature")
    assert (event.origin, event.severity) == ("probe", "act")
    assert event.size == pytest.approx(148, abs=0.3)
    assert event.confidence > 0.9
    rise, fall = 111 / 4.5, 111 / 20
    minutes = 15.5 + 18 / rise + 18 / fall
    assert event.details["minutes_above_sterilisation_min"] == pytest.approx(minutes, rel=0.03)
    assert event.details["minutes_above_rating_min"] == event.details["minutes_above_sterilisation_min"]
    crossed = 6.5 * DAY_S + 60 * 93 / rise
    assert (event.start - T0) / NS_PER_S == pytest.approx(crossed, abs=20)


def test_an_assumed_rating_is_said_to_be_and_never_calls_for_action_by_itself() -> None:
    made = steamed()
    made.warm(6.5 * DAY_S, [(0, 37), (4.5, 138), (20, 138), (40, 37)])
    (event,) = of_kind(detect_over_temperature(record_of(made)), "over_temperature")
    assert event.severity == "check"
    assert any("assumed" in fact for fact in event.evidence)
    assert event.confidence < 0.9


def test_an_assumed_rating_gives_way_to_the_habit_of_the_line() -> None:
    made = scene(14)
    for day in range(1, 13, 2):
        made.steam((day + 0.1) * DAY_S, degc=134.0)
    events = detect_over_temperature(record_of(made))
    assert [e.kind for e in events] == ["sterilisation"] * 6
    assert any("state the rating" in fact for fact in events[0].evidence)
    stated = detect_over_temperature(record_of(made, **RATED))
    assert [e.kind for e in stated] == ["over_temperature"] * 6


def test_a_stated_continuous_rating_is_held_outside_steam() -> None:
    made = scene(4)
    made.warm(2 * DAY_S, [(0, 37), (30, 92), (90, 92), (130, 37)])
    rated = {**RATED, "rating_continuous_degc": 80.0}
    (event,) = detect_over_temperature(record_of(made, **rated))
    assert (event.kind, event.severity) == ("over_temperature", "check")  # 78 min, rated for 60
    assert event.details["minutes_above_continuous_min"] == pytest.approx(
        60 + 12 / (55 / 30) + 12 / (55 / 40), abs=1
    )
    assert event.details["minutes_above_sterilisation_min"] == 0


def test_chatter_around_the_rating_is_one_stay() -> None:
    made = scene(4)
    where = made.inside(2 * DAY_S, 300)
    made.temperature[where] = 80.2 + 0.3 * np.sin(np.arange(where.sum()))
    rated = {**RATED, "rating_continuous_degc": 80.0}
    assert len(detect_over_temperature(record_of(made, **rated))) == 1


def test_a_process_that_lives_above_a_stated_rating_is_told_once() -> None:
    made = scene(20, warm=70)
    for day in range(1, 19):
        made.warm(day * DAY_S, [(0, 70), (30, 88), (600, 88), (640, 70)])
    rated = {**RATED, "rating_continuous_degc": 80.0}
    (event,) = of_kind(detect_over_temperature(record_of(made, **rated)), "over_temperature")
    assert event.details["stretches"] == 18
    assert event.origin == "process"


@pytest.mark.parametrize("every_s", [60.0, 600.0, 3600.0])
def test_a_process_that_lives_above_an_assumed_rating_is_its_habit(every_s: float) -> None:
    assert detect_over_temperature(record_of(scene(20, warm=86, every_s=every_s))) == ()


def test_ratings_follow_the_probe_that_sat_there() -> None:
    made = steamed(8)
    record = record_of(made)
    half = T0 + round(4 * DAY_S * NS_PER_S)
    probes = (
        Probe(serial="S1", measurand="ph", rating_continuous_degc=110.0, rating_sterilisation_degc=115.0),
        Probe(serial="S2", measurand="ph", rating_continuous_degc=110.0, rating_sterilisation_degc=135.0),
    )
    stays = (
        Installation(probe="S1", point="A1", end=half),
        Installation(probe="S2", point="A1", start=half),
    )
    plant = Plant(points=record.plant.points, probes=probes, installations=stays)
    events = detect_over_temperature(
        Record(
            point=record.point, plant=plant, value=None, temperature=record.temperature, states=record.states
        )
    )
    assert [(e.kind, e.probe) for e in events] == [
        ("over_temperature", "S1"),
        ("over_temperature", "S1"),
        ("sterilisation", "S2"),
    ]


# --- short peaks ---------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [1, 2])
def test_a_peak_with_nothing_on_its_way_is_no_heat(width: int) -> None:
    made = scene(4)
    made.temperature[3000 : 3000 + width] = [145.0, 151.0][:width]
    assert detect_over_temperature(record_of(made, **RATED)) == ()


def test_a_short_peak_that_rises_and_falls_is_heat() -> None:
    made = scene(4)
    made.temperature[3000:3004] = [85.0, 138.0, 120.0, 70.0]
    (event,) = of_kind(detect_over_temperature(record_of(made, **RATED)), "over_temperature")
    assert event.size == pytest.approx(138.0, abs=0.1)
    assert event.size_high > event.size + 5


def test_one_hot_sample_of_many_minutes_is_heat_with_less_certainty() -> None:
    made = scene(6, every_s=900)
    made.temperature[300] = 140.0
    (event,) = of_kind(detect_over_temperature(record_of(made, **RATED)), "over_temperature")
    assert event.confidence < 0.8
    assert any("1 sample only" in fact for fact in event.evidence)


# --- what could be hidden ------------------------------------------------------------------------


def test_the_bound_of_a_triangle_between_samples_is_its_apex() -> None:
    """Rise and fall of 10 K/min around an apex of 140 °C half way between two samples a minute apart."""
    minute = np.arange(20.0)
    x = 140 - 10 * np.abs(minute - 9.5)
    record = make_record(None, x)
    trace = trace_of(record.temperature)
    assert trace is not None
    assert hidden_peak(record.temperature, trace, int(np.argmax(x))) == pytest.approx(
        140.0, abs=trace.resolution
    )


def test_a_level_hold_hides_nothing() -> None:
    event = detect_over_temperature(record_of(steamed(), **RATED))[0]
    assert event.size_high - event.size < 0.5


def test_coarse_samples_bound_the_true_peak() -> None:
    fine = scene(4, every_s=10)
    fine.warm(2 * DAY_S, [(0, 37), (6, 146), (9, 146), (30, 37)])
    coarse = Scene(300.0, fine.second[::30], fine.value[::30], fine.temperature[::30], 0)
    (event,) = of_kind(detect_over_temperature(record_of(coarse, **RATED)), "over_temperature")
    assert event.size <= 146.2 <= event.size_high + 0.5


def test_on_exception_only_the_dead_band_can_hide() -> None:
    made = steamed(8, every_s=10.0)
    time, kept = on_exception(
        grid(made.temperature.size, 10.0), quantised(made.temperature, 0.1), 0.5, 3600.0
    )
    event = detect_over_temperature(temperature_only(time, kept, **RATED))[0]
    assert event.size_high == pytest.approx(event.size + 0.5, abs=0.11)


@pytest.mark.parametrize(("unit", "scale", "offset"), [("kPa", 1.0, 0.0), ("bar_g", 0.01, -1.01325)])
def test_line_pressure_bounds_the_peak(unit: str, scale: float, offset: float) -> None:
    made = scene(4)
    made.temperature[3000:3004] = [85.0, 138.0, 120.0, 70.0]
    pressure = np.full(made.second.size, 101.325)
    pressure[2995:3010] = saturation_pressure_kpa(139.0)
    record = record_of(made, pressure=pressure * scale + offset, pressure_unit=unit, **RATED)
    (event,) = of_kind(detect_over_temperature(record), "over_temperature")
    assert event.size_high == pytest.approx(139.0, abs=0.1)
    assert any("139.0" in fact for fact in event.evidence)


def test_a_pressure_that_the_temperature_contradicts_caps_nothing() -> None:
    made = scene(4)
    made.temperature[3000:3003] = [85.0, 138.0, 70.0]
    pressure = np.full(made.second.size, float(saturation_pressure_kpa(126.0)))
    free = of_kind(detect_over_temperature(record_of(made, **RATED)), "over_temperature")
    capped = detect_over_temperature(record_of(made, pressure=pressure, pressure_unit="kPa", **RATED))
    (event,) = of_kind(capped, "over_temperature")
    assert event.size_high == free[0].size_high > event.size + 1


# --- edges ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 1, 2])
@pytest.mark.parametrize("degc", [20.0, 125.0, float("nan")])
def test_tiny_records(n: int, degc: float) -> None:
    for event in detect_over_temperature(temperature_only(grid(n), np.full(n, degc), **RATED)):
        assert event.end > event.start
        assert event.open_start
        assert event.open_end


def test_no_temperature_is_no_heat() -> None:
    assert detect_over_temperature(record_of(steamed(), with_temperature=False)) == ()


def test_heat_at_the_ends_of_the_record_is_open() -> None:
    made = scene(3)
    made.temperature[:40] = 134.0 + 0.05 * np.arange(40)
    made.temperature[-40:] = 134.0 + 0.05 * np.arange(40)
    first, last = of_kind(detect_over_temperature(record_of(made, **RATED)), "over_temperature")
    assert (first.open_start, first.open_end) == (True, False)
    assert (last.open_start, last.open_end) == (False, True)


def test_minutes_are_not_counted_across_a_gap() -> None:
    made = scene(4)
    made.warm(2 * DAY_S, [(0, 37), (5, 140), (60, 140), (80, 37)])
    keep = ~made.inside(2 * DAY_S + 900, 20)
    record = temperature_only(grid(made.second.size)[keep], made.temperature[keep], **RATED)
    total = sum(e.details["minutes_above_rating_min"] for e in detect_over_temperature(record))
    assert total == pytest.approx(55 + 10 / (103 / 5) + 10 / (103 / 20) - 20, abs=2)
