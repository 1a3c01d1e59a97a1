"""Kept files into the archive: read what is new, merge it month by month, name it in one transaction."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from sqlite3 import Connection, Row
from typing import TYPE_CHECKING

from excursions.site.archive import NewPart, Part
from excursions.site.durable import remove, write_files
from excursions.site.inbox import reading_order
from excursions.site.ledger import Ledger
from excursions.site.merging import merged
from excursions.site.work import MOST_ROUNDS, Work

if TYPE_CHECKING:
    from excursions.site.taking import Batch

BATCH_BYTES = 256 * 2**20  # files are read together up to this size; each batch is one transaction


def take_in(work: Work) -> None:
    """Bring the archive up to date with the files that the ledger calls new."""
    if work.ledger.rows("SELECT 1 FROM files WHERE state = 'new' LIMIT 1"):
        with work.ledger.transaction() as connection:  # a new file may decide the date order of a waiting one
            connection.execute("UPDATE files SET state = 'new' WHERE state = 'waiting'")
    for _ in range(MOST_ROUNDS):
        pending = _pending(work.ledger)
        if not pending:
            return
        done = 0
        for batch in _batches(pending):
            work.progress("taking files in", done, len(pending))
            _take_batch(work, batch)
            done += len(batch)
            work.progress("taking files in", done, len(pending))
    if _pending(work.ledger):
        raise OSError("archive parts are damaged again and again: the disk may be failing")


def _pending(ledger: Ledger) -> list[Row]:
    rows = ledger.rows("SELECT * FROM files WHERE state = 'new'")
    return sorted(rows, key=lambda row: reading_order(row["name"], row["arrival"]))


def _batches(files: Sequence[Row]) -> list[list[Row]]:
    found: list[list[Row]] = [[]]
    size = 0
    for row in files:
        if found[-1] and size + row["bytes"] > BATCH_BYTES:
            found.append([])
            size = 0
        found[-1].append(row)
        size += row["bytes"]
    return found


def _take_batch(work: Work, files: Sequence[Row]) -> None:
    from excursions.site.taking import Batch, outcome_of, read_one

    batch = Batch(orders={k: set(v) for k, v in json.loads(work.ledger.meta("orders") or "{}").items()})
    for row in files:
        read_one(work, row, batch)
    waiting = [row for row in files if outcome_of(batch, row["file"])["state"] == "waiting"]
    if waiting:  # files read after them may have decided their date order
        batch.outcomes = [o for o in batch.outcomes if o[1]["state"] != "waiting"]
        for row in waiting:
            read_one(work, row, batch)
    homes = _homes(work, batch)
    fresh, gone = merged(work, batch.rows, homes)
    write_files((work.site.root / part.part.path, part.content) for part in fresh)
    with work.ledger.transaction() as connection:
        _record(connection, batch, homes, fresh, gone)
        work.ledger.set_meta("orders", json.dumps({k: sorted(v) for k, v in sorted(batch.orders.items())}))
        if fresh or gone:
            work.ledger.set_meta("archived", str(int(work.ledger.meta("archived") or 0) + 1))
    live = {part.part.path for part in fresh}
    for part in gone:
        if part.path not in live:
            remove(work.site.root / part.path)


def _homes(work: Work, batch: Batch) -> dict[str, str]:
    """Under which point each tag of the batch is kept: as before, else by the plant as it looks now."""
    known = {row["tag"]: str(row["home"]) for row in work.ledger.rows("SELECT tag, home FROM tags")}
    if any(tag not in known for tag in batch.rows):
        from excursions.site.evidence import tag_homes

        known = tag_homes(work, batch.series) | known
    return {tag: known.get(tag, tag) for tag in batch.rows}


def _record(
    connection: Connection,
    batch: Batch,
    homes: Mapping[str, str],
    fresh: Sequence[NewPart],
    gone: Sequence[Part],
) -> None:
    for file, facts in batch.outcomes:
        connection.execute(
            "UPDATE files SET kind = ?, state = ?, rows = ?, used = ?, refused = ?, first = ?, last = ?, facts = ? "
            "WHERE file = ?",
            (*(facts[k] for k in ("kind", "state", "rows", "used", "refused", "first", "last")),
             json.dumps(facts["facts"], sort_keys=True, ensure_ascii=False), file),
        )  # fmt: skip
    connection.executemany("DELETE FROM parts WHERE path = ?", [(part.path,) for part in gone])
    connection.executemany(
        "INSERT OR REPLACE INTO parts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [part_row(part) for part in fresh],
    )
    _record_words(connection, batch, homes)


def part_row(made: NewPart) -> tuple[object, ...]:
    """A row of the ledger's table ``parts``."""
    part = made.part
    spans = json.dumps(part.spans, sort_keys=True, ensure_ascii=False)
    return (
        part.path, part.home, part.month, part.sha256, part.bytes, part.rows, part.first, part.last, spans, made.looks,
    )  # fmt: skip


def _record_words(connection: Connection, batch: Batch, homes: Mapping[str, str]) -> None:
    """Unit and description of a tag: of the first file, in the order of reading, that states one."""
    order = {
        row[0]: reading_order(row[1], row[2])
        for row in connection.execute("SELECT file, name, arrival FROM files")
    }
    for tag, file, unit, description in batch.words:
        connection.execute("INSERT OR IGNORE INTO tags VALUES (?, ?, '', NULL, '', NULL)", (tag, homes[tag]))
        for column, word in (("unit", unit), ("description", description)):
            if not word:
                continue
            stated = connection.execute(f"SELECT {column}_file FROM tags WHERE tag = ?", (tag,)).fetchone()[0]
            if stated is None or order[file] <= order[stated]:
                connection.execute(
                    f"UPDATE tags SET {column} = ?, {column}_file = ? WHERE tag = ?", (word, file, tag)
                )
