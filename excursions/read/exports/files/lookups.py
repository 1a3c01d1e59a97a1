"""Numbers of a table that point to names kept in another table of the same data base."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from excursions.read.text.words import roles_of

_TEXTS = ("name", "text", "label", "description", "code", "title", "value", "meaning", "word", "state")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookup:
    """A column whose numbers stand for what `name` says in table `other`, in the row whose `key` is the number.

    called : what the column is called with the names in it; unit : the column of `other` with the unit of each, or empty
    """

    column: str
    other: str
    key: str
    name: str
    called: str
    unit: str = ""


def lookups(table: str, tables: Mapping[str, Sequence[str]]) -> list[Lookup]:
    """The columns of a table that point to another one: the signal first found, and the quality.

    ``tag_id`` beside a table ``tags`` with ``id`` and ``name``; ``status_id`` beside ``statuses`` with ``id`` and ``text``;
    ``sid`` that is the first column of a table of signals as well.
    """
    found: list[Lookup] = []
    for column in tables[table]:
        stem = _stem(column)
        role = next((role for role in ("tag", "quality") if stem and role in roles_of(stem)), "")
        if not role and (shared := _shared(table, column, tables)):
            stem, role = shared
        called = role if role == "tag" else stem
        if not stem or any(lookup.called == called for lookup in found):
            continue
        others = [other for other in tables if other != table and _key(tables[other], column)]
        near = [
            other
            for other in others
            if _is_of(other, stem) or column.lower() in map(str.lower, tables[other])
        ]
        for other in near or [
            other for other in others if role == "tag" and _of_signals(other, tables[other])
        ]:
            lookup = _lookup(column, other, tables[other], role, stem)
            if lookup is not None and not any(lookup.called == known.called for known in found):
                found.append(lookup)
                break
    return found


def _shared(table: str, column: str, tables: Mapping[str, Sequence[str]]) -> tuple[str, str] | None:
    """What a column stands for, and its role, where it is the first one of a table of signals or of states as well."""
    if _PRODUCTION.fullmatch(column) or roles_of(column) & {"time", "date", "clock", "value"}:
        return None
    for other, columns in tables.items():
        if other == table or not columns or columns[0].lower() != column.lower() or column.lower() == "id":
            continue
        if _of_signals(other, columns):
            return "tag", "tag"
        if any("quality" in roles_of(word) for word in _words(other)):
            return "quality", "quality"
    return None


def _of_signals(table: str, columns: Sequence[str]) -> bool:
    """Whether a table lists signals: by its name, or because it gives a unit of each."""
    words = _words(table)
    if any(_PRODUCTION.fullmatch(word) for word in words):
        return False
    named = _SIGNALS.search(table) or any("tag" in roles_of(word) for word in words)
    return bool(named) or any("unit" in roles_of(name) for name in columns)


_SIGNALS = re.compile(r"(?i)tag|signal|point|channel|kanal|sensor|variable|messstelle")


def _words(table: str) -> list[str]:
    """The words of a table's name, each as one of them too: ``dim_signals``."""
    words = re.findall(r"[a-z]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", table).lower())
    return [form for word in words for form in (word, word.removesuffix("s"), word.removesuffix("es"))]


_ENDING = re.compile(r"(?i)(?<=\w)[_ -]?(id|no|nr|num|number|nummer|key|idx|ref)$")
_POINTING = re.compile(rf"{_ENDING.pattern}|(?i:(?<=\w)[_ -]?(code)$)")
# What a production is called by: it says nothing of whose reading a row is.
_PRODUCTION = re.compile(
    r"(?i)batch|charge|lot|los|order|auftrag|product|produkt|recipe|rezept|campaign|kampagne|shift|schicht|user|operator|bediener|customer|kunde|run"
)


def _stem(column: str) -> str:
    """``tag_id``, ``TagNo``, ``tagid`` and ``state_code`` without their ending; empty where they have none, or name a production."""
    match = _POINTING.search(column)
    stem = column[: match.start()] if match else ""
    return "" if _PRODUCTION.fullmatch(stem) else stem


def _key(columns: Sequence[str], column: str) -> str:
    match = _POINTING.search(column)
    keys = ("id", (match[1] or match[2]).lower() if match else "id", column.lower())
    return next((name for name in columns if name.lower() in keys), "")


def _is_of(table: str, stem: str) -> bool:
    """Whether a table is named after what it holds one of a row: ``statuses`` for ``status``."""
    name, of = table.lower().rpartition(".")[2], stem.lower()
    return name in (of, f"{of}s", f"{of}es") or name.endswith((f"_{of}", f"_{of}s", f"_{of}es"))


def _lookup(column: str, other: str, columns: Sequence[str], role: str, stem: str) -> Lookup | None:
    key = _key(columns, column)
    if any("time" in roles_of(name) for name in columns):
        return None
    left = [name for name in columns if name != key and not _ENDING.search(name)]
    named = next((name for name in left if "tag" in roles_of(name)), "")
    if role == "quality" or (not named and role):
        named = next((name for name in left if name.lower() in _TEXTS or role in roles_of(name)), "")
    if not named or (not role and "tag" not in roles_of(named)):
        return None
    unit = next((name for name in left if "unit" in roles_of(name)), "")
    called = stem if role == "quality" else "tag"
    return Lookup(
        column=column, other=other, key=key, name=named, called=called, unit="" if role == "quality" else unit
    )
