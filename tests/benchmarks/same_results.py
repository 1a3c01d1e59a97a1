"""Writes every table and page of a set of scans, and compares them byte for byte with those of another state of the code.

    git stash; python -m tests.benchmarks.same_results /tmp/before; git stash pop
    python -m tests.benchmarks.same_results /tmp/after --against /tmp/before

A change that is about speed alone must leave nothing to report.  The cases: the committed plant, an invented plant
at ten seconds, and simulated plants of other seeds.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.made_plant import Made, register_text, write_parquet

ROOT = Path(__file__).parents[2]
SEEDS = (1, 62)
MADE = Made(points=5, samples=150_000)


def cases(folder: Path) -> Iterator[tuple[str, Path]]:
    """Name and input of each case; inputs that are missing are made, always the same."""
    committed = folder / "committed"  # a copy, so that two states of the code are given the same path
    if not committed.exists():
        shutil.copytree(ROOT / "sample_data" / "plant", committed)
    yield "committed", committed
    made = folder / "made"
    if not made.exists():
        made.mkdir(parents=True)
        write_parquet(MADE, made)
        (made / "plant.toml").write_text(register_text(MADE), encoding="utf-8")
    yield "made", made
    for seed in SEEDS:
        home = folder / f"seed{seed}"
        if not home.exists():
            _run("sample_data.build", "--out", str(home), "--seed", str(seed))
        yield home.name, home / "plant"


def _run(module: str, *arguments: str) -> None:
    """Run a module of this folder's code; findings (exit 1) are fine."""
    done = subprocess.run(
        [sys.executable, "-m", module, *arguments], cwd=ROOT, capture_output=True, text=True
    )
    if done.returncode not in (0, 1):
        raise SystemExit(done.stderr)


def differences(one: Path, other: Path) -> list[str]:
    """Files of two folders that are not the same bytes, or stand in one of them only."""
    names = {path.relative_to(home) for home in (one, other) for path in home.rglob("*") if path.is_file()}
    return [str(name) for name in sorted(names) if not _same(one / name, other / name)]


def _same(one: Path, other: Path) -> bool:
    return one.is_file() and other.is_file() and one.read_bytes() == other.read_bytes()


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; 1 when anything differs."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--inputs", type=Path, default=Path("/tmp/excursions_same_results"))
    parser.add_argument("--options", default="--jobs 1", help="passed on to the scan")
    chosen = parser.parse_args(arguments)
    found = 0
    for name, source in cases(chosen.inputs):
        shutil.rmtree(
            chosen.out / name, ignore_errors=True
        )  # a scan tells what is new since the last one there
        _run("excursions", "scan", str(source), "--out", str(chosen.out / name), *chosen.options.split())
        if chosen.against is None:
            continue
        differ = differences(chosen.out / name, chosen.against / name)
        found += len(differ)
        print(f"{name}: {len(differ) or 'no'} files differ {' '.join(differ[:6])}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
