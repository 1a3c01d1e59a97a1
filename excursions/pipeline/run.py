"""Many points, one after the other or side by side in spawned workers; same results, same order."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.crew import Crew
from excursions.pipeline.point import PointCounts, PointInput
from excursions.pipeline.progress import Progress as Progress
from excursions.pipeline.progress import quiet as quiet
from excursions.pipeline.shelf import Shelf
from excursions.read.exports.gather.spill import let_go
from excursions.report.result import PointFindings

# Starting a worker costs about as much as searching this many samples.
SAMPLES_WORTH_A_WORKER = 1_500_000
# At least so many bytes are a sample, by what a file is; packed and binary ones less.
BYTES_A_SAMPLE = {".csv": 40, ".txt": 40, ".tsv": 40, ".parquet": 6}
SEARCHING = "reading the record with the probe in mind"

PointCrew = Crew[PointInput, tuple[PointFindings, PointCounts]]


def choose_jobs(asked: int, samples: int, points: int) -> int:
    """Number of processes: as asked, or (0) as many as pay for their start."""
    if asked > 0:
        return min(asked, max(points, 1))
    worth = max(1, samples // SAMPLES_WORTH_A_WORKER)
    return int(max(1, min(os.cpu_count() or 1, worth, points)))


def worth_early(asked: int, paths: Sequence[Path]) -> int:
    """Processes to start before anything is read: as asked, or (0) by the size of the files; 1 for none."""
    if asked > 0:
        return asked
    files = [
        file for path in paths for file in (path.rglob("*") if path.is_dir() else (path,)) if file.is_file()
    ]
    samples = sum(file.stat().st_size // BYTES_A_SAMPLE.get(file.suffix.lower(), 4) for file in files)
    return choose_jobs(0, samples, os.cpu_count() or 1)


def point_crew(jobs: int) -> PointCrew:
    """Processes for :func:`analyse_points`, the calling one among them; they start up while it still reads."""
    return Crew(analyse_point, jobs)


def analyse_points(
    inputs: Sequence[PointInput], *, jobs: int = 0, progress: Progress = quiet, crew: PointCrew | None = None
) -> list[tuple[PointFindings, PointCounts]]:
    """Analyse every point; results in the order of `inputs` however many processes there are.

    `crew` are processes that have been started before; without one they are started here, as many as pay.
    """
    if crew is None:
        samples = sum(series.time.size for given in inputs for series in given.series.values())
        with point_crew(choose_jobs(jobs, samples, len(inputs))) as hired:
            return list(map(Shelf(), _told(inputs, hired.run(inputs, len(inputs)), progress)))
    return list(map(Shelf(), _told(inputs, crew.run(inputs, len(inputs)), progress)))


def _told(
    inputs: Sequence[PointInput], results: Iterator[tuple[PointFindings, PointCounts]], progress: Progress
) -> Iterator[tuple[PointFindings, PointCounts]]:
    """Say how far it is, and let records that lie on disk leave memory once they have been worked on."""
    for number, (given, result) in enumerate(zip(inputs, results, strict=True), start=1):
        yield result
        for series in (*given.series.values(), *(series for _, series in given.neighbours.values())):
            let_go(series.time, series.value, series.quality)
        progress(SEARCHING, number, len(inputs))
