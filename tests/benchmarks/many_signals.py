"""Scans made-up exports of very many signals as a process, and says whether every one has its page.

    python -m tests.benchmarks.many_signals [--hours 24]

Shapes: 2,000 columns side by side, and 5,000 tags one below the other.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.reading import write_export

SHAPES = {"wide-2000": 2_000, "many-tags": 5_000}


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=int, default=24)
    chosen = parser.parse_args(arguments)
    missing = 0
    for shape, signals in SHAPES.items():
        with tempfile.TemporaryDirectory() as folder:
            path, out = Path(folder) / "made.csv", Path(folder) / "out"
            write_export(path, signals * chosen.hours, shape)
            begun = time.perf_counter()
            command = [sys.executable, "-m", "excursions", "scan", str(path), "--out", str(out)]
            run = subprocess.run(command, capture_output=True, text=True, check=False)
            took = time.perf_counter() - begun
            pages = len(list((out / "points").glob("*.html"))) if run.returncode in (0, 1) else 0
            index = (out / "index.html").stat().st_size / 1e6 if pages else 0.0
            print(f"{shape}: {pages} of {signals} pages, {took:.0f} s, first page {index:.1f} MB")
            missing += signals - pages
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
