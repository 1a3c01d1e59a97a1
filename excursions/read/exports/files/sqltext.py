"""A dump of a data base as text: the rows of its INSERT statements as tables.  Nothing of it is run."""

from __future__ import annotations

import re
from collections.abc import Mapping

import polars as pl

from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.files.lookups import lookups
from excursions.read.exports.layouts.naming import unique
from excursions.read.model import ReadOptions
from excursions.read.text.lines import encoding_of

_START = re.compile(rb"(?im)^\s*(?:INSERT|REPLACE)\s+INTO\s+\S+\s*(?:\([^)]*\)\s*)?VALUES\b")
_NAME = r"[\w.$`\"\[\]]+"
_TEXT = r"[NnEe]?'(?:[^'\\]|''|\\.)*'"
_CREATE = re.compile(
    rf"(?is)^\s*CREATE\s+TABLE\s+(?:IF NOT EXISTS\s+)?({_NAME})\s*\((.*?)\)[^;()]*;\s*?$", re.M
)
_INSERT = rf"(?i)(?:INSERT|REPLACE)\s+INTO\s+{_NAME}\s*(?:\([^)]*\)\s*)?VALUES"
_INNER = rf"\((?:[^()']|{_TEXT})*\)"  # what a function is given: CAST('2025-03-17' AS datetime)
_TUPLE = rf"\((?:[^()']|{_TEXT}|{_INNER})*\)"
# DATE '2026-03-14', '2026-03-14'::date
_TYPE = r"(?:timestamp|datetime|date|time)(?: with(?:out)? time zone)?"
_CELL = rf"\s*((?:(?i:{_TYPE})\s*)?{_TEXT}(?:::[\w ]+)?|[^,'()]*(?:{_INNER})?)\s*"
_NO_COLUMNS = frozenset(("primary", "key", "constraint", "unique", "index", "foreign", "check"))
_MOST_COLUMNS = 200


def is_sql(start: bytes) -> bool:
    """Whether a text holds statements that put rows into a table."""
    return _START.search(start) is not None


def sql_tables(content: Content, options: ReadOptions) -> Opened:
    """A table for each that the statements fill; row n is the n-th put into it."""
    data = content.whole()
    encoding, mark = encoding_of(data[:65_536], options.encoding)
    text = data[mark:].decode(encoding, errors="replace")
    columns = {_bare(match[1]): _columns(match[2]) for match in _CREATE.finditer(text)}
    found = pl.Series([_CREATE.sub("", text)]).str.extract_all(f"{_INSERT}|{_TUPLE}").explode()
    rows = pl.DataFrame({"said": found}).with_columns(
        put=pl.when(pl.col("said").str.contains(r"^[A-Za-z]")).then(pl.col("said")).forward_fill()
    )
    rows = rows.filter(pl.col("put").is_not_null() & (pl.col("said") != pl.col("put")))
    rows = rows.with_columns(
        into=pl.col("put").str.extract(rf"(?i)INTO\s+({_NAME})"),
        names=pl.col("put").str.extract(rf"(?i)INTO\s+{_NAME}\s*\(([^)]*)\)").fill_null(""),
    )
    frames: list[tuple[str, pl.DataFrame]] = []
    for (into, names), part in rows.group_by("into", "names", maintain_order=True):
        name = _bare(str(into))
        stated = [_bare(cell) for cell in str(names).split(",")] if names else columns.get(name, [])
        frames.append((name, _cells(part["said"], stated)))
    words = ", ".join(part for part in ("SQL statements", content.packing) if part)
    known = dict(frames)
    for name, frame in frames:
        whole = _named(name, frame, known)
        yield f"{content.name}!{name}", FrameTable(frame=whole.lazy(), words=words, height=frame.height)


def _named(table: str, frame: pl.DataFrame, known: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """The rows of a table, numbers that point to a table of names replaced by the names."""
    columns = {name: other.columns for name, other in known.items()} | {table: frame.columns}
    for lookup in lookups(table, columns):
        names = known[lookup.other].unique(lookup.key, keep="first", maintain_order=True)
        table_of = dict(zip(names[lookup.key].to_list(), names[lookup.name].to_list(), strict=True))
        said = pl.col(lookup.column).replace(table_of).alias(lookup.called)
        more = [said]
        if lookup.unit and "unit" not in map(str.lower, frame.columns):
            units = dict(zip(names[lookup.key].to_list(), names[lookup.unit].to_list(), strict=True))
            more.append(pl.col(lookup.column).replace_strict(units, default=None).alias("unit"))
        frame = frame.with_columns(more)
        frame = frame if lookup.called == lookup.column else frame.drop(lookup.column)
    return frame


def _cells(rows: pl.Series, names: list[str]) -> pl.DataFrame:
    """The rows cut into cells, those that have others than the first in one cell; quotes and NULL taken off."""
    width = len(names) or min(_MOST_COLUMNS, re.sub(f"{_TEXT}|{_INNER}", "", rows[0][1:-1]).count(",") + 1)
    groups = rows.str.extract_groups(rf"(?s)^\({','.join([_CELL] * width)}\)$").struct.unnest()
    whole = groups.get_columns()[0].is_not_null()
    headers = names or [f"column_{index + 1}" for index in range(width)]
    cells: list[pl.Series] = []
    for index, (header, column) in enumerate(zip(unique(headers), groups.get_columns(), strict=True)):
        text = column.str.replace(r"(?is)^CAST\((.*) AS .*\)$", "$1").str.strip_chars()
        text = text.str.replace(rf"(?is)^(?:{_TYPE}\s*)?({_TEXT})(?:::[\w ]+)?$", "$1")
        text = text.str.replace(r"(?s)^[NnEe]?'(.*)'$", "$1").str.replace_all("''", "'", literal=True)
        text = pl.select(pl.when(text.str.to_lowercase() == "null").then(None).otherwise(text)).to_series()
        if index == 0 and not whole.all():
            text = pl.select(pl.when(whole).then(text).otherwise(rows)).to_series()
        cells.append(text.alias(header))
    return pl.DataFrame(cells)


def _columns(body: str) -> list[str]:
    """Names of the columns in a statement that makes a table."""
    parts = re.split(r",(?![^(]*\))", body)
    names = [match[1] for part in parts if (match := re.match(r"\s*([\w`\"\[\]$]+)\s+\w", part))]
    return [_bare(name) for name in names if _bare(name).casefold() not in _NO_COLUMNS]


def _bare(name: str) -> str:
    return name.strip(' \t\r\n`"[]').rpartition(".")[2].strip('`"[]')
