"""What went into the run and what was assumed, as rows; reads ``ScanResult.run`` without trusting its shape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath

from dashboards.wording import Reader, thousands
from excursions.clock import to_ns
from excursions.records import Decision
from excursions.report.result import ScanResult
from excursions.report.wording import row_account


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One file that went in."""

    role: str
    path: str
    rows: str
    refused: str
    note: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """Identity, inputs, counts, problems and decisions of a run, as text."""

    identity: str
    version: str
    versions: str
    sources: tuple[Source, ...]
    account: str
    refused: int
    problems: tuple[str, ...]
    status_words: tuple[str, ...]
    decisions: tuple[Decision, ...]


def run_content(result: ScanResult, reader: Reader) -> RunFacts:
    """Everything a reader needs to know about where the findings come from."""
    run = result.run
    inputs = _mapping(run.get("inputs"))
    rows = _mapping(run.get("rows"))
    return RunFacts(
        identity=str(run.get("run", "not named")),
        version=str(run.get("version", "")),
        versions=", ".join(
            f"{name} {value}" for name, value in sorted(_mapping(run.get("versions")).items())
        ),
        sources=tuple(_sources(inputs, reader)),
        account=_account(rows),
        refused=_whole(rows.get("refused")),
        problems=tuple(reader.text(str(text)) for text in _sequence(run.get("problems"))),
        status_words=tuple(_status(word) for word in _sequence(run.get("status_words"))),
        decisions=grouped(result.decisions, reader),
    )


def _account(rows: Mapping[str, object]) -> str:
    """The rows as a sum; empty where they were not counted."""
    if "read" not in rows:
        return ""
    names = ("read", "used", "duplicates", "conflicts", "refused")
    return f"Rows: {row_account(*(_whole(rows.get(name)) for name in names))}.".replace(",", "\u202f")


def grouped(decisions: Sequence[Decision], reader: Reader) -> tuple[Decision, ...]:
    """Decisions that differ only in what they are about, as one row; in the order they were made."""
    subjects: dict[tuple[str, str, str], list[str]] = {}
    for row in decisions:
        names = subjects.setdefault((row.what, row.why, row.option), [])
        name = short_path(row.subject)
        if name not in names:
            names.append(name)
    return tuple(
        Decision(
            subject=", ".join(names),
            what=reader.text(_key_in_words(what)),
            why=reader.text(why),
            option=option,
        )
        for (what, why, option), names in subjects.items()
    )


def _key_in_words(what: str) -> str:
    """``temperature_unit: degC`` with its key as people write it; the value stays as it is."""
    key, colon, value = what.partition(": ")
    return f"{key.replace('_', ' ')}{colon}{value}" if colon else what


def _sources(inputs: Mapping[str, object], reader: Reader) -> list[Source]:
    found = [
        _source(role, _mapping(facts), reader)
        for key, role in (
            ("exports", "export"),
            ("calibrations", "calibration log"),
            ("samples", "laboratory samples"),
        )
        for facts in _sequence(inputs.get(key))
    ]
    if inputs.get("register"):
        row = _mapping(inputs["register"])
        found.append(
            Source(
                role="register", path=_name(row.get("path", "")), rows="", refused="", note="",
                sha256=str(row.get("sha256", "")),
            )
        )  # fmt: skip
    for facts in _sequence(inputs.get("ignored")):
        row = _mapping(facts)
        found.append(
            Source(
                role="left out", path=_name(row.get("file", "")), rows="", refused="",
                note=str(row.get("reason", "")), sha256="",
            )
        )  # fmt: skip
    return found


def _source(role: str, facts: Mapping[str, object], reader: Reader) -> Source:
    notes = [str(facts[key]) for key in ("dialect", "shape", "layout") if facts.get(key)]
    if facts.get("first") and facts.get("last"):
        notes.append(f"{_moment(facts['first'], reader)} to {_moment(facts['last'], reader)}")
    return Source(
        role=role,
        path=_name(facts.get("path", "")),
        rows=_count(facts.get("rows")),
        refused=_count(facts.get("refused")),
        note=", ".join(notes),
        sha256=str(facts.get("sha256", "")),
    )


def _moment(text: object, reader: Reader) -> str:
    """An ISO 8601 instant on the plant's clock; other text as it is."""
    try:
        return reader.moment(to_ns(datetime.fromisoformat(str(text))))
    except ValueError:
        return str(text)


def short_path(text: str) -> str:
    """The last two parts of what looks like a path: enough to know the file, no more of somebody's machine."""
    parts = text.split("/")
    return "/".join(parts[-2:]) if len(parts) > 2 and " " not in parts[0] else text


def _name(path: object) -> str:
    return short_path(PurePath(str(path)).as_posix())


def _status(word: object) -> str:
    row = _mapping(word)
    return ", ".join(str(value) for value in row.values()) if row else str(word)


def _mapping(value: object) -> Mapping[str, object]:
    return value if isinstance(value, Mapping) else {}


def _sequence(value: object) -> Sequence[object]:
    return value if isinstance(value, Sequence) and not isinstance(value, str) else ()


def _whole(value: object) -> int:
    return value if isinstance(value, int) else 0


def _count(value: object) -> str:
    return thousands(value) if isinstance(value, int) else ""
