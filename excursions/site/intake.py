"""Kept files into the archive: register what came, read what is new, merge it month by month, name it in one transaction."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from sqlite3 import Connection, Row

import numpy as np

from excursions.errors import ExcursionsError
from excursions.pipeline.run import Progress
from excursions.read import Reading, ReadOptions, read_exports
from excursions.read.exports.planner import OrderOpenError
from excursions.read.sorting import classify
from excursions.records import TagSeries
from excursions.site.archive import (
    MOST_PIECES,
    NewPart,
    Part,
    PartDamagedError,
    Rows,
    cut,
    joined,
    load,
    months_of,
    new_part,
    part_of_row,
    resolved,
)
from excursions.site.durable import remove, write_file, write_files
from excursions.site.inbox import (
    Found,
    Kept,
    all_kept,
    keep,
    look_through,
    note_name,
    reading_order,
    take_out,
)
from excursions.site.layout import Site
from excursions.site.ledger import Ledger
from excursions.site.mending import set_aside

BATCH_BYTES = 256 * 2**20  # files are read together up to this size; each batch is one transaction
MOST_ROUNDS = 4  # damage that comes back after being mended so often is a failing disk
_REGISTER = "a plant register is not taken from the inbox; write it to register.toml of the site"


@dataclass(slots=True, kw_only=True)
class Work:
    """What one run works with and gathers on the way."""

    site: Site
    ledger: Ledger
    night: int
    now_ns: int
    options: ReadOptions
    progress: Progress
    remarks: list[str] = field(default_factory=list)
    files: int = 0
    mended: int = 0
    zone: str = ""


# --- what came -----------------------------------------------------------------------------------------------------


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
            note_name(kept)
            with work.ledger.transaction() as connection:
                _name_file(connection, kept, work)
            work.files += 1
        _leave_or_take(work, found, keep_inbox)


def _adopt(work: Work) -> None:
    """Name kept files that the ledger does not know: a run was cut off, or the ledger was begun anew."""
    known = {(row["sha256"], row["name"]) for row in work.ledger.rows("SELECT sha256, name FROM files")}
    orphans = [kept for kept in all_kept(work.site) if (kept.sha256, kept.name) not in known]
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


# --- from kept files to the archive --------------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class _Batch:
    """What reading some files gave: rows by tag, words about tags, and a row of facts a file."""

    rows: dict[str, list[Rows]] = field(default_factory=dict)
    words: list[tuple[str, int, str, str]] = field(default_factory=list)
    outcomes: list[tuple[int, dict[str, object]]] = field(default_factory=list)
    orders: dict[str, set[str]] = field(default_factory=dict)
    series: dict[str, TagSeries] = field(default_factory=dict)


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
    batch = _Batch(orders={k: set(v) for k, v in json.loads(work.ledger.meta("orders") or "{}").items()})
    for row in files:
        _read_one(work, row, batch)
    waiting = [row for row in files if _outcome(batch, row["file"])["state"] == "waiting"]
    if waiting:  # files read after them may have decided their date order
        batch.outcomes = [o for o in batch.outcomes if o[1]["state"] != "waiting"]
        for row in waiting:
            _read_one(work, row, batch)
    homes = _homes(work, batch)
    fresh, gone = _merged(work, batch, homes)
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


def _outcome(batch: _Batch, file: int) -> dict[str, object]:
    return next(facts for number, facts in batch.outcomes if number == file)


def _read_one(work: Work, row: Row, batch: _Batch) -> None:
    """Read one kept file; whatever is wrong with it becomes its state, never an end of the run."""
    path = work.site.inside(row["kept"])
    outcome: dict[str, object] = {"kind": "", "state": "in", "rows": 0, "used": 0, "refused": 0}
    outcome |= {"first": None, "last": None, "facts": {}}
    batch.outcomes.append((row["file"], outcome))
    if not path.is_file():
        _refuse(work, row, outcome, "its kept copy is missing", state="lost")
        return
    kind, reason = classify(path)
    outcome["kind"] = kind
    if kind in ("ignored", "register"):
        _refuse(work, row, outcome, _REGISTER if kind == "register" else f"not taken: {reason}")
    elif kind == "export":
        _read_export(work, row, path, batch, outcome)


def _refuse(work: Work, row: Row, outcome: dict[str, object], why: str, *, state: str = "refused") -> None:
    outcome["state"] = state
    outcome["facts"] = {"problem": why}
    work.remarks.append(f"{row['name']}: {why}")


def _read_export(work: Work, row: Row, path: Path, batch: _Batch, outcome: dict[str, object]) -> None:
    try:
        reading = read_exports([path], work.options, orders=batch.orders)
    except ExcursionsError as error:
        state = "waiting" if isinstance(error, OrderOpenError) else "refused"
        _refuse(work, row, outcome, _as_named(str(error), path, row["name"]), state=state)
        return
    if any(report.sha256 != row["sha256"] for report in reading.files if report.path == str(path)):
        _refuse(work, row, outcome, "its kept copy is damaged and is set aside", state="lost")
        set_aside(work.site, path)
        return
    for kind, orders in reading.orders.items():
        batch.orders.setdefault(kind, set()).update(orders)
    for tag, series in reading.series.items():
        batch.rows.setdefault(tag, []).append(Rows.of(series, row["file"]))
        batch.words.append((tag, row["file"], series.unit, series.description))
        batch.series.setdefault(tag, series)
    outcome |= _file_facts(reading, path, row["name"])
    if reading.refused.height:
        write_file(path.parent / "refused.csv", reading.refused.write_csv().encode())


def _as_named(text: str, path: Path, name: str) -> str:
    return text.replace(str(path), name)


def _file_facts(reading: Reading, path: Path, name: str) -> dict[str, object]:
    reports = [asdict(report) | {"path": _as_named(report.path, path, name)} for report in reading.files]
    firsts = [report.first for report in reading.files if report.first is not None]
    lasts = [report.last for report in reading.files if report.last is not None]
    decisions = [
        {key: _as_named(text, path, name) for key, text in asdict(decision).items()}
        for decision in reading.decisions
    ]
    return {
        "rows": sum(report.rows for report in reading.files),
        "used": sum(report.used for report in reading.files),
        "refused": sum(report.refused for report in reading.files),
        "first": min(firsts, default=None),
        "last": max(lasts, default=None),
        "facts": {
            "files": reports,
            "decisions": decisions,
            "words": reading.status_words.to_dicts(),
            "problems": [_as_named(str(problem), path, name) for problem in reading.problems],
        },
    }


# --- merging -------------------------------------------------------------------------------------------------------


def _homes(work: Work, batch: _Batch) -> dict[str, str]:
    """Under which point each tag of the batch is kept: as before, else by the plant as it looks now."""
    known = {row["tag"]: str(row["home"]) for row in work.ledger.rows("SELECT tag, home FROM tags")}
    if any(tag not in known for tag in batch.rows):
        from excursions.site.evidence import tag_homes

        known = tag_homes(work, batch.series) | known
    return {tag: known.get(tag, tag) for tag in batch.rows}


def _merged(work: Work, batch: _Batch, homes: Mapping[str, str]) -> tuple[list[NewPart], list[Part]]:
    """Parts to write and parts they replace."""
    ranks = _ranks(work.ledger)
    months: dict[tuple[str, str], dict[str, Rows]] = {}
    for tag in sorted(batch.rows):
        rows = resolved(joined(batch.rows[tag]), ranks)
        for month, start, end in months_of(rows.time):
            months.setdefault((homes[tag], month), {})[tag] = cut(rows, start, end)
    fresh: list[NewPart] = []
    gone: list[Part] = []
    for (home, month), tags in sorted(months.items()):
        made, replaced = _merge_month(work, home, month, tags, ranks)
        fresh += made
        gone += replaced
    return fresh, gone


def _ranks(ledger: Ledger) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Place of every file in the order of reading, by file number."""
    rows = ledger.rows("SELECT file, name, arrival FROM files")
    ordered = sorted(rows, key=lambda row: reading_order(row["name"], row["arrival"]))
    ranks = np.zeros(max((row["file"] for row in rows), default=0) + 1, np.int64)
    ranks[[row["file"] for row in ordered]] = np.arange(len(ordered))
    return ranks


