"""Words for averages and other figures of an interval, in names, titles and file names."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.condition.signal import condition
from excursions.read import ReadOptions, read_exports
from excursions.read.text.aggregates import aggregate_of, noted, says_averages, sums_up, with_note


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("AE9.PH avg", ("AE9.PH", "average")),
        ("AE9.PH_MAX", ("AE9.PH", "greatest")),
        ("TT-9/Minimum", ("TT-9", "least")),
        ("Max(AE9.PH)", ("AE9.PH", "greatest")),
        ("Mean of AE9", ("AE9", "average")),
        ("AE9 (Mittelwert)", ("AE9", "average")),
        ("AE9 médio", ("AE9", "average")),
        ("AE9.PH", ("AE9.PH", "")),
        ("max", ("max", "")),
        ("Tmax9", ("Tmax9", "")),
    ],
)
def test_a_name_is_split_from_its_figure(name: str, expected: tuple[str, str]) -> None:
    assert aggregate_of(name) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Juice_10min_avg", True),
        ("Verdichtung: 10-Minuten-Mittelwerte", True),
        ("Zehnminutenmittelwerte Linie 3", True),
        ("moyennes horaires", True),
        ("Mean: 7.03 pH", False),
        ("Average = 7,03", False),
        ("Meaning of the columns", False),
        ("Mittelstation", False),
    ],
)
def test_a_title_says_averages_or_not(text: str, expected: bool) -> None:
    assert says_averages(text) is expected


def test_a_note_comes_off_a_description_as_it_went_on() -> None:
    for description in ("", "Outlet pH (line 3)"):
        assert noted(with_note(description, 'column "Kind" says "Avg"')) == (
            description,
            'column "Kind" says "Avg"',
        )
    assert noted(with_note("Outlet pH", "")) == ("Outlet pH", "")


ROWS = "".join(f"2025-03-04 {n // 6:02d}:{n % 6}0,{7 + n * 7 % 11 / 100:.2f}\n" for n in range(60))


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("line3_avg.csv", "time,AI-1\n" + ROWS, "the name of the file says so"),
        ("line3.csv", "Values: 10 min averages\n\ntime,AI-1\n" + ROWS, 'a line above the table says "Values: 10 min averages"'),
        (
            "line3.csv",
            "tag,aggregate,time,value\n" + "".join(f"AI-1,Average,{row}\n" for row in ROWS.splitlines()),
            'column "aggregate" says "Average"',
        ),
    ],
)  # fmt: skip
def test_the_file_may_say_that_it_holds_averages(tmp_path: Path, name: str, text: str, why: str) -> None:
    path = tmp_path / name
    path.write_text(text)
    series = read_exports([path], ReadOptions()).series["AI-1"]
    sampling = condition(series, measurand="ph").signal.sampling
    assert (sampling.kind, sampling.why) == ("averages", why)


@pytest.mark.parametrize(
    "word", ["Mean:", "Totals", "Gesamt", "Gemiddelde", "średnia", "Median", "Anzahl Zeilen", "平均値"]
)
def test_a_line_that_sums_up_is_told_as_one_in_any_of_the_words(tmp_path: Path, word: str) -> None:
    path = tmp_path / "export.csv"
    path.write_text(f"time,AT-1\n2026-03-14 06:00,7.0\n2026-03-14 06:10,7.1\n{word},7.05\n", encoding="utf-8")
    reading = read_exports([path], ReadOptions())
    assert reading.series["AT-1"].value.tolist() == [7.0, 7.1]
    assert reading.refused["line"].to_list() == [4]
    assert "a line of totals" in reading.refused["reason"][0]


@pytest.mark.parametrize("word", ["raw", "AT-1", "last", "measured"])
def test_what_is_one_reading_sums_up_nothing(word: str) -> None:
    assert not sums_up(word)
