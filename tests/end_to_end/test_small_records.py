"""What little there is to say of a record of one row, and of one without a temperature, is said and nothing more."""

from __future__ import annotations

import html
import re
from pathlib import Path

import numpy as np

from tests.end_to_end.conftest import run_command


def words(page: Path) -> str:
    """The text of a page."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page.read_text())))


def test_one_row_is_dated_and_told_apart_from_a_wrong_reading(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("time,AB-7.PV,AB-7.T\n2026-03-01T00:00:00Z,7.01,25.0\n")
    run = run_command("scan", tmp_path / "a.csv", "--out", tmp_path / "out")
    assert run.status in (0, 1), run.err
    first = words(tmp_path / "out" / "index.html")
    assert "1 Mar 2026 to 1 Mar 2026" in first
    assert "1970" not in first
    assert "Whether the reading of AB-7 may be trusted cannot be told from this record." in first
    (page,) = (tmp_path / "out" / "points").glob("*.html")
    assert "a spike smaller than 0" not in words(page).lower()


def test_without_a_temperature_no_heat_is_said_to_be_none(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    rows = [
        f"2026-03-{1 + k // 288:02d}T{k // 12 % 24:02d}:{k * 5 % 60:02d}:00Z,{7 + 0.01 * x:.3f}"
        for k, x in enumerate(rng.standard_normal(4 * 288))
    ]
    (tmp_path / "a.csv").write_text("\n".join(["time,AB-7.PV", *rows]) + "\n")
    run = run_command("scan", tmp_path / "a.csv", "--out", tmp_path / "out")
    assert run.status in (0, 1), run.err
    probes = words(tmp_path / "out" / "probes" / "index.html")
    assert "Without an exported temperature the heat of 1 probe is not known." in probes
    assert "No probe was above" not in probes
    (page,) = (tmp_path / "out" / "probes").glob("[!i]*.html")
    assert "Sterilisations not known" in words(page)
