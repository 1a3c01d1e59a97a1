"""What one run works with, and the questions every step asks of it."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from excursions.pipeline.progress import Progress
from excursions.plant import Plant
from excursions.read import ReadOptions
from excursions.register import load_register
from excursions.site.archive import Part, part_of_row
from excursions.site.inbox import reading_order
from excursions.site.layout import Site
from excursions.site.ledger import Ledger

Ranks = np.ndarray[tuple[int], np.dtype[np.int64]]
MOST_ROUNDS = 4  # damage that comes back after being mended so often is a failing disk


@dataclass(slots=True, kw_only=True)
class Work:
    """What one run works with and gathers on the way.

    remarks : what needs a hand, unless it ends in "next run"; notes : what explains the night and needs none
    begun : monotonic clock [s], so that a clock set back does not bend the length of the night
    """

    site: Site
    ledger: Ledger
    night: int
    now_ns: int
    options: ReadOptions
    progress: Progress
    remarks: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    begun: float = field(default_factory=time.monotonic)
    files: int = 0
    mended: int = 0
    zone: str = ""


def stated_plant(work: Work) -> Plant:
    """The register alone.

    Raises
    ------
    RegisterProblems
        If it states something that cannot be used.
    """
    return (
        load_register(work.site.register, tunable=_tunable).plant if work.site.register.exists() else Plant()
    )


def _tunable() -> Mapping[str, Mapping[str, float]]:
    """What a register may state of detectors; a night that finds nothing new needs no detector."""
    from excursions.detect.tuning import tunable

    return tunable()


def live_parts(ledger: Ledger, where: str = "1", values: tuple[object, ...] = ()) -> list[Part]:
    """Live parts, by point, month and time."""
    sql = f"SELECT path, home, month, sha256, bytes, rows, first, last, spans FROM parts WHERE {where}"
    return [part_of_row(dict(row)) for row in ledger.rows(f"{sql} ORDER BY home, month, first, path", values)]


def file_ranks(ledger: Ledger) -> Ranks:
    """Place of every file in the order of reading, by file number."""
    rows = ledger.rows("SELECT file, name, arrival FROM files")
    ordered = sorted(rows, key=lambda row: reading_order(row["name"], row["arrival"]))
    ranks = np.zeros(max((row["file"] for row in rows), default=0) + 1, np.int64)
    ranks[[row["file"] for row in ordered]] = np.arange(len(ordered))
    return ranks


def reading_key(options: ReadOptions) -> str:
    """What decides how a file is read; the archive is only good for the key it was read with."""
    words = sorted(options.quality_words.items())
    plain = (options.tz, options.decimal_mark, options.separator, options.date_order, options.encoding, words)
    zone = (options.plant_zone,) if options.plant_zone else ()
    return json.dumps((*plain, *zone), ensure_ascii=False)
