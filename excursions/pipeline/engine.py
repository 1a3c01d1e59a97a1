"""Who reads the exports and searches the points: this machine, or (see `cluster`) many."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from excursions.errors import ExcursionsError
from excursions.pipeline.inputs import Pins, point_inputs
from excursions.pipeline.point import Closeup, PointCounts, PointInput
from excursions.pipeline.progress import Progress
from excursions.pipeline.run import PointCrew, analyse_points, point_crew, worth_early
from excursions.plant import Plant, Point
from excursions.read import Reading, ReadOptions, read_exports
from excursions.records import TagSeries
from excursions.register import Look
from excursions.report.result import PointFindings

Closer = Callable[[Point, Plant, tuple[int, int]], Closeup]
Analysed = list[tuple[PointFindings, PointCounts]]
Looks = Mapping[str, TagSeries | Look]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is to be searched: all points of a plant, with laboratory samples and stretches to keep true samples of."""

    plant: Plant
    pins: Pins
    closer: Closer | None = None


class Engine(Protocol):
    """Reads once, searches once, and lets go of what it holds."""

    def read(self, paths: Sequence[Path], options: ReadOptions, progress: Progress) -> tuple[Reading, Looks]:
        """The account of the exports, and what a register is inferred from."""

    def search(self, wanted: Wanted, progress: Progress) -> tuple[Analysed, tuple[ExcursionsError, ...]]:
        """Findings of every point with a signal, in the order of the plant, and the points without one."""

    def close(self) -> None:
        """Let go of processes and connections."""


@dataclass(slots=True, kw_only=True)
class LocalEngine:
    """This machine: everything is read here, points are searched in `jobs` processes (0: as many as pay)."""

    jobs: int = 0
    _crew: PointCrew | None = None
    _series: dict[str, TagSeries] = field(default_factory=dict)

    def read(self, paths: Sequence[Path], options: ReadOptions, progress: Progress) -> tuple[Reading, Looks]:
        """Read all series; processes that will be needed start up meanwhile."""
        early = worth_early(self.jobs, paths)
        if early > 1:
            self._crew = point_crew(early)
        reading = read_exports(paths, options)
        self._series = reading.series
        return reading, reading.series

    def search(self, wanted: Wanted, progress: Progress) -> tuple[Analysed, tuple[ExcursionsError, ...]]:
        """Search the points here."""
        pairs, missing = point_inputs(wanted.plant, self._series, wanted.pins)
        if wanted.closer is not None:
            pairs = [
                dataclasses.replace(p, closer=wanted.closer(p.point, wanted.plant, _record(p))) for p in pairs
            ]
        if not pairs:
            return [], missing
        return analyse_points(pairs, jobs=self.jobs, progress=progress, crew=self._crew), missing

    def close(self) -> None:
        """End the processes."""
        if self._crew is not None:
            self._crew.dismiss()
            self._crew = None


def _record(given: PointInput) -> tuple[int, int]:
    """First and last instant [ns] of a point's samples; zeros without any."""
    held = [series.time for series in given.series.values() if series.time.size]
    return min((int(t.min()) for t in held), default=0), max((int(t.max()) for t in held), default=0)
