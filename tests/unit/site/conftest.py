"""One small site after its first night, copied for each test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from excursions.site.layout import Site
from tests.sites import LOG, drop, new_site, piece, readings, run, write_export


@pytest.fixture(scope="session")
def first_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site that has taken in nine days, and a file of four more days that overlap it, beside it."""
    place = tmp_path_factory.mktemp("nights")
    whole = readings(12.0)
    site = new_site(place / "site")
    (place / "calibration_log.csv").write_text("".join(LOG.splitlines(keepends=True)[:3]))
    drop(site, [write_export(piece(whole, 0, 9), place / "a.csv"), place / "calibration_log.csv"])
    run(site)
    write_export(piece(whole, 8, 12), place / "b.csv")
    return place


@pytest.fixture
def site(first_night: Path, tmp_path: Path) -> Site:
    """A copy of that site."""
    shutil.copytree(first_night / "site", tmp_path / "site", symlinks=True)
    return Site(tmp_path / "site")


@pytest.fixture
def later(first_night: Path) -> Path:
    """The file of four more days."""
    return first_night / "b.csv"
