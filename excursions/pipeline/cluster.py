"""The same work on a Dask cluster: plans and results move, samples stay with the workers that read them.

Workers read a Parquet data set that all of them reach under the same path or URL.  First they look at each tag and
count its rows; from what they saw the plant is worked out here, and each point is sent out as a plan: its tags by role,
its neighbours, its register entries.  A worker that dies has its tasks done by others.
"""

from __future__ import annotations

import importlib
import logging
import os
import platform
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar

import polars as pl

import excursions
from excursions.errors import ExcursionsError, UsageError, WorkerLostError
from excursions.pipeline.analyse import analyse_point
from excursions.pipeline.engine import Analysed, Looks, Wanted
from excursions.pipeline.inputs import Pins, point_inputs, without_signal
from excursions.pipeline.point import Closeup, PointCounts, plant_around
from excursions.pipeline.progress import Progress
from excursions.pipeline.run import SEARCHING
from excursions.pipeline.shelf import Shelf
from excursions.plant import Plant, Point
from excursions.read import FileReport, Reading, ReadOptions
from excursions.read import parts as reading_parts
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.outcome import status_words
from excursions.read.model import REFUSED_SCHEMA
from excursions.read.parts import Account, Source
from excursions.records import Decision
from excursions.register import Look, look_of
from excursions.report.result import PointFindings

R = TypeVar("R")

ROWS_A_LOOK = 4_000_000  # rows that one task looks at: seconds of work, and some tens of megabytes
FILES_A_DIGEST = 64
TRIES = 3
SPILL_BYTES = 600 * 2**20
CHECKED = ("excursions", "numpy", "polars", "scipy", "python")

Raw = tuple[tuple[object, ...], ...]  # tags as written, for each source


@dataclass(frozen=True, slots=True, kw_only=True)
class PointPlan:
    """All that a worker needs to search one point but the samples.

    plant : the point, its neighbours, and what the register says of them
    raw : tags to read, for each source, as written there
    """

    point: Point
    plant: Plant
    raw: Raw
    pins: Pins
    closer: Closeup = field(default_factory=Closeup)


# --- what workers do ------------------------------------------------------------------------------


def look_at(sources: Sequence[Source], raw: Raw) -> tuple[list[Look], list[tuple[int, Account]]]:
    """Look at some tags: a few figures of each, and the account of their rows by source."""
    series, accounts = reading_parts.read_tags(sources, raw, SPILL_BYTES)
    numbers = [number for number, tags in enumerate(raw) if tags]
    return [look_of(one) for one in series.values()], list(zip(numbers, accounts, strict=True))


def search(sources: Sequence[Source], plan: PointPlan) -> tuple[PointFindings, PointCounts]:
    """Read the tags of one point and search it."""
    series, _ = reading_parts.read_tags(sources, plan.raw, SPILL_BYTES)
    given, _ = point_inputs(plan.plant, series, plan.pins, only=(plan.point,))
    return analyse_point(replace(given[0], closer=plan.closer))


def as_given(sources: Sequence[Source]) -> Sequence[Source]:
    """The files of the data set, so that workers hand them to each other."""
    return sources


def digests(paths: Sequence[Path]) -> list[str]:
    """SHA-256 of some files."""
    return [reading_parts.digest(path) for path in paths]


def versions() -> dict[str, str]:
    """What results depend on, as it is on this machine."""
    known = {"excursions": excursions.__version__, "python": platform.python_version()}
    return known | {name: version(name) for name in CHECKED if name not in known}


