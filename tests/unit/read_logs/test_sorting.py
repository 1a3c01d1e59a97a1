"""A folder is sorted by what its files hold, not by what they are called."""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter

from excursions.read import ReadOptions, read_exports
from excursions.read.logs.log import read_calibrations
from excursions.read.logs.samples import read_samples
from excursions.read.sorting import classify, sort_out

CORPUS = Path(__file__).parents[2] / "corpus" / "files"

FILES = {
    "wide.csv": ("export", "time,pH,T,DO\n2024-01-01 00:00,7,20,8\n"),
    "semicolons.csv": ("export", "Timestamp;AT-2103.PV;TT-2103.PV\n01.01.2024 00:00;7,0;20,1\n"),
    "long.csv": ("export", "tag,time,value,quality\nA,2024-01-01 00:00,7,192\n"),
    "long_by_point.csv": ("export", "Point,Date,Time,Reading,Unit\nAT-1,2024-01-01,00:00,7.1,pH\n"),
    "no_header.csv": ("export", "2024-01-01 00:00,7.1,20\n2024-01-01 00:01,7.1,20\n"),
    "river.csv": ("export", "Date,Time,Temp (C),SpCond (uS/cm),DO (mg/L),pH\n1/13/2024,0:00,20,500,8,7.1\n"),
    "raw.csv": ("export", "time,pH mV,temperature,reference mV\n2024-01-01 00:00,7.1,20,3\n"),
    "blocks.csv": ("export", "Tag;AT-1;TT-1\nUnit;pH;degC\n2024-01-01 00:00;7,1;20\n"),
    "air.csv": ("export", "Date,Air temperature,Water level,Air pressure\n2024-01-01 00:00,30,20,1001\n"),
    "lims.csv": (
        "samples",
        "Sample date,Station,Parameter,Result,Unit,Lab ID\n2024-01-01 09:00,AT-1,pH,7.1,pH,33\n",
    ),
    "values.csv": ("samples", "Datum;Messstelle;Laborwert\n2024-01-01 09:00;AT-1;7,1\n"),
    "lab_values.csv": ("samples", "time,AT-1,AT-2\n2024-01-01 09:00,7.1,7.2\n"),
    "lab_samples.csv": ("samples", "time,point,value,unit\n2024-01-01 09:00,AT-1,7.2,pH\n"),
    "lab_list.csv": ("samples", "date,point,sample [pH]\n2024-01-01 09:00,AT-1,7.2\n"),
    "drawn.csv": ("samples", "date,point,grab sample,unit\n2024-01-01 09:00,AT-1,7.2,pH\n"),
    "a.csv": ("calibrations", "date,tag,slope,zero\n2024-01-01,AT-1,98,7\n"),
    "b.csv": ("calibrations", "date,tag,serial,action,comment\n2024-01-01,AT-1,77,replaced,\n"),
    "c.csv": ("calibrations", "Datum;Messstelle;Puffer 1;mV 1\n01.02.2024;A;7,00;-1\n"),
    "d.csv": ("calibrations", "date,tag,phase,buffer,mV\n2024-01-01,A,as found,7.00,-1\n"),
    "events.csv": (
        "ignored",
        "id,point,kind,start,end\n1,A,step,2024-01-01T00:00:00Z,2024-01-01T00:00:00Z\n",
    ),
    "diary.txt": (
        "calibrations",
        "Book of the workshop\n14/01/2026 08:30 AT-12 étalonnage: pente avant 93,1 %, après 98,2 %\n15/01/2026 rien\n21/01/2026 AT-12 nettoyage\n",
    ),
    "cal_trend.txt": ("export", "".join(f"2024-01-01 00:{m}:00 AT-12 7.0 good\n" for m in range(10, 40))),
    "slopes.csv": ("calibrations", "Tag;AT-1;\n;14.01.2026;13.02.2026\nSlope found %;96,1;95,8\n"),
    "notes.txt": ("ignored", "Just words\nand more words\n"),
    "README.md": ("ignored", "| time | value |\n"),
    "plant.toml": ("register", "[[points]]\nname = 'A'\n"),
    "broken.toml": ("register", "[[points\n"),
    "pyproject.toml": ("ignored", "[project]\nname = 'x'\n"),
    "empty.csv": ("export", ""),
}


