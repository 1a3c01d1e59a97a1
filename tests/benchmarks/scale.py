"""How much the whole job costs: rooms, whole scans beside polars alone, growth with size, memory, a cluster.

    python -m tests.benchmarks.scale [--samples 20000000] [--points 10] [rooms whole growth memory cluster]

Invented data (`made_plant`).  Whole scans are processes: wall time, processor time of the process and its
children, and the largest sum of their memory.  The floor is polars alone reading the same file with its times
parsed, as a process too.  On a shared machine processor seconds are the figures to compare.  Without names all parts
run but the cluster.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import psutil

from tests.benchmarks.made_plant import (
    Made,
    plant_of,
    register_text,
    series_of,
    write_csv,
    write_dataset,
    write_parquet,
)
from tests.benchmarks.same_results import differences

ROOT = Path(__file__).parents[2]
FLOORS = {
    "csv": "import sys, polars as pl; pl.scan_csv(sys.argv[1], schema_overrides={'time': pl.String, 'tag': pl.String})"
    ".with_columns(pl.col('time').str.to_datetime('%Y-%m-%dT%H:%M:%SZ', time_unit='ns')).collect()",
    "parquet": "import sys, polars as pl; pl.read_parquet(sys.argv[1])",
}
WRITERS: dict[str, Callable[[Made, Path], Path]] = {"csv": write_csv, "parquet": write_parquet}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Of one process and its children: wall and processor seconds, peak memory [MB]."""

    wall: float
    cpu: float
    memory: float


def cost_of(command: Sequence[str]) -> Cost:
    """Run a command to its end; findings (exit 1) are no failure."""
    start = time.perf_counter()
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        memory = watched(process)
        _, status, usage = os.wait4(process.pid, 0) if process.returncode is None else (0, 0, None)
        process.returncode = os.waitstatus_to_exitcode(status)
        said = process.stderr.read().decode() if process.stderr else ""
    if process.returncode not in (0, 1) or usage is None:
        raise SystemExit(f"{' '.join(command)} failed: {said}")
    return Cost(wall=time.perf_counter() - start, cpu=usage.ru_utime + usage.ru_stime, memory=memory / 1e6)


def watched(process: subprocess.Popen[bytes]) -> int:
    """Largest sum of proportional memory of a process and its children until it ends; pages shared count once."""
    root, most = psutil.Process(process.pid), 0
    while True:
        try:
            if root.status() == psutil.STATUS_ZOMBIE:
                return most
            family = [root, *root.children(recursive=True)]
            most = max(most, sum(_memory(member) for member in family))
        except psutil.NoSuchProcess:
            return most
        time.sleep(0.03)


