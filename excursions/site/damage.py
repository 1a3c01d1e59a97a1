"""Damage to the archive: found by size and checksum, set aside, and read again from the kept copies."""

from __future__ import annotations

import numpy as np

from excursions.site.archive import Part, PartDamagedError, load
from excursions.site.durable import remove
from excursions.site.layout import Site
from excursions.site.mending import set_aside
from excursions.site.work import Work, live_parts


def mend(work: Work, part: Part) -> None:
    """Set a damaged part aside, forget it, and call every file that may have given to it new again."""
    path = work.site.root / part.path
    if path.exists():
        set_aside(work.site, path)
        work.remarks.append(f"{part.path}: damaged, set aside; its month is read again from the kept copies")
    else:
        work.remarks.append(f"{part.path}: missing; its month is read again from the kept copies")
    work.mended += 1
    start = np.datetime64(part.month, "M")
    first, end = (int(m.astype("datetime64[ns]").astype(np.int64)) for m in (start, start + 1))
    with work.ledger.transaction() as connection:
        connection.execute("DELETE FROM parts WHERE path = ?", (part.path,))
        connection.execute(
            "UPDATE files SET state = 'new' WHERE kind = 'export' AND state = 'in' AND first < ? AND last >= ?",
            (end, first),
        )


def start_again(work: Work) -> None:
    """Forget the archive and call every file new: the way files are read has changed."""
    parts = live_parts(work.ledger)
    with work.ledger.transaction() as connection:
        connection.execute("DELETE FROM parts")
        connection.execute("DELETE FROM tags")
        connection.execute("UPDATE files SET state = 'new' WHERE state != 'lost'")
        work.ledger.set_meta("orders", "{}")
    for part in parts:
        remove(work.site.root / part.path)


def look_after(work: Work, *, budget: int = 64 * 2**20) -> None:
    """Look at every part's size and, in turn over thirty nights, at the checksums of all; mend what is wrong."""
    parts = live_parts(work.ledger)
    spent = 0
    for number, part in enumerate(parts):
        path = work.site.root / part.path
        try:
            sound = path.stat().st_size == part.bytes
        except FileNotFoundError:
            sound = False
        if sound and (number + work.night) % 30 == 0 and spent < budget:
            spent += part.bytes
            try:
                load(work.site.root, part, ())
            except PartDamagedError:
                sound = False
        if not sound:
            mend(work, part)
    _sweep_strangers(work.site, {part.path for part in parts})


def _sweep_strangers(site: Site, live: set[str]) -> None:
    """Delete archive files that no transaction names: a run was cut off before it could name them."""
    for path in site.archive.glob("point=*/month=*/*.parquet"):
        if path.relative_to(site.root).as_posix() not in live:
            remove(path)