def _merge_month(
    work: Work,
    home: str,
    month: str,
    tags: dict[str, Rows],
    ranks: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> tuple[list[NewPart], list[Part]]:
    live = live_parts(work.ledger, "home = ? AND month = ?", (home, month))
    if not live:
        return [new_part(home, month, tags)], []
    if len(live) < MOST_PIECES and _comes_after(tags, live):
        return [new_part(home, month, tags)], []
    old: dict[str, list[Rows]] = {}
    replaced = []
    for part in live:
        try:
            for tag, rows in load(work.site.root, part).items():
                old.setdefault(tag, []).append(rows)
            replaced.append(part)
        except PartDamagedError:
            mend(work, part)
    merged = {
        tag: resolved(joined([*old.get(tag, []), *([tags[tag]] if tag in tags else [])]), ranks)
        for tag in {*old, *tags}
    }
    made = new_part(home, month, merged)
    if len(replaced) == len(live) and _adds_nothing(merged, old, live):
        return [], []
    return [made], replaced


def _comes_after(tags: Mapping[str, Rows], live: Sequence[Part]) -> bool:
    """Whether all new rows lie after those of the same tag: then they may be a part of their own."""
    last = {
        tag: max(part.spans[tag][1] for part in live if tag in part.spans)
        for part in live
        for tag in part.spans
    }
    return all(int(rows.time[0]) > last[tag] for tag, rows in tags.items() if tag in last)


def _adds_nothing(
    merged: Mapping[str, Rows], old: Mapping[str, Sequence[Rows]], live: Sequence[Part]
) -> bool:
    """Whether the new rows were all there already, from the same files."""
    if len(live) >= MOST_PIECES or set(merged) != set(old):
        return False
    for tag, rows in merged.items():
        before = joined(sorted(old[tag], key=lambda piece: int(piece.time[0])))
        if not (
            np.array_equal(rows.time, before.time)
            and np.array_equal(rows.file, before.file)
            and np.array_equal(rows.value, before.value, equal_nan=True)
            and np.array_equal(rows.quality, before.quality)
        ):
            return False
    return True


def live_parts(ledger: Ledger, where: str = "1", values: tuple[object, ...] = ()) -> list[Part]:
    """Live parts, by point, month and time."""
    sql = f"SELECT path, home, month, sha256, bytes, rows, first, last, spans FROM parts WHERE {where}"
    return [part_of_row(dict(row)) for row in ledger.rows(f"{sql} ORDER BY home, month, first, path", values)]


def _record(
    connection: Connection,
    batch: _Batch,
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
        [_part_row(part) for part in fresh],
    )
    _record_words(connection, batch, homes)


def _part_row(made: NewPart) -> tuple[object, ...]:
    part = made.part
    spans = json.dumps(part.spans, sort_keys=True, ensure_ascii=False)
    return (
        part.path, part.home, part.month, part.sha256, part.bytes, part.rows, part.first, part.last, spans, made.looks,
    )  # fmt: skip


def _record_words(connection: Connection, batch: _Batch, homes: Mapping[str, str]) -> None:
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


# --- damage --------------------------------------------------------------------------------------------------------


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


def reading_key(options: ReadOptions) -> str:
    """What decides how a file is read; the archive is only good for the key it was read with."""
    words = sorted(options.quality_words.items())
    plain = (options.tz, options.decimal_mark, options.separator, options.date_order, options.encoding, words)
    return json.dumps(plain, ensure_ascii=False)
