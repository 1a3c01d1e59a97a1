"""A swap nobody logged shows in the parameters, where it can show at all."""

from __future__ import annotations

import math

import pytest

from excursions.calibrations import evaluate, installations_from
from excursions.calibrations.swaps import swap_probability
from excursions.plant import Installation, Plant
from excursions.records import CalibrationEntry
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
