"""How a table is understood: its cut, its header, its layout, the order of its dates, its zone."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from excursions.errors import InputFileError
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.cells.sheet import look_at
from excursions.read.exports.cells.table import Preview
from excursions.read.exports.files.cutting import find_cut, fixed_spans
from excursions.read.exports.files.records_text import Cut, split_records
from excursions.read.exports.layouts import wide
from excursions.read.exports.layouts.common import split_unit
from excursions.read.exports.layouts.naming import unique
from excursions.read.exports.layouts.zonestated import zone_in
from excursions.read.exports.planner import propose
from excursions.read.exports.times.dateorder import OrderEvidence
from excursions.read.exports.upright.stacked import begins_block
from excursions.read.text.words import roles_of


def read_text(folder: Path, text: str, name: str = "made.csv", **options: object) -> Reading:
    path = folder / name
    path.write_text(text)
    return read_exports([path], ReadOptions(**options))  # type: ignore[arg-type]


def layout_of(text: str) -> str:
    cut = find_cut(text.splitlines(), "")
    sheet = look_at(Preview(rows=tuple(split_records(text.splitlines(), 1, cut))), "made")
    assert sheet is not None
    return propose(sheet).layout


@pytest.mark.parametrize(
    ("text", "layout"),
    [
        ("tag,time,value\nA,2024-03-01 00:00,1\nB,2024-03-01 00:00,2\n", "long"),
        ("time,AI-1,AI-2\n2024-03-01 00:00,1,2\n2024-03-01 00:01,1,2\n", "wide"),
        ("time,value\n2024-03-01 00:00,1\n2024-03-01 00:01,2\n", "one tag"),
        (
            "AI-1,,AI-2,\ntime,value,time,value\n2024-03-01 00:00,1,2024-03-01 00:00,2\n2024-03-01 00:01,1,2024-03-01 00:01,2\n",
            "column groups",
        ),
        ("time,site,AI-1,AI-2\n2024-03-01 00:00,North,1,2\n2024-03-01 00:01,North,1,2\n", "wide"),
    ],
)
def test_layouts(text: str, layout: str) -> None:
    assert layout_of(text) == layout


@pytest.mark.parametrize("separator", [",", ";", "\t", "|", "^"])
def test_separators(separator: str) -> None:
    lines = [
        separator.join(cells)
        for cells in (
            ("time", "A b", "B"),
            ("2024-03-01 00:00:00", "1.5", "x y"),
            ("2024-03-01 00:01:00", "2.5", ""),
        )
    ]
    assert find_cut(lines, "").separator == separator


def test_a_decimal_comma_does_not_cut_numbers_in_two() -> None:
    lines = ["Zeit;A;B"] + [f"01.03.2024 00:0{i};7,0{i};25,{i}" for i in range(9)]
    assert find_cut(lines, "").separator == ";"


def test_a_stated_separator_is_used_as_it_is() -> None:
    assert find_cut(["a;b,c"], ";").separator == ";"
    with pytest.raises(InputFileError, match="one character"):
        find_cut(["a"], "ab")


def test_columns_of_fixed_width_leave_room_for_longer_figures() -> None:
    lines = ["2024-03-01 00:00  AI-1    7.02 GOOD", "2024-03-01 00:01  AI-1   17.02 BAD"]
    wide = "2024-03-01 00:02  AI-17  117.02 GOOD"
    row = next(iter(split_records([wide], 1, Cut(spans=fixed_spans(lines)))))
    assert row.cells == ("2024-03-01", "00:02", "AI-17", "117.02", "GOOD")


def test_quotes_count_at_the_start_of_a_cell_only() -> None:
    rows = list(split_records(['a,5" pipe,"x, ""y""",z', '"two', 'lines",b', '"never closed,c'], 1, Cut()))
    assert [row.line for row in rows] == [1, 2, 4]
    assert rows[0].cells == ("a", '5" pipe', 'x, "y"', "z")
    assert rows[1].cells == ("two\nlines", "b")
    assert rows[2].cells == ("never closed", "c")


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["13.02.2024 00:00"], "day-first"),
        (["02/13/2024 00:00"], "month-first"),
        (["13/13/2024 00:00", "02/03/2024"], ""),
        (["02/03/2024 00:00", "04/05/2024 00:00"], ""),
        (["03/03/2024 00:00", "04/04/2024 00:00"], "day-first"),
        (["03/04/2024 23:59", "04/04/2024 00:00"], "day-first"),
        (["03/31/2024 23:59", "04/01/2024 00:00"], "month-first"),
        (["04/03/2024 23:59", "04/04/2024 00:00"], "month-first"),
        # The first of each month at noon: days or months apart, both readings are possible.
        (["01/02/2024 12:00", "01/03/2024 12:00", "01/04/2024 12:00"], ""),
        (["31.12.23 23:00", "01.01.24 00:00"], "day-first"),
        (["24-03-01 23:00", "24-03-02 00:00"], "year-first"),
        (["13.02.2024", "02/13/2024"], ""),
    ],
)  # fmt: skip
def test_date_order(texts: list[str], order: str) -> None:
    evidence = OrderEvidence()
    evidence.add(pl.Series(texts))
    assert evidence.decide()[0] == order


