"""Groups: time, value and perhaps quality repeated for each tag, side by side."""

from __future__ import annotations

from excursions.read.exports.layouts.common import is_counter, is_quality, is_unit, split_unit, time_columns
from excursions.read.exports.layouts.wide import _VALUE_END, _header
from excursions.read.exports.plan import Draft, Stream
from excursions.read.exports.sheet import Column, Sheet


def propose(sheet: Sheet) -> Draft | None:
    """A draft when at least two times each have a value column of their own before the next time."""
    times = time_columns(sheet)
    if len(times) < 2:
        return None
    bounds = [columns[0] for columns in times] + [len(sheet.columns)]
    members = [
        [c for c in sheet.columns[times[k][-1] + 1 : bounds[k + 1]] if not is_counter(c)]
        for k in range(len(times))
    ]
    values = [
        next(
            (
                c
                for c in group
                if c.is_value and not (is_quality(c) and len(group) > 1 and c.roles & {"quality"})
            ),
            None,
        )
        for group in members
    ]
    if any(value is None for value in values) or any("late_time" in sheet.columns[t[0]].roles for t in times):
        return None
    streams = []
    for time, group, value in zip(times, members, values, strict=True):
        if value is None:
            continue
        quality = next((c for c in group if c is not value and is_quality(c)), None)
        streams.append(
            Stream(
                time=time,
                value=value.index,
                quality=quality.index if quality else None,
                tag=_name(sheet, time, value),
                unit=_unit(sheet, value),
            )
        )
    return Draft(layout="column groups", streams=tuple(_unique(streams)))


def _name(sheet: Sheet, time: tuple[int, ...], value: Column) -> str:
    """The tag of a group: the value's header, else the time's, else a cell above either."""
    first = sheet.columns[time[0]]
    for column in (value, first):
        bare = split_unit(_header(column))[0]
        if bare and not column.roles and not is_unit(bare):
            return _VALUE_END.sub("", bare).strip() or bare
    above = [cell for column in (value, first) for cell in column.above if cell and not is_unit(cell)]
    return next(iter(above), f"{sheet.stem} column {value.index + 1}")


def _unit(sheet: Sheet, value: Column) -> str:
    found = split_unit(value.header)[1]
    return found or next(
        (cell.strip("[]() ") for cell in (value.header, *value.above) if is_unit(cell.strip("[]() "))), ""
    )


def _unique(streams: list[Stream]) -> list[Stream]:
    from dataclasses import replace

    counts: dict[str, int] = {}
    unique = []
    for stream in streams:
        counts[stream.tag] = counts.get(stream.tag, 0) + 1
        number = counts[stream.tag]
        unique.append(stream if number == 1 else replace(stream, tag=f"{stream.tag} ({number})"))
    return unique
