"""Whole commands as a person would run them, on files made for the test."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLANT = ROOT / "sample_data" / "plant"


@dataclass(frozen=True)
class Finished:
    """What a command left behind."""

    status: int
    out: str
    err: str


def run_command(*arguments: object, cwd: Path | None = None, stdin: bytes | None = None) -> Finished:
    """Run ``excursions`` as a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "excursions", *map(str, arguments)],
        cwd=cwd or ROOT,
        input=stdin,
        capture_output=True,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "120", "PYTHONPATH": str(ROOT)},
        timeout=300,
        check=False,
    )
    return Finished(done.returncode, done.stdout.decode(), done.stderr.decode())


@pytest.fixture
def excursions() -> Callable[..., Finished]:
    """The command, as a function."""
    return run_command


@pytest.fixture(scope="session")
def sample_scan(tmp_path_factory: pytest.TempPathFactory) -> tuple[Finished, Path]:
    """One scan of the sample plant, shared by the tests that only look at it."""
    out = tmp_path_factory.mktemp("sample") / "report"
    return run_command("scan", PLANT, "--out", out, "--jobs", 2), out
