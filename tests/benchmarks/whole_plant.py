"""The scoreboard of the main job: an invented plant from its files to its findings, against its truth.

    python -m tests.benchmarks.whole_plant --seed 1 2 3

Each seed writes a plant of the committed kind, runs the whole scan over the files (register, calibration log,
laboratory samples and neighbours included) and scores what came out: faults at or above their limit that were
reported, look-alikes taken for a probe fault, calibration shifts laid to the event that made them.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import excursions
from sample_data.build import write_scenario
from sample_data.simulator import record, scenario
from sample_data.simulator.point import SimulatedPoint
from sample_data.simulator.record import Sampling
from sample_data.simulator.scenario import DEADBANDS, GROUPS, LONG, WIDE, outages_of
from sample_data.simulator.truth import TruthRow
from tests.benchmarks.limits import Recording, relative_size
from tests.benchmarks.link_scoring import Linked, score_links
from tests.benchmarks.scoring import Judged, Match, score_point
from tests.benchmarks.tables import grid


@dataclass(frozen=True)
class PlantScore:
    """One plant: every fault with its match, every event judged, every known shift with its links."""

    seed: int
    matches: tuple[tuple[str, Match], ...]
    judged: tuple[tuple[str, Judged], ...]
    links: tuple[Linked, ...]
    point_years: float

    @property
    def due(self) -> list[tuple[str, Match]]:
        """Faults at or above the detection limit."""
        return [(point, one) for point, one in self.matches if one.relative >= 1.0]

    @property
    def missed(self) -> list[tuple[str, Match]]:
        """Of those, the ones that no event reports as the probe's or as undecided."""
        return [(point, one) for point, one in self.due if not is_reported(one)]

    @property
    def false(self) -> list[tuple[str, Judged]]:
        """Events that blame the probe where nothing was wrong with it."""
        return [(point, one) for point, one in self.judged if one.false]

    @property
    def caused(self) -> list[Linked]:
        """Shifts well above their uncertainty that an event made."""
        return [one for one in self.links if one.large and one.cause != "ageing"]


def is_reported(one: Match) -> bool:
    """Whether a person reading the events is told: as the probe's fault, or as one the record cannot decide."""
    return one.found is not None


def sampling_of(name: str) -> Sampling:
    """How the export of a point of the scenario was recorded."""
    return replace(LONG, deadband=DEADBANDS[name]) if name in GROUPS["long"] else WIDE


def relatives_of(sim: SimulatedPoint, truth: Sequence[TruthRow], seed: int) -> list[float]:
    """Size over its limit of each true fault of a point, in their order."""
    sampling = sampling_of(sim.spec.name)
    export = record(sim, sampling, outages_of(sim.spec.name), seed=seed)
    how = Recording.of(sampling, sim.grid.step, sim.spec.probe.sterilisation_degc, sim.spec.probe.tau_s)
    return [relative_size(row, export["value"], how) for row in truth if row.is_fault]


def score_plant(seed: int, folder: Path) -> PlantScore:
    """Write the plant of this seed below `folder`, scan it, score it."""
    made = scenario(seed)
    write_scenario(made, folder / "plant", folder / "truth")
    result = excursions.scan([folder / "plant"]).result
    found = {findings.point.name: findings.events for findings in result.points}
    matches, judged, years = [], [], 0.0
    for sim in made.points:
        name = sim.spec.name
        truth = [row for row in made.events if row.point == name]
        relatives = relatives_of(sim, truth, seed)
        interval_s, years_here = sampling_of(name).interval_s, sim.grid.days / 365.25
        score = score_point(truth, found[name], relatives, interval_s, years_here)
        matches += [(name, one) for one in score.matches]
        judged += [(name, one) for one in score.judged]
        years += score.point_years
    faults = [row for row in made.events if row.is_fault]
    events = [event for events in found.values() for event in events]
    links = score_links(made.shifts, result.shifts, result.links, events, faults)
    return PlantScore(seed, tuple(matches), tuple(judged), tuple(links), years)


def report(scores: Sequence[PlantScore]) -> str:
    """The scoreboard as text: a line a plant, then every miss, false fault and wrong first choice."""
    rows = [
        [
            str(s.seed),
            f"{len(s.due) - len(s.missed)}/{len(s.due)}",
            f"{sum(one.blamed for _, one in s.due)}/{len(s.due)}",
            str(len(s.false)),
            f"{len(s.false) / s.point_years:.2f}",
            f"{sum(one.right for one in s.caused)}/{len(s.caused)}",
        ]
        for s in scores
    ]
    head = [
        "seed",
        "reported",
        "laid to the probe",
        "false probe faults",
        "per point-year",
        "shifts linked to their event",
    ]
    lines = [grid(head, rows, "The main job on invented plants"), ""]
    for s in scores:
        lines += [
            f"seed {s.seed} missed: {p} {m.row.kind}, {m.relative:.1f} times its limit" for p, m in s.missed
        ]
        lines += [
            f"seed {s.seed} false: {p} {j.event.kind} {j.event.confidence:.2f}, beside {j.beside or 'nothing'}"
            for p, j in s.false
        ]
        lines += [
            f"seed {s.seed} linked wrongly: {one.shift.point} {one.shift.parameter} {one.shift.change:+.3g},"
            f" truly {one.cause}, called {one.links[0].cause} {one.links[0].probability:.2f}"
            for one in s.caused
            if not one.right
        ]
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, nargs="+", default=[1, 2, 3])
    scores = []
    for seed in parser.parse_args().seed:
        with tempfile.TemporaryDirectory() as folder:
            scores.append(score_plant(seed, Path(folder)))
    print(report(scores))


if __name__ == "__main__":
    main()
