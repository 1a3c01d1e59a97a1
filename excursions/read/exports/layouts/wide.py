"""Wide: one time, a column a tag, perhaps a quality column beside each.  One value column alone is one file a tag."""

from __future__ import annotations

import re

from excursions.read.exports.layouts.common import is_counter, is_quality, is_unit, split_unit, time_columns
from excursions.read.exports.plan import Draft, Stream
from excursions.read.exports.sheet import Column, Sheet
from excursions.read.exports.words import fold
from excursions.records import Decision

_QUALITY_END = re.compile(
    r"(?i)[\s._\-:/|\[(]*(quality|qual|status|state|flag|valid|good|q|st|qc|opcquality|qualit\w*|stat)[\])]?$"
)
_VALUE_END = re.compile(r"(?i)[\s._\-:/|\[(]*(value|val|wert|messwert|valor|valeur)[\])]?$")
_TAG_KEYS = ("tag", "tag name", "tagname", "point", "point name", "signal", "name", "item", "messstelle", "kks", "sensor", "channel",
             "parameter", "series", "tag id", "point id", "variable", "kanal", "signal name", "measuring point", "loop")  # fmt: skip
_UNIT_KEYS = (
    "unit",
    "units",
    "eu",
    "uom",
    "engineering unit",
    "engineering units",
    "einheit",
    "unidad",
    "unite",
)
_DESCRIPTION_KEYS = (
    "description",
    "descriptor",
    "desc",
    "beschreibung",
    "descripcion",
    "long name",
    "bezeichnung",
)


def propose(sheet: Sheet) -> Draft | None:
    """A draft when there is a time column and at least one column of values."""
    times = time_columns(sheet)
    if not times:
        return None
    time = min(times, key=lambda columns: ("late_time" in sheet.columns[columns[0]].roles, columns[0]))
    taken = {index for columns in times for index in columns}
    rest = [c for c in sheet.columns if c.index not in taken and not is_counter(c)]
    qualities = {c.index: c for c in rest if _names_quality(c) and is_quality(c)}
    values = [c for c in rest if c.index not in qualities and _is_signal(c)]
    if not values:
        return None
    streams = _streams(sheet, time, values, qualities)
    layout = "wide" if len(values) > 1 else "one tag"
    used = {*taken, *(s.value for s in streams), *(s.quality for s in streams if s.quality is not None)}
    return Draft(layout=layout, streams=streams, decisions=_left_out(sheet, used))


def _is_signal(column: Column) -> bool:
    """Numbers or status words; a named column without any cell in the sample may fill up later."""
    if column.is_value:
        return True
    return not column.filled and bool(column.header) and not column.roles & {"description", "unit", "index"}


def _names_quality(column: Column) -> bool:
    return (
        "quality" in column.roles
        or bool(_QUALITY_END.search(column.header))
        or not column.header
        or (column.filled > 0 and not column.numbers)
    )


def _streams(
    sheet: Sheet, time: tuple[int, ...], values: list[Column], qualities: dict[int, Column]
) -> tuple[Stream, ...]:
    names = _names(sheet, values)
    beside = {c.index: _quality_of(c, values, qualities) for c in values}
    streams = []
    for column, name in zip(values, names, strict=True):
        unit = _unit(sheet, column, len(values) == 1)
        streams.append(
            Stream(
                time=time,
                value=column.index,
                quality=beside[column.index],
                tag=name,
                unit=unit,
                description=_description(sheet, column, name, len(values) == 1),
            )
        )
    return tuple(streams)


def _names(sheet: Sheet, values: list[Column]) -> list[str]:
    """Tag names: headers without value words and known units; where that makes two alike, the headers as they stand."""
    if len(values) == 1:
        return [_single_name(sheet, values[0])]
    bare = [_bare(_header(c)) for c in values]
    full = [_header(c) for c in values]
    names = [b if b and bare.count(b) == 1 else f for b, f in zip(bare, full, strict=True)]
    names = [name or f"{sheet.stem} column {c.index + 1}" for name, c in zip(names, values, strict=True)]
    counts: dict[str, int] = {}
    unique = []
    for name in names:
        counts[name] = counts.get(name, 0) + 1
        unique.append(name if counts[name] == 1 else f"{name} ({counts[name]})")
    return unique


def _header(column: Column) -> str:
    """The cell that names the tag; a unit is not it where another header row has a name."""
    above = next((cell for cell in column.above if cell and not is_unit(cell)), "")
    return above if above and (not column.header or is_unit(column.header)) else column.header


def _bare(header: str) -> str:
    name = split_unit(header)[0]
    return _VALUE_END.sub("", name).strip() or name


def _single_name(sheet: Sheet, column: Column) -> str:
    """The tag of a file that holds one: its header, a line above the table, or the file's name."""
    header = _header(column)
    generic = column.roles & {"value", "average", "other_figure", "tag"} or not fold(header)
    stated = next((sheet.preamble[key] for key in _TAG_KEYS if sheet.preamble.get(key)), "")
    above = next((cell for cell in column.above if cell and not is_unit(cell)), "")
    if generic or (stated and is_unit(header)):
        return stated or above or sheet.stem
    bare = split_unit(header)[0]
    return _VALUE_END.sub("", bare).strip() or bare


def _quality_of(column: Column, values: list[Column], qualities: dict[int, Column]) -> int | None:
    """The quality column of a value column: by its name, else the next one to the right."""
    base = fold(_bare(_header(column)))
    for index, quality in qualities.items():
        stripped = fold(_QUALITY_END.sub("", quality.header))
        if stripped and stripped == base:
            return index
    following = column.index + 1
    if following in qualities and not any(
        fold(_QUALITY_END.sub("", qualities[following].header)) == fold(_bare(_header(other)))
        for other in values
        if other is not column
    ):
        return following
    return next(iter(qualities)) if len(values) == 1 and len(qualities) == 1 else None


def _unit(sheet: Sheet, column: Column, alone: bool) -> str:
    found = split_unit(column.header)[1] or next(
        (cell.strip("[]() ") for cell in (*column.above, column.header) if is_unit(cell.strip("[]() "))), ""
    )
    if not found and alone:
        found = next((sheet.preamble[key] for key in _UNIT_KEYS if sheet.preamble.get(key)), "")
    return found


def _description(sheet: Sheet, column: Column, name: str, alone: bool) -> str:
    others = [
        cell
        for cell in (column.header, *column.above)
        if cell and cell != name and not is_unit(cell.strip("[]() "))
    ]
    found = next((cell for cell in others if split_unit(cell)[0] != name and not column.roles), "")
    if not found and alone:
        found = next((sheet.preamble[key] for key in _DESCRIPTION_KEYS if sheet.preamble.get(key)), "")
    return found


def _left_out(sheet: Sheet, used: set[int]) -> tuple[Decision, ...]:
    names = [
        c.header or f"column {c.index + 1}"
        for c in sheet.columns
        if c.index not in used and c.filled and not is_counter(c)
    ]
    if not names:
        return ()
    return (
        Decision(
            subject=sheet.stem,
            what=f"columns left out: {', '.join(names[:10])}" + (" and more" if len(names) > 10 else ""),
            why="they hold texts, or qualities of no value column",
            option="rename the column if it holds readings",
        ),
    )
