"""What the search of each point rests on, hashed: the parts of the archive, the point and its surroundings, the program."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from excursions.clock import TimeArray
from excursions.pipeline.inputs import Pins
from excursions.pipeline.point import plant_around
from excursions.pipeline.windows import Window, is_long, noted_until, windows_of
from excursions.plant import Plant, Point
from excursions.records import FloatArray
from excursions.site.archive import Part
from excursions.site.layout import Site, folder_name
from excursions.site.program import program

RECENT, SPACING = 3, 12  # windows of a long record that are remembered: the newest, and every twelfth
Units = Mapping[str, tuple[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One window of a long record: the parts it looks at, and the hash of all that went in up to its end."""

    window: Window
    parts: tuple[Part, ...]
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """The search of one point: everything it needs but the samples themselves, which the worker reads.

    parts : live parts that hold any of its tags; units : tag -> (unit, description) as exported
    key : hash of all that goes in; steps : the windows of a long record, none for one that is searched whole
    """

    root: Path
    point: Point
    plant: Plant
    parts: tuple[Part, ...]
    units: Units
    pins: Pins
    key: str
    steps: tuple[Step, ...] = ()

    def file_of(self, key: str) -> Path:
        """Where a result is remembered."""
        return self.root / "findings" / f"{folder_name(self.point.name)}.{key}"

    @property
    def file(self) -> Path:
        """Where the result of the whole is remembered."""
        return self.file_of(self.key)

    def file_up_to(self, step: Step) -> Path:
        """Where the result up to the end of a window is remembered."""
        return self.file_of(f"{step.key}.part")

    @property
    def stations(self) -> tuple[Step, ...]:
        """Steps worth remembering: the newest, from which tomorrow goes on, and some for what comes late."""
        last = len(self.steps) - 1
        return tuple(s for n, s in enumerate(self.steps) if last - n < RECENT or n % SPACING == SPACING - 1)

    @property
    def rows(self) -> int:
        """About how many rows the search will look at: the whole, or the last window of a long record."""
        parts = self.steps[-1].parts if self.steps else self.parts
        return sum(part.spans[tag][2] for part in parts for tag in self.units if tag in part.spans)


def tasks(site: Site, plant: Plant, parts: Sequence[Part], units: Units, pins: Pins) -> list[Task]:
    """One task a point that has any signal, in the order of the plant."""
    holding: dict[str, list[Part]] = {}
    for part in parts:
        for tag in part.spans:
            holding.setdefault(tag, []).append(part)
    return [
        _task(site, plant, point, holding, units, pins)
        for point in plant.points
        if any(tag in holding for tag in point.tags.values())
    ]


def _task(
    site: Site, plant: Plant, point: Point, holding: Mapping[str, Sequence[Part]], units: Units, pins: Pins
) -> Task:
    near = [other for name in point.neighbours if (other := plant.point(name)) and other.value]
    tags = sorted({*point.tags.values(), *(other.value for other in near)} & set(holding))
    parts = _in_order({part.path: part for tag in tags for part in holding[tag]})
    surroundings = plant_around(plant, point)
    about = [program(), repr(point), repr(near), repr([(t, units[t]) for t in tags])]
    pin = {name: given for name, given in pins.items() if name == point.name}
    own = set(point.tags.values())
    long = is_long(sum(part.spans[tag][2] for part in parts for tag in own & set(part.spans)))
    steps = _steps(about, surroundings, parts, own, pin) if long else ()
    return Task(
        root=site.root,
        point=point,
        plant=dataclasses.replace(surroundings, points=(point, *near)),
        parts=parts,
        units={tag: units[tag] for tag in tags},
        pins=pin,
        key=_key(steps[-1].key if steps else "", [*about, repr(surroundings)], () if steps else parts, pin),
        steps=steps,
    )


def _in_order(parts: Mapping[str, Part]) -> tuple[Part, ...]:
    return tuple(parts[path] for path in sorted(parts))


def _key(before: str, about: Sequence[str], parts: Sequence[Part], pins: Pins) -> str:
    """Hash of all that a search rests on."""
    total = hashlib.blake2b(digest_size=16)
    for word in (before, *about, *(part.sha256 for part in parts)):
        total.update(word.encode("utf-8", errors="surrogatepass") + b"\0")
    for time, value in pins.values():
        total.update(time.tobytes() + value.tobytes())
    return total.hexdigest()


def _steps(
    about: Sequence[str], surroundings: Plant, parts: Sequence[Part], own: set[str], pins: Pins
) -> tuple[Step, ...]:
    """The windows of a long record, each with the parts it looks at and the chain of hashes up to it."""
    spans = [span for part in parts for tag, span in part.spans.items() if tag in own]
    made: list[Step] = []
    for window in windows_of(min(span[0] for span in spans), max(span[1] for span in spans)):
        seen = tuple(part for part in parts if part.last >= window.lead and part.first < window.end)
        near = {name: _between(pin, window) for name, pin in pins.items()}
        before = made[-1].key if made else "long"
        known = [*about, repr(noted_until(surroundings, window))]
        made.append(Step(window=window, parts=seen, key=_key(before, known, seen, near)))
    return tuple(made)


def _between(pin: tuple[TimeArray, FloatArray], window: Window) -> tuple[TimeArray, FloatArray]:
    first, last = np.searchsorted(pin[0], [window.lead, window.end])
    return pin[0][first:last], pin[1][first:last]
