"""When the site last ran, whether a run is missing or files stay away, and whether the clock can be believed."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from excursions import clock
from excursions.clock import NS_PER_HOUR, duration_text
from excursions.site.layout import Site
from excursions.site.ledger import Ledger
from excursions.site.settings import Schedule, load_settings

LATE = 1.5  # a run, or a file, later than this many intervals is missing
NIGHTS_LEARNED = 10  # nights with files of which the gaps are looked at
FEWEST_NIGHTS = 4  # from fewer no usual gap can be told


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """How the site stands.

    healthy : the last run came to its end, in time; sentence : the answer in words
    facts : the same for programs
    """

    healthy: bool
    sentence: str
    facts: dict[str, object]


def _ns(text: str) -> int:
    return clock.to_ns(datetime.fromisoformat(text))


def remarks_on_time(ledger: Ledger, now_ns: int, schedule: Schedule) -> list[str]:
    """What a run has to say of the runs before it: one missing, or a clock that was set back."""
    rows = ledger.rows("SELECT * FROM nights WHERE finished IS NOT NULL ORDER BY night DESC LIMIT 1")
    if not rows:
        return []
    last = _ns(rows[0]["finished"])
    if now_ns < last - NS_PER_HOUR // 60:
        return [
            f"the clock shows {clock.iso(now_ns)}, before the last run ({rows[0]['finished']}): it was set back; "
            "nights are counted, not dated, so nothing depends on it"
        ]
    if now_ns - last > LATE * schedule.every_hours * NS_PER_HOUR:
        gap = duration_text((now_ns - last) / 1e9)
        return [
            f"no run between {rows[0]['finished']} and {clock.iso(now_ns)} ({gap}): at least one was missed"
        ]
    return []


def dry_since(ledger: Ledger, now_ns: int, schedule: Schedule) -> str:
    """A sentence when no file came for longer than is usual here, else an empty text; the same words every night."""
    rows = ledger.rows(
        "SELECT started FROM nights WHERE files > 0 ORDER BY night DESC LIMIT ?", (NIGHTS_LEARNED,)
    )
    times = sorted(_ns(row["started"]) for row in rows)
    if len(times) < FEWEST_NIGHTS:
        return ""
    longest = max(after - before for before, after in pairwise(times))
    if now_ns - times[-1] <= LATE * max(longest, schedule.every_hours * NS_PER_HOUR):
        return ""
    usual = duration_text(longest / 1e9)
    return (
        f"no file has come since {clock.iso(times[-1])}; before, never more than {usual} passed without one"
    )


def health(root: Path, *, now_ns: int) -> Health:
    """How a site stands; reads only.

    Raises
    ------
    UsageError
        If there is no site.
    """
    site = Site(root.absolute())
    settings = load_settings(site.settings)
    if not site.ledger.exists():
        return Health(healthy=False, sentence="It never ran.", facts={"runs": 0, "healthy": False})
    try:
        nights, counts, dry = _told(site, now_ns, settings.schedule)
    except sqlite3.Error as error:
        text = f"The ledger cannot be read ({error}); the next run sets it aside and brings it back."
        return Health(healthy=False, sentence=text, facts={"healthy": False, "problem": str(error)})
    done = next((row for row in nights if row["finished"]), None)
    if done is None:
        return Health(
            healthy=False, sentence="No run ever came to its end.", facts={"healthy": False, **counts}
        )
    age = now_ns - _ns(done["finished"])
    late = age > LATE * settings.schedule.every_hours * NS_PER_HOUR
    cut_off = nights[0]["finished"] is None
    sentence = f"Last run {done['finished']}, {duration_text(age / 1e9)} ago, status {done['status']}."
    sentence += (
        f" A run is missing: one is expected every {settings.schedule.every_hours:g} h." if late else ""
    )
    sentence += " The newest run has not ended: it is at work or was cut off." if cut_off else ""
    sentence += f" {dry[0].upper()}{dry[1:]}." if dry else ""
    healthy = not late and not cut_off and not dry
    facts: dict[str, object] = {
        "healthy": healthy,
        "last_finished": done["finished"],
        "last_status": done["status"],
        "age_h": round(age / NS_PER_HOUR, 2),
        "missed": late,
        "cut_off": cut_off,
        "no_files": dry,
        "remarks": json.loads(done["remarks"]),
        **counts,
    }
    return Health(healthy=healthy, sentence=sentence, facts=facts)


def _told(site: Site, now_ns: int, schedule: Schedule) -> tuple[list[sqlite3.Row], dict[str, int], str]:
    """The last nights, some counts, and whether files stay away; read only."""
    ledger = Ledger(site.ledger, write=False)
    try:
        nights = ledger.rows("SELECT * FROM nights ORDER BY night DESC LIMIT 20")
        counts = {
            name: int(ledger.rows(sql)[0][0])
            for name, sql in (
                ("files", "SELECT count(*) FROM files"),
                ("waiting", "SELECT count(*) FROM files WHERE state IN ('waiting', 'new')"),
                ("samples", "SELECT coalesce(sum(rows), 0) FROM parts"),
                ("open_events", "SELECT count(*) FROM events WHERE state = 'open'"),
                ("undelivered", "SELECT count(*) FROM digests WHERE delivered NOT LIKE 'all%'"),
            )
        }
        dry = dry_since(ledger, now_ns, schedule)
    finally:
        ledger.close()
    return nights, counts, dry
