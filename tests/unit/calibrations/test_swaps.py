"""A swap nobody logged shows in the parameters, where it can show at all."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.calibrations import evaluate, installations_from, recognise_exchanges
from excursions.calibrations.swaps import swap_probability
from excursions.clock import NS_PER_DAY, NS_PER_MINUTE
from excursions.plant import Installation, Plant
from excursions.records import CalibrationEntry, Event
from tests.unit.calibrations.builders import PLANT, entry, standard


def figures(*pairs: tuple[float, float], probe: str = "") -> list[CalibrationEntry]:
    return [
        entry("ph", 1.0 + 30 * i, probe=probe, slope=slope, zero_point=zero)
        for i, (slope, zero) in enumerate(pairs)
    ]


def test_a_slope_that_comes_back_is_a_fresh_probe() -> None:
    rows = figures((97.0, 7.05), (94.0, 7.1), (99.3, 6.98), (98.9, 6.99))
    plant, decisions = installations_from(evaluate(rows, PLANT), PLANT)
    assert [(row.probe, row.start) for row in plant.installations] == [
        ("ph, probe 1", None),
        ("ph, probe 2", rows[2].time),
    ]
    assert "no swap is logged" in decisions[0].what


@pytest.mark.parametrize(
    "pairs",
    [
        ((97.0, 7.05), (96.6, 7.06), (96.4, 7.05)),  # ages
        ((97.0, 7.05), (85.0, 7.3)),  # damaged
        ((97.0, 7.05), (97.8, 7.04)),  # scatters
    ],
)
def test_what_an_old_probe_does_is_no_swap(pairs: tuple[tuple[float, float], ...]) -> None:
    plant, decisions = installations_from(evaluate(figures(*pairs), PLANT), PLANT)
    assert (plant.installations, decisions) == ((), ())


def test_a_logged_history_is_left_alone() -> None:
    known = Plant(points=PLANT.points, installations=(Installation(probe="A", point="ph"),))
    plant, _ = installations_from(evaluate(figures((94.0, 7.1), (99.5, 7.0)), known), known)
    assert plant == known


def test_a_serial_number_is_taken_at_its_word_but_the_jump_is_named() -> None:
    plant, decisions = installations_from(
        evaluate(figures((94.0, 7.1), (99.5, 7.0), probe="S1"), PLANT), PLANT
    )
    assert plant == PLANT
    assert "goes on under serial number S1" in decisions[0].what


def test_a_cell_constant_cannot_tell() -> None:
    rows = [
        entry("conductivity", day, standard(1413.0, raw, unit="uS/cm", raw_unit="uS"), probe="") for day, raw in ((1.0, 1400.0), (30.0, 1300.0))
    ]  # fmt: skip
    earlier, later = evaluate(rows, PLANT)
    assert swap_probability(earlier, later) == pytest.approx(0.05)
    assert installations_from((earlier, later), PLANT) == (PLANT, ())


def test_a_cell_constant_that_jumps_is_made_visible_and_left_open() -> None:
    rows = [
        entry("conductivity", day, standard(1413.0, raw, unit="uS/cm", raw_unit="uS"), probe="") for day, raw in ((1.0, 1400.0), (30.0, 1100.0))
    ]  # fmt: skip
    plant, (told,) = installations_from(evaluate(rows, PLANT), PLANT)
    assert plant == PLANT
    assert told.what.startswith("the cell constant moved by +27% between 1970-01-02")
    assert "cannot be told" in told.what


def test_a_phase_that_rises_again_is_a_fresh_cap() -> None:
    def row(day: float, zero: float) -> CalibrationEntry:
        air = math.degrees(math.atan(math.tan(math.radians(zero)) / 2.5))
        return entry(
            "oxygen_saturation", day, standard(100.0, air, unit="%", raw_unit="deg"), standard(0.0, zero, unit="%", raw_unit="deg"), probe=""
        )  # fmt: skip

    earlier, later = evaluate([row(1.0, 54.0), row(30.0, 57.6)], PLANT)
    assert swap_probability(earlier, later) > 0.9
    earlier, later = evaluate([row(1.0, 57.6), row(30.0, 54.0)], PLANT)
    assert swap_probability(earlier, later) < 0.05


def happened(kind: str, day: float, size: float = math.nan, *, minutes: float = 0.0) -> Event:
    start = int(day * NS_PER_DAY)
    return Event(
        point="ph", kind=kind, start=start, end=start + int(minutes * NS_PER_MINUTE) + 1, size=size, size_unit="pH",
        confidence=0.6, origin="record" if kind == "dropout" else "undecided",
    )  # fmt: skip


SILENCE, STEP = happened("dropout", 15.0, minutes=14.0), happened("step", 15.01, -0.3)


def test_a_silence_with_a_step_right_after_says_when_and_that_the_number_is_anothers() -> None:
    rows = evaluate(figures((92.0, 6.8), (91.0, 6.8), (99.3, 7.05), probe="S1"), PLANT)
    events = (
        happened("step", 40.0, -0.1),
        replace(SILENCE, start=SILENCE.start + 30 * NS_PER_DAY, end=SILENCE.end + 30 * NS_PER_DAY),
        happened("step", 45.01, -0.3),
    )
    made = recognise_exchanges(rows, PLANT, events)
    assert [(row.probe, row.start, row.end) for row in made.plant.installations] == [
        ("S1", None, events[2].start),
        ("S1, probe 2", events[2].start, None),
    ]
    assert [c.probe for c in made.calibrations] == ["S1", "S1", "S1, probe 2"]
    assert "no reading up to" in made.decisions[0].why


def test_the_stay_the_register_states_ends_at_the_exchange() -> None:
    known = Plant(points=PLANT.points, installations=(Installation(probe="S1", point="ph", start=5),))
    rows = evaluate(figures((91.0, 6.8), (99.3, 7.05), probe="S1"), known)
    made = recognise_exchanges(rows, known, (SILENCE, STEP))
    assert [(row.start, row.end) for row in made.plant.installations] == [(5, STEP.start), (STEP.start, None)]


def test_without_a_number_the_exchange_is_dated_too() -> None:
    rows = evaluate(figures((91.0, 6.8), (99.3, 7.05)), PLANT)
    assert recognise_exchanges(rows, PLANT, (SILENCE, STEP)).plant.installations[0].end == STEP.start


@pytest.mark.parametrize("events", [(STEP,), (SILENCE,), (SILENCE, replace(STEP, origin="process"))])
def test_a_step_or_a_silence_alone_changes_no_number(events: tuple[Event, ...]) -> None:
    rows = evaluate(figures((91.0, 6.8), (99.3, 7.05), probe="S1"), PLANT)
    assert recognise_exchanges(rows, PLANT, events).plant == PLANT


def test_a_renewed_membrane_leaves_the_probe_the_same() -> None:
    rows = [
        entry("oxygen_saturation", day, probe="S1", slope=slope)
        for day, slope in ((1.0, 80.0), (30.0, 101.0))
    ]
    events = tuple(replace(e, point="oxygen_saturation") for e in (SILENCE, STEP))
    assert recognise_exchanges(evaluate(rows, PLANT), PLANT, events).plant == PLANT
