"""Entries of a probe that nobody knows."""

from __future__ import annotations

from excursions.calibrations import set_aside
from excursions.plant import Installation, Plant, Point, Probe
from excursions.records import CalibrationEntry

PLANT = Plant(
    points=(Point(name="A1", measurand="ph"),),
    probes=(Probe(serial="QP-1", measurand="ph"),),
    installations=(Installation(probe="QP-1", point="A1", start=None, end=None),),
)


def entry(time: int, probe: str) -> CalibrationEntry:
    return CalibrationEntry(
        time=time, file="log.csv", line=time, point="A1", probe=probe, figures={"slope": 98.0}
    )


def test_a_strange_entry_between_known_ones_is_set_aside_and_told() -> None:
    entries = [entry(1, "QP-1"), entry(2, "XX-9"), entry(3, "QP-1")]
    kept, told = set_aside(entries, PLANT)
    assert [e.probe for e in kept] == ["QP-1", "QP-1"]
    assert [d.subject for d in told] == ["A1"]
    assert "log.csv, line 2" in told[0].why
    assert "XX-9" in told[0].what
    assert "register" in told[0].option


def test_a_log_that_goes_on_under_a_new_number_is_a_swap_and_counts() -> None:
    entries = [entry(1, "QP-1"), entry(2, "XX-9"), entry(3, "XX-9")]
    assert set_aside(entries, PLANT) == (tuple(entries), ())


def test_without_a_register_no_number_is_strange() -> None:
    entries = [entry(1, "QP-1"), entry(2, "XX-9"), entry(3, "QP-1")]
    assert set_aside(entries, Plant(points=PLANT.points)) == (tuple(entries), ())
