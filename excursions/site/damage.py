"""Damage to the archive: found by size and checksum, set aside, and read again from the kept copies."""

from __future__ import annotations

import os

import numpy as np

from excursions.site.archive import Part, PartDamagedError, load
from excursions.site.durable import remove
from excursions.site.layout import Site
from excursions.site.mending import set_aside
from excursions.site.work import Work, live_parts

BYTES_A_NIGHT = (
    64 * 2**20
)  # read again to see whether they bear out their checksums: a second of a slow disk (cp)


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
    first, end = (
        int(m.astype("datetime64[ns]").astype(np.int64)) for m in (start, start + np.timedelta64(1, "M"))
    )
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


def look_after(work: Work) -> None:
    """Look at every part's size and, in turn over thirty nights, at the checksums of all; mend what is wrong.

    A site may hold tens of thousands of parts, and this is done every night: one walk over the archive, and nothing of
    the ledger but paths and sizes.
    """
    there = _archive_files(work.site)
    rows = work.ledger.rows("SELECT path, bytes FROM parts ORDER BY home, month, first, path")
    spent = 0
    wrong = []
    for number, (path, size) in enumerate(rows):
        sound = there.pop(path, -1) == size
        if sound and (number + work.night) % 30 == 0 and spent < BYTES_A_NIGHT:
            spent += size
            sound = _bears_out(work, path)
        if not sound:
            wrong.append(path)
    for path in wrong:
        mend(work, *live_parts(work.ledger, "path = ?", (path,)))
    for path in there:  # no transaction names it: a run was cut off before it could
        remove(work.site.root / path)


def _bears_out(work: Work, path: str) -> bool:
    """Whether a part's file is what its checksum says."""
    (part,) = live_parts(work.ledger, "path = ?", (path,))
    try:
        load(work.site.root, part, ())
    except PartDamagedError:
        return False
    return True


def _archive_files(site: Site) -> dict[str, int]:
    """Size of every file where parts lie, by its path within the site."""
    found = {}
    for home in _folders(str(site.archive), "point="):
        above = f"{site.archive}/{home}"
        for month in _folders(above, "month="):
            with os.scandir(f"{above}/{month}") as entries:
                for entry in entries:
                    if entry.name.endswith(".parquet"):
                        size = entry.stat(follow_symlinks=False).st_size
                        found[f"archive/{home}/{month}/{entry.name}"] = size
    return found


def _folders(above: str, begin: str) -> list[str]:
    """Names of the folders in a folder that begin so."""
    with os.scandir(above) as entries:
        return [e.name for e in entries if e.name.startswith(begin) and e.is_dir(follow_symlinks=False)]
