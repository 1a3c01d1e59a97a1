"""The main job on the sample plant: pages, tables, counts, exit status, and the same bytes every time."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from tests.end_to_end.conftest import PLANT, Finished, run_command

TABLES = (
    "points",
    "events",
    "limits",
    "calibrations",
    "shifts",
    "links",
    "doubts",
    "probes",
    "changes",
    "audit",
    "lessons",
    "due",
    "corrected",
    "decisions",
)


def test_it_finds_something_and_says_where_the_page_is(sample_scan: tuple[Finished, Path]) -> None:
    done, out = sample_scan
    assert done.status == 1, done.err
    assert done.out.rstrip().splitlines()[-1] == f"Page: {out / 'index.html'}"
    assert (out / "index.html").is_file()


def test_there_is_a_page_for_every_point(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan  # by two processes
    assert (
        len(list((out / "points").glob("*.html")))
        == pl.read_parquet(out / "tables/points.parquet").height
        == 10
    )


def test_every_table_is_there_twice_and_documented(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    documented = pl.read_csv(out / "tables/columns.csv")
    for name in TABLES:
        frame = pl.read_parquet(out / f"tables/{name}.parquet")
        assert pl.read_csv(out / f"tables/{name}.csv").height == frame.height
        assert documented.filter(table=name)["column"].to_list() == frame.columns


def test_rows_add_up(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    run = json.loads((out / "run.json").read_text())
    rows = run["rows"]
    assert rows["read"] == rows["used"] + rows["duplicates"] + rows["conflicts"] + rows["refused"]
    assert rows["duplicates"] > 1000  # the two wastewater files overlap by two days
    assert all(len(file["sha256"]) == 64 for file in run["inputs"]["exports"])
    assert len(run["inputs"]["register"]["sha256"]) == 64
    assert run["inferences"]


def test_the_cooked_probe_is_found_and_linked_to_its_lost_slope(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    events = pl.read_parquet(out / "tables/events.parquet")
    heat = events.filter(point="F1-PH", kind="over_temperature", origin="probe")
    assert heat.height == 1
    assert heat["size"][0] == pytest.approx(148.0, abs=0.5)
    shifts = pl.read_parquet(out / "tables/shifts.parquet")
    slope = shifts.filter(
        (pl.col("point") == "F1-PH") & (pl.col("parameter") == "slope") & pl.col("significant")
    )
    slope = slope.sort(pl.col("change"))  # the largest loss first
    links = pl.read_parquet(out / "tables/links.parquet")
    first = links.filter((pl.col("shift") == slope["shift"][0]) & (pl.col("rank") == 1))
    assert first["event"][0] == heat["event"][0]


def test_how_many_shifts_chance_alone_would_call_changed_is_said(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    shifts = pl.read_parquet(out / "tables/shifts.parquet")
    (said,) = pl.read_csv(out / "tables/decisions.csv").filter(subject="calibration shifts")["what"].to_list()
    assert said.startswith(f"{shifts['significant'].sum()} of {shifts.height} shifts")


def test_a_source_of_limits_is_named_once(sample_scan: tuple[Finished, Path]) -> None:
    _, out = sample_scan
    said = pl.read_csv(out / "tables/lives.csv")["replacement"].drop_nulls().to_list()
    assert any("(USP <791>: within 30 mV at pH 7)" in one for one in said)
    assert not any("USP <791> and" in one for one in said)


@pytest.mark.slow
def test_one_process_and_two_give_the_same_bytes(sample_scan: tuple[Finished, Path], tmp_path: Path) -> None:
    _, out = sample_scan
    run_command("scan", PLANT, "--out", tmp_path / "one", "--jobs", 1)
    for path in sorted((out).rglob("*")):
        if path.is_file() and path.suffix in (".csv", ".parquet", ".json", ".html"):
            twin = tmp_path / "one" / path.relative_to(out)
            assert twin.read_bytes() == path.read_bytes(), f"{path.relative_to(out)} differs with one process"


def test_machines_get_json(tmp_path: Path) -> None:
    done = run_command("scan", *sorted(PLANT.glob("*.parquet")), "--json", "--out", tmp_path)
    facts = json.loads(done.out)
    assert facts["page"] == str(tmp_path / "index.html")
    assert {"point", "verdict", "sentence", "since", "advice"} <= set(facts["points"][0])