@pytest.mark.parametrize("name", FILES)
def test_a_file_is_known_by_what_it_holds(tmp_path: Path, name: str) -> None:
    kind, text = FILES[name]
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert classify(tmp_path / name)[0] == kind


def test_minutes_in_a_row_are_an_export_whatever_the_headers_say(tmp_path: Path) -> None:
    rows = "".join(f"2024-01-01 00:{minute:02d},3,7,1,2\n" for minute in range(30))
    path = tmp_path / "x.csv"
    path.write_text("time,probe,buffer tank 1 level,buffer tank 2 level,zero\n" + rows)
    assert classify(path)[0] == "export"


@pytest.mark.parametrize("path", sorted(CORPUS.glob("*.csv")), ids=lambda path: path.name)
def test_no_export_of_the_corpus_is_taken_for_a_log(path: Path) -> None:
    assert classify(path)[0] in ("export", "ignored")


def test_a_folder_is_sorted_and_nothing_is_lost(tmp_path: Path) -> None:
    for name, (_, text) in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / ".hidden.csv").write_text("time,x\n2024-01-01,1\n")
    found = sort_out([tmp_path])
    assert [path.name for path in found.calibrations] == [
        *("a.csv", "b.csv", "c.csv", "d.csv", "diary.txt", "slopes.csv"),
    ]
    assert [path.name for path in found.samples] == [
        "drawn.csv",
        "lab_list.csv",
        "lab_samples.csv",
        "lab_values.csv",
        "lims.csv",
        "values.csv",
    ]
    assert found.register is not None
    assert found.register.name == "broken.toml"
    assert {path.name for path, _ in found.ignored} == {
        "README.md",
        "events.csv",
        "notes.txt",
        "plant.toml",
        "pyproject.toml",
    }
    assert all(reason for _, reason in found.ignored)
    sorted_ = len(found.exports) + len(found.calibrations) + len(found.samples) + len(found.ignored) + 1
    assert sorted_ == len(FILES)


