"""Names in logs and lists against the names of the plant: the same place is written in many ways.

``QT 101``, ``qt-101`` and the tag ``Site/QT101.PV`` are one point when only one point can be meant.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from excursions.errors import InputFileError, did_you_mean
from excursions.plant import Plant, Point
from excursions.read.logs.log import LogReading
from excursions.read.logs.samples import SampleReading
from excursions.read.text.fold import plain
from excursions.records import CalibrationEntry, Decision


class Places:
    """Points of a plant by every way of writing them that is not ambiguous."""

    def __init__(self, plant: Plant) -> None:
        self.points = {point.name for point in plant.points}
        self.serials = {probe.serial for probe in plant.probes} | {row.probe for row in plant.installations}
        by_tag: dict[str, set[str]] = defaultdict(set)
        by_fold: dict[str, set[str]] = defaultdict(set)
        for point in plant.points:
            by_fold[folded(point.name)].add(point.name)
            for tag in {point.value, point.temperature} - {""}:
                by_tag[tag].add(point.name)
                by_fold[folded(tag)].add(point.name)
        self.by_tag = {tag: next(iter(names)) for tag, names in by_tag.items() if len(names) == 1}
        self.by_fold = {key: next(iter(names)) for key, names in by_fold.items() if len(names) == 1 and key}
        parts: dict[tuple[str, ...], set[str]] = defaultdict(set)
        for point in plant.points:
            for tokens in {_tokens(point.name), _tokens(point.value)}:
                for cut in range(1, len(tokens) - 1):
                    parts[tokens[cut:]].add(point.name)
                    parts[tokens[: cut + 1]].add(point.name)
        self.by_part = {part: next(iter(names)) for part, names in parts.items() if len(names) == 1}
        self._words: dict[str, frozenset[str]] = {point.name: _words(point) for point in plant.points}

    def find(self, name: str) -> tuple[str, str]:
        """Name of the point that is meant, and why; empty when none or several can be meant."""
        if name in self.points:
            return name, ""
        if name in self.by_tag:
            return self.by_tag[name], "it is a tag of the point"
        key = folded(name)
        if key in self.by_fold:
            return self.by_fold[key], "the names differ only in separators and case"
        if _tokens(name) in self.by_part:
            return self.by_part[_tokens(name)], "only this point's name or tag begins or ends so"
        mine = frozenset(_tokens(name))
        near = [point for point, words in self._words.items() if mine and (mine <= words)]
        telling = any(token.isdigit() for token in mine) and any(token.isalpha() for token in mine)
        if len(near) == 1 and telling:
            return near[0], "every part of the name is a part of this point's names only"
        return "", ""


def folded(name: str) -> str:
    """A name without case, accents, separators and zeros before numbers."""
    return "".join(_tokens(name))


@lru_cache(maxsize=65_536)
def _tokens(name: str) -> tuple[str, ...]:
    found = re.findall(r"\d+|[^\W\d_]+", plain(name).casefold())
    return tuple(token.lstrip("0") or "0" if token.isdigit() else token for token in found)


def _words(point: Point) -> frozenset[str]:
    texts = (point.name, point.value, point.temperature, point.description)
    return frozenset(token for text in texts for token in _tokens(text))


def settle_entries(
    entries: Sequence[CalibrationEntry], plant: Plant
) -> tuple[tuple[CalibrationEntry, ...], tuple[Decision, ...]]:
    """Write the plant's own names into calibration entries where only one can be meant.

    A name that is a serial number in the place of a point becomes the probe; an entry that names only its
    probe gets the point the probe sat at.  What cannot be placed stays as it is.
    """
    places = Places(plant)
    why: dict[tuple[str, str, str], str] = {}
    settled = tuple(_settle(entry, places, plant, why) for entry in entries)
    return settled, tuple(
        Decision(
            subject=file,
            what=f'"{said}" is point "{point}"',
            why=reason,
            option="write the point's name into the log",
        )
        for (file, said, point), reason in why.items()
    )


def _settle(
    entry: CalibrationEntry, places: Places, plant: Plant, why: dict[tuple[str, str, str], str]
) -> CalibrationEntry:
    point, reason = places.find(entry.point)
    if point and reason:
        why.setdefault((entry.file, entry.point, point), reason)
    if point:
        return replace(entry, point=point)
    if entry.point in places.serials and entry.probe in ("", entry.point):
        entry = replace(entry, point="", probe=entry.point)
    elif not entry.probe and entry.point:
        return entry
    if not entry.point and entry.probe:
        seat = _seat(entry, plant)
        if seat:
            why.setdefault((entry.file, entry.probe, seat), "the probe is installed there")
            return replace(entry, point=seat)
    return entry


def _seat(entry: CalibrationEntry, plant: Plant) -> str:
    """Point at which a probe sits at the time of an entry."""
    for row in plant.installations:
        before = row.start is None or row.start <= entry.time
        if row.probe == entry.probe and before and (row.end is None or entry.time < row.end):
            return row.point
    return ""


def settle_log(log: LogReading, plant: Plant) -> LogReading:
    """A calibration log with the plant's own names in entries and installations, and the decisions taken.

    Installations that the log records count for the entries that name only their probe.
    """
    places = Places(plant)
    seats = tuple(replace(row, point=places.find(row.point)[0] or row.point) for row in log.installations)
    seated = replace(plant, installations=plant.installations + seats)
    entries, decisions = settle_entries(log.entries, seated)
    cleanings, more = settle_entries(log.cleanings, seated)
    return replace(
        log,
        entries=entries,
        cleanings=cleanings,
        installations=seats,
        decisions=tuple(dict.fromkeys((*log.decisions, *decisions, *more))),
    )


def settle_samples(reading: SampleReading, plant: Plant) -> SampleReading:
    """Samples with the plant's own names of points; points that nobody knows are named as problems and kept."""
    places = Places(plant)
    found = {name: places.find(name) for name in dict.fromkeys(sample.point for sample in reading.samples)}
    samples = tuple(replace(row, point=found[row.point][0] or row.point) for row in reading.samples)
    file = str(reading.path)
    option = "write the point's name into the list"
    decisions = tuple(
        Decision(subject=file, what=f'"{said}" is point "{point}"', why=why, option=option)
        for said, (point, why) in found.items()
        if point and why
    )
    problems = tuple(_unknown(name, file, places) for name, (point, _) in found.items() if not point)
    return replace(
        reading,
        samples=samples,
        decisions=reading.decisions + decisions,
        problems=reading.problems + problems,
    )


def _unknown(name: str, file: str, places: Places) -> InputFileError:
    return InputFileError(
        found=f'samples of point "{name}"',
        expected="a point of the register or a tag of the export",
        mend=did_you_mean(name, places.points, "add the point to the register; its samples are not used"),
        file=file,
        column="point",
    )
