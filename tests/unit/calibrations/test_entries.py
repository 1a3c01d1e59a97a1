"""Whose a row of a log is: of which probe, at which point, of which quantity; and when anybody worked at a point."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from excursions.calibrations.entries import air_pressure, by_look, noted, occasions
from excursions.calibrations.stays import with_logs
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import CalibrationEntry, StandardReading

A, B = Point(name="A", measurand="ph"), Point(name="B", measurand="ph")
PLANT = Plant(points=(A, B))


def row(
    time: int, point: str = "", probe: str = "", phase: str = "as_left", **more: object
) -> CalibrationEntry:
    return CalibrationEntry(
        time=time, file="log.csv", line=time, point=point, probe=probe, phase=phase, **more
    )  # type: ignore[arg-type]


def stay(point: str, start: int | None, end: int | None, probe: str = "S1") -> Installation:
    return Installation(probe=probe, point=point, start=start, end=end)


def looks(unit: str = "", label: str = "", **figures: float) -> str:
    standards = (
        (StandardReading(standard=1.0, raw=1.0, standard_unit=unit, label=label),) if unit or label else ()
    )
    return by_look([row(1, standards=standards, figures=figures)])


@pytest.mark.parametrize(
    ("unit", "measurand"),
    [
        ("uS/cm", "conductivity"),
        ("mS/cm", "conductivity"),
        ("S/m", "conductivity"),
        ("mS/m", "conductivity"),
        ("NTU", "turbidity"),
        ("FNU", "turbidity"),
        ("pH", "ph"),
        ("mg/L", "oxygen"),
        ("%sat", "oxygen_saturation"),
        ("mV", "redox"),
        ("degC", "other"),
        ("", "other"),
    ],
)
def test_what_is_measured_shows_in_the_unit_of_the_standards(unit: str, measurand: str) -> None:
    assert looks(unit) == measurand


@pytest.mark.parametrize(
    ("label", "measurand"),
    [("air", "oxygen"), ("zobell", "redox"), ("light", "redox"), ("zero", "other")],
)
def test_what_is_measured_shows_in_the_name_of_a_standard(label: str, measurand: str) -> None:
    assert looks(label=label) == measurand


def test_what_is_measured_shows_in_the_figures() -> None:
    assert looks(cell_constant=1.0) == "conductivity"
    assert looks(zero_point=7.0) == "ph"
    assert looks(slope=98.0) == "other"


def place(when: int, *stays: Installation, point: str = "") -> str:
    (one,) = occasions([row(when, point, "S1")], replace(PLANT, installations=stays))
    return one.point


@pytest.mark.parametrize(
    ("when", "point"),
    [
        (5, "A"),  # before anybody put it in: where it was put in next
        (10, "A"),
        (19, "A"),
        (20, "A"),  # taken out: where it sat last
        (29, "A"),
        (30, "B"),
        (40, "B"),
        (60, "B"),
        (70, "A"),
        (99, "A"),
    ],
)
def test_a_calibration_at_the_bench_is_of_where_the_probe_sat_sat_last_or_went_next(
    when: int, point: str
) -> None:
    stays = (stay("A", 10, 20), stay("B", 30, 40), stay("A", 70, None))
    assert place(when, *stays) == place(when, *stays[::-1]) == point


def test_a_stay_without_a_begin_or_an_end_holds_to_the_other() -> None:
    assert place(5, stay("B", 50, None), stay("A", None, 50)) == "A"
    assert place(50, stay("B", 50, None), stay("A", None, 50)) == "B"
    assert place(50, stay("A", None, 50), stay("B", 50, None)) == "B"
    assert place(49, stay("A", None, 50), stay("B", 60, None)) == "A"


def test_an_occasion_has_two_rows_found_at_the_most_and_none_is_lost() -> None:
    """Found, found after cleaning, left: another row found begins the next, and so does another row left."""
    found = [row(t, "A", "S1", "as_found") for t in (1, 2, 3)]

    def times(*rows: CalibrationEntry) -> list[list[int]]:
        return [[r.time for r in one.rows] for one in occasions(rows, PLANT)]

    assert times(*found[:2], row(3, "A", "S1"), row(4, "A", "S1")) == [[1, 2, 3], [4]]
    assert times(*found) == [[1, 2], [3]]
    assert times(*found, row(4, "A", "S1")) == [[1, 2], [3, 4]]


def test_nobody_said_where_another_probe_sat() -> None:
    assert place(5, stay("A", None, None, probe="S2")) == ""


def test_a_bench_that_is_no_point_of_the_plant_stands_for_where_the_probe_sat() -> None:
    assert place(5, stay("A", None, None), point="workshop") == "A"
    assert place(5, point="workshop") == "workshop"
    assert place(5, stay("A", None, None), point="B") == "B"


def test_what_the_probe_is_says_what_was_measured_where_the_point_does_not() -> None:
    plant = Plant(points=(Point(name="X"),), probes=(Probe(serial="S1", measurand="redox"),))
    (one,) = occasions([row(1, "X", "S1", figures={"zero_point": 7.0})], plant)
    assert one.measurand == "redox"
    (two,) = occasions([row(1, "X", "S2", figures={"zero_point": 7.0})], plant)
    assert two.measurand == "ph"


def test_only_work_at_a_point_is_noted_there_in_order() -> None:
    stays = (stay("A", 100, 200), stay("B", 0, 90, probe="S2"))
    entries = [
        row(300, "A", "S1"),
        row(50, "", "S2"),  # at its point
        row(150, "", "S1"),
        row(150, "B", "S3"),
        row(250, "", "S1"),  # taken out: at the bench
        row(100, "", "S2"),
        row(20, "", "S4"),  # nobody knows where
    ]
    assert noted(entries, replace(PLANT, installations=stays)) == (
        ("B", 50),
        ("A", 150),
        ("B", 150),
        ("A", 300),
    )


def test_rows_of_one_occasion_are_each_noted() -> None:
    found, left = row(10, "A", "S1", "as_found"), row(12, "A", "S1")
    assert noted([found, left], PLANT) == (("A", 10), ("A", 12))


def test_the_air_pressure_entered_counts_before_the_plant_s() -> None:
    plant = replace(PLANT, air_pressure_kpa=95.0)
    assert air_pressure([row(1), row(2, air_pressure_kpa=98.0)], plant) == 98.0
    assert air_pressure([row(1, air_pressure_kpa=math.nan)], plant) == 95.0


def test_cleanings_are_placed_by_their_point_or_by_where_the_probe_sat_then() -> None:
    stays = (stay("A", 0, 100), stay("B", 100, None))
    cleanings = [
        row(150, "", "S1"),
        row(99, "", "S1"),
        row(40, "B", ""),
        row(40, "A", "S9"),
        row(60, "", "S9"),
    ]
    plant, _ = with_logs(replace(PLANT, installations=stays), (), [], cleanings)
    assert plant.cleaned == (("A", 40), ("B", 40), ("A", 99), ("B", 150))  # fmt: skip


def test_calibrations_are_noted_with_the_stays_that_follow_from_the_same_log() -> None:
    plant, told = with_logs(PLANT, (), [row(10, "A", "S1"), row(50, "A", "S2")])
    assert plant.noted == (("A", 10), ("A", 50))
    assert (told[0].subject, told[0].what) == ("A", "probe S1, then S2 sat here")
    assert "serial numbers" in told[0].why
    assert "register" in told[0].option


@pytest.mark.parametrize(
    ("numbers", "stays"),
    [
        ("112", [("1", None, 30), ("2", 30, None)]),
        ("12212", [("1", None, 20), ("2", 20, None)]),  # a slip of one entry inside a run
        ("1221", [("1", None, 20), ("2", 20, 40), ("1", 40, None)]),
        ("1211", [("1", None, None)]),
        ("12222", [("1", None, 20), ("2", 20, None)]),
        ("11211", [("1", None, None)]),
        ("123", [("1", None, 20), ("2", 20, 30), ("3", 30, None)]),
        ("12341", [("1", None, 20), ("2", 20, 30), ("3", 30, 40), ("4", 40, 50), ("1", 50, None)]),
    ],
)
def test_runs_of_serial_numbers_are_stays(
    numbers: str, stays: list[tuple[str, int | None, int | None]]
) -> None:
    entries = [row(10 * i, "A", number) for i, number in enumerate(numbers, start=1)]
    plant, _ = with_logs(PLANT, (), entries)
    assert [(one.probe, one.start, one.end) for one in plant.installations] == stays
    assert [one.at_latest for one in plant.installations] == [one.start is not None for one in plant.installations]  # fmt: skip


def test_a_probe_calibrated_elsewhere_before_came_with_its_first_calibration_here() -> None:
    plant, _ = with_logs(PLANT, (), [row(10, "A", "S1"), row(50, "B", "S1"), row(60, "B", "S1")])
    assert [(one.point, one.start, one.end, one.at_latest) for one in plant.installations] == [
        ("A", None, 50, False),
        ("B", 50, None, True),
    ]


def test_a_probe_somebody_places_leaves_the_others_of_the_point_to_be_told() -> None:
    entries = [row(10, "A", "S1"), row(50, "A", "S2"), row(90, "A", "S3")]
    plant, _ = with_logs(replace(PLANT, installations=(stay("B", 40, 60, probe="S2"),)), (), entries)
    assert [(one.probe, one.point, one.start, one.end) for one in plant.installations[1:]] == [
        ("S1", "A", None, 50),
        ("S3", "A", 90, None),
    ]


def test_the_decision_on_a_measurand_says_what_it_follows_from() -> None:
    nameless = Point(name="X", measurand="other", inferred={"name": "from the tag"})
    mine = [row(10, "X", "S1", figures={"zero_point": 7.0})]
    plant, told = with_logs(Plant(points=(nameless,)), (), [*mine, row(20, "X", "S1")])
    assert plant.points[0].measurand == "ph"
    assert (told[0].subject, told[0].what) == ("X", "measurand ph")
    assert "calibration log" in told[0].why
    assert "register" in told[0].option
