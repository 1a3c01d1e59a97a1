"""Lists of laboratory samples, a row a sample or a column a point."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
import xlsxwriter

from excursions.clock import to_ns
from excursions.read.logs.log import read_calibrations
from excursions.read.logs.samples import read_samples
from excursions.read.model import REFUSED_SCHEMA, ReadOptions


def at(text: str) -> int:
    return to_ns(datetime.fromisoformat(text).replace(tzinfo=UTC))


def read(tmp_path: Path, text: str, **given):
    path = tmp_path / "samples.csv"
    path.write_text(text, encoding="utf-8")
    return read_samples(path, **given)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param(
            "time,point,value,unit,comment\n2024-03-01 09:00,QT101,7.02,pH,x\n",
            [("QT101", "2024-03-01T09:00", 7.02, "pH", "x")],
            id="plain",
        ),
        pytest.param(
            "Probenahmedatum;Uhrzeit;Messstelle;Laborwert;Einheit;Bemerkung\n01.03.2024;9:15;QT 101;7,02;pH;\n",
            [("QT 101", "2024-03-01T09:15", 7.02, "pH", "")],
            id="german",
        ),
        pytest.param(
            "Sample no,Sample taken,Sample point,Parameter,Result,Units,Analyst\n7,2024-03-01 09:00,A,pH,7.1,pH,xy\n",
            [("A", "2024-03-01T09:00", 7.1, "pH", "")],
            id="laboratory system",
        ),
        pytest.param(
            "date,tag,result [mg/L]\n2024-03-01 09:00,A,7.1\n2024-03-02 09:00,A,7.2 ppm\n",
            [("A", "2024-03-01T09:00", 7.1, "mg/L", ""), ("A", "2024-03-02T09:00", 7.2, "ppm", "")],
            id="unit in the header or in the cell",
        ),
        pytest.param(
            "date,point,sample,unit\n2024-03-01 09:00,A,7.1,pH\n",
            [("A", "2024-03-01T09:00", 7.1, "pH", "")],
            id="a column called sample where there is no other value",
        ),
        pytest.param(
            "Entnahme;Messstelle;Parameter;Ergebnis\n01.03.2024 09:00 Uhr;A;pH-Wert;7,1\n02.03.2024 09:00 Uhr;A;pH-Wert;7,2\n",
            [("A", "2024-03-01T09:00", 7.1, "pH", ""), ("A", "2024-03-02T09:00", 7.2, "pH", "")],
            id="a parameter whose name is its unit",
        ),
        pytest.param(
            "sample,date,point,result\n4711,2024-03-01 09:00,A,7.1\n",
            [("A", "2024-03-01T09:00", 7.1, "", "")],
            id="a column called sample beside the result",
        ),
        pytest.param(
            "time,QT101 [pH],CT-5 (mS/cm),comment\n2024-03-01 09:00,7.1,2.5,c\n2024-03-02 09:00,,2.6,\n",
            [
                ("QT101", "2024-03-01T09:00", 7.1, "pH", "c"),
                ("CT-5", "2024-03-01T09:00", 2.5, "mS/cm", "c"),
                ("CT-5", "2024-03-02T09:00", 2.6, "mS/cm", ""),
            ],
            id="a column a point",
        ),
    ],
)
def test_samples_are_read(tmp_path: Path, text: str, expected: list[tuple]) -> None:
    reading = read(tmp_path, text)
    found = [(s.point, s.time, s.value, s.unit, s.comment) for s in reading.samples]
    assert [(p, t, v, u.lower(), c) for p, t, v, u, c in found] == [
        (p, at(t), v, u.lower(), c) for p, t, v, u, c in expected
    ]
    assert reading.rows == reading.used + reading.refused.height


def test_rows_that_cannot_be_used_are_refused_with_a_reason(tmp_path: Path) -> None:
    text = "time,point,value\n2024-03-01,A,<0.1\nsoon,A,7\n2024-03-01,,7\n2024-03-01,A,\n2024-03-01,A,cloudy\n2024-03-01,A,7\n"
    reading = read(tmp_path, text)
    assert [(row["line"], row["reason"].split(":")[0]) for row in reading.refused.to_dicts()] == [
        (2, "only a limit is known"),
        (3, "no date that can be read"),
        (4, "no point and no tag; name their column with --columns point=HEADER"),
        (5, "no value"),
        (6, "no number"),
    ]
    assert dict(reading.refused.schema) == REFUSED_SCHEMA
    assert (reading.rows, reading.used, len(reading.samples)) == (6, 1, 1)


def test_the_plants_zone_holds_for_times_without_one(tmp_path: Path) -> None:
    reading = read(
        tmp_path, "time,point,value\n2024-07-01 09:00,A,7\n", options=ReadOptions(tz="Europe/Vienna")
    )
    assert reading.samples[0].time == at("2024-07-01T07:00")


def test_stated_columns_overrule(tmp_path: Path) -> None:
    reading = read(
        tmp_path, "a,b,c\n2024-07-01 09:00,A,7\n", columns={"time": "a", "point": "b", "value": "c"}
    )
    assert [(s.point, s.value) for s in reading.samples] == [("A", 7.0)]


@pytest.mark.parametrize("text", ["", "nothing\n", "a;b\n1;2\n"])
def test_what_is_no_list_comes_back_with_a_sentence(tmp_path: Path, text: str) -> None:
    reading = read(tmp_path, text)
    assert reading.samples == ()
    assert len(reading.problems) == 1


def test_texts_in_a_column_of_numbers_are_told_once(tmp_path: Path) -> None:
    rows = "".join(f"2026-03-{day:02d} 09:00,7.1,see book\n" for day in range(1, 15))
    reading = read(tmp_path, f"date,AIT-1 [pH],AIT-2 [pH]\n{rows}2026-03-15 09:00,7.1,spilt\n")
    assert len(reading.samples) == 15
    (problem,) = reading.problems
    assert '"see book", "spilt"' in str(problem)
    assert "These 15 cells" in str(problem)
    assert problem.column == "AIT-2 [pH]"


def test_how_sure_a_number_is_may_begin_with_the_point(tmp_path: Path) -> None:
    reading = read(tmp_path, "date,point,result\n2026-03-14 09:00,A,7.10 ± .05 pH\n")
    assert [(s.value, s.unit) for s in reading.samples] == [(7.1, "pH")]


@pytest.mark.parametrize("days", ["15.01.2026,12.02.2026", "15-Jan-2026 08:10,12-Feb-2026 08:05"])
def test_dates_side_by_side_are_told_to_be_turned(tmp_path: Path, days: str) -> None:
    path = tmp_path / "samples.csv"
    path.write_text(f"Parameter,Unit,Point,{days}\npH,,AX-1,7.08,6.97\nTurbidity,NTU,NX-5,3.4,3.1\n")
    (problem,) = read_samples(path).problems
    assert "transpose" in str(problem)


def test_a_log_with_months_across_is_told_to_be_written_a_row_each(tmp_path: Path) -> None:
    """It was told to name its columns, which helped nothing."""
    path = tmp_path / "slopes.csv"
    path.write_text("Tag,Probe,Jan,Feb 26,März\nAE-41,P1,98.1,97.5,97.0\nAE-42,P2,96.0,95.1,93.9\n")
    (problem,) = read_calibrations(path).problems
    assert (problem.line, problem.found) == (1, "months side by side in one row")
    assert "write a row for each of these months" in problem.mend
    path.write_text("Tag,Probe,Date,Slope %\nAE-41,P1,2026-01-14,98.1\nAE-41,P1,2026-02-13,97.5\n")
    assert [entry.figures for entry in read_calibrations(path).entries] == [{"slope": 98.1}, {"slope": 97.5}]


def test_a_sheet_named_after_a_place_says_where_its_quantities_were_taken(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "lab.xlsx"))
    for place in ("Zulauf", "Ablauf"):
        sheet = book.add_worksheet(place)
        sheet.write_row(0, 0, ["Datum", "pH", "Leitf. (mS/cm)", "QT-1"])
        sheet.write_row(1, 0, ["2026-03-02 08:00", 7.2, 1.4, 7.1])
    book.close()
    said = [sample.point for sample in read_samples(tmp_path / "lab.xlsx").samples]
    assert said == ["Zulauf pH", "Zulauf Leitf.", "QT-1", "Ablauf pH", "Ablauf Leitf.", "QT-1"]
