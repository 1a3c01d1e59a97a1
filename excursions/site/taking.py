"""Reading kept files one by one; whatever is wrong with one becomes its state in the ledger, never an end of the run."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from sqlite3 import Row

from excursions.errors import ExcursionsError
from excursions.read import Reading, read_exports
from excursions.read.exports.files.sources import digest_of_set
from excursions.read.exports.plantimes import OrderOpenError
from excursions.read.members import MARK
from excursions.read.sorting import classify, packed_apart
from excursions.records import TagSeries
from excursions.site.archive import Rows
from excursions.site.durable import write_file
from excursions.site.inbox import piece_root
from excursions.site.mending import set_aside
from excursions.site.work import Work

_REGISTER = "a plant register is not taken from the inbox; write it to register.toml of the site"


@dataclass(slots=True, kw_only=True)
class Batch:
    """What reading some files gave: rows by tag, words about tags, and a row of facts a file."""

    rows: dict[str, list[Rows]] = field(default_factory=dict)
    words: list[tuple[str, int, str, str]] = field(default_factory=list)
    outcomes: list[tuple[int, dict[str, object]]] = field(default_factory=list)
    orders: dict[str, set[str]] = field(default_factory=dict)
    series: dict[str, TagSeries] = field(default_factory=dict)


def outcome_of(batch: Batch, file: int) -> dict[str, object]:
    """The facts of one file of a batch."""
    return next(facts for number, facts in batch.outcomes if number == file)


def read_one(work: Work, row: Row, batch: Batch) -> None:
    """Read one kept file; whatever is wrong with it becomes its state, never an end of the run."""
    path = work.site.inside(row["kept"])
    outcome: dict[str, object] = {"kind": "", "state": "in", "rows": 0, "used": 0, "refused": 0}
    outcome |= {"first": None, "last": None, "facts": {}}
    batch.outcomes.append((row["file"], outcome))
    if not path.is_file():
        _refuse(work, row, outcome, "its kept copy is missing", state="lost")
        return
    kind, reason = classify(path) if piece_root(path) is None else ("export", "")
    outcome["kind"] = kind
    if kind in ("ignored", "register"):
        _refuse(work, row, outcome, _REGISTER if kind == "register" else f"not taken: {reason}")
    elif kind == "export":
        _read_export(work, row, path, batch, outcome)


def _refuse(work: Work, row: Row, outcome: dict[str, object], why: str, *, state: str = "refused") -> None:
    outcome["state"] = state
    outcome["facts"] = {"problem": why}
    if json.loads(row["facts"]).get("problem") != why:  # a file that waits is named once
        work.remarks.append(f"{row['name']}: {why}")


def _read_export(work: Work, row: Row, path: Path, batch: Batch, outcome: dict[str, object]) -> None:
    read = piece_root(path) or path
    inside = packed_apart(read)
    apart = frozenset(str(member) for member, _ in inside)
    try:
        reading = read_exports([read], replace(work.options, apart=apart), orders=batch.orders)
    except ExcursionsError as error:
        state = "waiting" if isinstance(error, OrderOpenError) else "refused"
        _refuse(work, row, outcome, _as_named(str(error), read, row["name"]), state=state)
        return
    sha256 = row["sha256"] if read == path else digest_of_set(read, [(path, row["sha256"])])
    if any(report.sha256 != sha256 for report in reading.files if report.path == str(read)):
        _refuse(work, row, outcome, "its kept copy is damaged and is set aside", state="lost")
        set_aside(work.site, path)
        return
    for kind, orders in reading.orders.items():
        batch.orders.setdefault(kind, set()).update(orders)
    for tag, series in reading.series.items():
        batch.rows.setdefault(tag, []).append(Rows.of(series, row["file"]))
        batch.words.append((tag, row["file"], series.unit, series.description))
        batch.series.setdefault(tag, series)
    outcome |= _file_facts(
        reading, read, row["name"], [(str(one).rpartition(MARK)[2], held) for one, held in inside]
    )
    if reading.refused.height:
        write_file(work.site.refused_of(row["sha256"]), reading.refused.write_csv().encode())


def _as_named(text: str, path: Path, name: str) -> str:
    return text.replace(str(path), name)


def _file_facts(
    reading: Reading, path: Path, name: str, apart: Sequence[tuple[str, str]]
) -> dict[str, object]:
    """What the ledger keeps of a file; `apart`: logs and lists of samples in it beside the exports, and their kinds."""
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
            "apart": apart,
            "decisions": decisions,
            "words": [
                word | {"file": _as_named(word["file"], path, name)}
                for word in reading.status_words.to_dicts()
            ],
            "problems": [_as_named(str(problem), path, name) for problem in reading.problems],
        },
    }
