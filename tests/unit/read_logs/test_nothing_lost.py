"""No column of a list that holds values goes without a word: it is used, or named as left out."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
import xlsxwriter
from typer.testing import CliRunner

from excursions.cli.app import app
from excursions.read.logs.log import read_calibrations
from excursions.read.logs.samples import read_samples

# What people write over columns, some of it understood, some not; cells of two rows below it.
_LOG = [
    ("point", ("AE-11", "AE-12")), ("serial", ("P-3401", "P-3402")), ("slope %", ("98.2", "97.9")), ("zero mV", ("3", "-4")),
    ("buffer 1", ("7.00", "7.00")), ("mV 1", ("2", "-3")), ("buffer 2", ("4.01", "4.01")), ("mV 2", ("176", "171")),
    ("temperature", ("21", "22")), ("technician", ("HB", "KL")), ("comment", ("ok", "slow")), ("result", ("pass", "fail")),
    ("as found slope", ("95.1", "94.2")), ("as left slope", ("98.8", "99.1")), ("", ("17", "18")), ("job", ("J-1", "J-2")),
    ("response", ("12", "14")), ("reading", ("7.03", "6.98")), ("value", ("7.01", "7.02")), ("tag", ("AE-13", "AE-14")),
    ("checked on", ("2026-03-04", "2026-03-05")), ("shift", ("early", "late")), ("as found", ("7.06", "6.95")),
]  # fmt: skip
_SAMPLES = [
    ("point", ("AE-11", "AE-12")), ("pH", ("7.1", "7.2")), ("Conductivity [µS/cm]", ("812", "815")), ("result", ("7.3", "7.4")),
    ("value", ("7.5", "7.6")), ("unit", ("pH", "mg/L")), ("temperature", ("21", "22")), ("analyst", ("HB", "KL")),
    ("comment", ("clear", "cloudy")), ("method", ("M1", "M2")), ("", ("17", "18")), ("Turbidity", ("3.1", "3.3")),
    ("parameter", ("pH", "DO")), ("lab no", ("4711", "4712")), ("received", ("2026-03-04", "2026-03-05")), ("AE-15", ("7.7", "7.8")),
    ("time", ("08:10", "09:20")), ("location", ("hall 2", "hall 3")), ("online", ("7.0", "7.1")), ("remark", ("a", "b")),
]  # fmt: skip
_SORTS = {"log": (_LOG, read_calibrations), "samples": (_SAMPLES, read_samples)}


def _table(columns: list[tuple[str, tuple[str, ...]]]) -> str:
    rows = [["date", *(header for header, _ in columns)]]
    rows += [
        [day, *(cells[at] for _, cells in columns)] for at, day in enumerate(("2026-02-27", "2026-03-02"))
    ]
    return "\n".join(";".join(row) for row in rows) + "\n"


def _read(path: Path, text: str, sort: str):
    path.write_text(text, encoding="utf-8")
    reading = _SORTS[sort][1](path)
    taken = (
        reading.samples if sort == "samples" else (reading.entries, reading.cleanings, reading.installations)
    )
    return reading, (taken, reading.refused.select("line", "reason").rows())


@pytest.mark.parametrize("sort", _SORTS)
@pytest.mark.parametrize("seed", range(60))
def test_a_column_without_which_all_is_the_same_is_named_as_left_out(
    tmp_path: Path, sort: str, seed: int
) -> None:
    columns = random.Random(seed).sample(_SORTS[sort][0], 6)
    reading, whole = _read(tmp_path / f"{sort}.csv", _table(columns), sort)
    assert reading.rows == reading.used + reading.refused.height
    if not reading.used:
        return  # all of it is refused, which is told
    told = "\n".join([*(decision.what for decision in reading.decisions), *map(str, reading.problems)])
    for place, (header, cells) in enumerate(columns):
        emptied = [*columns[:place], (header, ("",) * len(cells)), *columns[place + 1 :]]
        _, without = _read(tmp_path / f"{sort}.csv", _table(emptied), sort)
        named = f"column {place + 2} (" in told or bool(
            header
            and re.search(
                rf"(?:^|[ ;]){re.escape(header)}: (?:not used|ignored)|column \"{re.escape(header)}\"", told
            )
        )
        assert without != whole or named, f"{header!r} of {[name for name, _ in columns]} is lost: {told}"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date;point;result\n2026-03-01;A;7.1;12.5\n", 'column 4 ("no header"), 1 row'),
        ("date;point;result;result\n2026-03-01;A;7.1;7.9\n", 'column 4 ("result"), 1 row, beside "result"'),
        ("date;point;result;temperature\n2026-03-01;A;7.1;25\n", 'column 4 ("temperature"), 1 row'),
    ],
)
def test_values_left_out_are_told_in_words(tmp_path: Path, text: str, said: str) -> None:
    reading, _ = _read(tmp_path / "samples.csv", text, "samples")
    assert any(f"values left out: {said}" == decision.what for decision in reading.decisions)


def test_check_says_beside_the_file_which_values_are_left_out(tmp_path: Path) -> None:
    (tmp_path / "lab.csv").write_text("date;point;result;result\n2026-03-01;A;7.1;7.9\n", encoding="utf-8")
    (tmp_path / "export.csv").write_text(
        "time,AE-11\n2026-03-01 00:00,7.1\n2026-03-01 00:10,7.2\n", encoding="utf-8"
    )
    asked = ["check", str(tmp_path / "export.csv"), "--samples", str(tmp_path / "lab.csv")]
    said = " ".join(CliRunner().invoke(app, asked).output.split())
    assert 'values left out: column 4 ("result"), 1 row, beside "result"' in said


def test_a_clock_without_a_header_is_used_and_not_told_as_lost(tmp_path: Path) -> None:
    reading, _ = _read(tmp_path / "samples.csv", "date;;point;result\n2026-03-01;08:15;A;7.1\n", "samples")
    assert not any("left out" in decision.what for decision in reading.decisions)


@pytest.mark.parametrize("sort", _SORTS)
def test_rows_of_data_above_the_header_are_refused(tmp_path: Path, sort: str) -> None:
    text = "2026-02-01;A;98.9;x\nRev. date: ;2026-02-03\ndate;point;slope;value\n2026-03-01;A;98.2;7\n"
    reading, _ = _read(tmp_path / f"{sort}.csv", text, sort)
    assert reading.refused["line"].to_list() == [1]
    assert reading.rows == reading.used + 1


def test_a_sheet_that_is_no_list_of_samples_is_named(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "samples.xlsx") as book:
        for name, rows in (
            ("List", [("date", "point", "result"), ("2026-03-01", "A", 7.1)]),
            ("Notes", [("a", "b"), (1, 2)]),
        ):
            sheet = book.add_worksheet(name)
            for place, row in enumerate(rows):
                sheet.write_row(place, 0, row)
    reading = read_samples(tmp_path / "samples.xlsx")
    assert [d.what for d in reading.decisions if d.subject.endswith("sheet Notes")] == ["left out"]


def test_quantities_named_below_titles_of_places_are_columns_of_their_own(tmp_path: Path) -> None:
    text = "Sampling date;Sampling time;Basin 3;;Basin 4;\n;;pH;Cond. µS/cm;pH;Cond. µS/cm\n2026-03-02;07:30;7,12;861;7,40;902\n"
    reading, _ = _read(tmp_path / "samples.csv", text, "samples")
    assert [(s.point, s.value, s.unit) for s in reading.samples] == [
        ("Basin 3 pH", 7.12, "pH"), ("Basin 3 Cond.", 861.0, "uS/cm"), ("Basin 4 pH", 7.4, "pH"), ("Basin 4 Cond.", 902.0, "uS/cm"),
    ]  # fmt: skip
    assert reading.rows == reading.used == 1


def test_figures_of_several_probes_beside_each_other_are_not_told_to_be_named_as_one_column(
    tmp_path: Path,
) -> None:
    text = "Tag;Probe;14.01.2026;11.02.2026;16.03.2026\nAE-11;P-1;98.2;97.9;97.1\nAE-12;P-2;99.2;98.9;98.1\n"
    reading, _ = _read(tmp_path / "log.csv", text, "log")
    reasons = reading.refused["reason"].to_list()
    assert reasons
    assert all('which figure "P-1" and "P-2" hold: write a row for each' in reason for reason in reasons)
