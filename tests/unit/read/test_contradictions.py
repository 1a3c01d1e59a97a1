"""Two files that do not agree on a tag: which readings count, which do not, and what is said of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from excursions.read import ReadOptions, read_exports


def export(path: Path, hours: range, value: float, tag: str = "AT-1") -> Path:
    rows = "".join(f"{tag},2026-03-02 {hour:02d}:00,{value + hour / 100:.2f}\n" for hour in hours)
    path.write_text(f"tag,time,value\n{rows}")
    return path


def test_both_readings_are_kept_and_the_files_named(tmp_path: Path) -> None:
    files = [export(tmp_path / "a.csv", range(10), 7.0), export(tmp_path / "b.csv", range(6, 16), 7.5)]
    reading = read_exports(files, ReadOptions())
    found = reading.contradicted
    assert found["time"].dt.hour().to_list() == [6, 7, 8, 9]
    assert found["value"].to_list() == [7.06, 7.07, 7.08, 7.09]
    assert found["kept_value"].to_list() == [7.56, 7.57, 7.58, 7.59]
    assert {Path(name).name for name in found["file"]} == {"a.csv"}
    assert {Path(name).name for name in found["kept_file"]} == {"b.csv"}
    said = [decision.what for decision in reading.decisions if "contradicted" in decision.what]
    assert len(said) == 1
    assert said[0].startswith("4 readings of")


@pytest.mark.parametrize("hours", [range(10, 16), range(6, 16)])
def test_files_that_follow_or_repeat_one_another_say_nothing(tmp_path: Path, hours: range) -> None:
    files = [export(tmp_path / "a.csv", range(10), 7.0), export(tmp_path / "b.csv", hours, 7.0)]
    reading = read_exports(files, ReadOptions())
    assert reading.contradicted.height == 0
    assert not any("contradicted" in decision.what for decision in reading.decisions)


def test_of_three_files_the_last_counts(tmp_path: Path) -> None:
    files = [
        export(tmp_path / f"{name}.csv", range(4), value)
        for name, value in (("a", 7.0), ("b", 7.2), ("c", 7.4))
    ]
    found = read_exports(files, ReadOptions()).contradicted
    assert found.height == 8
    assert {Path(name).name for name in found["kept_file"]} == {"c.csv"}


def test_of_more_readings_than_are_listed_all_are_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("excursions.read.exports.gather.contradictions.MOST", 3)
    files = [
        export(tmp_path / f"{name}.csv", range(10), value)
        for name, value in (("a", 7.0), ("b", 7.2), ("c", 7.4))
    ]
    reading = read_exports(files, ReadOptions())
    assert reading.contradicted.height == 3
    said = [decision for decision in reading.decisions if "contradicted" in decision.what]
    assert [decision.what.split()[0] for decision in said] == ["10", "10"]
    assert all("the first 3 of this tag" in decision.option for decision in said)
