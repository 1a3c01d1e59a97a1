"""Logs whose phase or figures stand where no header names them."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.read.logs.log import read_calibrations
from excursions.read.logs.spoken import figures_in
from excursions.records import CalibrationEntry


def entries(tmp_path: Path, text: str) -> list[CalibrationEntry]:
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    log = read_calibrations(tmp_path / "log.csv")
    assert log.rows == log.used + log.refused.height
    return list(log.entries)


@pytest.mark.parametrize("header", ["As", "State", "X"])
def test_a_column_of_found_and_left_says_the_phase_whatever_it_is_called(tmp_path: Path, header: str) -> None:
    made = entries(
        tmp_path,
        f"Date,Probe,{header},Slope [%],Zero [pH]\n2024-03-01 08:00,P1,found,97.1,7.05\n2024-03-01 08:00,P1,left,99.0,7.00\n",
    )
    assert [(e.phase, e.figures) for e in made] == [
        ("as_found", {"slope": 97.1, "zero_point": 7.05}),
        ("as_left", {"slope": 99.0, "zero_point": 7.0}),
    ]


@pytest.mark.parametrize(("column", "cell", "said"), [("phase,", "as left,", True), ("", "", False)])
def test_whether_a_phase_is_said_is_kept(tmp_path: Path, column: str, cell: str, said: bool) -> None:
    head, row = f"Date,Probe,{column}Slope [%],Zero [pH]", f"2024-03-01 08:00,P1,{cell}99.0,7.00"
    (made,) = entries(tmp_path, f"{head}\n{row}\n")
    assert (made.phase, made.phase_said) == ("as_left", said)


def test_titles_of_phases_stand_over_a_second_row_of_names(tmp_path: Path) -> None:
    made = entries(
        tmp_path,
        "Date,Probe,As Found,,As Left,\n,,Slope,Zero,Slope,Zero\n2024-03-01 08:00,P1,97.1,7.05,99.0,7.00\n",
    )
    assert [(e.phase, e.figures["slope"]) for e in made] == [("as_found", 97.1), ("as_left", 99.0)]


def test_figures_in_a_remark_are_read_where_no_column_has_any(tmp_path: Path) -> None:
    made = entries(
        tmp_path,
        "Date,Tag,Serial,Work,Notes\n"
        '2024-03-01 08:00,A,P1,calibration,"as found slope 95.2 % zero 7.08 pH, as left slope 98,9 % zero 7.01 pH"\n',
    )
    assert [(e.phase, e.figures) for e in made] == [
        ("as_found", {"slope": 95.2, "zero_point": 7.08}),
        ("as_left", {"slope": 98.9, "zero_point": 7.01}),
    ]


def test_a_remark_does_not_speak_over_columns(tmp_path: Path) -> None:
    (made,) = entries(
        tmp_path, "Date,Tag,Serial,Work,Slope [%],Notes\n2024-03-01 08:00,A,P1,calibration,97,slope 88 %\n"
    )
    assert made.figures == {"slope": 97.0}


@pytest.mark.parametrize(
    "text", ["", "slope good", "replaced at 14:30, batch 12", "the slope of the floor, 3 m"]
)
def test_running_text_without_figures_gives_none(text: str) -> None:
    assert figures_in(text) == ()


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("slope 95.1 -> 98.7 %", [("slope", 95.1, "as_found"), ("slope", 98.7, "as_left")]),
        ("Nullpunkt 6,91 pH → 7,02 pH", [("zero_point", 6.91, "as_found"), ("zero_point", 7.02, "as_left")]),
        ("slope 95.1 %, zero 7.05, after adjustment 98.7 % / 7.00", [("slope", 95.1, "as_found"), ("zero_point", 7.05, "as_found")]),
        ("slope 95.1 %, after cleaning", [("slope", 95.1, "")]),
    ],
)  # fmt: skip
def test_figures_before_an_adjustment_are_as_found(text: str, found: list[tuple[str, float, str]]) -> None:
    assert [(spoken.figure, spoken.value, spoken.phase) for spoken in figures_in(text)] == found
