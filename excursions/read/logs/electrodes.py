"""Whether a row of a log is of a pH electrode, by what stands in it."""

from __future__ import annotations

import re

from excursions.measurands import MEASURANDS
from excursions.read.logs.cells import Row
from excursions.read.logs.table import LogTable, cell_at
from excursions.read.text.fold import plain
from excursions.read.text.numbers import is_nothing

_SAID_IN = ("point", "measurand", "model", "action", "probe", "comment")
_TOKEN = re.compile(r"[a-z]+[0-9]?|[a-z0-9]+")
_OTHERS = [row for row in MEASURANDS.values() if row.key not in ("ph", "temperature", "other")]
_TOKENS = frozenset(token for row in _OTHERS for token in row.tokens)
_BEGINNINGS = tuple(word for row in _OTHERS for word in (*row.beginnings, *row.shortened))


def of_ph(table: LogTable, row: Row) -> bool:
    """Whether nothing in a row names another quantity, and a slope, a buffer or the word pH stands in it or over it."""
    if of_another(table, row):
        return False
    words = _said_in(table, row)
    beside = [m for at, m in enumerate(table.meanings) if not is_nothing(cell_at(row, at))]
    standards = " ".join(cell_at(row, at) for at in table.columns("standard"))
    if re.search(r"(?i)\b(?:mv|[um]s|ntu|fnu)\b", plain(standards)):
        return False
    sloped = any(m.kind == "figure" and "slope" in m.figure for m in beside)
    buffered = any(m.kind == "standard" or (m.fixed and m.fixed.unit == "pH") for m in beside)
    return sloped or buffered or "ph" in words or any("ph" in _words(header) for header in table.headers)


def of_another(table: LogTable, row: Row) -> bool:
    """Whether something in a row names a quantity that is not pH."""
    words = _said_in(table, row)
    return bool(words & _TOKENS) or any(word.startswith(_BEGINNINGS) for word in words)


def _said_in(table: LogTable, row: Row) -> set[str]:
    return _words(" ".join(table.cell(row, kind) for kind in _SAID_IN))


def _words(text: str) -> set[str]:
    return set(_TOKEN.findall(plain(text).casefold()))
