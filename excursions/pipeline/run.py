"""Many points, one after the other or side by side in spawned workers; same results, same order."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from excursions.pipeline.point import PointCounts, PointInput, analyse_point
from excursions.pipeline.progress import Progress as Progress
from excursions.pipeline.progress import quiet as quiet
from excursions.read.exports.spill import let_go
from excursions.report.result import PointFindings

# Starting a worker costs about as much as searching this many samples.
SAMPLES_WORTH_A_WORKER = 1_500_000


def choose_jobs(asked: int, samples: int, points: int) -> int:
    """Number of processes: as asked, or (0) as many as pay for their start."""
    if asked > 0:
        return min(asked, max(points, 1))
    worth = max(1, samples // SAMPLES_WORTH_A_WORKER)
    return int(max(1, min(os.cpu_count() or 1, worth, points)))


def analyse_points(
    inputs: Sequence[PointInput], *, jobs: int = 0, progress: Progress = quiet
) -> list[tuple[PointFindings, PointCounts]]:
    """Analyse every point; results in the order of `inputs` however many processes there are."""
    samples = sum(series.time.size for given in inputs for series in given.series.values())
    count = choose_jobs(jobs, samples, len(inputs))
    results = []
    for number, (given, result) in enumerate(zip(inputs, _each(inputs, count), strict=True), start=1):
        results.append(result)
        for series in (*given.series.values(), *(series for _, series in given.neighbours.values())):
            let_go(series.time, series.value, series.quality)
        progress("reading the record with the probe in mind", number, len(inputs))
    return results


def _each(inputs: Sequence[PointInput], count: int) -> Iterator[tuple[PointFindings, PointCounts]]:
    if count == 1:
        yield from map(analyse_point, inputs)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=count, mp_context=context) as pool:
        yield from pool.map(analyse_point, inputs)
