"""Names in logs find the point they mean, or stay as they are."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.plant import Installation, Plant, Point
from excursions.read.logs.log import LogReading
from excursions.read.logs.names import Places, settle_entries, settle_log, settle_samples
from excursions.read.logs.samples import SampleReading
from excursions.records import CalibrationEntry, LabSample

PLANT = Plant(
    points=(
        Point(name="QT101", value="Site/A/QT101_pH", temperature="Site/A/QT101_T"),
        Point(name="QT102", value="Site/A/QT102_pH", temperature="Site/T"),
        Point(name="R1_DO", value="R1.DO.PV", temperature="Site/T", description="fermenter 1"),
    ),
    installations=(
        Installation(probe="S1", point="QT101", end=100),
        Installation(probe="S1", point="QT102", start=100),
    ),
)


@pytest.mark.parametrize(
    ("said", "point"),
    [
        ("QT101", "QT101"),
        ("qt-101", "QT101"),
        ("QT 0101", "QT101"),
        ("Site/A/QT102_pH", "QT102"),
        ("site a qt102 ph", "QT102"),
        ("R1 DO", "R1_DO"),
        ("DO 1", "R1_DO"),
        ("Site/T", ""),
        ("QT", ""),
        ("101", ""),
        ("QT103", ""),
        ("", ""),
    ],
)
def test_a_name_means_one_point_or_none(said: str, point: str) -> None:
    assert Places(PLANT).find(said)[0] == point


def test_the_end_of_a_long_name_goes_before_its_parts() -> None:
    plant = Plant(
        points=(Point(name="W.F1-PH", value="W.F1-PH.PV"), Point(name="W.F1-PH2", value="W.F1-PH2.PV"))
    )
    assert Places(plant).find("F1-PH")[0] == "W.F1-PH"
    assert Places(plant).find("F1-PH2")[0] == "W.F1-PH2"
    assert Places(plant).find("F1")[0] == ""


def test_the_begin_of_one_points_name_is_enough() -> None:
    names = ("WFI-SUP.QC", "WFI-RET.QC", "A1.QC", "A1.PH")
    places = Places(Plant(points=tuple(Point(name=name, value=f"{name}.PV") for name in names)))
    found = {said: places.find(said)[0] for said in ("WFI-SUP", "wfi sup", "WFI-RET", "WFI", "A1", "SUP")}
    assert found == {"WFI-SUP": "WFI-SUP.QC", "wfi sup": "WFI-SUP.QC", "WFI-RET": "WFI-RET.QC", "WFI": "", "A1": "", "SUP": ""}  # fmt: skip


def entry(point: str = "", probe: str = "", time: int = 50) -> CalibrationEntry:
    return CalibrationEntry(time=time, file="f", line=1, point=point, probe=probe)


@pytest.mark.parametrize(
    ("given", "point", "probe"),
    [
        (entry("qt 101", "S9"), "QT101", "S9"),
        (entry("", "S1", 50), "QT101", "S1"),
        (entry("", "S1", 100), "QT102", "S1"),
        (entry("S1", "", 150), "QT102", "S1"),
        (entry("nowhere", "S1"), "nowhere", "S1"),
        (entry("nowhere"), "nowhere", ""),
        (entry("", "S7"), "", "S7"),
    ],
)
def test_an_entry_gets_the_plants_names(given: CalibrationEntry, point: str, probe: str) -> None:
    (settled,), _ = settle_entries([given], PLANT)
    assert (settled.point, settled.probe) == (point, probe)


def test_every_other_spelling_is_told_once() -> None:
    _, decisions = settle_entries([entry("qt 101"), entry("qt 101"), entry("QT101")], PLANT)
    assert [decision.what for decision in decisions] == ['"qt 101" is point "QT101"']


def test_samples_are_placed_and_unknown_points_named() -> None:
    samples = tuple(LabSample(point=name, time=1, value=7.0) for name in ("Site/A/QT101_pH", "QT103"))
    settled = settle_samples(SampleReading(path=Path("lab.csv"), samples=samples), PLANT)
    assert [sample.point for sample in settled.samples] == ["QT101", "QT103"]
    assert [decision.what for decision in settled.decisions] == ['"Site/A/QT101_pH" is point "QT101"']
    assert [(p.found, p.mend) for p in settled.problems] == [
        ('samples of point "QT103"', 'did you mean "QT101"?')
    ]


def test_a_log_is_settled_with_its_own_swaps() -> None:
    log = LogReading(
        path=Path("log.csv"),
        entries=(entry("", "S2", 50),),
        installations=(Installation(probe="S2", point="qt-102", start=10),),
    )
    settled = settle_log(log, PLANT)
    assert settled.installations[0].point == "QT102"
    assert settled.entries[0].point == "QT102"


def test_the_begin_of_one_points_tag_is_enough() -> None:
    """A log names the loop without its ending; the same parts in another order are another loop's."""
    rows = (("FE1", "FE1-AIT01.PV"), ("FE2", "FE2-AIT01.PV"))
    places = Places(Plant(points=tuple(Point(name=name, value=value) for name, value in rows)))
    assert places.find("FE1-AIT01")[0] == "FE1"
    assert places.find("FE2-AIT1")[0] == "FE2"
    assert places.find("AIT01")[0] == ""
