"""Calibration logs of every layout give the entries that stand in them, and every row is accounted for."""

from __future__ import annotations

import gzip
import math
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from excursions.clock import to_ns
from excursions.plant import Plant, Point, Probe
from excursions.read.logs.log import check_entries, read_calibrations
from excursions.read.model import REFUSED_SCHEMA, ReadOptions
from excursions.records import CalibrationEntry
from tests.unit.read_logs.logs_corpus import CASES, Case


def at(text: str) -> int | None:
    return to_ns(datetime.fromisoformat(text).replace(tzinfo=UTC)) if text else None


def plain(entry: CalibrationEntry) -> tuple:
    standards = [
        (s.standard, s.standard_unit, s.raw, s.raw_unit, s.temperature_degc, s.label) for s in entry.standards
    ]
    return (
        entry.line,
        entry.time,
        entry.point,
        entry.probe,
        entry.phase,
        entry.action,
        standards,
        entry.figures,
    )


def wanted(row: tuple) -> tuple:
    line, time, point, probe, phase, action, standards, figures = row
    nan = float("nan")
    full = [(*rest, nan if warm is None else warm, label) for *rest, warm, label in standards]
    return line, at(time), point, probe, phase, action, full, figures


def read(tmp_path: Path, case: Case, **options: str):
    path = tmp_path / "log.csv"
    path.write_bytes(case.text.encode(case.encoding))
    return read_calibrations(path, options=ReadOptions(tz=case.tz, **options), columns=case.columns)


def same(found: tuple, expected: tuple) -> bool:
    """Equal, NaN equal to NaN, floats to the digits a slope in mV is printed with."""
    if isinstance(expected, float):
        return found == pytest.approx(expected, rel=2e-6, nan_ok=True)
    if isinstance(expected, dict):
        return found.keys() == expected.keys() and all(same(found[key], expected[key]) for key in expected)
    if isinstance(expected, list | tuple):
        return len(found) == len(expected) and all(map(same, found, expected))
    return bool(found == expected)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_log_gives_its_entries(tmp_path: Path, case: Case) -> None:
    reading = read(tmp_path, case)
    found, expected = [plain(entry) for entry in reading.entries], [wanted(row) for row in case.entries]
    assert same(found, expected), f"\n{found}\n{expected}"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_row_is_used_or_refused_with_line_and_reason(tmp_path: Path, case: Case) -> None:
    reading = read(tmp_path, case)
    assert reading.rows == reading.used + reading.refused.height
    assert dict(reading.refused.schema) == REFUSED_SCHEMA
    rows = reading.refused.to_dicts()
    assert [row["line"] for row in rows] == [line for line, _ in case.refused]
    assert [(row.line, row.point) for row in reading.cleanings] == case.cleaned
    assert all(row["reason"].startswith(reason) for row, (_, reason) in zip(rows, case.refused, strict=True))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_swaps_become_installations(tmp_path: Path, case: Case) -> None:
    reading = read(tmp_path, case)
    found = [(row.probe, row.point, row.start, row.end) for row in reading.installations]
    assert found == [(probe, point, at(start), at(end)) for probe, point, start, end in case.installed]


def test_comments_and_results_are_kept(tmp_path: Path) -> None:
    reading = read(tmp_path, CASES[0])
    assert reading.entries[0].comment == "ok, dry"
    words = next(case for case in CASES if case.name == "words only")
    assert read(tmp_path, words).entries[0].comment == "result: OK"


@pytest.mark.parametrize(
    ("header", "cell", "kpa"),
    [
        ("altitude [m]", "1050", 89.33),
        ("Seehöhe (m)", "1050", 89.33),
        ("elevation [ft]", "3445", 89.33),
        ("altitude [m]", "", math.nan),
    ],
)
def test_an_altitude_stands_for_the_mean_air_pressure_there(
    tmp_path: Path, header: str, cell: str, kpa: float
) -> None:
    """Standard atmosphere (ISO 2533) by hand: 101.325 (1 - 2.25577e-5 * 1050)^5.25588 = 89.33 kPa."""
    text = f"date;point;action;standard;raw;raw unit;{header};salinity\n2026-01-06 10:00;DO;calibration;air;65.2;nA;{cell};35\n"
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    (entry,) = read_calibrations(path).entries
    assert entry.air_pressure_kpa == pytest.approx(kpa, abs=0.01, nan_ok=True)
    assert entry.salinity == 35.0


