"""What is different from the run before: told once, by kind of change, never because an onset moved a little."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import polars as pl
import pytest

from excursions.clock import NS_PER_DAY, NS_PER_HOUR
from excursions.records import Event
from excursions.report.changes import compared
from excursions.report.earlier import read_earlier
from excursions.report.result import ScanResult, Verdict
from excursions.report.write import all_tables, write_tables
from tests.unit.report.test_explain import made_findings, made_scan, made_step

REFUSED = pl.DataFrame({"file": ["x"], "line": [1]})


def made_run(*events: Event, verdict: str = "trust", error: float = float("nan")) -> ScanResult:
    result = made_scan(made_findings(*events))
    judged = Verdict(
        point="P", verdict=verdict, sentence="The sentence.", since=None, advice="", caution="", rank_score=1.0,
        error=error, error_band=0.1,
    )  # fmt: skip
    return dataclasses.replace(result, verdicts=(judged,), run={"run": "aaa"})


def after(before: ScanResult, now: ScanResult, folder: Path) -> list[tuple[str, str, str]]:
    """(change, what, sentence) between two runs through the files of the first."""
    write_tables(before, REFUSED, folder)
    done = compared(now, read_earlier(folder))
    assert done.comparison is not None
    assert done.comparison.problem == ""
    return [(c.change, c.what, c.sentence) for c in done.comparison.changes]


def test_the_same_again_is_nothing_changed(tmp_path: Path) -> None:
    run = made_run(made_step(), verdict="doubt", error=0.5)
    assert after(run, run, tmp_path) == []


def test_without_an_earlier_run_nothing_is_said(tmp_path: Path) -> None:
    assert compared(made_run(), read_earlier(tmp_path)).comparison is None


def test_a_new_event_and_the_verdict_it_makes_worse(tmp_path: Path) -> None:
    rows = after(made_run(), made_run(made_step(), verdict="doubt"), tmp_path)
    assert [row[:2] for row in rows] == [("new", "event"), ("worse", "verdict")]
    assert rows[1][2] == "doubt, was trust: The sentence."


def test_an_event_that_is_no_longer_found_is_gone_and_the_point_better(tmp_path: Path) -> None:
    rows = after(made_run(made_step(), verdict="doubt"), made_run(), tmp_path)
    assert [row[:2] for row in rows] == [("better", "verdict"), ("gone", "event")]


def test_an_onset_that_moved_a_little_is_the_same_event(tmp_path: Path) -> None:
    moved = made_step(start=made_step().start + NS_PER_HOUR // 2, end=made_step().end + NS_PER_HOUR)
    assert moved.id != made_step().id
    assert after(made_run(made_step()), made_run(moved), tmp_path) == []


def test_an_event_before_the_record_that_is_left_is_not_called_gone(tmp_path: Path) -> None:
    later = made_run()
    shorter = dataclasses.replace(later.points[0], start=made_step().start + NS_PER_DAY)
    assert after(made_run(made_step()), dataclasses.replace(later, points=(shorter,)), tmp_path) == []


def test_what_turns_out_to_be_the_process_is_better(tmp_path: Path) -> None:
    process = made_step(origin="process", severity="note")
    assert [row[:2] for row in after(made_run(made_step()), made_run(process), tmp_path)] == [
        ("better", "event")
    ]


@pytest.mark.parametrize(("error", "expected"), [(0.9, ["worse"]), (0.2, ["better"]), (0.55, [])])
def test_an_error_counts_as_changed_when_it_leaves_its_band(
    error: float, expected: list[str], tmp_path: Path
) -> None:
    rows = after(made_run(verdict="doubt", error=0.5), made_run(verdict="doubt", error=error), tmp_path)
    assert [row[0] for row in rows] == expected


def test_points_come_and_go(tmp_path: Path) -> None:
    run = made_run()
    other = dataclasses.replace(
        run,
        points=(
            dataclasses.replace(run.points[0], point=dataclasses.replace(run.points[0].point, name="R")),
        ),
        verdicts=(dataclasses.replace(run.verdicts[0], point="R"),),
    )
    assert [row[:2] for row in after(run, other, tmp_path)] == [("new", "point"), ("gone", "point")]


def test_tables_that_cannot_be_read_are_said_and_not_taken_for_no_change(tmp_path: Path) -> None:
    write_tables(made_run(), REFUSED, tmp_path)
    (tmp_path / "tables" / "events.parquet").write_bytes(b"not a table")
    done = compared(made_run(), read_earlier(tmp_path))
    assert done.comparison is not None
    assert "cannot be read" in done.comparison.problem
    assert all_tables(done)["changes"].height == 0
