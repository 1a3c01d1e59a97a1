"""A night on a site with a long archive, beside polars alone reading the day's file; and a night with nothing new.

    python -m tests.benchmarks.nightly [--points 500] [--months 24] [--every 10] [--distinct 5] [--into 13]

The archive is filled directly (reading years of text is the reader's benchmark); the night itself runs as a process
of its own, cold start and pages included.  Years of hundreds of points would take hours to search for the first time,
which is not what is measured here: `--distinct` records are made and searched, and the other points get the same
record and the same remembered findings under their own names.  The day itself is searched for every point.
"""

from __future__ import annotations

import argparse
import dataclasses
import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from scipy.signal import lfilter

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.pipeline.progress import quiet
from excursions.pipeline.windows import STEP
from excursions.records import FloatArray, TagSeries
from excursions.site.archive import Rows, cut, months_of, new_part
from excursions.site.codec import decode, encode
from excursions.site.durable import make_folder
from excursions.site.evidence import gather_evidence
from excursions.site.intake import part_row
from excursions.site.layout import Site, folder_name, init_site
from excursions.site.ledger import open_ledger
from excursions.site.settings import load_settings
from excursions.site.tasks import Task, tasks
from excursions.site.work import Work, live_parts, stated_plant
from tests.benchmarks.scale import watched

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


@dataclass(frozen=True)
class Fleet:
    """How many points there are, and how many records they share."""

    points: int
    distinct: int

    def names(self, number: int) -> list[str]:
        """Of the points that have record `number`; the first is the one that is searched."""
        return [f"P{n:04}" for n in range(number, self.points, self.distinct)]


def fill(site: Site, fleet: Fleet, days: int, every_s: float) -> pl.DataFrame:
    """History into the archive; the last day comes back as a frame."""
    n = round((days + 1) * 86_400 / every_s)
    time_ns = BEGIN + np.arange(n, dtype=np.int64) * round(every_s * NS_PER_S)
    history = int(np.searchsorted(time_ns, BEGIN + days * NS_PER_DAY))
    made, last = [], []
    for number in range(fleet.distinct):
        names, values = fleet.names(number), signal(fleet.distinct, number, n, every_s)
        for name in names:
            last += [
                pl.DataFrame({"tag": tag, "time": time_ns[history:], "value": value[history:]})
                for tag, value in zip(tags_of(name), values, strict=True)
            ]
        rows = {
            tag: Rows.of(TagSeries(tag=tag, time=time_ns, value=value, quality=np.zeros(n, np.uint8)), 1)
            for tag, value in zip(tags_of(names[0]), values, strict=True)
        }
        for month, start, end in months_of(time_ns[:history]):
            part = new_part(names[0], month, {tag: cut(one, start, end) for tag, one in rows.items()})
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
    ledger.close()
    add_points(site, [fleet.names(number)[0] for number in range(fleet.distinct)], made)
    return pl.concat(last)


def tags_of(name: str) -> tuple[str, str]:
    """Value and temperature of a point."""
    return f"{name}.PV", f"{name}.T"


def add_points(site: Site, names: Sequence[str], parts: Iterable[tuple[object, ...]]) -> None:
    """Points into the register, their tags and parts into the ledger."""
    with site.register.open("a") as file:
        for name in names:
            value, warmth = tags_of(name)
            file.write(
                f'[[points]]\nname = "{name}"\nmeasurand = "ph"\nvalue = "{value}"\ntemperature = "{warmth}"\nneighbours = []\n'
            )
    ledger = open_ledger(site.ledger)
    with ledger.transaction() as connection:
        connection.executemany("INSERT INTO parts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", parts)
        connection.executemany(
            "INSERT INTO tags VALUES (?, ?, ?, ?, ?, ?)",
            [(tag, name, "", None, "", None) for name in names for tag in tags_of(name)],
        )
        ledger.set_meta("archived", str(int(ledger.meta("archived") or 0) + 1))
    ledger.close()


