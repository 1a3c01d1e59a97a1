"""The search of points, remembered: what was found is kept under the hash of what went in.

A remembered result is as good as a new one, because the search is a pure function of what is hashed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.crew import Crew
from excursions.pipeline.inputs import NO_SAMPLES, point_inputs
from excursions.pipeline.point import PointCounts, plant_around
from excursions.pipeline.progress import Progress
from excursions.pipeline.run import choose_jobs
from excursions.pipeline.shelf import Shelf
from excursions.pipeline.slow import both_passes
from excursions.pipeline.windows import SoFar, cut, extended
from excursions.report.result import PointFindings
from excursions.site.archive import load_series
from excursions.site.codec import DamagedError, decode, encode
from excursions.site.durable import make_folder, remove
from excursions.site.layout import Site
from excursions.site.tasks import Task

_NOT_COUNTED = PointCounts(rows=0, duplicates=0, conflicts=0)  # the archive holds every row once


def run_task(task: Task) -> tuple[PointFindings, PointCounts]:
    """Read the archive, search one point, and remember what was found.

    Raises
    ------
    PartDamagedError
        If a part is missing or is not what was written.
    """
    if task.steps:
        return _fold(task), _NOT_COUNTED
    series = load_series(task.root, task.parts, task.units)
    inputs, _ = point_inputs(task.plant, series, task.pins, only=(task.point,))
    found = analyse_point(inputs[0])
    _remember(task.file, encode(found))
    return found


def _fold(task: Task) -> PointFindings:
    """Go on from the newest remembered window whose past is what it was, and remember some of the way.

    Of the whole no more is remembered than what its second pass adds to the newest window, which is remembered anyway.
    """
    so_far, begin = _newest_station(task)
    kept = {step.key for step in task.stations}
    for step in task.steps[begin:]:
        series = load_series(task.root, step.parts, task.units, (step.window.lead, step.window.end))
        inputs, _ = point_inputs(task.plant, series, task.pins, only=(task.point,))
        if inputs:
            newest = step is task.steps[-1]
            so_far = extended(so_far, step.window, cut(inputs[0], step.window, newest=newest))
        if step.key in kept:
            _remember(task.file_up_to(step), encode(so_far))
    assert so_far is not None
    samples = task.pins.get(task.point.name, NO_SAMPLES)
    both = both_passes(so_far.findings, so_far.near, plant_around(task.plant, task.point), samples)
    _remember(task.file, encode(both))
    return both.of(so_far.findings)


def _remembered(task: Task) -> tuple[PointFindings, PointCounts] | None:
    """What was found before for exactly this task; None where that is not known any more."""
    found = _recall(task.file)
    if found is None or not task.steps:
        return found  # type: ignore[no-any-return]
    newest = _recall(task.file_up_to(task.steps[-1]))
    return None if newest is None else (found.of(newest.findings), _NOT_COUNTED)


def _newest_station(task: Task) -> tuple[SoFar | None, int]:
    """What is remembered up to the latest window, and how many windows that covers.

    A window that is the newest now but was not when it was remembered lacks its limits and is searched again.
    """
    for number in range(len(task.steps) - 1, -1, -1):
        found = _recall(task.file_up_to(task.steps[number]))
        if found is not None and (number < len(task.steps) - 1 or found.findings.limits):
            return found, number + 1
    return None, 0


def search(
    wanted: Sequence[Task], *, jobs: int, progress: Progress
) -> list[tuple[PointFindings, PointCounts]]:
    """Findings of every task, remembered ones read back; in the order of the tasks."""
    shelved = Shelf()
    remembered = {
        task.point.name: shelved(found) for task in wanted if (found := _remembered(task)) is not None
    }
    missing = [task for task in wanted if task.point.name not in remembered]
    count = choose_jobs(jobs, sum(task.rows for task in missing), len(missing))
    for done, (task, found) in enumerate(_each(missing, count), start=1):
        remembered[task.point.name] = shelved(found)
        progress("reading the record with the probe in mind", done, len(missing))
    return [remembered[task.point.name] for task in wanted]


def _each(missing: Sequence[Task], count: int) -> Iterator[tuple[Task, tuple[PointFindings, PointCounts]]]:
    with Crew(run_task, count) as crew:
        yield from zip(missing, crew.run(missing, len(missing)), strict=True)


def _recall(path: Path) -> Any:
    """What was found before for exactly this input; a torn or damaged file counts as none."""
    try:
        return decode(path.read_bytes())
    except FileNotFoundError:
        return None
    except (DamagedError, KeyError, TypeError, ValueError):
        remove(path)
        return None


def _remember(path: Path, content: bytes) -> None:
    """Keep a result.  It is not flushed: its checksum tells a torn file, and it can be found again."""
    make_folder(path.parent)
    temporary = path.with_name(f".part-{path.name}")
    temporary.write_bytes(content)
    os.replace(temporary, path)


def forget_others(site: Site, wanted: Sequence[Task]) -> None:
    """Delete remembered results that no task of now would recall."""
    names = {task.file.name for task in wanted}
    names |= {task.file_up_to(step).name for task in wanted for step in task.stations}
    for path in site.findings.iterdir():
        if path.name not in names:
            remove(path)
