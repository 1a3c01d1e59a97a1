"""However a record is cut, in whatever order and with whatever repeats it comes: what one scan of the whole finds."""

from __future__ import annotations

import tempfile
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from excursions.clock import NS_PER_DAY
from excursions.pipeline.scan import scan
from excursions.report.write import all_tables
from tests.builders import T0
from tests.sites import (
    LOG,
    NOW,
    REGISTER,
    SAMPLES,
    TABLES,
    current_events,
    drop,
    ledger_rows,
    new_site,
    piece,
    readings,
    run,
    tables,
    write_export,
)

pytestmark = pytest.mark.slow

WHOLE = readings()


def whole_scan(folder: Path) -> dict[str, pl.DataFrame]:
    """The tables of one scan over everything."""
    return all_tables(scan([folder], register=folder / "plant.toml").result)


def cut_up(folder: Path, cuts: list[float], contradicting: int) -> list[Path]:
    """The record as files that overlap by a day; one of them contradicts its neighbours by half a pH."""
    edges = [0.0, *sorted(cuts), 14.0]
    files = []
    for number, (start, end) in enumerate(pairwise(edges)):
        frame = piece(WHOLE, start - 1.0, end)
        if number == contradicting:
            frame = frame.with_columns(value=pl.col("value") + 0.5 * pl.col("tag").str.ends_with("PV"))
        if frame.height:
            files.append(write_export(frame, folder / f"export_{number:02}.csv"))
    lines = LOG.splitlines(keepends=True)
    for name, text in (
        ("calibration_log_1.csv", "".join(lines[:3])),
        ("calibration_log_2.csv", lines[0] + "".join(lines[3:])),
        ("lab_samples.csv", SAMPLES),
        ("plant.toml", REGISTER),
    ):
        (folder / name).write_text(text)
    return [
        *files,
        *(folder / n for n in ("calibration_log_1.csv", "calibration_log_2.csv", "lab_samples.csv")),
    ]


# A case is a small night run several times: making a failing one smaller would take minutes.
QUICK = (Phase.explicit, Phase.reuse, Phase.generate)


@seed(7)
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow], phases=QUICK)
@given(data=st.data())
def test_any_pieces_in_any_order_with_repeats_give_what_one_scan_gives(data: st.DataObject) -> None:
    cuts = data.draw(st.lists(st.floats(1.5, 13.5), min_size=1, max_size=4), label="cuts")
    contradicting = data.draw(st.integers(0, 4), label="contradicting")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "whole"
        files = cut_up(folder, cuts, contradicting)
        expected = whole_scan(folder)
        assert expected["events"].height >= 2  # a record without events would prove nothing
        order = data.draw(st.permutations(files), label="order")
        repeats = data.draw(st.lists(st.sampled_from(files), max_size=3), label="repeats")
        site = new_site(Path(place) / "site")
        waiting = [*order, *repeats]
        while waiting:
            count = data.draw(st.integers(1, len(waiting)), label="tonight")
            drop(site, waiting[:count])
            run(site)
            waiting = waiting[count:]
        found = tables(site.reports)
        for name in TABLES:
            assert found[name].equals(expected[name]), name
        ids = sorted(expected["events"]["event"].to_list())
        assert [row[0] for row in current_events(site)] == ids


def test_a_night_that_brings_only_repeats_changes_nothing(tmp_path: Path) -> None:
    export = write_export(WHOLE, tmp_path / "export.csv")
    site = new_site(tmp_path / "site")
    drop(site, [export])
    run(site)
    before = ledger_rows(site, "SELECT * FROM parts"), ledger_rows(site, "SELECT * FROM events")
    drop(site, [export])
    night = run(site)
    assert night.searched == 0
    assert night.status == 0
    assert not night.digest
    assert (ledger_rows(site, "SELECT * FROM parts"), ledger_rows(site, "SELECT * FROM events")) == before


