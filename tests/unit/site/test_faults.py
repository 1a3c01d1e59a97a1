"""A few of the faults of ``tests.benchmarks.faults``: after each, one clean night gives the right answer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from excursions.site.durable import sha256_of
from excursions.site.layout import Site
from tests.sites import current_events, drop, ledger_rows, run

ROOT = Path(__file__).parents[3]


@pytest.mark.slow
def test_struck_at_boundaries_all_over_a_night_nothing_is_lost_or_doubled() -> None:
    """In a process of its own, because trials are forked and threads do not survive that."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.faults", "--trials", "6", "--seed", "3", "--json"],
        cwd=ROOT, capture_output=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True,
    )  # fmt: skip
    told = json.loads(done.stdout)
    assert told["tried"] == 6
    assert told["survived"] == 6, told["wrong"]
    assert told["struck"] >= 4
    assert told["boundaries"] > 100


def damage(path: Path) -> None:
    """Flip one byte in the middle."""
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(content)


def parts(site: Site) -> list[tuple[object, ...]]:
    return ledger_rows(site, "SELECT path, sha256, rows FROM parts ORDER BY path")


@pytest.mark.parametrize("harm", [damage, Path.unlink], ids=["flipped", "deleted"])
def test_damaged_archive_parts_are_rebuilt_from_the_kept_copies(site: Site, later: Path, harm) -> None:
    before = parts(site)
    harm(site.root / str(before[0][0]))
    drop(site, [later])  # the same month is needed tonight
    night = run(site)
    assert night.status == 4
    assert any("read again from the kept copies" in remark for remark in night.remarks)
    assert all(sha256_of(site.root / str(path)) == sha256 for path, sha256, _ in parts(site))
    rows = sum(int(row[2]) for row in parts(site))
    assert rows == 12 * 144 * 4  # every instant once


def test_damage_that_no_search_meets_is_found_in_turn(site: Site) -> None:
    """Sizes are looked at every night, checksums in turn over thirty."""
    path = site.root / str(parts(site)[0][0])
    damage(path)
    told = [remark for _ in range(31) for remark in run(site).remarks]
    assert sum("damaged, set aside" in remark for remark in told) == 1
    assert list(site.aside.iterdir())


@pytest.mark.parametrize("harm", ["flipped", "no database", "row changed", "emptied", "deleted"])
def test_a_damaged_ledger_gives_way_to_its_copy(site: Site, later: Path, harm: str) -> None:
    expected = ledger_rows(site, "SELECT event, kind, start FROM events ORDER BY event")
    match harm:
        case "flipped":
            content = site.ledger.read_bytes()
            site.ledger.write_bytes(content.replace(b"A1.PV", b"A1.PW"))
        case "no database":
            site.ledger.write_bytes(b"not a database at all" * 400)
        case "row changed":
            import sqlite3

            with sqlite3.connect(site.ledger) as connection:
                connection.execute("UPDATE events SET start = start + 1")
        case "emptied":
            site.ledger.write_bytes(b"")
        case _:
            site.ledger.unlink()
    drop(site, [later])
    night = run(site)
    assert night.status == 4
    assert any("copy of the ledger" in remark for remark in night.remarks)
    found = {row[0] for row in ledger_rows(site, "SELECT event FROM events")}
    assert {row[0] for row in expected} <= found


def test_without_ledger_and_copy_everything_comes_back_from_the_kept_files(site: Site) -> None:
    events, held = current_events(site), parts(site)
    site.ledger.unlink()
    site.ledger_copy.write_bytes(b"gone too")
    night = run(site)
    assert any("begun anew" in remark for remark in night.remarks)
    assert current_events(site) == events
    assert parts(site) == held


def test_a_killed_run_is_noticed_by_the_next(site: Site) -> None:
    site.lock.write_text("process 1, since 2024-01-01T00:00:00Z")
    assert any("did not end" in remark for remark in run(site).remarks)
