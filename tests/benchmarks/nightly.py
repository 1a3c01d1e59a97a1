"""A night on a site with a long archive, beside polars alone reading the day's file; and a night with nothing new.

    python -m tests.benchmarks.nightly [--points 25] [--months 4] [--every 10]

The archive is filled directly (reading years of text is the reader's benchmark); the night itself runs as a process
of its own, cold start and pages included.  What a night costs grows with the points; with the months it grows by the
medians of their hours alone: run it with few points and many months, and with many points and few months, to see both.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from scipy.signal import lfilter

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.records import FloatArray, TagSeries
from excursions.site.archive import Rows, cut, months_of, new_part
from excursions.site.durable import make_folder
from excursions.site.intake import part_row
from excursions.site.layout import Site, init_site
from excursions.site.ledger import open_ledger

ROOT = Path(__file__).parents[2]
BEGIN = int(np.datetime64("2024-01-01", "ns").astype(np.int64))
FLOOR = """
import sys, polars as pl
frame = pl.read_csv(sys.argv[1]).with_columns(pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%SZ"))
assert frame.height
"""
IMPORTS = "import polars, numpy, typer"


def signal(points: int, number: int, n: int, every_s: float) -> tuple[FloatArray, FloatArray]:
    """A pH that wanders and a temperature with a hot cleaning every third day; invented."""
    draw = np.random.default_rng([points, number])
    a = np.exp(-every_s / 5_400)
    value = (
        6.5 + 0.02 * number + lfilter([1.0], [1.0, -a], draw.standard_normal(n) * 0.03 * np.sqrt(1 - a * a))
    )
    hour = np.arange(n) * every_s / 3_600
    hot = (hour + 7 * number) % 72 < 0.7
    warmth = np.where(hot, 80.0, 37.0) + 0.05 * draw.standard_normal(n)
    return np.round(value + 0.003 * draw.standard_normal(n), 3), np.round(warmth, 2)


def fill(site: Site, points: int, days: int, every_s: float) -> pl.DataFrame:
    """History into the archive; the last day comes back as a frame."""
    n = round((days + 1) * 86_400 / every_s)
    time_ns = BEGIN + np.arange(n, dtype=np.int64) * round(every_s * NS_PER_S)
    history = int(np.searchsorted(time_ns, BEGIN + days * NS_PER_DAY))
    made, tags, last = [], [], []
    for number in range(points):
        name = f"P{number:03}"
        rows = {}
        for tag, value in zip((f"{name}.PV", f"{name}.T"), signal(points, number, n, every_s), strict=True):
            series = TagSeries(tag=tag, time=time_ns, value=value, quality=np.zeros(n, np.uint8))
            rows[tag] = Rows.of(series, 1)
            tags.append((tag, name, "", None, "", None))
            last.append(pl.DataFrame({"tag": tag, "time": time_ns[history:], "value": value[history:]}))
        for month, start, end in months_of(time_ns[:history]):
            part = new_part(name, month, {tag: cut(one, start, end) for tag, one in rows.items()})
            path = site.root / part.part.path
            make_folder(path.parent)
            path.write_bytes(part.content)
            made.append(part_row(part))
    ledger = open_ledger(site.ledger)
    with ledger.transaction() as connection:
        connection.execute(
            "INSERT INTO files (file, arrival, name, sha256, bytes, kept, kind, state, night, first, last, facts) "
            "VALUES (1, 1, 'history', 'none', 0, 'kept/none', 'export', 'in', 0, ?, ?, ?)",
            (BEGIN, int(time_ns[history - 1]), json.dumps({"files": [], "decisions": [], "words": []})),
        )
        connection.executemany("INSERT INTO parts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", made)
        connection.executemany("INSERT INTO tags VALUES (?, ?, ?, ?, ?, ?)", tags)
        ledger.set_meta("archived", "1")
    ledger.close()
    return pl.concat(last)


def write_day(frame: pl.DataFrame, path: Path) -> Path:
    """The day's export: a long table in UTC."""
    stamps = pl.col("time").cast(pl.Datetime("ns", "UTC")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    frame.sort("time", "tag").select("tag", stamps.alias("time"), "value").write_csv(path)
    return path


@dataclass(frozen=True)
class Cost:
    """Wall time and processor time [s] of a process and its children."""

    wall: float
    cpu: float
    out: str = ""


def cost(command: list[str], runs: int = 1) -> Cost:
    """Median cost of a command; exit status 0, 1 and 4 are ends of a night."""
    found = []
    for _ in range(runs):
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
        if done.returncode not in (0, 1, 4):
            raise RuntimeError(done.stderr)
        cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        found.append(Cost(wall, cpu, done.stdout))
    return sorted(found, key=lambda one: one.wall)[len(found) // 2]


def night(site: Site, runs: int = 1) -> Cost:
    """One run as a process."""
    return cost([sys.executable, "-m", "excursions", "nightly", str(site.root), "--json"], runs)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=25)
    parser.add_argument("--months", type=int, default=4)
    parser.add_argument("--every", type=float, default=10.0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        site = init_site(Path(folder) / "site")
        site.settings.write_text("[inbox]\nsettle_s = 0.0\n")
        rows = [
            f'[[points]]\nname = "P{n:03}"\nmeasurand = "ph"\nvalue = "P{n:03}.PV"\ntemperature = "P{n:03}.T"\nneighbours = []\n'
            for n in range(asked.points)
        ]
        site.register.write_text('[plant]\nname = "Made (invented)"\n\n' + "\n".join(rows))
        days = round(asked.months * 30.4)
        last = fill(site, asked.points, days, asked.every)
        first = night(site)
        day = write_day(last, site.inbox / "day.csv")
        copy = Path(folder) / "day.csv"
        copy.write_bytes(day.read_bytes())
        floor = cost([sys.executable, "-c", FLOOR, str(copy)], 3)
        done = night(site)
        idle = night(site, 3)
        imports = cost([sys.executable, "-c", IMPORTS], 3)
    searched = json.loads(done.out)["searched"]
    held = asked.points * 2 * days * 86_400 / asked.every
    print(
        f"{asked.points} points, {asked.months} months at {asked.every:g} s in the archive: {held / 1e6:.0f} million samples"
    )
    print(f"{'what':32} {'wall s':>8} {'cpu s':>8} {'x polars, wall':>15} {'cpu':>7}")
    for name, one in (
        ("first search of all of it", first),
        (f"polars, the day ({last.height / 1e6:.2f} M)", floor),
        (f"the night, {searched} points", done),
        ("a night with nothing new", idle),
        ("Python with polars, numpy, typer", imports),
    ):
        print(
            f"{name:32} {one.wall:8.2f} {one.cpu:8.2f} {one.wall / floor.wall:15.1f} {one.cpu / floor.cpu:7.1f}"
        )
    print(f"a night costs {1000 * done.cpu / asked.points:.0f} ms of processor time a point")
    print(f"a night with nothing new costs {idle.wall / imports.wall:.1f} x starting Python with its imports")


if __name__ == "__main__":
    main()
