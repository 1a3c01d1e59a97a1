"""What an earlier run left in a report folder, read back from its own tables."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import polars as pl

POINT_COLUMNS = ("point", "verdict", "sentence", "error", "error_band", "record_end")
EVENT_COLUMNS = ("event", "point", "kind", "origin", "severity", "start", "end", "open_end")


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierPoint:
    """A point as the earlier run judged it."""

    point: str
    verdict: str
    sentence: str
    error: float | None
    error_band: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierEvent:
    """An event as the earlier run found it; start and end in ns UTC."""

    event: str
    point: str
    kind: str
    origin: str
    severity: str
    start: int
    end: int
    open_end: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """An earlier run: its identity, the end of its record, its points and events; `problem` when it cannot be read."""

    run: str = ""
    record_end: int = 0
    points: tuple[EarlierPoint, ...] = ()
    events: tuple[EarlierEvent, ...] = ()
    problem: str = ""


def read_earlier(folder: Path) -> Earlier | None:
    """The run whose report lies in a folder, or None where there is none.

    What cannot be read any more (another version, a file somebody changed) gives an `Earlier` with a `problem`
    in words: it is no reason to stop, but it must not pass for "nothing changed".
    """
    run = folder / "run.json"
    if not run.is_file():
        return None
    try:
        identity = str(json.loads(run.read_text(encoding="utf-8"))["run"])
        points = pl.read_parquet(folder / "tables" / "points.parquet", columns=list(POINT_COLUMNS))
        events = pl.read_parquet(folder / "tables" / "events.parquet", columns=list(EVENT_COLUMNS))
    except (OSError, ValueError, KeyError, TypeError, pl.exceptions.PolarsError) as error:
        return Earlier(problem=f"the tables of the earlier run cannot be read ({type(error).__name__})")
    stamps = [name for name in ("start", "end") if name in events.columns]
    events = events.with_columns(pl.col(name).dt.epoch("ns") for name in stamps)
    ends = points["record_end"].dt.epoch("ns").drop_nulls().to_list()
    return Earlier(
        run=identity,
        record_end=max(ends, default=0),
        points=tuple(EarlierPoint(**row) for row in points.drop("record_end").iter_rows(named=True)),
        events=tuple(EarlierEvent(**row) for row in events.iter_rows(named=True)),
    )
