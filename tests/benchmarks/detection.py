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
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_S
from excursions.pipeline.analyse import analyse_point
from excursions.records import Event
from sample_data.simulator import Sampling, SimulatedPoint, TagRows, TruthRow, record, scenario
from sample_data.simulator.fleet import MEASURANDS, FleetPoint, random_point
from sample_data.simulator.scenario import DEADBANDS, GROUPS, LONG, WIDE, outages_of
from tests.benchmarks.limits import Recording, relative_size
from tests.benchmarks.scoring import Score, score_point
from tests.benchmarks.simulated import point_input
from tests.benchmarks.stated import stated_size
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
    nominal: bool = False


@dataclass(frozen=True)
class Done:
    """A scored point, and what it cost."""

    preset: str
    measurand: str
    score: Score
    samples: int
    seconds: float


def tasks(
    years: float,
    seeds: tuple[int, ...],
    presets: tuple[str, ...],
    faults_per_year: float,
    rated: bool,
    nominal: bool = False,
) -> list[Task]:
    """Points that make up about `years`, spread over ways of recording, measurands and seeds."""
    share = sum(PORTIONS[name][0] for name in presets)
    rows: list[Task] = []
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
                    nominal,
                )
            )
    return rows


def run(task: Task) -> Done:
    """Simulate, export, search and score one point."""
    point = random_point(
        task.seed, task.name, task.measurand, task.days, task.preset, task.faults_per_year, True
    )
    return score_fleet_point(point, task.preset, rated=task.rated, nominal=task.nominal)


def score_fleet_point(point: FleetPoint, preset: str, *, rated: bool, nominal: bool = False) -> Done:
    """Score one fleet point."""
    sim = point.simulate()
    truth, _ = point.truth(sim)
    return score_export(preset, sim, point.export(sim), truth, point.sampling, rated=rated, nominal=nominal)


def score_export(
    name: str,
    sim: SimulatedPoint,
    export: dict[str, TagRows],
    truth: Sequence[TruthRow],
    sampling: Sampling,
    *,
    rated: bool,
    nominal: bool = False,
) -> Done:
    """Search one exported point and score what is found, against the limits it states or the nominal ones."""
    given = point_input(sim, export, rated=rated)
    start = time.perf_counter()
    findings, _ = analyse_point(given)
    seconds = time.perf_counter() - start
    how = Recording.of(sampling, sim.grid.step, sim.spec.probe.sterilisation_degc, sim.spec.probe.tau_s)
    limits = {limit.kind: limit for limit in findings.limits}
    relatives = [
        relative_size(row, export["value"], how)
        if nominal
        else stated_size(row, export["value"], how, limits)
        for row in truth
        if row.is_fault
    ]
    truth = [*truth, *borne_out(sim, findings.events)]
    score = score_point(truth, findings.events, relatives, sampling.interval_s, sim.grid.days / 365.25)
    samples = sum(series.time.size for series in given.series.values())
    return Done(name, sim.spec.measurand, score, samples, seconds)


def borne_out(sim: SimulatedPoint, events: Sequence[Event]) -> list[TruthRow]:
    """What ageing moved as a walk says that was laid to the probe: nobody asked for it, and it is true."""
    rows = []
    for event in events:
        if event.kind not in ("drift", "fouling") or event.origin != "probe":
            continue
        first, last = (
            round((at - sim.grid.start_ns) / NS_PER_S / sim.grid.step) for at in (event.start, event.end)
        )
        edge = max((last - first) // 10, 1)
        before, after = sim.error[max(first, 0) : first + edge], sim.error[max(last - edge, 0) : last]
        if not before.size or not after.size:
            continue
        moved = float(np.median(after) - np.median(before))
        if moved * event.size >= HALF * event.size**2:
            rows.append(
                TruthRow(
                    event.point,
                    event.probe,
                    event.kind,
                    event.start,
                    event.end,
                    moved,
                    event.size_unit,
                    "aftermath",
                )
            )
    return rows


HALF = 0.5  # of the size that the true error must have moved


def run_scenario(seed: int) -> Iterator[Done]:
    """Quillmarsh from its signals (not its files), scored point by point."""
    made = scenario(seed)
    for sim in made.points:
        name = sim.spec.name
        sampling = replace(LONG, deadband=DEADBANDS[name]) if name in GROUPS["long"] else WIDE
        export = record(sim, sampling, outages_of(name), seed=seed)
        yield score_export(
            "scenario", sim, export, [row for row in made.events if row.point == name], sampling, rated=True
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
    parser.add_argument(
        "--nominal", action="store_true", help="against the nominal limits instead of the stated ones"
    )
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
            asked.years,
            tuple(asked.seeds),
            tuple(asked.presets),
            asked.faults_per_year,
            not asked.unrated,
            asked.nominal,
        )
        done = list(run_all(work, asked.jobs))
    print(report(done, every=asked.list or asked.scenario))


if __name__ == "__main__":
    main()