def test_evidence_may_come_in_pieces() -> None:
    evidence = OrderEvidence()
    evidence.add(pl.Series(["02/03/2024 00:00"]))
    assert evidence.decide()[0] == ""
    evidence.add(pl.Series(["14/03/2024 00:00"]))
    assert evidence.decide()[0] == "day-first"


def test_a_day_far_down_decides(tmp_path: Path) -> None:
    lines = [f"0{1 + i % 2}/0{3 + i % 2}/2024 00:00,{i}" for i in range(4_000)] + ["13/04/2024 00:00,1"]
    reading = read_text(tmp_path, "time,AI-1\n" + "\n".join(lines) + "\n")
    assert any(decision.what == "dates are day-first" for decision in reading.decisions)
    assert reading.files[0].used == 4_001


def test_files_of_the_same_kind_decide_for_each_other(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("time,AI-1\n02/03/2024 00:00,1\n04/05/2024 00:00,2\n")
    (tmp_path / "b.csv").write_text("time,AI-1\n13/03/2024 00:00,1\n14/03/2024 00:00,2\n")
    (tmp_path / "c.csv").write_text("time,TI-9\n02/03/2024 00:00,1\n04/05/2024 00:00,2\n")
    reading = read_exports([tmp_path], ReadOptions())
    assert any(decision.why == "other files of the same kind are" for decision in reading.decisions)
    assert [Path(report.path).name for report in reading.files] == ["a.csv", "b.csv"]
    assert [Path(problem.file).name for problem in reading.problems] == ["c.csv"]


@pytest.mark.parametrize(
    ("text", "named", "zone"),
    [("UTC", True, "UTC"), ("Time (UTC+1)", True, "Etc/GMT-1"), ("GMT-05:00", True, "Etc/GMT+5"), ("Europe/Vienna", False, "Europe/Vienna"),
     ("CET", True, "Etc/GMT-1"), ("CST", True, ""), ("Created by MEZ Ltd", False, ""), ("Mars/Olympus", True, ""), ("UTC+5:30", True, "Asia/Kolkata"), ("UTC+3:30", True, ""), ("UTC +5.5", True, "Asia/Kolkata"), ("UTC +5.30", True, "Asia/Kolkata"), ("GMT+5,75", True, "Asia/Kathmandu"), ("UTC+3.5", True, ""), ("UTC+5.", True, "Etc/GMT-5")],
)  # fmt: skip
def test_zones_that_a_file_states(text: str, named: bool, zone: str) -> None:
    assert zone_in(text, named=named) == zone


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("AI-1 [pH]", ("AI-1", "pH")),
        ("TT-1 (°C)", ("TT-1", "°C")),
        ("AI-1 (left)", ("AI-1 (left)", "")),
        ("LF, mS/cm", ("LF", "mS/cm")),
        ("Return Cond mS/cm", ("Return Cond", "mS/cm")),
        ("WFI_COND.uS/cm", ("WFI_COND", "uS/cm")),
        ("Site/Area/AT-101", ("Site/Area/AT-101", "")),
        ("A/B", ("A/B", "")),
        ("LF in mS/cm", ("LF", "mS/cm")),
        ("LF / mS/cm", ("LF", "mS/cm")),
        ("Cond (µmhos/cm)", ("Cond", "µmhos/cm")),
        ("Cond (uS/cm @25C)", ("Cond", "uS/cm @25C")),
        ("Cond. [µS/cm]", ("Cond.", "µS/cm")),
        ("LF mS·cm⁻¹", ("LF", "mS·cm⁻¹")),
        ("DO (% Sat.)", ("DO", "% Sat.")),
        ("T (Deg. F)", ("T", "Deg. F")),
        ("T [Grad Celsius]", ("T", "Grad Celsius")),
        ("P [bar(g)]", ("P", "bar(g)")),
        ("Cond (mS)", ("Cond", "mS")),
        ("Cycle (ms)", ("Cycle (ms)", "")),
    ],
)
def test_units_behind_names(header: str, expected: tuple[str, str]) -> None:
    assert split_unit(header) == expected


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("TagName", "tag"),
        ("Zeitstempel", "time"),
        ("Messwert", "value"),
        ("Qualität", "quality"),
        ("EngUnits", "unit"),
        ("Lfd. Nr.", "index"),
        ("Date/Time", "time"),
        ("VarValue", "value"),
        ("Температура", ""),
    ],
)
def test_roles_of_headers(header: str, role: str) -> None:
    assert role in roles_of(header) if role else not roles_of(header)


