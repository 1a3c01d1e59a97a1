"""Reads large made-up exports beside polars alone, and says what it cost.

    python -m tests.benchmarks.reading [--rows 20000000] [--shape long] [--memory] [--folder DIR] [--keep]

``polars`` is the same file read by polars alone with the times parsed by an explicit pattern, the fastest way
it has; ``polars, finding dates`` is its plain call that finds dates by itself.  ``read`` is everything from path
to one array triple a tag, the digest of the file among it; ``conditioned`` goes on as the scan does: points are
inferred, and each signal is put in order, freed of repeats, converted and described.  Two signals are worked on
at a time, as the scan works on two points.  With ``--memory`` a process of its own reads the file and gives its
peak resident memory.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import polars as pl

from excursions.ahead import in_order
from excursions.condition import Conditioned, condition
from excursions.pipeline.inputs import point_inputs
from excursions.plant import Point
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.gather.spill import let_go
from excursions.records import TagSeries
from excursions.register import infer_plant

SHAPES = ("long", "long-by-tag", "tag-order", "long-quality", "many-tags", "wide", "wide-2000", "one-tag")
START_US = 1_704_067_200_000_000
PATTERN = "%Y-%m-%dT%H:%M:%SZ"


def write_export(path: Path, rows: int, shape: str) -> None:
    """A made-up export with about so many lines of a long table (readings, where it is wide)."""
    rng = np.random.default_rng(1)
    if shape == "tag-order":
        _in_tag_order(path, rows, rng)
        return
    tags = {"many-tags": 5_000, "wide": 20, "wide-2000": 2_000, "one-tag": 1}.get(shape, 40)
    steps = max(1, rows // tags)
    with path.open("wb") as out:
        for first in range(0, steps, max(1, 2_000_000 // tags)):
            count = min(max(1, 2_000_000 // tags), steps - first)
            _piece(shape, tags, first, count, steps, rng).write_csv(
                out, include_header=first == 0, float_precision=3
            )


def _in_tag_order(path: Path, rows: int, rng: np.random.Generator) -> None:
    """All of the first tag, then all of the second, ..."""
    tags, most = 40, 2_000_000
    steps = max(1, rows // tags)
    with path.open("wb") as out:
        out.write(b"tag,time,value\n")
        for number in range(tags):
            for first in range(0, steps, most):
                frame = _piece("one-tag", 1, first, min(most, steps - first), steps, rng)
                name = pl.lit(f"U{number // 10}.AT-{1_000 + number}.PV").alias("tag")
                frame.select(name, "time", "value").write_csv(out, include_header=False, float_precision=3)


def _piece(
    shape: str, tags: int, first: int, count: int, steps: int, rng: np.random.Generator
) -> pl.DataFrame:
    stamps = (
        pl.Series("time", np.arange(first, first + count) * 10_000_000 + START_US)
        .cast(pl.Datetime("us"))
        .dt.strftime(PATTERN)
    )
    names = [f"U{number // 10}.AT-{1_000 + number}.PV" for number in range(tags)]
    if shape.startswith("wide"):
        return pl.DataFrame([stamps, *(pl.Series(name, rng.normal(7, 0.1, count)) for name in names)])
    values = pl.Series("value", rng.normal(7, 0.1, count * tags))
    if shape == "one-tag":
        return pl.DataFrame([stamps, values])
    if shape == "long-by-tag":  # the pieces of each tag in turn, as a file put together from months
        order = pl.Series("tag", np.repeat(np.array(names), count))
        return pl.DataFrame([order, pl.concat([stamps] * tags).alias("time"), values])
    frame = pl.DataFrame(
        [
            pl.Series("tag", np.tile(np.array(names), count)),
            stamps.gather(np.repeat(np.arange(count), tags)),
            values,
        ]
    )
    return frame.with_columns(quality=pl.lit("Good")) if shape == "long-quality" else frame


def polars_alone(path: Path) -> None:
    """The file through polars with times parsed, nothing else."""
    overrides = {"time": pl.String, "tag": pl.String}
    pl.scan_csv(path, schema_overrides=overrides).with_columns(
        pl.col("time").str.to_datetime(PATTERN, time_unit="ns")
    ).collect()


def polars_finding_dates(path: Path) -> None:
    """The file through polars' plain call."""
    pl.read_csv(path, try_parse_dates=True)


