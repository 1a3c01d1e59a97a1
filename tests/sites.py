"""Small made sites: a fortnight of two invented points as export files, and nights run on them without drawing pages."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import polars as pl

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.site.layout import Site, init_site
from excursions.site.ledger import Ledger
from excursions.site.nightly import Night, nightly
from tests.builders import T0
from tests.scenes import scene

NOW = T0 + 400 * NS_PER_DAY
REGISTER = """\
[plant]
name = "Tarn Mill (invented)"

[[points]]
name = "A1"
measurand = "ph"
value = "A1.PV"
temperature = "A1.T"
plan_days = 7

[[points]]
name = "B2"
measurand = "ph"
value = "B2.PV"
temperature = "B2.T"

[[installations]]
probe = "S-1"
point = "A1"
"""
LOG = """\
date;point;probe;action;phase;slope [%];zero point [pH]
2024-01-01 06:00;A1;S-1;calibration;as found;98.5;7.02
2024-01-01 06:20;A1;S-1;calibration;as left;98.6;7.00
2024-01-13 06:00;A1;S-1;calibration;as found;96.1;7.34
2024-01-13 06:20;A1;S-1;calibration;as left;97.0;7.01
"""
SAMPLES = "sample time;point;lab value\n2024-01-05 10:00;A1;6.82\n2024-01-12 10:00;A1;6.79\n"
TABLES = ("points", "events", "calibrations", "shifts", "links", "doubts", "probes")


def readings(days: float = 14.0, *, every_s: float = 600.0, seed: int = 0) -> pl.DataFrame:
    """Tag, time (ns) and value of four tags: a step at A1 on day 8, B2 stuck on days 10 to 12, one steam-out."""
    frames = []
    for number, name in enumerate(("A1", "B2")):
        made = scene(days, every_s=every_s, at=6.8 + number, seed=seed + 10 * number)
        if name == "A1":
            if days > 5:
                made.steam(5 * 86_400.0, degc=143.0, hold=20.0)
            made.value[made.second >= 8 * 86_400.0] += 0.4
        else:
            stuck = (made.second >= 10 * 86_400.0) & (made.second < 12 * 86_400.0)
            made.value[stuck] = 7.81
        time = T0 + (made.second * NS_PER_S).astype(np.int64)
        for tag, value, step in ((f"{name}.PV", made.value, 0.002), (f"{name}.T", made.temperature, 0.05)):
            frames.append(pl.DataFrame({"tag": tag, "time": time, "value": np.round(value / step) * step}))
    return pl.concat(frames)


def write_export(frame: pl.DataFrame, path: Path) -> Path:
    """A long table in UTC."""
    path.parent.mkdir(parents=True, exist_ok=True)
    stamps = pl.col("time").cast(pl.Datetime("ns", "UTC")).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    frame.sort("time", "tag").select("tag", stamps.alias("time"), pl.col("value").round(4)).write_csv(path)
    return path


def piece(frame: pl.DataFrame, start_day: float, end_day: float) -> pl.DataFrame:
    """The readings of some days."""
    since = (pl.col("time") - T0) / NS_PER_DAY
    return frame.filter((since >= start_day) & (since < end_day))


def new_site(root: Path, *, register: str = REGISTER) -> Site:
    """A site whose inbox files count at once."""
    site = init_site(root)
    site.register.write_text(register)
    site.settings.write_text("[inbox]\nsettle_s = 0.0\n[search]\njobs = 1\n")
    return site


def drop(site: Site, files: Iterable[Path]) -> None:
    """Put copies of files into the inbox."""
    for path in files:
        shutil.copy(path, site.inbox / path.name)


def run(site: Site, *, now_ns: int = NOW) -> Night:
    """One night without pages."""
    return nightly(site.root, now_ns=now_ns, pages=lambda result, out, only: None)


def tables(folder: Path, names: Sequence[str] = TABLES) -> dict[str, pl.DataFrame]:
    """The tables of a report."""
    return {name: pl.read_parquet(folder / "tables" / f"{name}.parquet") for name in names}


def ledger_rows(site: Site, sql: str) -> list[tuple[object, ...]]:
    """Rows of the ledger."""
    ledger = Ledger(site.ledger, write=False)
    try:
        return [tuple(row) for row in ledger.rows(sql)]
    finally:
        ledger.close()


def current_events(site: Site) -> list[tuple[object, ...]]:
    """Events of the ledger as they are now, without their names and nights."""
    return ledger_rows(
        site,
        "SELECT current, point, probe, kind, origin, severity, start, end, open_end, size, size_unit, confidence, after "
        "FROM events WHERE state != 'withdrawn' ORDER BY current",
    )
