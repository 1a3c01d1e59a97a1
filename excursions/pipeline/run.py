"""Many points, one after the other or side by side in spawned workers; same results, same order."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from excursions.pipeline.crew import Crew
from excursions.pipeline.point import PointCounts, PointInput, analyse_point
from excursions.pipeline.progress import Progress as Progress
from excursions.pipeline.progress import quiet as quiet
from excursions.report.result import PointFindings

# Starting a worker costs about as much as searching this many samples.
SAMPLES_WORTH_A_WORKER = 1_500_000
SEARCHING = "reading the record with the probe in mind"

PointCrew = Crew[PointInput, tuple[PointFindings, PointCounts]]


def choose_jobs(asked: int, samples: int, points: int) -> int:
    """Number of processes: as asked, or (0) as many as pay for their start."""
    if asked > 0:
        return min(asked, max(points, 1))
    worth = max(1, samples // SAMPLES_WORTH_A_WORKER)
    return int(max(1, min(os.cpu_count() or 1, worth, points)))


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
            return list(_told(hired.run(inputs, len(inputs)), len(inputs), progress))
    return list(_told(crew.run(inputs, len(inputs)), len(inputs), progress))


def _told(
    results: Iterator[tuple[PointFindings, PointCounts]], total: int, progress: Progress
) -> Iterator[tuple[PointFindings, PointCounts]]:
    for number, result in enumerate(results, start=1):
        yield result
        progress(SEARCHING, number, total)
