"""Short commands answer at once: what reads frames and what searches records is not loaded for them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {"polars", "scipy", "jinja2", "plotly"}
WATCHED = """
import sys
from excursions.cli import main
try:
    main()
except SystemExit:
    pass
print(*sorted(set(sys.modules)), file=sys.stderr)
"""


def loaded(*words: str) -> set[str]:
    done = subprocess.run([sys.executable, "-c", WATCHED, *words], capture_output=True, text=True, check=True)
    assert done.stdout.strip()
    return set(done.stderr.splitlines()[-1].split())


@pytest.mark.parametrize("words", [("--help",), ("scan", "--help"), ("nightly", "--help")])
def test_help_loads_no_library_of_frames(words: tuple[str, ...]) -> None:
    modules = loaded(*words)
    assert "typer" in modules
    assert not modules & HEAVY


def test_the_state_of_a_site_is_told_without_them(tmp_path: Path) -> None:
    site = tmp_path / "site"
    assert "excursions.site.layout" in loaded("init", str(site))
    modules = loaded("status", str(site))
    assert "excursions.site.health" in modules
    assert not modules & HEAVY


def test_a_worker_that_searches_loads_neither_frames_nor_pages() -> None:
    code = "import excursions.pipeline.analyse, sys; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stdout.split()) & (HEAVY - {"scipy"})
