"""Pages without a point go, what somebody else wrote stays."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboards import write_site
from dashboards.slug import slug
from dashboards.stale import MANIFEST, clear_stale, digest
from tests.unit.dashboards.made_result import STORIES, made_result

THREE = (STORIES[6], STORIES[9], STORIES[10])  # nothing happens there, so the record may be short


def page(site: Path, name: str) -> Path:
    return site / "points" / f"{slug(name)}.html"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return write_site(made_result(THREE, days=20.0), tmp_path).parent


def test_a_point_that_is_gone_takes_its_page_with_it(site: Path) -> None:
    write_site(made_result(THREE[1:], days=20.0), site)
    assert not page(site, THREE[0].name).exists()
    assert page(site, THREE[1].name).exists()


def test_what_somebody_changed_or_put_there_stays(site: Path) -> None:
    page(site, THREE[0].name).write_text("notes of my own")
    (site / "points" / "mine.html").write_text("mine")
    write_site(made_result(THREE[1:], days=20.0), site)
    assert page(site, THREE[0].name).read_text() == "notes of my own"
    assert (site / "points" / "mine.html").exists()


def test_pages_that_were_not_written_again_are_not_stale(site: Path) -> None:
    write_site(made_result(THREE, days=20.0), site, only={THREE[0].name})
    assert page(site, THREE[2].name).exists()
    write_site(made_result(THREE[:2], days=20.0), site, only=set())
    assert not page(site, THREE[2].name).exists()


def test_a_manifest_that_points_elsewhere_or_is_broken_removes_nothing(tmp_path: Path) -> None:
    outside = tmp_path / "outside.html"
    outside.write_text("x")
    folder = tmp_path / "points"
    folder.mkdir()
    (folder / MANIFEST).write_text(f'{{"pages": {{"../outside.html": "{digest(b"x")}"}}}}')
    assert clear_stale(folder, {}, set()) == ()
    assert outside.exists()
    (folder / MANIFEST).write_text("[broken")
    assert clear_stale(folder, {}, set()) == ()
