"""The search of points, remembered: what went in is hashed, and what was found is kept under that hash.

A remembered result is as good as a new one, because the search is a pure function of what is hashed: the parts of
the archive, the point, its surroundings in the register, its laboratory samples, and the program itself.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from excursions.pipeline.inputs import Pins, point_inputs
from excursions.pipeline.point import PointCounts, analyse_point, plant_around
from excursions.pipeline.run import Progress, choose_jobs
from excursions.plant import Plant, Point
from excursions.records import TagSeries
from excursions.report.result import PointFindings
from excursions.site.archive import Part, as_series, load
from excursions.site.codec import DamagedError, decode, encode
from excursions.site.durable import make_folder, remove
from excursions.site.layout import Site, folder_name
from excursions.site.program import program

Found = tuple[PointFindings, PointCounts]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """The search of one point: everything it needs but the samples themselves, which the worker reads.

    parts : live parts that hold any of its tags; units : tag -> (unit, description) as exported
    key : hash of all that goes in
    """

    root: Path
    point: Point
    plant: Plant
    parts: tuple[Part, ...]
    units: Mapping[str, tuple[str, str]]
    pins: Pins
    key: str

    @property
    def file(self) -> Path:
        """Where the result is remembered."""
        return self.root / "findings" / f"{folder_name(self.point.name)}.{self.key}"


def tasks(
    site: Site, plant: Plant, parts: Sequence[Part], units: Mapping[str, tuple[str, str]], pins: Pins
) -> list[Task]:
    """One task a point that has any signal, in the order of the plant."""
    holding: dict[str, list[Part]] = {}
    for part in parts:
        for tag in part.spans:
            holding.setdefault(tag, []).append(part)
    found = []
    for point in plant.points:
        if any(tag in holding for tag in point.tags.values()):
            found.append(_task(site, plant, point, holding, units, pins))
    return found


def _task(
    site: Site,
    plant: Plant,
    point: Point,
    holding: Mapping[str, Sequence[Part]],
    units: Mapping[str, tuple[str, str]],
    pins: Pins,
) -> Task:
    near = [other for name in point.neighbours if (other := plant.point(name)) and other.value]
    tags = {*point.tags.values(), *(other.value for other in near)} & set(holding)
    mine = {part.path: part for tag in sorted(tags) for part in holding[tag]}
    surroundings = plant_around(plant, point)
    total = hashlib.blake2b(digest_size=16)
    words = [
        program(),
        repr(point),
        repr(surroundings),
        repr(near),
        repr([(t, units[t]) for t in sorted(tags)]),
    ]
    words += [mine[path].sha256 for path in sorted(mine)]
    for word in words:
        total.update(word.encode("utf-8", errors="surrogatepass") + b"\0")
    time, value = pins.get(point.name, (None, None))
    if time is not None and value is not None:
        total.update(time.tobytes() + value.tobytes())
    return Task(
        root=site.root,
        point=point,
        plant=Plant(
            name=surroundings.name,
            zone=surroundings.zone,
            air_pressure_kpa=surroundings.air_pressure_kpa,
            points=(point, *near),
            probes=surroundings.probes,
            installations=surroundings.installations,
            quality_words=surroundings.quality_words,
        ),
        parts=tuple(mine[path] for path in sorted(mine)),
        units={tag: units[tag] for tag in sorted(tags)},
        pins={name: pin for name, pin in pins.items() if name == point.name},
        key=total.hexdigest(),
    )


def run_task(task: Task) -> bytes:
    """Read the archive and search one point; returns encoded findings.

    Raises
    ------
    PartDamagedError
        If a part is missing or is not what was written.
    """
    inputs, _ = point_inputs(task.plant, _series(task), task.pins, only=(task.point,))
    return encode(analyse_point(inputs[0]))


def _series(task: Task) -> dict[str, TagSeries]:
    pieces: dict[str, list[object]] = {}
    for part in task.parts:
        for tag, rows in load(task.root, part, task.units).items():
            pieces.setdefault(tag, []).append(rows)
    return {
        tag: as_series(pieces[tag], tag, *task.units[tag])  # type: ignore[arg-type]
        for tag in task.units
        if tag in pieces
    }


def search(wanted: Sequence[Task], *, jobs: int, progress: Progress) -> list[Found]:
    """Findings of every task, remembered ones read back; in the order of the tasks."""
    remembered = {task.point.name: found for task in wanted if (found := _recall(task)) is not None}
    missing = [task for task in wanted if task.point.name not in remembered]
    count = choose_jobs(jobs, sum(_rows(task) for task in missing), len(missing))
    for done, (task, content) in enumerate(_each(missing, count), start=1):
        _remember(task, content)
        remembered[task.point.name] = decode(content)
        progress("reading the record with the probe in mind", done, len(missing))
    return [remembered[task.point.name] for task in wanted]


def _rows(task: Task) -> int:
    return sum(part.spans[tag][2] for part in task.parts for tag in task.units if tag in part.spans)


def _each(missing: Sequence[Task], count: int) -> Iterator[tuple[Task, bytes]]:
    if count <= 1:
        yield from ((task, run_task(task)) for task in missing)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=count, mp_context=context) as pool:
        yield from zip(missing, pool.map(run_task, missing), strict=True)


def _recall(task: Task) -> Found | None:
    """What was found before for exactly this input; a torn or damaged file counts as none."""
    try:
        return decode(task.file.read_bytes())  # type: ignore[no-any-return]
    except FileNotFoundError:
        return None
    except (DamagedError, KeyError, TypeError, ValueError):
        remove(task.file)
        return None


def _remember(task: Task, content: bytes) -> None:
    """Keep a result.  It is not flushed: its checksum tells a torn file, and it can be found again."""
    make_folder(task.file.parent)
    temporary = task.file.with_name(f".part-{task.file.name}")
    temporary.write_bytes(content)
    os.replace(temporary, task.file)


def forget_others(site: Site, wanted: Sequence[Task]) -> None:
    """Delete remembered results that no task of now would recall."""
    names = {task.file.name for task in wanted}
    for path in site.findings.iterdir():
        if path.name not in names:
            remove(path)
