"""Checks between the statements of a register: names twice, names of nothing, spans that overlap."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from itertools import pairwise

from excursions.clock import iso
from excursions.errors import did_you_mean, nearest
from excursions.plant import Installation, Plant
from excursions.register._fields import POINT
from excursions.register._lines import Path as KeyPath
from excursions.register._reader import Reader


def cross_check(reader: Reader, plant: Plant, tags: Collection[str]) -> None:
    """Note as faults what cannot be meant, as remarks what a scan survives."""
    _twice(reader, "points", "name", [point.name for point in plant.points])
    _twice(reader, "probes", "serial", [p.serial for p in plant.probes])
    _twice(reader, "points", "value", [point.value for point in plant.points if point.value])
    _neighbours(reader, plant)
    _installed(reader, plant)
    _overlaps(reader, plant.installations, "point")
    _overlaps(reader, plant.installations, "probe")
    if tags:
        _tags(reader, plant, tags)


def _twice(reader: Reader, section: str, key: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            at = _place(reader, section, key, name)
            reader.fault(
                at, f'"{name}" for the second time', f"each {key} once", "give one of them another name"
            )
        seen.add(name)


def _neighbours(reader: Reader, plant: Plant) -> None:
    known = [point.name for point in plant.points]
    for point in plant.points:
        for name in point.neighbours:
            if name not in known:
                at = (*_place(reader, "points", "name", point.name)[:-1], "neighbours")
                reader.fault(at, f'"{name}"', "the name of a point", _hint(name, known, "point"))


def _installed(reader: Reader, plant: Plant) -> None:
    points = [point.name for point in plant.points]
    listed = {serial for serial, _ in reader.stated("probes", "serial")}
    for place, row in zip(reader.installations(), plant.installations, strict=False):
        if row.point not in points:
            reader.fault(
                (*place, "point"), f'"{row.point}"', "the name of a point", _hint(row.point, points, "point")
            )
        if listed and row.probe not in listed:
            reader.remark(
                (*place, "probe"),
                f'"{row.probe}"',
                "a probe listed under [[probes]]",
                _hint(row.probe, listed, "probe"),
            )


def _hint(name: str, known: Iterable[str], what: str) -> str:
    return did_you_mean(name, known, f"add the {what} to the register, or take this line out")


def _overlaps(reader: Reader, rows: tuple[Installation, ...], by: str) -> None:
    groups: dict[str, list[tuple[Installation, KeyPath]]] = defaultdict(list)
    for place, row in zip(reader.installations(), rows, strict=False):
        groups[getattr(row, by)].append((row, place))
    for name, group in groups.items():
        group.sort(key=lambda pair: (pair[0].start is not None, pair[0].start or 0))
        for (first, _), (second, place) in pairwise(group):
            if first.end is None or second.start is None or second.start < first.end:
                until = iso(first.end) if first.end is not None else "without an end"
                reader.remark(
                    place,
                    f'{by} "{name}" in two installations at once ({first.probe} at {first.point} {until})',
                    "one after the other",
                    "give the earlier one an end",
                )


def _tags(reader: Reader, plant: Plant, tags: Collection[str]) -> None:
    """Tags that the export lacks; the nearest one that no other point names is probably meant."""
    known = set(tags)
    named = {tag for point in plant.points for tag in point.tags.values()}
    free = known - named
    for point in plant.points:
        for role, tag in point.tags.items():
            if tag in known:
                continue
            near = nearest(tag, free) or nearest(tag, known)
            apart = f' Until then "{near}" is taken for a signal of its own' if near in free else ""
            place = _place(reader, "points", "name", point.name)[:-1]
            reader.remark(
                _spelt(reader, place, role),
                f'tag "{tag}"',
                "a tag of the export",
                f'did you mean "{near}"?{apart}' if near else "the point goes on without this signal",
            )


def _spelt(reader: Reader, place: KeyPath, key: str) -> KeyPath:
    """Where a key of a row stands, under whichever of its names it was written."""
    names = (key, *POINT[key].also)
    return next(((*place, name) for name in names if (*place, name) in reader.lines), (*place, key))


def _place(reader: Reader, section: str, key: str, value: str) -> KeyPath:
    """Where the last statement of `value` under `key` stands."""
    found = [at for said, at in reader.stated(section, key) if said == value]
    return found[-1] if found else (section,)