def _memory(process: psutil.Process) -> int:
    try:
        return int(process.memory_info().rss - process.memory_info().shared // 2)
    except psutil.NoSuchProcess:
        return 0


def scan_of(folder: Path, out: Path, *options: str) -> list[str]:
    """The command that scans a folder."""
    return [sys.executable, "-m", "excursions", "scan", str(folder), "--out", str(out), *options]


def made_folder(home: Path, made: Made, kind: str) -> tuple[Path, Path]:
    """A folder with an export of this kind and its register; returns folder and export."""
    folder = home / f"{kind}-{made.points}x{made.samples}"
    folder.mkdir()
    export = WRITERS[kind](made, folder)
    (folder / "plant.toml").write_text(register_text(made), encoding="utf-8")
    return folder, export


# --- parts ---------------------------------------------------------------------------------------


def rooms(made: Made, home: Path) -> None:
    """Samples a second of each room on one core, from in-memory columns; reading from Parquet and CSV."""
    from dashboards import write_site
    from excursions.pipeline.analyse import analyse_point
    from excursions.pipeline.conclude import conclude
    from excursions.pipeline.evidence import Evidence
    from excursions.pipeline.heap import keep_freed_memory
    from excursions.read import ReadOptions, read_exports
    from excursions.report.write import write_tables

    keep_freed_memory()  # as the command and its workers do

    for given in _inputs(replace(made, points=1, samples=20_000)):
        analyse_point(given)  # type: ignore[arg-type]  # what is imported at first use is imported now
    laps = Laps(made.total)
    for kind in WRITERS:
        _, export = made_folder(home, made, kind)
        laps(f"read, {kind}", lambda path=export: read_exports([path], ReadOptions()))  # type: ignore[misc]
    found = []
    for given in _inputs(made):
        _point_rooms(given, laps)
        found.append(analyse_point(given)[0])
    result = laps("link", lambda: conclude(Evidence(plant=plant_of(made)), found))
    frame = read_exports([export], ReadOptions()).refused
    laps("tables", lambda: write_tables(result, frame, home / "rooms"))
    laps("pages", lambda: write_site(result, home / "rooms"))
    laps.show()


class Laps:
    """Processor seconds by name."""

    def __init__(self, samples: int) -> None:
        self.samples, self.seconds = samples, dict[str, float]()

    def __call__(self, name: str, work: Callable[[], object]) -> object:
        start = time.process_time()
        result = work()
        self.seconds[name] = self.seconds.get(name, 0.0) + time.process_time() - start
        return result

    def show(self) -> None:
        print(f"rooms, {self.samples / 1e6:g} million samples: processor seconds, million samples a second")
        for name, seconds in self.seconds.items():
            print(f"  {name:14} {seconds:8.2f} {self.samples / max(seconds, 1e-9) / 1e6:9.1f}")


def _inputs(made: Made) -> Iterator[object]:
    from excursions.pipeline.point import PointInput, plant_around

    plant = plant_of(made)
    for number, point in enumerate(plant.points):
        yield PointInput(point=point, plant=plant_around(plant, point), series=series_of(made, number))


def _point_rooms(given: object, laps: Laps) -> None:
    """Condition, states, detectors of one point, each by itself."""
    from excursions.condition import condition, share_outages
    from excursions.detect.catalogue import detect
    from excursions.detect.limits import detection_limits
    from excursions.detect.series.survey import surveyed
    from excursions.records import Record
    from excursions.states import recognise

    point, plant = given.point, given.plant  # type: ignore[attr-defined]
    kinds = {"value": point.measurand, "temperature": "temperature"}
    series = given.series.items()  # type: ignore[attr-defined]
    signals = laps(
        "condition", lambda: share_outages({r: condition(s, measurand=kinds[r]).signal for r, s in series})
    )
    value, heat = signals["value"], signals["temperature"]  # type: ignore[index]
    states = laps("states", lambda: recognise(point, plant, value, heat, None, None))
    record = Record(point=point, plant=plant, value=value, temperature=heat, states=states)  # type: ignore[arg-type]
    shared = laps("detect", lambda: surveyed(record))
    laps("detect", lambda: detect(shared))  # type: ignore[arg-type]
    laps("limits", lambda: detection_limits(shared))  # type: ignore[arg-type]


def whole(made: Made, home: Path) -> None:
    """Scans from file to finished pages beside polars alone."""
    print(f"whole scans, {made.total / 1e6:g} million samples, {made.points} points")
    print(f"  {'':22} {'wall s':>8} {'cpu s':>8} {'MB':>6} {'x wall':>7} {'x cpu':>7} {'M/s wall':>9}")
    for kind in WRITERS:
        folder, export = made_folder(home, made, kind)
        floor = cost_of([sys.executable, "-c", FLOORS[kind], str(export)])
        _show(f"{kind}, polars alone", floor, floor, made)
        for jobs in (1, 2):
            cost = cost_of(scan_of(folder, home / "report", "--jobs", str(jobs)))
            _show(f"{kind}, {jobs} process{'es' if jobs > 1 else ''}", cost, floor, made)


def _show(name: str, cost: Cost, floor: Cost, made: Made) -> None:
    print(
        f"  {name:22} {cost.wall:8.1f} {cost.cpu:8.1f} {cost.memory:6.0f} {cost.wall / floor.wall:7.2f}"
        f" {cost.cpu / floor.cpu:7.2f} {made.total / cost.wall / 1e6:9.2f}",
        flush=True,
    )


def growth(made: Made, home: Path) -> None:
    """Processor time of the search of a sample, with 1, 4 and 16 times the samples, then the points."""
    from excursions.pipeline.analyse import analyse_point

    small = replace(made, points=1, samples=max(made.samples // 16, 20_000))
    print("growth: processor microseconds a sample in condition, states, detectors and traces")
    for name, sizes in {
        "samples of a point": [replace(small, samples=small.samples * k) for k in (1, 4, 16)],
        "points": [replace(small, points=k) for k in (1, 4, 16)],
    }.items():
        each = []
        for size in sizes:
            laps = Laps(size.total)
            for given in _inputs(size):
                laps("point", lambda one=given: analyse_point(one))  # type: ignore[misc]
            each.append(laps.seconds["point"] / size.total * 1e6)
        shown = ", ".join(f"{k}x {one:.3f}" for k, one in zip((1, 4, 16), each, strict=True))
        print(f"  {name:20} {shown}; 16x over 1x {each[2] / each[0]:.2f}", flush=True)


def memory(made: Made, home: Path) -> None:
    """Peak memory of a scan from Parquet with 1, 4 and 16 times the points."""
    print("memory: peak of a scan from Parquet with two processes [MB]")
    for points in (made.points // 4 or 1, made.points, made.points * 4):
        size = replace(made, points=points)
        folder, _ = (
            made_folder(home, replace(size, seed=2), "parquet")
            if not (home / f"parquet-{size.points}x{size.samples}").exists()
            else (home / f"parquet-{size.points}x{size.samples}", None)
        )
        cost = cost_of(scan_of(folder, home / "report", "--jobs", "2"))
        print(f"  {points:4} points, {size.total / 1e6:6.1f} million samples: {cost.memory:6.0f}", flush=True)


def cluster(made: Made, home: Path) -> None:
    """Two Dask workers against one, and the same tables."""
    folder = home / "cluster"
    folder.mkdir()
    write_dataset(made, folder)
    (folder / "plant.toml").write_text(register_text(made), encoding="utf-8")
    print(f"cluster, {made.total / 1e6:g} million samples, {made.points} points")
    here = cost_of(scan_of(folder, home / "here", "--jobs", "1"))
    print(f"  this process     {here.wall:7.1f} s wall {here.cpu:7.1f} s processor")
    walls = []
    for workers in (1, 2):
        cost = cost_of(scan_of(folder, home / f"dask{workers}", "--engine", "dask", "--jobs", str(workers)))
        walls.append(cost.wall)
        same = not differences(home / "here" / "tables", home / f"dask{workers}" / "tables")
        print(f"  {workers} worker{'s' if workers > 1 else ' '}        {cost.wall:7.1f} s wall {cost.cpu:7.1f} s processor; tables {'the same' if same else 'DIFFER'}")  # fmt: skip
    print(f"  one over two {walls[0] / walls[1]:.2f}")


PARTS: dict[str, Callable[[Made, Path], None]] = {
    "rooms": rooms,
    "whole": whole,
    "growth": growth,
    "memory": memory,
    "cluster": cluster,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "parts", nargs="*", choices=[*PARTS, []], default=["rooms", "whole", "growth", "memory"]
    )
    parser.add_argument("--samples", type=int, default=20_000_000, help="of all tags together")
    parser.add_argument("--points", type=int, default=10)
    chosen = parser.parse_args(arguments)
    made = Made(points=chosen.points, samples=chosen.samples // (2 * chosen.points))
    # Rooms, growth and memory are told from a tenth of it: what they show does not need more.
    part = replace(made, samples=max(made.samples // 10, 20_000))
    for name in chosen.parts or PARTS:
        with tempfile.TemporaryDirectory(prefix="excursions-scale-") as folder:
            PARTS[name](made if name in ("whole", "cluster") else part, Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
