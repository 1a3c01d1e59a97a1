"""The main job on the sample plant, as whole processes, beside polars alone reading the same files.

    python -m tests.benchmarks.main_job [--runs 3]

Prints the median wall time and the largest memory of: the scan, polars alone reading the exports with their
times parsed, ``--help``, and an empty Python.  Nothing here is asserted; the contributors' guide quotes it.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLANT = ROOT / "sample_data" / "plant"

# Polars is told what the files are, so that the floor is as low as it can be: no sniffing, times by pattern.
FLOOR = """
import sys, polars as pl
from pathlib import Path
folder, rows = Path(sys.argv[1]), 0
for path in sorted(folder.glob("*.parquet")):
    rows += pl.read_parquet(path).height
for path in sorted(folder.glob("long*.csv.gz")):
    frame = pl.read_csv(path, separator=";", decimal_comma=True, schema_overrides={"Wert": pl.String})
    rows += frame.with_columns(
        pl.col("Zeitpunkt").str.to_datetime("%d.%m.%Y %H:%M:%S", strict=False),
        pl.col("Wert").str.replace(",", ".", literal=True).cast(pl.Float64, strict=False),
    ).height
for path in sorted(folder.glob("wide*.csv.gz")):
    frame = pl.read_csv(path, skip_rows_after_header=1, infer_schema=False)
    rows += frame.with_columns(
        pl.col("Time").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", strict=False),
        pl.exclude("Time").cast(pl.Float64, strict=False),
    ).height
assert rows > 500_000, rows
"""


def measure(command: list[str], runs: int) -> tuple[float, float]:
    """Median wall time [s] and largest resident memory [MB] of a command and its children."""
    walls, memories = [], []
    for _ in range(runs):
        start = time.perf_counter()
        with subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as process:
            memories.append(_watch(process))
        walls.append(time.perf_counter() - start)
    return statistics.median(walls), max(memories)


def _watch(process: subprocess.Popen[bytes]) -> float:
    """Largest sum of resident memory of a process and its children while it runs [MB]."""
    import psutil

    root, most = psutil.Process(process.pid), 0
    while process.poll() is None:
        try:
            family = [root, *root.children(recursive=True)]
            most = max(most, sum(member.memory_info().rss for member in family))
        except psutil.NoSuchProcess:
            break
        time.sleep(0.01)
    return most / 1e6


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=3)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "excursions", "scan", str(PLANT), "--out", f"{folder}/report"]
        rows = {
            "polars alone, same files": measure([sys.executable, "-c", FLOOR, str(PLANT)], runs),
            "scan, one process": measure([*command, "--jobs", "1"], runs),
            "scan, two processes": measure([*command, "--jobs", "2"], runs),
            "--help": measure([sys.executable, "-m", "excursions", "--help"], runs),
            "empty Python": measure([sys.executable, "-c", "pass"], runs),
        }
    floor = rows["polars alone, same files"][0]
    print(f"{'what':28} {'wall s':>8} {'MB':>7} {'x polars':>9}")
    for name, (wall, memory) in rows.items():
        print(f"{name:28} {wall:8.2f} {memory:7.0f} {wall / floor:9.2f}")


if __name__ == "__main__":
    main()