# --- the caller's side ----------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class ClusterEngine:
    """A cluster at the address of its scheduler, or one of `jobs` processes on this machine (0: one a core)."""

    scheduler: str = ""
    jobs: int = 0
    _client: Any = None
    _cluster: Any = None
    _sources: Any = None
    _looks: dict[str, Look] = field(default_factory=dict)
    _raw: dict[str, list[list[object]]] = field(default_factory=dict)

    def read(self, paths: Sequence[Path], options: ReadOptions, progress: Progress) -> tuple[Reading, Looks]:
        """Have the data set looked at; nothing of it comes here but figures of each tag."""
        self._connect()
        with _sentences():
            sources, problems = self._one(reading_parts.find_sources, list(paths), options)
            if not sources:
                raise problems[0]
            # A task, not scattered data: what a lost worker held of it can be made again.
            self._sources = self._client.submit(as_given, sources, pure=False, retries=TRIES)
            accounts = self._look(sources, progress)
            reading = self._account(paths, options, sources, accounts)
        return _with_problems(reading, problems), dict(sorted(self._looks.items()))

    def search(self, wanted: Wanted, progress: Progress) -> tuple[Analysed, tuple[ExcursionsError, ...]]:
        """Send out every point."""
        plans, missing = [], []
        for point in wanted.plant.points:
            if any(tag in self._looks for tag in point.tags.values()):
                plans.append(self._plan(point, wanted))
            else:
                missing.append(without_signal(point))
        with _sentences():
            found = self._all(search, [(self._sources, plan) for plan in plans], progress, SEARCHING, Shelf())
        return found, tuple(missing)

    def close(self) -> None:
        """Leave the cluster; one that was started here ends."""
        for one in (self._client, self._cluster):
            if one is not None:
                one.close()
        self._client = self._cluster = self._sources = None

    # --- plans -------------------------------------------------------------------------------

    def _plan(self, point: Point, wanted: Wanted) -> PointPlan:
        near = tuple(
            other for other in (wanted.plant.point(name) for name in point.neighbours) if other is not None
        )
        around = plant_around(wanted.plant, point)
        tags = [tag for tag in (*point.tags.values(), *(other.value for other in near)) if tag in self._looks]
        own = [
            self._looks[tag] for tag in point.tags.values() if tag in self._looks and self._looks[tag].last
        ]
        record = min((look.first for look in own), default=0), max((look.last for look in own), default=0)
        closer = wanted.closer(point, wanted.plant, record) if wanted.closer else Closeup()
        return PointPlan(
            point=point,
            plant=replace(around, points=(point, *near)),
            raw=self._raw_of(dict.fromkeys(tags)),
            pins={name: pin for name, pin in wanted.pins.items() if name == point.name},
            closer=closer,
        )

    def _raw_of(self, tags: Sequence[str] | dict[str, None]) -> Raw:
        count = len(next(iter(self._raw.values())))
        return tuple(
            tuple(dict.fromkeys(raw for tag in tags for raw in self._raw[tag][number]))
            for number in range(count)
        )

    # --- looking -----------------------------------------------------------------------------

    def _look(self, sources: Sequence[Source], progress: Progress) -> list[list[Account]]:
        """Have every tag looked at once; returns the accounts of each source."""
        chunks = list(_chunks(sources))
        found = self._all(look_at, [(self._sources, chunk) for chunk in chunks], progress, "reading exports")
        accounts: list[list[Account]] = [[] for _ in sources]
        for chunk, (looks, some) in zip(chunks, found, strict=True):
            for look in looks:
                self._looks[look.tag] = look
                self._raw[look.tag] = [_written_as(look.tag, tags) for tags in chunk]
            for number, account in some:
                accounts[number].append(account)
        return accounts

    def _account(
        self,
        paths: Sequence[Path],
        options: ReadOptions,
        sources: Sequence[Source],
        accounts: Sequence[Sequence[Account]],
    ) -> Reading:
        """The account of the whole: put together from those of the tags, or made by one worker where it must be."""
        plain = all(
            source.nameless == 0
            and own
            and not any(one.odd for one in own)
            and len({(one.layout, one.decisions) for one in own}) == 1
            for source, own in zip(sources, accounts, strict=True)
        )
        if not plain:
            return self._one(reading_parts.whole_account, list(paths), options)
        files: list[FileReport] = []
        decisions: list[Decision] = []
        for source, own in zip(sources, accounts, strict=True):
            report, decided = reading_parts.plain_account(source, own, self._digest(source))
            files.append(report)
            decisions.extend(decided)
        return Reading(
            series={},
            files=tuple(files),
            refused=_no_rows(),
            decisions=tuple(dict.fromkeys(decisions)),
            status_words=status_words({}, {}),
        )

    def _digest(self, source: Source) -> str:
        if source.kind == "remote":
            return ""
        paths = source.parts or (source.path,)
        groups = [paths[at : at + FILES_A_DIGEST] for at in range(0, len(paths), FILES_A_DIGEST)]
        found = self._all(digests, [(group,) for group in groups])
        return reading_parts.digest_of(source, [one for group in found for one in group])

    # --- sending -----------------------------------------------------------------------------

    def _one(self, work: Callable[..., R], *given: object) -> R:
        result: R = self._client.submit(work, *given, pure=False, retries=TRIES).result()
        return result

    def _all(
        self,
        work: Callable[..., R],
        given: Sequence[tuple[object, ...]],
        progress: Progress | None = None,
        what: str = "",
        keep: Callable[[R], R] = lambda result: result,
    ) -> list[R]:
        """Results in the order of what was given, each as `keep` keeps it; workers let go of what was taken."""
        as_completed = _dask().as_completed
        futures = [self._client.submit(work, *one, pure=False, retries=TRIES) for one in given]
        place = {future.key: number for number, future in enumerate(futures)}
        results: dict[int, R] = {}
        try:
            arrived = as_completed(futures, loop=self._client.loop, with_results=True)
            for done, (future, result) in enumerate(arrived, start=1):
                if isinstance(result, BaseException):  # cancelled tasks are handed over so, not raised
                    raise result
                results[place[future.key]] = keep(result)
                future.release()
                if progress:
                    progress(what, done, len(given))
        except BaseException:
            self._client.cancel(futures, force=True)
            raise
        return [results[number] for number in range(len(given))]

    def _connect(self) -> None:
        if self._client is not None:
            return
        dask = _dask()
        try:
            if not self.scheduler:
                workers = self.jobs or os.cpu_count() or 1
                self._cluster = dask.LocalCluster(
                    n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=":0",
                    silence_logs=logging.ERROR,
                )  # fmt: skip
            self._client = dask.Client(self._cluster or self.scheduler, timeout="20s", set_as_default=False)
        except (OSError, ValueError) as error:
            raise UsageError(
                found=f'no scheduler at "{self.scheduler}" ({error})',
                expected="the address that dask scheduler printed, such as tcp://host:8786",
                mend="start it, or check host, port and firewall",
            ) from error
        _check_versions(self._client)