def test_a_file_given_by_name_is_an_export_unless_it_is_something_else(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Just words\n")
    assert sort_out([path]).exports == (path,)
    assert sort_out([tmp_path / "missing.csv"]).exports == (tmp_path / "missing.csv",)


def test_the_same_path_twice_is_one(tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    path.write_text(FILES["wide.csv"][1])
    assert sort_out([path, tmp_path, path]).exports == (path,)


def test_a_folder_of_results_is_left_out_as_a_whole(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "run.json").write_text("{}")
    (tmp_path / "out" / "wide.csv").write_text(FILES["wide.csv"][1])
    assert sort_out([tmp_path]).ignored == ((tmp_path / "out", "a folder of results"),)


def test_of_a_site_of_nightly_runs_only_what_people_gave_it_is_read(tmp_path: Path) -> None:
    (tmp_path / "inbox").mkdir()
    (tmp_path / "inbox" / "a.csv").write_text("time,tag,value\n2026-01-01 00:00,A,1\n2026-01-01 00:01,A,2\n")
    for own in ("site.toml", "ledger.sqlite", "ledger-copy.sqlite"):
        (tmp_path / own).write_text("")
    found = sort_out([tmp_path])
    assert [path.name for path in found.exports] == ["a.csv"]
    assert {path.name for path, _ in found.ignored} == {"site.toml", "ledger.sqlite", "ledger-copy.sqlite"}


def test_a_partitioned_data_set_is_one_export(tmp_path: Path) -> None:
    part = tmp_path / "set" / "tag=A"
    part.mkdir(parents=True)
    pl.DataFrame({"time": ["2024-01-01"], "value": [1.0]}).write_parquet(part / "0.parquet")
    assert sort_out([tmp_path]).exports == (tmp_path / "set",)


def test_packed_files_and_parquet_are_looked_into(tmp_path: Path) -> None:
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(FILES["a.csv"][1].encode()))
    pl.DataFrame({"time": ["2024-01-01"], "tag": ["A"], "value": [1.0]}).write_parquet(tmp_path / "x.parquet")
    pl.DataFrame({"date": ["2024-01-01"], "tag": ["A"], "slope": [98.0], "zero": [7.0]}).write_parquet(
        tmp_path / "y.parquet"
    )
    found = sort_out([tmp_path])
    assert [path.name for path in found.calibrations] == ["a.csv.gz", "y.parquet"]
    assert [path.name for path in found.exports] == ["x.parquet"]


def test_a_log_and_a_list_packed_with_exports_are_read_as_such(tmp_path: Path) -> None:
    path = tmp_path / "month.zip"
    workbook = io.BytesIO()
    book = xlsxwriter.Workbook(workbook)
    sheet = book.add_worksheet("Log")
    for number, line in enumerate(FILES["a.csv"][1].splitlines()):
        sheet.write_row(number, 0, line.split(","))
    book.close()
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("wide.csv", FILES["wide.csv"][1])
        archive.writestr("logs/d.csv", FILES["d.csv"][1])
        archive.writestr("lims.csv", FILES["lims.csv"][1])
        archive.writestr("log.xlsx", workbook.getvalue())
    found = sort_out([path])
    inside = [Path(f"{path}!{name}") for name in ("log.xlsx", "logs/d.csv")]
    assert (found.exports, found.calibrations, found.samples) == (
        (path,),
        tuple(inside),
        (Path(f"{path}!lims.csv"),),
    )
    reading = read_exports([path], ReadOptions(apart=found.apart))
    assert list(reading.series) == ["DO", "T", "pH"]
    assert sum(decision.what == "not read as an export" for decision in reading.decisions) == 3
    logs = [read_calibrations(each) for each in found.calibrations]
    assert [entry.point for log in logs for entry in log.entries] == ["AT-1", "A"]
    assert [(log.rows, log.used, log.problems) for log in logs] == [(1, 1, ()), (1, 1, ())]
    assert len(logs[0].sha256) == 64
    (sample,) = read_samples(found.samples[0]).samples
    assert (sample.point, sample.value) == ("AT-1", 7.1)


def _book(path: Path, *, readings: bool) -> None:
    """A book of a month's report: a cover, the trend where asked for, the calibrations and the laboratory's values."""
    sheets: dict[str, list[list[object]]] = {
        "Cover": [["Monthly report"], ["Month", "January"]],
        "Cal, 2024": [["date", "tag", "slope", "zero"], ["2024-01-01 09:00", "AT-1", 98, 7]],
        "Lab": [["Sampled", "Point", "Lab value", "Unit"], ["2024-01-01 09:30", "AT-1", 7.2, "pH"]],
    }
    if readings:
        sheets["Trend"] = [
            ["Time", "AT-1"],
            *([f"2024-01-01 0{h}:{m:02d}", 7 + m / 100] for h in range(9) for m in range(0, 60, 10)),
        ]
    with xlsxwriter.Workbook(str(path)) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for at, row in enumerate(rows):
                sheet.write_row(at, 0, row)


def test_sheets_of_a_workbook_that_holds_readings_too_are_sorted_one_by_one(tmp_path: Path) -> None:
    """They were one log, and the readings among them were refused as entries without a figure."""
    path = tmp_path / "report.xlsx"
    _book(path, readings=True)
    log, lab = Path(f"{path}!Cal, 2024"), Path(f"{path}!Lab")
    inputs = sort_out([tmp_path])
    assert (inputs.exports, inputs.calibrations, inputs.samples) == ((path,), (log,), (lab,))
    reading = read_exports([path], ReadOptions(apart=inputs.apart))
    assert {tag: series.time.size for tag, series in reading.series.items()} == {"AT-1": 54}
    (entry,) = read_calibrations(log).entries
    (sample,) = read_samples(lab).samples
    assert (entry.point, entry.figures) == ("AT-1", {"slope": 98.0, "zero_point": 7.0})
    assert (sample.value, sample.unit) == (7.2, "pH")
    # The book named as the log as well is that one sheet, and is read once.
    assert inputs.with_stated([path], [path], None) == inputs


def test_a_workbook_of_people_is_no_export(tmp_path: Path) -> None:
    path = tmp_path / "report.xlsx"
    _book(path, readings=False)
    inputs = sort_out([path])
    assert (inputs.exports, inputs.calibrations) == ((), (path,))


def test_a_member_that_is_not_there_is_named(tmp_path: Path) -> None:
    path = tmp_path / "month.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.csv", FILES["a.csv"][1])
    (problem,) = read_calibrations(Path(f"{path}!b.csv")).problems
    assert 'no file "b.csv" in it' in str(problem)
    _book(tmp_path / "report.xlsx", readings=True)
    (problem,) = read_calibrations(tmp_path / "report.xlsx!Log").problems
    assert "report.xlsx!Log: found a file without any row" in str(problem)


