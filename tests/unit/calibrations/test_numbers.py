"""Serial numbers that change in the log with no swap logged, and calibrations at the bench."""

from __future__ import annotations

from dataclasses import replace

import pytest

from excursions.calibrations import evaluate, recognise_exchanges
from excursions.calibrations.stays import with_logs
from excursions.clock import NS_PER_DAY as DAY
from excursions.link import next_due
from excursions.plant import Installation, Plant, Point
from excursions.read.logs.log import check_entries
from excursions.records import CalibrationEntry, Event
from tests.unit.calibrations.builders import PLANT, buffers, entry

ENTRIES = [
    entry("ph", 10, *buffers(0.0, 176.0), probe="A"),
    entry("ph", 40, *buffers(-9.0, 160.0), probe="A"),
    entry("ph", 80, *buffers(0.5, 176.5), probe="B"),
]
STEP = Event(
    point="ph",
    kind="step",
    origin="undecided",
    start=60 * DAY,
    end=60 * DAY,
    size=0.2,
    size_unit="pH",
    confidence=0.9,
)


def test_another_number_is_another_probe_and_the_one_step_says_since_when() -> None:
    plant, _ = with_logs(PLANT, (), ENTRIES)
    seen = recognise_exchanges(evaluate(ENTRIES, plant), plant, [STEP])
    (one,) = seen.exchanges
    assert (one.old, one.new, one.at, one.named) == ("A", "B", 60 * DAY, True)
    assert [seen.plant.probe_at("ph", day * DAY) for day in (50, 59.9, 60.1, 90)] == ["A", "A", "B", "B"]
    assert "another probe than A" in seen.calibrations[-1].checks[0]
    assert any("no swap is logged" in decision.why for decision in seen.decisions)


@pytest.mark.parametrize(
    "events",
    [[], [STEP, replace(STEP, start=70 * DAY, end=70 * DAY)], [replace(STEP, origin="process")]],
    ids=["none", "two", "process"],
)
def test_without_just_one_step_the_exchange_was_at_the_calibration_at_the_latest(events: list[Event]) -> None:
    plant, _ = with_logs(PLANT, (), ENTRIES)
    seen = recognise_exchanges(evaluate(ENTRIES, plant), plant, events)
    assert [(one.at, one.step) for one in seen.exchanges] == [(80 * DAY, None)]
    assert "the record does not show" in seen.calibrations[-1].checks[0]


def test_a_logged_swap_stands_as_logged() -> None:
    logged = (
        Installation(probe="A", point="ph", end=80 * DAY),
        Installation(probe="B", point="ph", start=80 * DAY),
    )
    plant, _ = with_logs(PLANT, logged, ENTRIES)
    assert recognise_exchanges(evaluate(ENTRIES, plant), plant, [STEP]).exchanges == ()


def test_a_probe_that_was_taken_out_is_due_nowhere() -> None:
    plant, _ = with_logs(PLANT, (), ENTRIES)
    seen = recognise_exchanges(evaluate(ENTRIES, plant), plant, [])
    assert [(due.point, due.probe) for due in next_due(seen.calibrations, (), {}, seen.plant)] == [
        ("ph", "B")
    ]


def test_a_calibration_at_the_bench_belongs_to_where_the_probe_went_next() -> None:
    logged = (
        Installation(probe="A", point="ph", end=50 * DAY),
        Installation(probe="C", point="ph", start=50 * DAY),
    )
    bench = entry("workshop", 47, *buffers(0.5, 176.5), probe="C")
    plant, _ = with_logs(PLANT, logged, [*ENTRIES[:2], bench])
    made = evaluate([*ENTRIES[:2], bench], plant)
    assert [(c.point, c.measurand) for c in made if c.probe == "C"] == [("ph", "ph")]
    assert [(d.point, d.probe) for d in next_due(made, (), {}, plant)] == [("ph", "C")]
    assert ("ph", 47 * DAY) not in plant.noted
    assert check_entries([bench], plant) == ()
    stranger: CalibrationEntry = replace(bench, probe="X")
    assert len(check_entries([stranger], plant)) == 2


def test_figures_worked_out_with_the_buffers_as_labelled_are_no_mistake() -> None:
    """7.00 and 4.01 at 15 °C are 7.04 and 4.00: the slope entered for 2.99 pH is 1.6 % higher."""
    (made,) = evaluate([entry("ph", 1, *buffers(0.0, 173.0, temp=15.0), slope=101.2)], PLANT)
    assert made.as_left["slope"].value == pytest.approx(99.6, abs=0.2)
    assert not any("entered" in check for check in made.checks)
    (wrong,) = evaluate([entry("ph", 1, *buffers(0.0, 173.0, temp=15.0), slope=97.0)], PLANT)
    assert any("slope entered 97" in check for check in wrong.checks)


def test_what_a_nameless_point_measures_is_told_by_its_standards() -> None:
    def point(**more: str) -> Point:
        return Point(name="X", measurand="other", inferred={"name": "from the tag"}, **more)

    mine = [entry("X", 10, *buffers(0.0, 176.0))]
    told, decisions = with_logs(Plant(points=(point(),)), (), mine)
    assert told.points[0].measurand == "ph"
    assert decisions[0].what == "measurand ph"
    assert with_logs(Plant(points=(point(unit="mg/L"),)), (), mine)[0].points[0].measurand == "other"
    assert (
        with_logs(Plant(points=(Point(name="X", measurand="other"),)), (), mine)[0].points[0].measurand
        == "other"
    )