def read(path: Path) -> Reading:
    """The file through the reading room."""
    reading = read_exports([path], ReadOptions())
    if reading.files[0].refused:
        raise SystemExit("the benchmark's own file was not read whole")
    return reading


def _read_only(path: Path) -> None:
    read(path)


def conditioned(path: Path) -> None:
    """The file to conditioned signals by point."""
    reading = read(path)
    plant, _ = infer_plant(reading.series)
    for series in reading.series.values():
        let_go(series.time, series.value, series.quality)
    pairs, _ = point_inputs(plant, reading.series, {})
    jobs = ((pair.point, role, series) for pair in pairs for role, series in pair.series.items())
    rows = 0
    for done in in_order(jobs, lambda job: _conditioned(*job), 2):
        rows += len(done.signal) + done.duplicates + done.conflicts
    if not rows:
        raise SystemExit("no signal was conditioned")


def _conditioned(point: Point, role: str, series: TagSeries) -> Conditioned:
    key = point.measurand if role == "value" else "temperature" if role == "temperature" else "other"
    done = condition(series, measurand=key, unit=point.unit if role == "value" else "")
    let_go(series.time, series.value, series.quality)
    return done


def digest_alone(path: Path) -> None:
    """The part of ours that polars does not do at all."""
    with path.open("rb") as raw:
        hashlib.file_digest(raw, "sha256")


READERS: dict[str, Callable[[Path], None]] = {
    "polars": polars_alone,
    "polars, finding dates": polars_finding_dates,
    "read": _read_only,
    "conditioned": conditioned,
    "digest alone": digest_alone,
}


def timed(call: Callable[[Path], None], path: Path) -> tuple[float, float]:
    """Wall and processor seconds of one call."""
    cpu, wall = time.process_time(), time.perf_counter()
    call(path)
    return time.perf_counter() - wall, time.process_time() - cpu


def peak_memory(path: Path, reader: str) -> float:
    """Peak resident memory [GB] of a process that does nothing but read the file."""
    code = (
        "import sys; from pathlib import Path; from tests.benchmarks import reading; "
        f"reading.READERS[{reader!r}](Path(sys.argv[1])); print(reading.high_water())"
    )
    run = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    return int(run.stdout.split()[-1]) / 1e9


def high_water() -> int:
    """Highest resident memory of this process so far [bytes]; a child's own, not what it had from its parent."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1_024


def compare(path: Path, repeats: int, report: Callable[[str], object] = print) -> float:
    """Time all readers in turn; returns the conditioned form over polars by the best wall time of each."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in READERS}
    for _ in range(repeats):
        for name, call in READERS.items():
            found[name].append(timed(call, path))
    best = {name: (min(w for w, _ in runs), min(c for _, c in runs)) for name, runs in found.items()}
    for name, (wall, cpu) in best.items():
        report(
            f"  {name:24s} {wall:7.2f} s wall ({wall / best['polars'][0]:.2f} x), {cpu:7.2f} s processor ({cpu / best['polars'][1]:.2f} x)"
        )
    return best["conditioned"][0] / best["polars"][0]


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=2_000_000)
    parser.add_argument("--shape", choices=SHAPES, default="long")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--memory", action="store_true")
    parser.add_argument("--gzip", action="store_true")
    parser.add_argument("--folder", type=Path, default=None)
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=chosen.folder) as folder:
        path = Path(folder) / "made.csv"
        write_export(path, chosen.rows, chosen.shape)
        if chosen.gzip:
            subprocess.run(["gzip", "-1", str(path)], check=True)
            path = path.with_name("made.csv.gz")
        print(f"{chosen.shape}: {chosen.rows} readings, {os.path.getsize(path) / 1e6:.0f} MB")
        if chosen.memory:
            print(f"  peak memory: conditioned {peak_memory(path, 'conditioned'):.2f} GB")
        else:
            compare(path, chosen.repeats)
    return 0


if __name__ == "__main__":
    sys.exit(main())