def test_what_begins_another_block() -> None:
    headers = ("Time", "AI-1")
    assert begins_block(("Tag: AI-2", ""), headers)
    assert begins_block(("Tag", "AI-2"), headers)
    assert begins_block(("Time", "AI-2"), headers)
    assert not begins_block(("Time", "AI-1"), headers)
    assert not begins_block(("Total rows: 4", ""), headers)
    assert not begins_block(("2024-03-01 00:00", "7"), headers)


def test_blocks_far_apart_are_taken_apart(tmp_path: Path) -> None:
    rows = [f"2024-03-{1 + i // 1_440:02d}T{i // 60 % 24:02d}:{i % 60:02d}:00Z,{i}" for i in range(3_000)]
    text = (
        "Tag: AI-1\nTime,Value\n"
        + "\n".join(rows)
        + "\n\nTag: AI-2\nTime,Value\n"
        + "\n".join(rows[:5])
        + "\nbroken,1\n"
    )
    reading = read_text(tmp_path, text)
    assert {tag: series.time.size for tag, series in reading.series.items()} == {"AI-1": 3_000, "AI-2": 5}
    assert reading.refused["line"].to_list() == [3_011]
    assert reading.files[0].rows == 3_006


def test_codes_far_down_change_the_meaning_of_the_first_ones(tmp_path: Path) -> None:
    rows = [
        f"AI-1,2024-03-01T{i // 60:02d}:{i % 60:02d}:00Z,7,{192 if i == 1_300 else 0}" for i in range(1_400)
    ]
    reading = read_text(tmp_path, "tag,time,value,status\n" + "\n".join(rows) + "\n", block_bytes=10_000)
    assert reading.series["AI-1"].quality.tolist().count(0) == 1
    assert reading.files[0].used == 1_400


def test_the_file_states_its_zone_and_an_option_overrules_it(tmp_path: Path) -> None:
    text = "Time zone: Europe/Vienna\n\ntime,AI-1\n2024-07-01 02:00,1\n2024-07-01 02:01,2\n"
    assert read_text(tmp_path, text).series["AI-1"].time[0] == 1_719_792_000 * 10**9
    assert read_text(tmp_path, text, tz="UTC").series["AI-1"].time[0] == 1_719_799_200 * 10**9


def test_the_register_gives_its_zone_only_to_files_that_state_none(tmp_path: Path) -> None:
    rows = "2024-07-01 02:00,1\n2024-07-01 02:01,2\n"
    plain = read_text(tmp_path, "time,AI-1\n" + rows, plant_zone="Europe/Vienna")
    assert plain.series["AI-1"].time[0] == 1_719_792_000 * 10**9
    stated = read_text(tmp_path, "Time (UTC),AI-1\n" + rows, plant_zone="Europe/Vienna")
    assert stated.series["AI-1"].time[0] == 1_719_799_200 * 10**9
    overruled = read_text(tmp_path, "Time (UTC),AI-1\n" + rows, tz="Europe/Vienna")
    assert overruled.series["AI-1"].time[0] == 1_719_792_000 * 10**9
    assert any("not in UTC, which the file states" in decision.what for decision in overruled.decisions)


@pytest.mark.parametrize("name", ["Time (UTC)", "time_utc", "UTCTime", "TimestampUtc", "UTC time", "t [GMT]"])
def test_a_name_that_says_utc_is_believed_however_it_is_written(tmp_path: Path, name: str) -> None:
    text = f"{name},AI-1\n2024-07-01 02:00,1\n2024-07-01 02:01,2\n"
    found = read_text(tmp_path, text, plant_zone="Europe/Vienna")
    assert found.series["AI-1"].time[0] == 1_719_799_200 * 10**9


@pytest.mark.parametrize(
    ("names", "local", "exact"),
    [
        ("Time (local),AI-1,TI-1,Time (UTC)", "2024-07-01 04:0{}", "2024-07-01 02:0{}"),
        ("datetime,AI-1,TI-1,time_iso", "01.07.2024 04:0{}", "2024-07-01T04:0{}:00+02:00"),
        ("datetime,AI-1,TI-1,epoch", "2024-07-01 04:0{}", "epoch"),
    ],
)
def test_of_two_times_the_one_that_states_its_zone_counts(
    tmp_path: Path, names: str, local: str, exact: str
) -> None:
    minutes = range(5)
    said = [f"{1_719_799_200 + 60 * m}" if exact == "epoch" else exact.format(m) for m in minutes]
    rows = [f"{local.format(m)},7.{m},20.{m},{said[m]}" for m in minutes]
    found = read_text(tmp_path, "\n".join([names, *rows]) + "\n")
    assert list(found.series) == ["AI-1", "TI-1"]
    assert found.series["AI-1"].time.tolist() == [(1_719_799_200 + 60 * m) * 10**9 for m in minutes]


