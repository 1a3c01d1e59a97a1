"""Groups: time, value and perhaps quality repeated for each tag, side by side."""

from __future__ import annotations

from dataclasses import replace

from excursions.read.exports.cells.columns import Column
from excursions.read.exports.cells.factors import scale_decisions, scale_of
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.common import is_counter, is_quality, split_unit
from excursions.read.exports.layouts.naming import bare, header_of, keyless, unique, unit_of
from excursions.read.exports.layouts.plan import Draft, Stream
from excursions.read.exports.layouts.timecolumns import time_columns
from excursions.read.text.units import is_unit


def propose(sheet: Sheet) -> Draft | None:
    """A draft when at least two times each have a value column of their own before the next time."""
    times = time_columns(sheet)
    times = [columns for columns in times if sheet.columns[columns[0]].is_time] or times
    if len(times) < 2 or any("late_time" in sheet.columns[columns[0]].roles for columns in times):
        return None
    ends = [columns[0] for columns in times[1:]] + [len(sheet.columns)]
    streams = []
    for time, end in zip(times, ends, strict=True):
        group = [c for c in sheet.columns[time[-1] + 1 : end] if not is_counter(c)]
        labels = [c for c in group if "tag" in c.roles and c.filled and not c.roles & {"value", "quality"}]
        rest = [c for c in group if c not in labels]
        value = next((c for c in rest if "value" in c.roles and _is_reading(c, rest)), None)
        value = value or next((c for c in rest if _is_reading(c, rest)), None)
        if value is None or any(c.distinct > 1 for c in labels):
            return None
        quality = next((c for c in rest if c is not value and is_quality(c)), None)
        factor, offset = scale_of(value)
        streams.append(
            Stream(
                time=time,
                value=value.index,
                quality=quality.index if quality else None,
                factor=factor,
                offset=offset,
                tag=next(cell for cell in labels[0].cells if cell) if labels else _name(sheet, time, value),
                unit=unit_of(sheet, value, alone=False),
            )
        )
    names = unique([stream.tag for stream in streams])
    named = tuple(replace(stream, tag=name) for stream, name in zip(streams, names, strict=True))
    told = scale_decisions(sheet.stem, [(s.tag, sheet.columns[s.value]) for s in named])
    return Draft(layout="column groups", streams=named, decisions=told)


def _is_reading(column: Column, group: list[Column]) -> bool:
    if not column.filled and column.header and "quality" not in column.roles:
        return True  # a tag without readings at the top of the file
    return column.is_value and not (len(group) > 1 and "quality" in column.roles and is_quality(column))


def _name(sheet: Sheet, time: tuple[int, ...], value: Column) -> str:
    """The tag of a group: the value's header, else the time's, else a cell above either."""
    first = sheet.columns[time[0]]
    for column in (value, first):
        name = split_unit(header_of(column))[0]
        if name and not column.roles and not is_unit(name):
            return bare(header_of(column))
    above = [
        keyless(cell) for column in (value, first) for cell in column.above if cell and not is_unit(cell)
    ]
    return next(iter(above), f"{sheet.stem} column {value.index + 1}")