def multiply(site: Site, fleet: Fleet) -> None:
    """Give every record to the other points that share it: archive, and what was remembered of its search."""
    pairs = [
        (names[0], other) for n in range(fleet.distinct) for names in [fleet.names(n)] for other in names[1:]
    ]
    ledger = open_ledger(site.ledger)
    rows: dict[str, list[tuple[object, ...]]] = {}
    for row in ledger.rows("SELECT * FROM parts"):
        rows.setdefault(row["home"], []).append(tuple(row))
    ledger.close()
    copies = [part_copy(site, row, old, new) for old, new in pairs for row in rows[old]]
    add_points(site, [new for _, new in pairs], copies)
    wanted = {task.point.name: task for task in tasks_of(site)}
    for old, new in pairs:
        before, after = wanted[old], wanted[new]
        files = [(before.file, after.file)]
        files += [
            (before.file_up_to(a), after.file_up_to(b))
            for a, b in zip(before.stations, after.stations, strict=True)
        ]
        for source, target in files:
            target.write_bytes(encode(renamed(decode(source.read_bytes()), old, new)))


def part_copy(site: Site, row: tuple[object, ...], old: str, new: str) -> tuple[object, ...]:
    """A part under another point; its file is the same one."""
    path, home, month, sha256, size, count, first, last, spans, looks = row
    copied = str(path).replace(folder_name(old), folder_name(new))
    make_folder((site.root / copied).parent)
    os.link(site.root / str(path), site.root / copied)
    seen, buffer = pl.read_ipc(io.BytesIO(looks)), io.BytesIO()  # type: ignore[arg-type]
    seen.with_columns(pl.col("tag").str.replace_all(old, new, literal=True)).write_ipc(
        buffer, compression="zstd"
    )
    return (
        copied, str(home).replace(old, new), month, sha256, size, count, first, last, str(spans).replace(old, new), buffer.getvalue(),
    )  # fmt: skip


def tasks_of(site: Site) -> list[Task]:
    """The searches that the next night will want."""
    settings, ledger = load_settings(site.settings), open_ledger(site.ledger)
    work = Work(site=site, ledger=ledger, night=0, now_ns=0, options=settings.read_options(), progress=quiet)
    work.options = work.options.for_plant(stated_plant(work))
    units = {row["tag"]: (row["unit"], row["description"]) for row in ledger.rows("SELECT * FROM tags")}
    found = tasks(site, gather_evidence(work).evidence.plant, live_parts(ledger), units, {})
    ledger.close()
    return found


