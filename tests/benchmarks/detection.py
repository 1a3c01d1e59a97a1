"""The scoreboard of detection on simulated fleets, and of the committed scenario's kind of plant.

    python -m tests.benchmarks.detection                       a quick look: a few point-years
    python -m tests.benchmarks.detection --years 100 --jobs 2  the full table
    python -m tests.benchmarks.detection --scenario --seed 7   Quillmarsh with another seed

Every figure comes from truth tables and events alone (see scoring.py for the rules).
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from excursions.pipeline.point import analyse_point
from sample_data.simulator import TruthRow, scenario
from sample_data.simulator.fleet import MEASURANDS, PRESETS, FleetPoint, random_point
from sample_data.simulator.record import Sampling, record
from sample_data.simulator.scenario import DEADBANDS, GROUPS, LONG, WIDE, outages_of
from tests.benchmarks.limits import relative_size
from tests.benchmarks.scoring import Score, score_point
from tests.benchmarks.simulated import point_input
from tests.benchmarks.tables import report

# Share of the point-years that each way of recording gets, and the length of one record in days.
PORTIONS: dict[str, tuple[float, float]] = {
    "1 s": (0.01, 14.0),
    "10 s": (0.04, 60.0),
    "60 s": (0.35, 365.0),
    "10 min": (0.25, 365.0),
    "exception": (0.10, 180.0),
    "swinging door": (0.08, 180.0),
    "interpolated": (0.08, 180.0),
    "averages": (0.09, 365.0),
}


@dataclass(frozen=True)
class Task:
    """One random point to simulate, search and score."""

    seed: int
    name: str
    measurand: str
    days: float
    preset: str
    faults_per_year: float
    rated: bool


@dataclass(frozen=True)
class Done:
    """A scored point, and what it cost."""

    preset: str
    measurand: str
    score: Score
    samples: int
    seconds: float


def tasks(
    years: float, seeds: tuple[int, ...], presets: tuple[str, ...], faults_per_year: float, rated: bool
) -> list[Task]:
    """Points that make up about `years`, spread over ways of recording, measurands and seeds."""
    share = sum(PORTIONS[name][0] for name in presets)
    rows = []
    for preset in presets:
        portion, days = PORTIONS[preset]
        count = max(round(years * portion / share * 365.0 / days), 1)
        for number in range(count):
            seed = seeds[number % len(seeds)]
            rows.append(
                Task(
                    seed,
                    f"{preset}-{number}",
                    MEASURANDS[len(rows) % len(MEASURANDS)],
                    days,
                    preset,
                    faults_per_year,
                    rated,
                )
            )
    return rows


def run(task: Task) -> Done:
    """Simulate, export, search and score one point."""
    point = random_point(
        task.seed, task.name, task.measurand, task.days, task.preset, task.faults_per_year, True
    )
    return score_fleet_point(point, task.preset, rated=task.rated)


def score_fleet_point(point: FleetPoint, preset: str, *, rated: bool) -> Done:
    """Score one fleet point."""
    sim = point.simulate()
    given = point_input(sim, point.export(sim), rated=rated)
    truth, _ = point.truth(sim)
    start = time.perf_counter()
    findings, _ = analyse_point(given)
    seconds = time.perf_counter() - start
    interval = PRESETS[preset].sampling.interval_s
    relatives = [
        _relative(row, interval, point.spec.probe.sterilisation_degc) for row in truth if row.is_fault
    ]
    score = score_point(truth, findings.events, relatives, interval, point.days / 365.25)
    samples = sum(series.time.size for series in given.series.values())
    return Done(preset, point.spec.measurand, score, samples, seconds)


def _relative(row: TruthRow, interval_s: float, rating_degc: float) -> float:
    return relative_size(row, interval_s=interval_s, rating_degc=rating_degc)


def run_scenario(seed: int) -> Iterator[Done]:
    """Quillmarsh from its signals (not its files), scored point by point."""
    made = scenario(seed)
    for sim in made.points:
        name = sim.spec.name
        sampling = _sampling(name)
        given = point_input(sim, record(sim, sampling, outages_of(name), seed=seed))
        start = time.perf_counter()
        findings, _ = analyse_point(given)
        seconds = time.perf_counter() - start
        truth = [row for row in made.events if row.point == name]
        rating = sim.spec.probe.sterilisation_degc
        relatives = [_relative(row, 60.0, rating) for row in truth if row.is_fault]
        samples = sum(series.time.size for series in given.series.values())
        yield Done(
            "scenario",
            sim.spec.measurand,
            score_point(truth, findings.events, relatives, 60.0, sim.grid.days / 365.25),
            samples,
            seconds,
        )


def _sampling(name: str) -> Sampling:
    if name not in GROUPS["long"]:
        return WIDE
    return Sampling(
        kind=LONG.kind, interval_s=LONG.interval_s, heartbeat_s=LONG.heartbeat_s, deadband=DEADBANDS[name]
    )


def run_all(work: list[Task], jobs: int) -> Iterator[Done]:
    """Every task, in order, on `jobs` processes."""
    if jobs == 1:
        yield from map(run, work)
        return
    with ProcessPoolExecutor(max_workers=jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield from pool.map(run, work, chunksize=4)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--years", type=float, default=7.0, help="point-years in all")
    parser.add_argument("--seeds", type=int, nargs="+", default=[11, 12, 13])
    parser.add_argument("--presets", nargs="+", choices=list(PORTIONS), default=list(PORTIONS))
    parser.add_argument("--faults-per-year", type=float, default=6.0)
    parser.add_argument("--unrated", action="store_true", help="leave the ratings out of the register")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--scenario", action="store_true", help="Quillmarsh instead of random fleets")
    parser.add_argument("--seed", type=int, default=7, help="seed of --scenario")
    parser.add_argument(
        "--list", action="store_true", help="list every miss above the limit and every false fault"
    )
    asked = parser.parse_args()
    if asked.scenario:
        done = list(run_scenario(asked.seed))
    else:
        work = tasks(
            asked.years, tuple(asked.seeds), tuple(asked.presets), asked.faults_per_year, not asked.unrated
        )
        done = list(run_all(work, asked.jobs))
    print(report(done, every=asked.list or asked.scenario))


if __name__ == "__main__":
    main()
