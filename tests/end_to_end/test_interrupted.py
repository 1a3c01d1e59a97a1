"""A scan that is broken off leaves no process, no shared memory and no half-written file."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from tests.benchmarks.made_plant import Made, register_text, write_parquet
from tests.unit.pipeline.test_crew import shared_by, until

MADE = Made(points=4, samples=60_000, every_s=60.0)


@pytest.mark.parametrize("when", ["workers are there", "tables are written"])
def test_interrupted_nothing_is_left(when: str, tmp_path: Path) -> None:
    source, out, spare = tmp_path / "data", tmp_path / "report", tmp_path / "spare"
    source.mkdir()
    spare.mkdir()
    write_parquet(MADE, source)
    (source / "plant.toml").write_text(register_text(MADE), encoding="utf-8")
    command = [sys.executable, "-m", "excursions", "scan", str(source), "--out", str(out), "--jobs", "2"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "TMPDIR": str(spare)}
    ) as process:  # fmt: skip
        root = psutil.Process(process.pid)
        seen = {
            "workers are there": lambda: len(root.children()) >= 2,
            "tables are written": (out / "tables").exists,
        }
        until(lambda: seen[when]() or process.poll() is not None)
        children = root.children(recursive=True) if process.poll() is None else []
        time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate()
    assert process.returncode == 130, said
    assert "nothing half-written is left behind" in said
    assert "Traceback" not in said
    until(
        lambda: not any(child.is_running() and child.status() != psutil.STATUS_ZOMBIE for child in children)
    )
    until(lambda: not shared_by(process.pid))
    assert [path.name for path in out.rglob(".*")] == []
    assert list(spare.iterdir()) == []