def test_air_pressure_is_taken_to_kpa(tmp_path: Path) -> None:
    oxygen = next(case for case in CASES if case.name.startswith("oxygen"))
    assert read(tmp_path, oxygen).entries[0].air_pressure_kpa == pytest.approx(100.8)


def test_a_stated_order_decides_what_nothing_else_does(tmp_path: Path) -> None:
    case = next(case for case in CASES if case.name.startswith("dates that nothing"))
    reading = read(tmp_path, case)
    assert "--date-order" in str(reading.problems[0])
    entries = read(tmp_path, case, date_order="month-first").entries
    assert [entry.time for entry in entries] == [at("2024-01-02T12:00"), at("2024-03-04T12:00")]


def test_a_cell_that_is_no_number_is_named_and_the_row_still_used(tmp_path: Path) -> None:
    case = next(case for case in CASES if case.name.startswith("quotes"))
    (problem,) = read(tmp_path, case).problems
    assert (problem.line, problem.column, problem.found) == (4, "slope [%]", '"abc"')


def test_columns_are_told_as_a_decision(tmp_path: Path) -> None:
    told = [decision.what for decision in read(tmp_path, CASES[0]).decisions]
    assert any("buffer 1: standard 1" in what and "mV 2: raw 2 [mv]" in what for what in told)


def test_a_stated_column_keeps_the_unit_of_its_header(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("date,point,standard [mV],Q1 [mV]\n2024-01-01 09:00,RX1,220,231\n")
    (entry,) = read_calibrations(path, columns={"raw": "Q1 [mV]", "standard": "standard [mV]"}).entries
    assert [(s.standard, s.standard_unit, s.raw, s.raw_unit) for s in entry.standards] == [
        (220, "mV", 231, "mV")
    ]


def test_a_meaning_that_is_no_word_of_the_house_is_refused(tmp_path: Path) -> None:
    from excursions.errors import UsageError

    path = tmp_path / "log.csv"
    path.write_text("Q0,Q1\n2024-01-01,5\n")
    with pytest.raises(UsageError, match="slope"):
        read_calibrations(path, columns={"slpoe!": "Q1", "time": "Q0"})


def workbook(path: Path) -> None:
    book = xlsxwriter.Workbook(str(path))
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    clock = book.add_format({"num_format": "hh:mm"})
    for name in ("P-1", "P-2"):
        sheet = book.add_worksheet(name)
        sheet.write_row(0, 0, ["Calibrations of one probe"])
        sheet.write_row(2, 0, ["Date", "Time", "Tag", "Slope [%]", "Zero [pH]"])
        sheet.write(3, 0, datetime(2024, 3, 5), day)
        sheet.write(3, 1, 0.4375, clock)
        sheet.write_row(3, 2, ["AT-1", 98.5, 7.01])
    book.add_worksheet("notes").write(0, 0, "nothing here")
    book.close()


def test_a_workbook_with_a_sheet_a_probe(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    workbook(path)
    reading = read_calibrations(path)
    found = [(e.line, e.time, e.point, e.probe, e.figures) for e in reading.entries]
    figures = {"slope": 98.5, "zero_point": 7.01}
    assert found == [(4, at("2024-03-05T10:30"), "AT-1", probe, figures) for probe in ("P-1", "P-2")]
    assert any("sheet notes" in decision.subject for decision in reading.decisions)


def test_one_sheet_can_be_chosen(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    workbook(path)
    assert [e.probe for e in read_calibrations(path, options=ReadOptions(sheet="P-2")).entries] == ["P-2"]


def test_the_same_log_in_other_clothes_gives_the_same_entries(tmp_path: Path) -> None:
    case = CASES[0]
    expected = [plain(entry) for entry in read(tmp_path, case).entries]
    text = case.text.replace('"ok, dry"', "ok")
    clothes = {
        "semicolons.csv": text.replace(",", ";").encode(),
        "tabs.txt": text.replace(",", "\t").encode(),
        "crlf.csv": text.replace("\n", "\r\n").encode(),
        "mark.csv": b"\xef\xbb\xbf" + text.encode(),
        "utf16.csv": text.encode("utf-16"),
        "packed.csv.gz": gzip.compress(text.encode()),
    }
    for name, content in clothes.items():
        path = tmp_path / name
        path.write_bytes(content)
        found = [plain(entry) for entry in read_calibrations(path).entries]
        assert same(found, expected), name


def test_parquet_with_real_times_is_read(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    moment = datetime(2024, 3, 1, 9, tzinfo=UTC)
    pl.DataFrame({"time": [moment], "point": ["A"], "slope [%]": [98.5]}).write_parquet(path)
    (entry,) = read_calibrations(path).entries
    assert (entry.time, entry.point, entry.figures) == (to_ns(moment), "A", {"slope": 98.5})


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n\n",
        b"\x00\x01\x02\x03" * 50,
        b"PK\x03\x04 xl/ broken",
        b"PAR1 broken",
        b"just one line",
        b"a,b\n1,2\n",
    ],
)
def test_what_is_no_log_comes_back_with_a_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    reading = read_calibrations(path)
    assert reading.entries == ()
    assert len(reading.problems) == 1
    assert str(path) in str(reading.problems[0])


def test_a_file_that_is_not_there_comes_back_with_a_sentence(tmp_path: Path) -> None:
    assert "cannot be opened" in str(read_calibrations(tmp_path / "none.csv").problems[0])


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=300), st.sampled_from(CASES), st.floats(0, 1))
def test_any_bytes_in_a_log_are_survived_and_counted(
    tmp_path: Path, junk: bytes, case: Case, place: float
) -> None:
    path = tmp_path / "log.csv"
    content = case.text.encode()
    cut = int(place * len(content))
    path.write_bytes(content[:cut] + junk + content[cut:])
    reading = read_calibrations(path)
    assert reading.rows == reading.used + reading.refused.height


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(CASES), st.floats(0, 1))
def test_a_log_cut_off_anywhere_is_survived(tmp_path: Path, case: Case, place: float) -> None:
    path = tmp_path / "log.csv"
    content = case.text.encode()
    path.write_bytes(content[: int(place * len(content))])
    reading = read_calibrations(path)
    assert reading.rows == reading.used + reading.refused.height


