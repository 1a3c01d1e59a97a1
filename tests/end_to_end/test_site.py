"""A site as a person sets it up: init, inbox, nightly, status, note, close, and what each says by its exit status."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import polars as pl

from excursions.site.lock import site_lock
from tests import sites

ROOT = Path(__file__).parents[2]
PLANT = ROOT / "sample_data" / "plant"


def test_a_site_from_init_to_a_closed_event(excursions: Callable, tmp_path: Path) -> None:
    site = tmp_path / "site"
    assert excursions("nightly", site).status == 2
    assert excursions("init", site).status == 0
    assert "OnCalendar" in (site / "schedule" / "excursions-nightly.timer").read_text()
    assert excursions("status", site).status == 1
    shutil.copy(PLANT / "plant.toml", site / "register.toml")
    june = pl.read_parquet(PLANT / "export_cellar.parquet").filter(pl.col("time").dt.month() == 6)
    june.write_parquet(
        site / "inbox" / "export_cellar.parquet"
    )  # a month with a steam-out is enough for a night
    shutil.copy(PLANT / "calibrations.csv", site / "inbox")
    (site / "site.toml").write_text("[inbox]\nsettle_s = 0.0\n")
    first = excursions("nightly", site)
    assert first.status == 1, first.err
    assert "NEW" in first.out
    assert (site / "reports" / "index.html").exists()
    assert list((site / "reports" / "points").glob("*.html"))
    second = excursions("nightly", site, "--json")
    assert (second.status, json.loads(second.out)["digest"]) == (0, {})
    event = json.loads((site / "reports" / "digest.json").read_text())["news"]["new"][0]["event"]
    assert excursions("note", event, "looked at", "--site", site).out == f"Noted on {event}\n"
    assert excursions("close", event, "--site", site).status == 0
    assert excursions("note", "nothing", "x", "--site", site).status == 2
    assert excursions("status", site).status == 0
    with site_lock(site / "lock", "this test"):
        busy = excursions("nightly", site)
    assert busy.status == 3
    assert "this test" in busy.err
    (site / "register.toml").write_text("[[points]]\nnonsense = 1\n")
    wrong = excursions("nightly", site)
    assert wrong.status == 2
    assert "Traceback" not in wrong.err


def test_a_disk_that_takes_no_more_ends_the_run_in_a_sentence_and_the_next_one_is_right(
    tmp_path: Path,
) -> None:
    """The system's own limit on file sizes: every larger write fails, whoever makes it."""
    site = sites.new_site(tmp_path / "site")
    export = sites.write_export(sites.readings(9.0), tmp_path / "a.csv")
    sites.drop(site, [export])
    limit = (
        "import resource, runpy, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000)); "
        "sys.argv = ['excursions', 'nightly', sys.argv[1]]; runpy.run_module('excursions', run_name='__main__')"
    )
    full = subprocess.run(
        [sys.executable, "-c", limit, str(site.root)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert full.returncode == 5, full.stderr
    assert "not finished" in full.stderr
    assert "Traceback" not in full.stderr
    assert (site.inbox / "a.csv").exists()
    assert sites.run(site).status in (1, 4)
    assert not list(site.inbox.iterdir())
    assert sites.ledger_rows(site, "SELECT sum(rows) FROM parts") == [(9 * 144 * 4,)]


def test_status_of_a_site_whose_ledger_is_damaged_is_a_sentence(excursions: Callable, tmp_path: Path) -> None:
    site = sites.new_site(tmp_path / "site")
    site.ledger.write_bytes(b"no data base" * 1000)
    found = excursions("status", site.root)
    assert found.status == 1
    assert "cannot be read" in found.out
    assert "Traceback" not in found.err
