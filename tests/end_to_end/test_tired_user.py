"""Mistakes and files of a tired night: what a reviewer met is held here."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from excursions.calibrations import evaluate
from excursions.cli.app import app
from excursions.clock import duration_text
from excursions.errors import UsageError
from excursions.plant import Plant, Point
from excursions.read import ReadOptions, read_exports
from excursions.read.logs.log import read_calibrations
from excursions.site.acts import close
from excursions.site.layout import Site, init_site
from excursions.site.lock import site_lock


def test_a_no_break_space_is_text(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [f"LF1;2024-03-01 00:{minute:02d};12\u00a0345,{minute}" for minute in range(10)]
    path.write_text("\n".join(["Tag;Zeit;Wert", *rows]) + "\n", encoding="utf-8")
    assert read_exports([path], ReadOptions()).series["LF1"].value[1] == 12_345.1


def test_a_word_below_the_table_leaves_dotted_dates_day_first(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Zeit;pH\n01.03.2024 00:00;7,01\n01.03.2024 00:01;7,02\nMittelwert;7,01\n")
    reading = read_exports([path], ReadOptions())
    assert reading.series["pH"].value.tolist() == [7.01, 7.02]
    assert reading.refused.height == 1


def test_the_cells_decide_what_was_found_and_left(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "Date,Tag,Type,Buffer,Reading\n"
        "2024-03-01 08:00,PH1,as found,4.01,4.30\n2024-03-01 08:00,PH1,as found,7.00,7.25\n"
    )
    log = read_calibrations(path, options=ReadOptions(), columns={})
    assert {entry.phase for entry in log.entries} == {"as_found"}
    point = Point(name="PH1", measurand="ph", value="PH1")
    found = evaluate(log.entries, Plant(points=(point,)))
    assert found[0].as_found


def test_ninety_seconds_are_not_two_minutes() -> None:
    assert [duration_text(s) for s in (60, 89, 90, 119, 120)] == ["60 s", "89 s", "90 s", "119 s", "2 min"]


def test_a_refused_act_leaves_no_mark_of_a_dead_run(tmp_path: Path) -> None:
    init_site(tmp_path / "site")
    with pytest.raises(UsageError):
        close(tmp_path / "site", "nosuch", now_ns=0)
    with site_lock(Site((tmp_path / "site").absolute()).lock, "test") as left:
        assert left == ""


def test_a_register_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    export = tmp_path / "a.csv"
    export.write_text("time,PH1\n" + "".join(f"2024-03-01 00:{m:02d},7.{m}\n" for m in range(10, 50)))
    out = tmp_path / "plant.toml"
    out.write_text("# mine\n")
    with pytest.raises(UsageError, match="--register"):
        CliRunner().invoke(app, ["register", str(export), "--out", str(out)], catch_exceptions=False)
    assert out.read_text() == "# mine\n"


def test_heat_without_a_temperature_cannot_tell_and_names_a_missing_file(tmp_path: Path) -> None:
    export = tmp_path / "a.csv"
    export.write_text("time,PH1\n" + "".join(f"2024-03-01 00:{m:02d},7.{m}\n" for m in range(10, 50)))
    told = CliRunner().invoke(app, ["heat", str(export), str(tmp_path / "nope.csv")])
    assert "Cannot tell: no probe temperature was exported." in told.output
    assert "nope.csv" in told.output


def test_a_moment_outside_the_record_excludes_nothing(tmp_path: Path) -> None:
    export = tmp_path / "a.csv"
    export.write_text("time,PH1\n" + "".join(f"2024-03-01 00:{m:02d},7.{m}\n" for m in range(10, 50)))
    told = CliRunner().invoke(app, ["explain", str(export), "--at", "1999-01-01"])
    assert "the record holds nothing there" in " ".join(told.output.split())


@pytest.mark.parametrize("command", ["check", "scan", "explain", "heat", "calibrations", "register"])
def test_every_command_that_reads_can_be_told_how(command: str, tmp_path: Path) -> None:
    export = tmp_path / "a.csv"
    rows = "".join(f"03/04/2024 00:{minute:02d},7.{minute}\n" for minute in range(10, 50))
    export.write_text("time,PH1\n" + rows)
    open_order = CliRunner().invoke(app, [command, str(export)])
    assert "--date-order" in f"{open_order.output}{open_order.exception}"
    assert open_order.exit_code != 0
    out = ["--out", str(tmp_path / "report")] if command == "scan" else []
    told = CliRunner().invoke(app, [command, str(export), "--date-order", "month-first", *out])
    assert told.exit_code in (0, 1), told.output


def fixed_width(tmp_path: Path, lines: list[str]) -> dict[str, list[float]]:
    path = tmp_path / "fixed.txt"
    path.write_text("\n".join(lines) + "\n")
    return {tag: one.value.tolist() for tag, one in read_exports([path], ReadOptions()).series.items()}


def test_blanks_in_a_name_cut_no_column_of_fixed_width(tmp_path: Path) -> None:
    rows = [
        f"{tag:<16}2024-03-01 00:{minute:02d}:00  {value + minute / 100:.2f}"
        for minute in range(10)
        for tag, value in (("Reactor 1 pH", 7), ("Reactor 2 pH", 5))
    ]
    read = fixed_width(tmp_path, ["Tagname         Timestamp            Value", *rows])
    assert {tag: values[1] for tag, values in read.items()} == {"Reactor 1 pH": 7.01, "Reactor 2 pH": 5.01}


def test_blanks_in_a_heading_stay_in_it(tmp_path: Path) -> None:
    rows = [f"2024-03-01 00:{m:02d}:00      7.{m:02d}          20.{m}" for m in range(10)]
    read = fixed_width(tmp_path, ["Time                  pH basin 1    Temp basin 1", *rows])
    assert {tag: values[1] for tag, values in read.items()} == {"pH basin 1": 7.01, "Temp basin 1": 20.1}


def test_one_blank_between_a_figure_and_its_quality_still_cuts(tmp_path: Path) -> None:
    rows = [f"2024-03-01 00:{m:02d}:00  7.{m:02d}  20.{m} Good" for m in range(10)]
    read = fixed_width(tmp_path, ["Time                 pH    T     Q", *rows])
    assert {tag: values[1] for tag, values in read.items()} == {"pH": 7.01, "T": 20.1}


@pytest.mark.parametrize(
    ("separator", "cell", "value", "told"), [(",", '"1,230"', 1230.0, "point"), (";", "1.230", 1.23, "point")]
)
def test_what_could_be_thousands_is_told(
    separator: str, cell: str, value: float, told: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.csv"
    rows = [f"2024-03-01 00:{minute:02d}{separator}{cell}" for minute in range(10, 40)]
    path.write_text("\n".join([f"time{separator}LF1", *rows]) + "\n")
    reading = read_exports([path], ReadOptions())
    assert reading.series["LF1"].value[0] == value
    assert any(told in one.what and one.option == "--decimal-mark" for one in reading.decisions)
