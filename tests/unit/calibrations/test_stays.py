"""Stays that follow from the serial numbers of a log, where nobody states them."""

from __future__ import annotations

import pytest

from excursions.calibrations import with_logs
from excursions.calibrations.entries import on_bench
from excursions.plant import Installation, Plant, Point
from excursions.records import CalibrationEntry

A, B = Point(name="A", measurand="ph", value="A"), Point(name="B", measurand="ph", value="B")


def entry(point: str, probe: str, time: int, comment: str = "") -> CalibrationEntry:
    return CalibrationEntry(
        time=time, file="log.csv", line=time, point=point, probe=probe, action="calibration", comment=comment
    )


def stays(*entries: CalibrationEntry, plant: Plant | None = None, logged: tuple[Installation, ...] = ()):
    plant, told = with_logs(plant or Plant(points=(A, B)), logged, entries)
    return [(row.probe, row.point, row.start, row.end) for row in plant.installations], told


def test_one_serial_number_sat_there_all_the_time() -> None:
    found, told = stays(entry("A", "S-1", 10), entry("A", "S-1", 90))
    assert found == [("S-1", "A", None, None)]
    assert told[0].subject == "A"
    assert "S-1" in told[0].what


def test_the_next_number_takes_over_at_its_first_calibration() -> None:
    found, _ = stays(entry("A", "S-1", 10), entry("A", "S-2", 50), entry("A", "S-2", 90))
    assert found == [("S-1", "A", None, 50), ("S-2", "A", 50, None)]


def test_two_probes_that_change_places() -> None:
    found, _ = stays(
        entry("A", "S-1", 10), entry("B", "S-2", 11), entry("B", "S-1", 50), entry("A", "S-2", 51)
    )
    assert found == [
        ("S-1", "A", None, 50),
        ("S-2", "A", 51, None),
        ("S-2", "B", None, 50),
        ("S-1", "B", 50, None),
    ]


def test_a_single_other_number_in_between_is_no_swap() -> None:
    found, _ = stays(entry("A", "S-1", 10), entry("A", "S-7", 50), entry("A", "S-1", 90))
    assert found == [("S-1", "A", None, None)]


@pytest.mark.parametrize(
    ("remark", "swapped"),
    [
        ("replacement fitted, S-1 to workshop", True),
        ("Sonde getauscht", True),
        ("buffers replaced", False),
        ("new membrane fitted", False),
    ],
)
def test_a_single_other_number_whose_remark_says_it_was_put_in_is_a_swap(remark: str, swapped: bool) -> None:
    """A spare for three weeks, while the probe of the point is calibrated in the workshop."""
    found, _ = stays(
        entry("A", "S-1", 10), entry("A", "S-7", 50, remark), entry("A", "S-1", 70, "in the workshop"), entry("A", "S-1", 90, "refitted")
    )  # fmt: skip
    swap = [("S-1", "A", None, 50), ("S-7", "A", 50, 90), ("S-1", "A", 90, None)]
    assert found == (swap if swapped else [("S-1", "A", None, None)])


@pytest.mark.parametrize(
    ("remark", "away"),
    [("calibrated in the lab", True), ("Werkstatt", True), ("no label, buffer not available", False), ("S-3 to the workshop", False)],
)  # fmt: skip
def test_a_remark_places_the_work_on_the_bench_by_whole_words(remark: str, away: bool) -> None:
    assert on_bench(remark) is away


def test_who_is_stated_is_believed() -> None:
    stated = Installation(probe="S-9", point="A")
    found, told = stays(entry("A", "S-1", 10), plant=Plant(points=(A, B), installations=(stated,)))
    assert (found, told) == ([("S-9", "A", None, None)], ())
    found, told = stays(entry("A", "S-1", 10), logged=(stated, stated))
    assert (found, told) == ([("S-9", "A", None, None)], ())
    elsewhere = Installation(probe="S-1", point="B")
    found, told = stays(entry("A", "S-1", 10), logged=(elsewhere,))
    assert found == [("S-1", "B", None, None)]


def test_points_nobody_knows_and_entries_without_a_number_say_nothing() -> None:
    assert stays(entry("X", "S-1", 10), entry("A", "", 20)) == ([], ())