def test_looks_into_a_log_and_into_json(tmp_path: Path) -> None:
    rows = [f"2026-03-05 00:0{minute}:04|N3.pH|7.1{minute}|GOOD" for minute in range(6)]
    (tmp_path / "poll.log").write_text("time|name|val|st\n" + "\n".join(rows) + "\n")
    said = [f"2026-03-05 00:0{minute}:04 INFO read {minute} values, next in 5 s" for minute in range(6)]
    (tmp_path / "program.log").write_text("\n".join(said) + "\n")
    objects = [{"time": f"2026-03-05T00:0{minute}:00Z", "tag": "A", "value": 7.0} for minute in range(6)]
    (tmp_path / "readings.json").write_text(json.dumps(objects))
    (tmp_path / "settings.json").write_text(json.dumps({"scan": {"every_s": 5, "tags": ["A", "B"]}}))
    found = sort_out([tmp_path])
    assert [path.name for path in found.exports] == ["poll.log", "readings.json"]
    assert [path.name for path, _ in found.ignored] == ["program.log", "settings.json"]


def test_days_of_cleaning_without_figures_are_a_log(tmp_path: Path) -> None:
    path = tmp_path / "done.csv"
    path.write_text("date,point,action\n2026-05-04 09:36,AT4,cleaning\n2026-05-18 09:36,AT4,swap\n")
    assert classify(path) == ("calibrations", "")
    path.write_text("date,point,action\n2026-05-04 09:36,AT4,cleaning\n2026-05-18 09:36,AT4,lunch\n")
    assert classify(path)[0] != "calibrations"


def test_two_tags_every_five_minutes_are_an_export_whatever_its_columns_and_title_are_called(
    tmp_path: Path,
) -> None:
    rows = [
        f"10.10.2025 {minute // 60:02}:{minute % 60:02};{tag};{value};{unit}"
        for minute in range(0, 600, 5)
        for tag, value, unit in (("EB-LF1", "482,5", "uS/cm"), ("EB-LF1 Temp", "11,7", "C"))
    ]
    path = tmp_path / "entnahme.csv"
    path.write_text("\n".join(["Entnahmebauwerk", "", "Zeitpunkt;Messstelle;Messwert;Einheit", *rows, ""]))
    assert classify(path) == ("export", "")


def test_a_log_of_nested_records_is_a_log_and_readings_so_written_are_an_export(tmp_path: Path) -> None:
    log = Path(__file__).parents[2] / "corpus" / "logs" / "json_found_and_left.json"
    trend = tmp_path / "trend.json"
    trend.write_text(
        '{"series": [{"name": "AX-1", "points": ['
        + ", ".join(f'{{"t": "2026-03-14T0{hour}:00:00Z", "v": 7.0}}' for hour in range(9))
        + "]}]}"
    )
    assert [classify(path)[0] for path in (log, trend)] == ["calibrations", "export"]


@pytest.mark.parametrize(
    ("times", "kind"),
    [
        (("02 09:00", "05 09:10", "09 08:55", "12 09:05"), "samples"),
        (("02 09:00:12", "05 09:10:31", "09 08:55:02", "12 09:05:44"), "export"),
        (("02 09:00", "03 09:00", "04 09:00", "05 09:00"), "export"),
        (("02 09:00", "02 09:10", "02 10:55", "02 11:05"), "export"),
    ],
)
def test_a_few_rows_are_a_list_of_a_person_only_by_their_times(
    tmp_path: Path, times: tuple[str, ...], kind: str
) -> None:
    path = tmp_path / "file.csv"
    path.write_text("Date,Tag,Value,Unit\n" + "".join(f"2026-03-{time},MK-PH-4,6.8,pH\n" for time in times))
    assert classify(path)[0] == kind
