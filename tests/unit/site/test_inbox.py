"""The inbox is untrusted: what is no plain, whole file is not taken, and nothing leads out of the site."""

from __future__ import annotations

import os
from pathlib import Path

import polars as pl
import pytest

from excursions.site.inbox import keep, look_through, safe_name
from excursions.site.layout import Site
from tests.sites import NOW, drop, ledger_rows, new_site, readings, run, tables, write_export


def names(site: Site, remarks: list[str], settle_s: float = 0.0) -> list[str]:
    return [found.name for found in look_through(site, NOW, settle_s, remarks)]


def test_links_and_pipes_are_refused_with_a_remark(site: Site, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("tag,time,value\nX,2024-01-01T00:00:00Z,1\n")
    (site.inbox / "link.csv").symlink_to(secret)
    (site.inbox / "out").symlink_to(tmp_path)
    os.mkfifo(site.inbox / "pipe.csv")
    remarks: list[str] = []
    assert names(site, remarks) == []
    assert len(remarks) == 3
    assert sum("a link, refused" in remark for remark in remarks) == 2


def test_a_link_put_in_place_after_the_look_is_not_followed(site: Site, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("secret")
    path = site.inbox / "x.csv"
    path.write_text("harmless")
    remarks: list[str] = []
    found = look_through(site, NOW, 0.0, remarks)[0]
    path.unlink()
    path.symlink_to(secret)
    assert keep(site, found, 99, remarks) is None
    assert not any(p.read_bytes() == b"secret" for p in site.kept.rglob("*") if p.is_file())


@pytest.mark.parametrize("name", ["a b.csv", "=cmd|x.csv", "..csv", "Ω.csv", "x" * 200 + ".csv"])
def test_the_copy_of_any_name_lies_in_its_own_folder_and_keeps_its_ending(name: str) -> None:
    safe = safe_name(name)
    assert safe.endswith(".csv") or name == "..csv"
    assert "/" not in safe
    assert not safe.startswith(".")
    assert 0 < len(safe) <= 120


def test_a_file_still_being_written_waits_for_the_next_run(site: Site, later: Path) -> None:
    drop(site, [later])
    path = site.inbox / later.name
    os.utime(path, ns=(NOW, NOW))
    remarks: list[str] = []
    assert names(site, remarks, settle_s=30.0) == []
    assert "may still be being written" in remarks[0]
    os.utime(path, ns=(NOW - 31 * 10**9, NOW - 31 * 10**9))
    assert names(site, remarks, settle_s=30.0) == [later.name]


def test_a_file_that_grows_while_it_is_copied_is_left(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    from excursions.site import inbox

    path = site.inbox / "x.csv"
    path.write_text("tag,time,value\n")
    real = inbox.copy_in

    def growing(source, folder):
        done = real(source, folder)
        with path.open("a") as file:
            file.write("A,2024-01-01T00:00:00Z,1\n")
        return done

    monkeypatch.setattr(inbox, "copy_in", growing)
    remarks: list[str] = []
    assert keep(site, look_through(site, NOW, 0.0, remarks)[0], 9, remarks) is None
    assert "changed while it was read" in remarks[0]
    assert not list(site.kept.glob(".part-*"))


def test_a_data_set_cut_by_folders_is_taken_piece_by_piece(tmp_path: Path) -> None:
    """Tags stand in the names of folders alone; two of them hold the very same bytes; what the writer adds beside them is left."""
    whole = readings(3.0).filter(pl.col("tag") != "A1.T")
    whole = pl.concat([whole, whole.filter(pl.col("tag") == "B2.T").with_columns(tag=pl.lit("A1.T"))])
    site, plain = new_site(tmp_path / "site"), new_site(tmp_path / "plain")
    for (tag,), rows in whole.partition_by("tag", as_dict=True).items():
        folder = site.inbox / "export" / f"tag={tag}" / "year=2024"
        folder.mkdir(parents=True)
        stamps = pl.col("time").cast(pl.Datetime("ns", "UTC"))
        rows.sort("time").select(stamps, pl.col("value").round(4)).write_parquet(folder / "part-0.parquet")
    (site.inbox / "export" / "_SUCCESS").write_text("")
    first = run(site)
    assert first.files == 4
    assert not first.remarks
    drop(plain, [write_export(whole, tmp_path / "export.csv")])
    run(plain)
    assert tables(site.reports)["events"].equals(tables(plain.reports)["events"])
    held = "SELECT tag, sum(rows) FROM (SELECT key AS tag, json_extract(value, '$[2]') AS rows FROM parts, json_each(spans)) GROUP BY tag"
    assert ledger_rows(site, held) == ledger_rows(plain, held)
    site.ledger.unlink()  # everything again, from the kept pieces
    site.ledger_copy.unlink()
    run(site)
    assert ledger_rows(site, held) == ledger_rows(plain, held)


def test_a_register_in_the_inbox_is_not_taken_for_the_sites(site: Site) -> None:
    before = site.register.read_bytes()
    (site.inbox / "plant.toml").write_text('[[points]]\nname = "EVIL"\nmeasurand = "ph"\nvalue = "A1.PV"\n')
    night = run(site)
    assert site.register.read_bytes() == before
    assert any("not taken from the inbox" in remark for remark in night.remarks)
    assert "EVIL" not in {row[0] for row in ledger_rows(site, "SELECT point FROM verdicts")}


def test_files_that_cannot_be_read_are_named_once_and_stop_nothing(site: Site, later: Path) -> None:
    (site.inbox / "broken.csv").write_bytes(b"\x00\x01\x02\xff" * 500)
    (site.inbox / "empty.csv").write_bytes(b"")
    drop(site, [later])
    first, second = run(site), run(site)
    assert sum(name in remark for remark in first.remarks for name in ("broken.csv", "empty.csv")) == 2
    assert not second.remarks
    assert ledger_rows(site, "SELECT state FROM files WHERE name = 'b.csv'") == [("in",)]


def test_what_is_written_is_for_owner_and_group(site: Site, later: Path) -> None:
    from excursions.site.layout import init_site

    old = os.umask(0o027)
    try:
        drop(site, [later])
        (site.inbox / later.name).chmod(0o777)
        run(site)
        fresh = init_site(site.root.with_name("fresh"))
    finally:
        os.umask(old)
    for path in [*site.kept.rglob("b.csv"), site.ledger, site.ledger_copy, *site.reports.glob("*.json")]:
        assert path.stat().st_mode & 0o137 == 0, path
    assert all(path.stat().st_mode & 0o027 == 0 for path in fresh.root.iterdir() if path.is_dir())
