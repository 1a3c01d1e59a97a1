"""Lines that name the signal of the rows below them, and lines that only look so."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.cells.sections import section_of


def rows(day: int, level: float, count: int = 40) -> list[str]:
    start = datetime(2025, 3, day)
    return [f"{start + timedelta(seconds=10 * i)};{level + i % 7 / 100:.2f}" for i in range(count)]


def read(folder: Path, *lines: str) -> Reading:
    path = folder / "export.csv"
    path.write_text("\n".join(lines) + "\n")
    return read_exports([path], ReadOptions())


def counts(reading: Reading) -> dict[str, int]:
    return {tag: series.time.size for tag, series in reading.series.items()}


@pytest.mark.parametrize(
    ("cells", "form", "name"),
    [
        (("[AT-101]", ""), "brackets", "AT-101"),
        (("[Signal AT-101]",), "brackets", "AT-101"),
        (("*** AT-101 ***",), "drawn", "AT-101"),
        (("# AT-101, pH",), "remark", "AT-101, pH"),
        (("AT-101:",), "colon", "AT-101"),
        (("Reactor 1 pH",), "bare", "Reactor 1 pH"),
        (("Unit: pH",), "", ""),
        (("Value",), "", ""),
        (("Bad",), "", ""),
        (("2025-03-17 08:00:00",), "", ""),
        (("12.5",), "", ""),
        (("\x1a",), "", ""),
        (("AT-101", "TT-101"), "", ""),
    ],
)
def test_what_marks_a_name(cells: tuple[str, ...], form: str, name: str) -> None:
    assert section_of(cells) == (form, name)


@pytest.mark.parametrize("title", ["[{}]", "== {} ==", "# {}", "{}", "{};pH", "[{}]\nTime;Value"])
def test_times_that_begin_anew_below_a_name_are_another_signals(title: str, tmp_path: Path) -> None:
    many = 3_000  # the second name stands far below the first rows
    lines = [title.format("AT-1"), *rows(17, 7.0, many), title.format("TT-1"), *rows(17, 35.0, many)]
    assert counts(read(tmp_path, *"\n".join(lines).split("\n"))) == {"AT-1": many, "TT-1": many}


def test_newest_first_begins_anew_as_well(tmp_path: Path) -> None:
    lines = ["[AT-1]", *rows(17, 7.0)[::-1], "[TT-1]", *rows(17, 35.0)[::-1]]
    assert counts(read(tmp_path, *lines)) == {"AT-1": 40, "TT-1": 40}


@pytest.mark.parametrize("header", [(), ("Time;Value",)])
def test_a_remark_among_readings_that_go_on_begins_no_signal(header: tuple[str, ...], tmp_path: Path) -> None:
    reading = read(tmp_path, "Trend of the reactor", *header, *rows(17, 7.0), "Pump started", *rows(18, 7.0))
    assert counts(reading) == {"export": 80}
    assert reading.refused["text"].to_list() == ["Pump started"]


def test_a_comment_among_readings_that_go_on_begins_no_signal(tmp_path: Path) -> None:
    reading = read(tmp_path, "# logger 3", *rows(17, 7.0), "# restarted", *rows(18, 7.0))
    assert counts(reading) == {"export": 80}


def test_a_name_above_several_columns_goes_before_each(tmp_path: Path) -> None:
    head = "Time;pH;Temp"
    lines = []
    for name, level in (("Fermenter 1", 7.0), ("Fermenter 2", 6.0)):
        lines += [name, head, *(f"{row};30.5" for row in rows(17, level))]
    assert set(counts(read(tmp_path, *lines))) == {
        "Fermenter 1 pH", "Fermenter 1 Temp", "Fermenter 2 pH", "Fermenter 2 Temp",
    }  # fmt: skip


def test_one_tag_in_the_folders_of_two_units_is_two_signals(tmp_path: Path) -> None:
    for unit, level in (("unit1", 7.0), ("unit2", 5.0)):
        (tmp_path / unit).mkdir()
        (tmp_path / unit / "AT-1.csv").write_text("\n".join(["Time;Value", *rows(17, level)]) + "\n")
    reading = read_exports([tmp_path], ReadOptions())
    assert counts(reading) == {"unit1 AT-1": 40, "unit2 AT-1": 40}
    assert any("unit1 AT-1, unit2 AT-1" in decision.what for decision in reading.decisions)


def test_an_export_made_again_stays_one_signal(tmp_path: Path) -> None:
    for unit, offset in (("monday", 0), ("tuesday", 1)):
        (tmp_path / unit).mkdir()
        text = "\n".join(["Time;Value", *rows(17, 7.0, 40 + offset)]) + "\n"
        (tmp_path / unit / "AT-1.csv").write_text(text)
    assert counts(read_exports([tmp_path], ReadOptions())) == {"AT-1": 81}


@pytest.mark.parametrize("title", ["[Data]", "Report:", "*** Trend 2025 ***", "Trend of March 2025"])
def test_a_title_is_no_tag(title: str, tmp_path: Path) -> None:
    assert counts(read(tmp_path, title, "Time;Value", *rows(17, 7.0))) == {"export": 40}