def entry(point: str = "AT-1", probe: str = "P-1", line: int = 2) -> CalibrationEntry:
    return CalibrationEntry(time=0, file="log.csv", line=line, point=point, probe=probe)


PLANT = Plant(points=(Point(name="AT-1"), Point(name="AT-2")), probes=(Probe(serial="P-1"),))


def test_unknown_points_and_probes_are_named_once_with_the_nearest() -> None:
    problems = check_entries(
        [entry(), entry("AT-12", line=3), entry("AT-12", line=4), entry(probe="P-11", line=5)], PLANT
    )
    assert [(p.line, p.column, p.mend) for p in problems] == [
        (3, "point", 'did you mean "AT-1"?'),
        (5, "probe", 'did you mean "P-1"?'),
    ]
    assert "2 entries" in problems[0].found


def test_entries_without_any_name_are_told_together() -> None:
    (problem,) = check_entries([entry("", ""), entry("", "", 3)], PLANT)
    assert "2 entries that name neither" in problem.found


def test_known_entries_give_no_problem() -> None:
    assert check_entries([entry()], PLANT) == ()


def test_readings_in_two_standards_in_one_cell_are_told_how_to_stand(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "Datum;Messstelle;Sonde;Art;vorgefunden;Steilheit\n"
        "28.10.2025 09.45;F1;PH-5521;Kalibrierung;7,33 / 4,21;52,6\n"
        "29.10.2025 09.45;F2;PH-5522;Kalibrierung;schlecht;52,6\n"
    )
    first, second = read_calibrations(path, options=ReadOptions(tz="UTC")).problems
    assert 'for example "as found pH 7.00" and "as found pH 4.01"' in str(first)
    assert "expected a number" in str(second)