def _dask() -> Any:
    """The package that talks to a cluster.

    Raises
    ------
    UsageError
        If it is not installed.
    """
    try:
        return importlib.import_module("distributed")
    except ImportError as error:
        raise UsageError(
            found="no Dask here",
            expected="the extra that --engine dask needs",
            mend='install it with: pip install "excursions[cluster]"',
        ) from error


def _check_versions(client: Any) -> None:
    """Refuse workers on which the same work could give other results."""
    here = versions()
    try:
        there = client.run(versions)
    except Exception as error:
        raise UsageError(
            found=f"workers that cannot run this ({type(error).__name__}: {error})",
            expected="excursions installed on every worker",
            mend="install the same lock file there",
        ) from error
    if not there:
        raise UsageError(
            found="a scheduler without workers", expected="at least one", mend="start one: dask worker ADDRESS --nthreads 1"
        )  # fmt: skip
    for worker in sorted(there):
        for name, mine in here.items():
            if there[worker][name] != mine:
                raise UsageError(
                    found=f"{name} {there[worker][name]} on worker {worker}",
                    expected=f"{name} {mine}, as here",
                    mend="install the same lock file everywhere and start the workers again",
                )


@contextmanager
def _sentences() -> Iterator[None]:
    """What the cluster says of lost workers, as a sentence."""
    lost = importlib.import_module("distributed.scheduler").KilledWorker
    try:
        yield
    except lost as error:
        raise WorkerLostError(
            found=f"workers that ended over the same task ({error})",
            expected="workers that live until they have answered",
            mend="look into the worker's log; if memory ran out, give workers more of it or fewer threads",
        ) from error


def _chunks(sources: Sequence[Source]) -> Iterator[Raw]:
    """Tags in groups of a few million rows; a tag, however it is written, and all its rows stay together."""
    rows: dict[str, int] = {}
    written: dict[str, list[list[object]]] = {}
    for number, source in enumerate(sources):
        for raw, count in source.tags.items():
            tag = clean(str(raw))
            rows[tag] = rows.get(tag, 0) + count
            written.setdefault(tag, [[] for _ in sources])[number].append(raw)
    held, total = [list[object]() for _ in sources], 0
    for tag in sorted(rows):
        if total and total + rows[tag] > ROWS_A_LOOK:
            yield tuple(map(tuple, held))
            held, total = [list[object]() for _ in sources], 0
        for number, raws in enumerate(written[tag]):
            held[number].extend(raws)
        total += rows[tag]
    if total:
        yield tuple(map(tuple, held))


def _written_as(tag: str, tags: Sequence[object]) -> list[object]:
    """How a tag is written in a source; a second one made by its unit is the same rows."""
    same = [raw for raw in tags if clean(str(raw)) == tag]
    return same or [raw for raw in tags if tag.startswith(f"{clean(str(raw))} [")]


def _no_rows() -> pl.DataFrame:
    return pl.DataFrame(schema=REFUSED_SCHEMA)


def _with_problems(reading: Reading, problems: Sequence[ExcursionsError]) -> Reading:
    return replace(reading, problems=(*problems, *reading.problems)) if not reading.problems else reading
