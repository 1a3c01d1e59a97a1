"""From the inbox to named kept files: each copied once, named in the ledger, then taken out of the inbox."""

from __future__ import annotations

from pathlib import Path
from sqlite3 import Connection

from excursions.site.inbox import Found, Kept, all_kept, keep, look_through, note_name, take_out
from excursions.site.layout import Site
from excursions.site.ledger import Ledger
from excursions.site.work import Work


def register_new(work: Work, *, settle_s: float, keep_inbox: bool) -> None:
    """Copy new files from the inbox to ``kept/`` and name them in the ledger; then take them out of the inbox."""
    _adopt(work)
    left = {
        row["name"]: (row["bytes"], row["mtime_ns"])
        for row in work.ledger.rows("SELECT * FROM left_in_inbox")
    }
    for found in look_through(work.site, work.now_ns, settle_s, work.remarks):
        if left.get(found.name) == (found.size, found.mtime_ns):
            continue
        kept = keep(work.site, found, _next_arrival(work.ledger), work.remarks)
        if kept is None:
            continue
        if not _is_latest(work.ledger, kept):
            note_name(work.site, kept)
            with work.ledger.transaction() as connection:
                _name_file(connection, kept, work)
            work.files += 1
        _leave_or_take(work, found, keep_inbox)


def _adopt(work: Work) -> None:
    """Name kept files that the ledger does not know: a run was cut off, or the ledger was begun anew."""
    rows = work.ledger.rows("SELECT sha256, name, arrival FROM files")
    known = {(row["sha256"], row["name"]): row["arrival"] for row in rows}
    orphans = [kept for kept in all_kept(work.site) if known.get((kept.sha256, kept.name), -1) < kept.arrival]
    if orphans:
        with work.ledger.transaction() as connection:
            for kept in orphans:
                _name_file(connection, kept, work)
        work.files += len(orphans)


def _next_arrival(ledger: Ledger) -> int:
    return int(ledger.rows("SELECT coalesce(max(arrival), 0) + 1 FROM files")[0][0])


def _is_latest(ledger: Ledger, kept: Kept) -> bool:
    """Whether this content is already the latest under its name: then it is a mere repeat."""
    rows = ledger.rows("SELECT sha256 FROM files WHERE name = ? ORDER BY arrival DESC LIMIT 1", (kept.name,))
    return bool(rows) and rows[0]["sha256"] == kept.sha256


def _name_file(connection: Connection, kept: Kept, work: Work) -> None:
    connection.execute(
        "INSERT INTO files (arrival, name, sha256, bytes, kept, state, night) VALUES (?, ?, ?, ?, ?, 'new', ?) "
        "ON CONFLICT (sha256, name) DO UPDATE SET arrival = excluded.arrival, state = 'new'",
        (kept.arrival, kept.name, kept.sha256, kept.size, _relative(work.site, kept.copy), work.night),
    )


def _relative(site: Site, path: Path) -> str:
    return path.relative_to(site.root).as_posix()


def _leave_or_take(work: Work, found: Found, keep_inbox: bool) -> None:
    if take_out(found, keep_it=keep_inbox):
        return
    if not keep_inbox:
        work.remarks.append(
            f"{found.name}: taken, but it cannot be removed from the inbox; it stays there, known"
        )
    with work.ledger.transaction() as connection:
        connection.execute(
            "INSERT OR REPLACE INTO left_in_inbox VALUES (?, ?, ?)", (found.name, found.size, found.mtime_ns)
        )
