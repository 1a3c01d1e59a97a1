"""JSON that is no list of records: times as keys, names beside rows of values, readings by a step from a start.

Such a file is walked through as it stands and written out as records.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.layouts.naming import unique
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.exports.times.timeshapes import shape_of
from excursions.read.exports.upright.counted import START, STEP, start_in, step_in, steps_from
from excursions.read.text.words import fold, roles_of

Record = dict[str, Any]

_NAMES = ("columns", "fields", "names", "header", "headers", "tags", "signals", "channels")
_ROWS, _VALUES = ("data", "rows", "values", "records"), ("values", "data", "readings", "samples", "y")
_TIME_KEY = re.compile(rb'"(?:\d{4}-?\d\d-?\d\d[^"\n]{0,30}|\d{9,19})"\s*:\s*[-\d"{n\[]')
_SPLIT = re.compile(rf'"(?:{"|".join(_NAMES)})"\s*:\s*\['.encode())
_STEP_KEY = re.compile(rb'"[\w ]*(?:interval|step|period|resolution|dt)[\w ]*"\s*:\s*["\d]', re.IGNORECASE)
_BARE = re.compile(rb"(?:\xef\xbb\xbf)?\s*\[\s*\[")
_DEEPEST = 20


class _PlainRecordsError(Exception):
    """The file holds usual records too: read as one of these shapes, they would be lost."""


def is_odd(start: bytes) -> bool:
    """Whether the first bytes of a JSON file show one of these shapes."""
    return any(pattern.search(start) for pattern in (_TIME_KEY, _SPLIT, _STEP_KEY))


def rows_of(data: bytes) -> list[list[str]] | None:
    """The cells of an array of arrays, ``[["time", "AT-101"], ["2025-03-04 08:00", 7.02], ...]``; None where it is none.

    Raises
    ------
    InputFileError
        If it is no sound JSON.
    """
    if not _BARE.match(data):
        return None
    rows = _loaded(data)
    if not isinstance(rows, list) or not all(isinstance(row, list) for row in rows):
        return None
    if any(isinstance(cell, (dict, list)) for row in rows for cell in row):
        return None
    return [[_text(cell) or "" for cell in row] for row in rows]


def records_of(data: bytes, order: str) -> pl.DataFrame | None:
    """A row a record, all cells as texts; None where the file holds none of these shapes.

    Raises
    ------
    InputFileError
        If it is no sound JSON, or readings by a step state no unit of it.
    """
    whole = _loaded(data)
    try:
        records = list(_walk(whole, (), {}, order))
    except _PlainRecordsError:
        return None
    if not records:
        return None
    names = list(dict.fromkeys(name for record in records for name in record))
    columns = {name: [_text(record.get(name)) for record in records] for name in names}
    return pl.DataFrame(columns, schema=dict.fromkeys(names, pl.String))


def _loaded(data: bytes) -> object:
    try:
        return json.loads(data, parse_float=str, parse_int=str)
    except (ValueError, RecursionError) as error:
        raise InputFileError(
            found=f"a JSON file that cannot be read ({error})", expected="a sound one", mend="copy or export it again"
        ) from error  # fmt: skip


def _text(value: object) -> str | None:
    if value is None or isinstance(value, str):
        return value
    return json.dumps(value, ensure_ascii=False)


def _walk(node: object, path: tuple[str, ...], said: Mapping[str, str], order: str) -> Iterator[Record]:
    """Records below a node; `path` are the keys that lead to it, `said` the tag and unit stated on the way."""
    if len(path) > _DEEPEST:
        return
    if isinstance(node, list):
        if any(_is_record(child) for child in node):
            raise _PlainRecordsError
        for child in node:
            yield from _walk(child, path, said, order)
        return
    if not isinstance(node, dict):
        return
    said = {**said, **_stated(node)}
    found = _by_times(node, path, said) or _split(node, said) or _by_steps(node, path, said, order)
    if found:
        yield from found
        return
    for key, child in node.items():
        if isinstance(child, (dict, list)):
            yield from _walk(child, (*path, key), said, order)


def _is_record(node: object) -> bool:
    """Whether a member of an array is a record or a pair of its own, with a time in it."""
    if isinstance(node, list):
        return any(_is_time(value) for value in node)
    flat = isinstance(node, dict) and not any(isinstance(value, (dict, list)) for value in node.values())
    return (
        flat and isinstance(node, dict) and not _by_times(node, (), {}) and any(map(_is_time, node.values()))
    )


def _stated(node: Mapping[str, Any]) -> dict[str, str]:
    """The name and the unit that an object states of what lies below it."""
    said: dict[str, str] = {}
    for key, value in node.items():
        for role in ("tag", "unit"):
            if isinstance(value, str) and role in roles_of(key) and value:
                said.setdefault(role, value)
    return said


def _by_times(node: Mapping[str, Any], path: tuple[str, ...], said: Mapping[str, str]) -> list[Record]:
    """``{"2025-03-04T08:00Z": 7.02, ...}``: the keys are the times."""
    if not node or not all(shape_of(key) or as_number_time(key) for key in node):
        return []
    tag = said.get("tag") or (path[-1] if path else "")
    found = []
    for key, value in node.items():
        record: Record = {"time": key}
        if not isinstance(value, dict):
            record |= {"tag": tag} if tag else {}
            record["value"] = value
        elif any(roles_of(name) & {"value", "quality"} for name in value):
            record |= ({"tag": tag} if tag else {}) | value
        else:
            record |= {f"{tag}.{name}" if tag else name: each for name, each in value.items()}
        found.append(record)
    return found


def _split(node: Mapping[str, Any], said: Mapping[str, str]) -> list[Record]:
    """``{"columns": [...], "index": [...], "data": [[...], ...]}``; the time may stand unnamed before the names of the signals."""
    names = next((node[key] for key in _NAMES if isinstance(node.get(key), list)), None)
    rows = next((node[key] for key in _ROWS if isinstance(node.get(key), list)), None)
    if not names or not rows or not all(isinstance(row, list) and row for row in rows):
        return []
    rows = _turned(node, names, rows)
    if all(len(row) == len(names) + 1 and _is_time(row[0]) for row in rows):
        names = ["time", *names]
    if not all(len(row) == len(names) for row in rows):
        return []
    titles = unique([_title(name, number) for number, name in enumerate(names, start=1)])
    units: list[object] = next(
        (node[key] for key in node if fold(key) in ("unit", "units") and isinstance(node[key], list)), []
    )
    if len(units) == len(titles):
        titles = [
            f"{title} [{unit}]" if unit and isinstance(unit, str) else title
            for title, unit in zip(titles, units, strict=True)
        ]
    index = node.get("index")
    timed = isinstance(index, list) and len(index) == len(rows) and bool(index) and _is_time(index[0])
    tag = {"tag": said["tag"]} if "tag" in said else {}
    return [
        ({"time": index[at]} if timed and isinstance(index, list) else {})
        | tag
        | dict(zip(titles, row, strict=True))
        for at, row in enumerate(rows)
    ]


def _turned(node: Mapping[str, Any], names: list[Any], rows: list[list[Any]]) -> list[list[Any]]:
    """Rows of time and readings, where the file holds a list a signal beside one of times."""
    times = next((node[key] for key in node if "time" in roles_of(key) and isinstance(node[key], list)), None)
    if not times or len(rows) != len(names) or any(len(row) != len(times) for row in rows):
        return rows
    return [list(row) for row in zip(times, *rows, strict=True)]


def _title(name: object, number: int) -> str:
    """The name of a column, which may be an object that states it."""
    if isinstance(name, dict):
        name = next((name[key] for key in ("name", "text", "title", "label", "id") if name.get(key)), None)
    return name if isinstance(name, str) and name else f"column {number}"


def _is_time(value: object) -> bool:
    return isinstance(value, str) and bool(shape_of(value) or as_number_time(value))


def _by_steps(
    node: Mapping[str, Any], path: tuple[str, ...], said: Mapping[str, str], order: str
) -> list[Record]:
    """``{"start": "2025-03-04T08:00Z", "interval_s": 600, "values": [7.02, ...]}``."""
    values = next((node[key] for key in node if fold(key) in _VALUES and isinstance(node[key], list)), None)
    if not values or any(isinstance(value, (dict, list)) for value in values):
        return []
    start = next(
        (value for key, value in node.items() if START.fullmatch(fold(key)) and _is_time(value)), None
    )
    steps = [
        (key, value) for key, value in node.items() if STEP.fullmatch(fold(key)) and isinstance(value, str)
    ]
    if start is None or not steps:
        return []
    key, text = steps[0]
    step = step_in(text, " ".join(fold(key).split()))
    if not step:
        raise InputFileError(
            found=f'readings by a step ("{key}": {text}) that states no unit', expected="a step such as PT10M or 10 min",
            mend='name the unit ("interval_s": 600), or export a time for each reading',
        )  # fmt: skip
    times = steps_from(start_in(start, order, 0), step, len(values))
    tag = said.get("tag") or (path[-1] if path else "")
    extra = {name: said[name] for name in ("unit",) if name in said}
    return [
        {"time": time, "tag": tag, "value": value} | extra for time, value in zip(times, values, strict=True)
    ]
