"""Lists that mix readings with alarms and messages: a column says of each row what it is."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.text.fold import plain
from excursions.records import BoolArray, Decision

_EVENT_WORDS = (
    "alarm|alarms|alm|alrm|al|ack|acked|acknowledge|acknowledged|acknowledgement|event|events|evt|rtn|return|return to normal|normal|clear|cleared|warning|warn|"
    "operator|operator action|action|message|msg|system|sys|info|note|comment|login|logout|audit|command|cmd|change|hi|hihi|lo|lolo|trip|"
    "meldung|storung|stormeldung|quittierung|quittiert|ereignis|kommt|geht|bedienung|warnung|bedienereingriff|alarme|evenement|acquittement|message operateur|alarma|evento|"
    "reconocimiento|reconhecimento|allarme|messaggio|melding|gebeurtenis|handelse|larm|zdarzenie|komunikat|アラーム|警報|イベント|报警|事件|告警"
)
_READING_WORDS = (
    "value|val|values|data|sample|samples|reading|readings|measurement|meas|analog|analogue|process|pv|trend|history|hist|archive|log|"
    "wert|messwert|messung|analogwert|valeur|mesure|valor|medida|medicion|medicao|valore|misura|waarde|meetwaarde|varde|matvarde|wartosc|pomiar|値|測定値|数值|测量值|数据"
)
_EVENTS, _READINGS = (frozenset(words.split("|")) for words in (_EVENT_WORDS, _READING_WORDS))


def kinds_of_rows(sheet: Sheet, used: set[int]) -> Column | None:
    """The column that says whether a row is a reading or a message, where its words are known and it holds both."""
    for column in sheet.columns:
        said = {_folded(cell) for cell in column.cells if cell}
        if column.index not in used and said & _EVENTS and said & _READINGS and said <= _EVENTS | _READINGS:
            return column
    return None


def told(sheet: Sheet, column: Column) -> Decision:
    """What is said of it."""
    words = sorted({cell for cell in column.cells if cell and _folded(cell) in _EVENTS})
    return Decision(
        subject=sheet.stem, what=f'rows with {_listed(words)} in column "{column.header or column.index + 1}" are messages and no readings',
        why="its other words name readings", option="export the readings alone",
    )  # fmt: skip


def are_messages(cells: pl.Series) -> BoolArray:
    """Which rows (n,) are messages."""
    texts = cells.cast(pl.String, strict=False).fill_null("")
    known = {text: _folded(text) in _EVENTS for text in texts.unique().to_list()}
    return texts.replace_strict(known, return_dtype=pl.Boolean).to_numpy()


def _folded(text: str) -> str:
    return plain(text).strip().casefold()


def _listed(words: Sequence[str]) -> str:
    return ", ".join(f'"{word}"' for word in words[:4]) + (" and others" if len(words) > 4 else "")
