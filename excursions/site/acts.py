"""What people add to the ledger: a note on an event, or that it is closed."""

from __future__ import annotations

from pathlib import Path
from sqlite3 import Row

from excursions import clock
from excursions.errors import UsageError, did_you_mean
from excursions.site.layout import Site
from excursions.site.ledger import Ledger
from excursions.site.lock import site_lock
from excursions.site.mending import sound_ledger
from excursions.site.settings import load_settings

LONGEST = 4_000


def note(root: Path, event: str, text: str, *, now_ns: int) -> str:
    """Write a note on an event; returns its name.

    Raises
    ------
    UsageError
        If there is no such event, several begin so, or the text is empty or too long.
    """
    if not text.strip() or len(text) > LONGEST:
        raise UsageError(
            found="an empty note" if not text.strip() else f"a note of {len(text)} characters",
            expected=f"1 to {LONGEST} characters",
        )
    return _act(root, event, "note", text.strip(), now_ns)


def close(root: Path, event: str, text: str = "", *, now_ns: int) -> str:
    """Close an event: it is told again only if it becomes worse; returns its name."""
    return _act(root, event, "close", text.strip(), now_ns)


def _act(root: Path, event: str, act: str, text: str, now_ns: int) -> str:
    site = Site(root.absolute())
    load_settings(site.settings)
    with site_lock(site.lock, f"{act}, since {clock.iso(now_ns)}"):
        ledger = sound_ledger(site, [])
        try:
            row = _find(ledger, event)
            night = int(ledger.rows("SELECT coalesce(max(night), 0) FROM nights")[0][0])
            with ledger.transaction() as connection:
                connection.execute(
                    "INSERT INTO notes (event, written, act, text) VALUES (?, ?, ?, ?)",
                    (row["event"], clock.iso(now_ns), act, text),
                )
                if act == "close":
                    connection.execute(
                        "UPDATE events SET state = 'closed', closed = ? WHERE event = ?",
                        (night, row["event"]),
                    )
            ledger.copy_to(site.ledger_copy)
            return str(row["event"])
        finally:
            ledger.close()


def _find(ledger: Ledger, event: str) -> Row:
    """The event of this name, of this id in the tables, or the only one that begins so."""
    rows = ledger.rows("SELECT event, current FROM events ORDER BY event")
    for fits in (
        [row for row in rows if row["event"] == event],
        [row for row in rows if row["current"] == event],
        [row for row in rows if event and row["event"].startswith(event)],
    ):
        if len(fits) == 1:
            return fits[0]
        if len(fits) > 1:
            raise UsageError(
                found=f'"{event}", with which {len(fits)} events begin',
                expected="one event",
                mend="write more of it",
            )
    raise UsageError(
        found=f'no event "{event}"',
        expected="the name of an event as the digest or the table events of the ledger shows it",
        mend=did_you_mean(event, [row["event"] for row in rows], "look into reports/digest.txt"),
    )