def test_decisions_say_what_would_change_them(tmp_path: Path) -> None:
    reading = read_text(tmp_path, "Zeit;AI-1\n13.03.2024 00:00;7,02\n14.03.2024 00:00;7,03\n")
    assert {decision.option for decision in reading.decisions} == {"--date-order", "--decimal-mark", "--tz"}
    assert all(decision.subject.endswith("made.csv") and decision.why for decision in reading.decisions)


def test_the_same_tag_in_another_unit_in_another_file_is_converted_and_said(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "time,TI [degC],PI [bar]\n2024-03-01 00:00,25.1,1\n2024-03-01 00:01,25.2,1\n"
    )
    (tmp_path / "b.csv").write_text(
        "time,TI [°F],PI [bar]\n2024-03-02 00:00,77.5,1\n2024-03-02 00:01,77.9,1\n"
    )
    (tmp_path / "c.csv").write_text("time,TI,PI\n2024-03-03 00:00,25.3,1\n2024-03-03 00:01,25.4,1\n")
    reading = read_exports([tmp_path], ReadOptions())
    assert {tag: series.value.size for tag, series in reading.series.items()} == {"PI": 6, "TI": 6}
    assert reading.series["TI"].value[2:4].tolist() == pytest.approx([45.5 / 1.8, 45.9 / 1.8])
    assert any("degC" in decision.what and "°F" in decision.what for decision in reading.decisions)


def test_a_second_place_far_down_comes_before_the_tag(tmp_path: Path) -> None:
    rows = [f"R{1 + (n > 2_500)},PV,2024-03-01T{n // 60 % 24:02d}:{n % 60:02d}:00Z,{n}" for n in range(3_000)]
    path = tmp_path / "a.csv"
    path.write_text("device,tag,time,value\n" + "\n".join(rows) + "\n")
    reading = read_exports([path], ReadOptions(block_bytes=2**14))
    said = [decision.what for decision in reading.decisions]
    assert 'column "device" is put before the tag' in said
    assert not any("left out" in what for what in said)
    assert {tag: series.time.size for tag, series in reading.series.items()} == {"R1/PV": 2_501, "R2/PV": 499}
    path.write_text("device,tag,time,value\n" + "\n".join(rows[:2_000]) + "\n")
    assert list(read_exports([path], ReadOptions()).series) == ["PV"]


def test_numbered_names_are_not_alike_where_one_is_called_so_already() -> None:
    assert unique(["A", "A", "B", "A"]) == ["A", "A (2)", "B", "A (3)"]
    assert unique(["A (2)", "A", "A"]) == ["A (2)", "A", "A (3)"]
    assert unique(["A", "B"], ["A", "A (2)"]) == ["A (3)", "B"]


def test_a_column_called_as_a_numbered_one_is_stays_a_signal_of_its_own(tmp_path: Path) -> None:
    text = "time,A (2),A,A\n2026-03-14 06:00,1.5,2.5,3.5\n2026-03-14 06:10,1.5,2.5,3.5\n"
    series = read_text(tmp_path, text).series
    assert {tag: found.value.tolist() for tag, found in series.items()} == {
        "A": [2.5, 2.5],
        "A (2)": [1.5, 1.5],
        "A (3)": [3.5, 3.5],
    }


def test_what_is_asked_of_a_wide_header_grows_with_its_columns_and_not_with_their_square(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    for name in ("fold", "is_unit"):
        of = getattr(wide, name)
        monkeypatch.setattr(wide, name, lambda text, of=of: asked.append(text) or of(text))

    def count(columns: int) -> int:
        titles = ["", *(cell for at in range(columns) for cell in (f"T{at:03}-PH", ""))]
        header = ["time", *["Value", "Quality"] * columns]
        row = ["2026-01-01 00:00:00", *["7.0", "Good"] * columns]
        path = tmp_path / f"{columns}.csv"
        path.write_text("\n".join(map(",".join, (titles, header, row, row))) + "\n", encoding="utf-8")
        asked.clear()
        found = read_exports([path], ReadOptions())
        assert len(found.series) == columns
        assert all((series.quality == 0).all() for series in found.series.values())
        return len(asked)

    assert count(80) <= 2.2 * count(40)
