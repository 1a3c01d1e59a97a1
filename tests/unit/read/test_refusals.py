"""Every refused row says in which column, what was expected there, and how to mend it; in the order of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.read import Reading, ReadOptions, read_exports

HEAD = "tag,time,value\nA,31.01.2024 12:00:00,7.1\nA,31.01.2024 12:01:00,7.2\nA,31.01.2024 12:02:00,7.3\n"


def reading(tmp_path: Path, text: str, **options: object) -> Reading:
    path = tmp_path / "export.csv"
    path.write_text(text, encoding="utf-8")
    return read_exports([path], ReadOptions(**options))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("A,31.02.2024 12:02:00,7.2", "time", ["31.02.2024", 'like "31.01.2024 12:00:00"', "--date-order"]),
        ("A,,7.2", "time", ["missing", 'like "31.01.2024 12:00:00"', "fill it in"]),
        ("A,hello,7.2", "time", ['"hello" is no time', "correct it"]),
        ("A,13:40,7.2", "time", ["no time with a date", "write the date before it"]),
        ("tag,time,value", "time", ["the header again"]),
        ("Total,,21.6", "time", ["a line of totals"]),
        ("(3 rows affected)", "time", ["a line of totals or counts"]),
        (",31.01.2024 12:04:00,7.2", "tag", ["names no tag", "fill it in"]),
        ("A,31.01.2024 12:04:00,7.2,8", "", ["more cells than the 3 columns", "in quotes"]),
        ("A,31.01.2024 12:04:00,7.2.3", "value", ["7.2.3", "decimal point", "--decimal-mark"]),
    ],
)
def test_a_refused_row_says_where_what_and_how(
    tmp_path: Path, row: str, column: str, words: list[str]
) -> None:
    (refused,) = reading(tmp_path, f"{HEAD}{row}\n").refused.to_dicts()
    assert (refused["line"], refused["column"]) == (5, column)
    assert [word for word in words if word not in refused["reason"]] == []


def test_a_time_in_the_missing_hour_names_zone_and_option(tmp_path: Path) -> None:
    found = reading(tmp_path, HEAD + "A,31.03.2024 02:30:00,7.2\n", tz="Europe/Vienna")
    (refused,) = found.refused.to_dicts()
    assert "does not exist in Europe/Vienna" in refused["reason"]
    assert "--tz" in refused["reason"]


def test_refused_rows_stand_in_the_order_of_the_file(tmp_path: Path) -> None:
    rows = (
        "A,31.01.2024 12:04:00,7.2.3\nA,x,1\nA,31.01.2024 12:04:00,7.2,8\n,31.01.2024 12:04:00,7.2\nA,y,1\n"
    )
    assert reading(tmp_path, HEAD + rows).refused["line"].to_list() == [5, 6, 7, 8, 9]


def test_of_two_times_the_one_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    text = "A,A value,B,B value\n" + "".join(
        f"2024-03-01 00:0{m}:00,7.{m},2024-03-01 00:0{m}:00,2{m}\n" for m in range(4)
    )
    found = reading(tmp_path, text + "2024-03-01 00:05:00,7.5,never,25\n")
    assert [(r["column"], r["rows"]) for r in found.refused.to_dicts()] == [("B", 1)]


def test_each_text_tells_its_count_and_where_it_stood_first(tmp_path: Path) -> None:
    found = reading(tmp_path, HEAD + "A,31.01.2024 12:03:00,KAPUTT\nA,31.01.2024 12:04:00,KAPUTT\n")
    (word,) = found.status_words.to_dicts()
    assert (word["word"], word["count"], word["line"]) == ("KAPUTT", 2, 5)
    assert word["file"].endswith("export.csv")
    (note,) = found.files[0].notes
    assert '"KAPUTT" (2 x, first in line 5)' in note


def test_quality_words_of_the_user_hold_for_texts_and_figures_in_the_value_column(tmp_path: Path) -> None:
    text = HEAD + "A,31.01.2024 12:03:00,KAPUTT\nA,31.01.2024 12:04:00,-9999\nA,31.01.2024 12:05:00,88\n"
    found = reading(tmp_path, text, quality_words={"KAPUTT": "uncertain", "-9999": "bad", "88": "uncertain"})
    assert found.series["A"].quality.tolist() == [0, 0, 0, 1, 2, 1]
    assert found.files[0].notes == ()
    assert {w["word"]: w["line"] for w in found.status_words.to_dicts()} == {"KAPUTT": 5, "-9999": 6, "88": 7}


def test_a_line_whose_cells_all_stand_behind_the_last_column_is_refused_not_lost(tmp_path: Path) -> None:
    rows = [f"AI-1;2024-03-07T{hour:02d}:00:00Z;{7 + hour / 100:.2f}" for hour in range(24)]
    rows[12] = ";" * 30 + rows[12]
    path = tmp_path / "shifted.csv"
    path.write_text("\n".join(["tag;time;value", *rows, ""]), encoding="utf-8")
    report = read_exports([path], ReadOptions()).files[0]
    assert (report.rows, report.used, report.refused) == (24, 23, 1)