def test_late_data_that_reclassify_an_event_are_told_and_its_name_stays(tmp_path: Path) -> None:
    """A hole in the middle of a stuck stretch that is filled later moves what was seen."""
    late = piece(WHOLE, 10.5, 12.5)
    rest = WHOLE.join(late.select("tag", "time"), on=["tag", "time"], how="anti")
    site = new_site(tmp_path / "site")
    drop(site, [write_export(rest, tmp_path / "a.csv")])
    run(site)
    names = dict(ledger_rows(site, "SELECT event, kind FROM events WHERE point = 'B2'"))
    drop(site, [write_export(late, tmp_path / "b.csv")])
    night = run(site)
    told = [row for rows in night.digest["news"].values() for row in rows if row["point"] == "B2"]
    assert told, "a change through late data is never silent"
    changes = ledger_rows(site, "SELECT what, event FROM changes WHERE night = 2 AND point = 'B2'")
    assert changes
    assert set(names) <= {row[0] for row in ledger_rows(site, "SELECT event FROM events")}


def test_a_later_file_of_the_same_name_has_the_last_word(tmp_path: Path) -> None:
    site = new_site(tmp_path / "site")
    first = piece(WHOLE, 0, 2)
    drop(site, [write_export(first, tmp_path / "today.csv")])
    run(site)
    corrected = first.with_columns(value=pl.col("value") + 1.0)
    drop(site, [write_export(corrected, tmp_path / "today.csv")])
    run(site)
    drop(site, [write_export(first, tmp_path / "today.csv")])  # and back again: the last word counts
    run(site)
    paths = [site.root / row[0] for row in ledger_rows(site, "SELECT path FROM parts")]
    held = pl.concat([pl.read_parquet(path) for path in paths]).filter(pl.col("tag") == "A1.PV").sort("time")
    expected = first.filter(pl.col("tag") == "A1.PV").sort("time")["value"].round(4)
    assert held["value"].to_list() == expected.to_list()


@pytest.mark.parametrize("days", [3, 9])
def test_an_overdue_calibration_is_told_once(tmp_path: Path, days: int) -> None:
    site = new_site(tmp_path / "site")
    (tmp_path / "calibration_log.csv").write_text("".join(LOG.splitlines(keepends=True)[:3]))
    drop(site, [tmp_path / "calibration_log.csv", write_export(piece(WHOLE, 0, days), tmp_path / "a.csv")])
    first = run(site)
    drop(site, [write_export(piece(WHOLE, days, days + 1), tmp_path / "b.csv")])
    second = run(site, now_ns=NOW + NS_PER_DAY)
    overdue = ["overdue" in night.digest.get("news", {}) for night in (first, second)]
    assert overdue == [days == 9, False]
    assert T0 < NOW


@pytest.mark.slow
def test_a_long_record_in_pieces_gives_what_one_scan_gives_and_a_new_day_costs_one_window(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows of fortnights, with the limit lowered so that half a year is long."""
    from excursions.pipeline import windows
    from excursions.site import search

    monkeypatch.setattr(windows, "LONG_ROWS", 20_000)
    long = readings(170.0)
    files = [
        write_export(piece(long, start, end), tmp_path / "whole" / f"export_{number}.csv")
        for number, (start, end) in enumerate(pairwise([0.0, 40.0, 95.0, 96.0, 150.0, 169.0, 170.0]))
    ]
    (tmp_path / "whole" / "plant.toml").write_text(REGISTER)
    expected = whole_scan(tmp_path / "whole")
    site = new_site(tmp_path / "site")
    for number in (3, 0, 4, 1, 2):
        drop(site, [files[number]])
        run(site)
    looked: list[object] = []
    monkeypatch.setattr(search, "extended", lambda *given: looked.append(given) or windows.extended(*given))
    drop(site, [files[5]])
    run(site)
    assert len(looked) == 2  # one window a point
    found = tables(site.reports)
    for name in TABLES:
        assert found[name].equals(expected[name]), name