def renamed(value: Any, old: str, new: str) -> Any:
    """The same findings with another name wherever the point's own stands."""
    if isinstance(value, str):
        return value.replace(old, new)
    if isinstance(value, tuple | list):
        return type(value)(renamed(item, old, new) for item in value)
    if isinstance(value, dict):
        return {renamed(key, old, new): renamed(item, old, new) for key, item in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        held = {f.name: renamed(getattr(value, f.name), old, new) for f in dataclasses.fields(value)}
        return type(value)(**held)
    return value


def write_day(frame: pl.DataFrame, path: Path) -> Path:
    """The day's export: a long table in UTC."""
    stamps = pl.col("time").cast(pl.Datetime("ns", "UTC")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    frame.sort("time", "tag").select("tag", stamps.alias("time"), "value").write_csv(path)
    return path


@dataclass(frozen=True)
class Cost:
    """Wall time and processor time [s] of a process and its children, and the peak of their memory [MB]."""

    wall: float
    cpu: float
    memory: float
    out: str = ""


def cost(command: list[str], runs: int = 1) -> Cost:
    """Median cost of a command; exit status 0, 1 and 4 are ends of a night."""
    found = []
    for _ in range(runs):
        begun = time.perf_counter()
        with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as said:
            process = subprocess.Popen(command, cwd=ROOT, stdout=out, stderr=said)
            memory = watched(process)
            _, status, used = os.wait4(process.pid, 0)
            wall = time.perf_counter() - begun
            process.returncode = os.waitstatus_to_exitcode(status)
            out.seek(0)
            said.seek(0)
            if process.returncode not in (0, 1, 4):
                raise RuntimeError(said.read())
            found.append(Cost(wall, used.ru_utime + used.ru_stime, memory / 1e6, out.read()))
    return sorted(found, key=lambda one: one.wall)[len(found) // 2]


def night(site: Site, runs: int = 1) -> Cost:
    """One run as a process."""
    return cost([sys.executable, "-m", "excursions", "nightly", str(site.root), "--json"], runs)


def history_days(months: int, into: int) -> int:
    """About so many months of history, such that the day after it begins `into` days into a fortnight of the search."""
    days = round(months * 30.4)
    return days - ((BEGIN + days * NS_PER_DAY) % STEP // NS_PER_DAY - into) % (STEP // NS_PER_DAY)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=25)
    parser.add_argument("--months", type=int, default=24)
    parser.add_argument("--every", type=float, default=10.0)
    parser.add_argument(
        "--distinct", type=int, default=5, help="records made and searched; the points share them"
    )
    parser.add_argument(
        "--keep", type=Path, help="make the site here and leave it before the night of the day"
    )
    parser.add_argument(
        "--into", type=int, default=13, help="days of the fortnight that are over when the day begins"
    )
    asked = parser.parse_args()
    fleet = Fleet(asked.points, min(asked.distinct, asked.points))
    days = history_days(asked.months, asked.into)
    with tempfile.TemporaryDirectory() as folder:
        site = init_site(asked.keep or Path(folder) / "site")
        last, first, whole = prepare(site, fleet, days, asked.every)
        day = write_day(last, (Path(folder) if asked.keep is None else site.root.parent) / "day.csv")
        floor = cost([sys.executable, "-c", FLOOR, str(day)], 3)
        if asked.keep:
            print(f"{site.root} is ready for {day}; polars reads that in {floor.cpu:.2f} s of a processor")
            return
        shutil.copyfile(day, site.inbox / "day.csv")
        done = night(site)
        idle = night(site, 3)
        imports = cost([sys.executable, "-c", IMPORTS], 3)
    searched = json.loads(done.out)["searched"]
    held = asked.points * 2 * days * 86_400 / asked.every
    print(
        f"{asked.points} points, {asked.months} months at {asked.every:g} s in the archive: {held / 1e6:.0f} million samples"
    )
    print(f"{'what':32} {'wall s':>8} {'cpu s':>8} {'x polars, wall':>15} {'cpu':>7} {'MB':>6}")
    for name, one in (
        (f"first search of {fleet.distinct} points", first),
        ("all points for the first time", whole),
        (f"polars, the day ({last.height / 1e6:.2f} M)", floor),
        (f"the night, {searched} points", done),
        ("a night with nothing new", idle),
        ("Python with polars, numpy, typer", imports),
    ):
        print(
            f"{name:32} {one.wall:8.2f} {one.cpu:8.2f} {one.wall / floor.wall:15.1f} {one.cpu / floor.cpu:7.1f} {one.memory:6.0f}"
        )
    print(f"a night costs {1000 * done.cpu / asked.points:.0f} ms of processor time a point")
    print(f"a night with nothing new costs {idle.wall / imports.wall:.1f} x starting Python with its imports")


def prepare(site: Site, fleet: Fleet, days: int, every_s: float) -> tuple[pl.DataFrame, Cost, Cost]:
    """A site up to yesterday: the day that is to come, and what the nights before it cost."""
    site.settings.write_text("[inbox]\nsettle_s = 0.0\n")
    site.register.write_text('[plant]\nname = "Made (invented)"\n\n')
    last = fill(site, fleet, days, every_s)
    first = night(site)
    multiply(site, fleet)
    return last, first, night(site)


if __name__ == "__main__":
    main()
