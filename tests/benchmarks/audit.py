"""Was it really calibrated?  Logs of simulated fleets beside their records: precision and recall of the audit.

    python -m tests.benchmarks.audit [--points 70] [--days 120] [--presets "60 s" "10 min" exception] [--seeds 1 2 3]

Truth: entries written without a calibration at the point (no trace), calibrations nobody wrote down (no entry), figures
copied from the entry before, buffers named that were not used, adjustments measured and entered that the transmitter never
took over.  Owed is what physically shows in the export, decided from the simulator's truth alone
(:mod:`tests.benchmarks.audit_truth`); the rest is counted as hidden, and finding it is right.  "Cannot tell" is an answer,
counted beside precision and recall, and a miss for recall.  Coarser recordings hide more: there every miss must lie where
the audit states a limit, for the entry or for the whole record of the point.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from excursions.calibrations import evaluate, installations_from
from excursions.calibrations.entries import noted
from excursions.clock import NS_PER_HOUR, iso
from excursions.conclusions import AuditFinding, Levels
from excursions.condition import condition, share_outages
from excursions.link import audit
from excursions.pipeline.point import PointInput, hourly_levels
from excursions.records import Record, Sampling, Signal, StateLine
from excursions.states import recognise
from sample_data.simulator import SimulatedPoint
from sample_data.simulator.fleet import FleetPoint, random_fleet
from tests.benchmarks.audit_truth import Owed, instant, owed, with_kept, with_other_buffers
from tests.benchmarks.simulated import entries_of, plant_of, point_input
from tests.benchmarks.tables import grid

SCORED = ("no trace", "no entry", "copied", "other plateaus", "not taken over")
_NEAR = 3 * NS_PER_HOUR


@dataclass
class Score:
    """Found rightly, found wrongly and missed, by kind; what does not show, and was found all the same (beyond); missed where no stated
    limit says so (unsaid); what was left open; the wrong ones in words."""

    right: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)
    beyond: Counter[str] = field(default_factory=Counter)
    unsaid: Counter[str] = field(default_factory=Counter)
    open: int = 0
    entries: int = 0
    told: list[str] = field(default_factory=list)

    def precision(self, kind: str = "") -> str:
        """Right findings, whether they were owed or not, over all."""
        return _share(_of(self.right, kind) + _of(self.beyond, kind), _of(self.wrong, kind))

    def recall(self, kind: str = "") -> str:
        """What was found of what is owed."""
        return _share(_of(self.right, kind), _of(self.missed, kind))


def _of(counts: Counter[str], kind: str) -> int:
    return counts[kind] if kind else counts.total()


def _share(good: int, bad: int) -> str:
    return f"{good / (good + bad):.3f} ({good}/{good + bad})" if good + bad else "."


def states_of(given: PointInput) -> tuple[StateLine, dict[str, Sampling], Levels]:
    """Condition and split into states, as a scan does before it searches; and the hourly levels it keeps."""
    roles = {"value": given.point.measurand, "temperature": "temperature"}
    signals: dict[str, Signal] = {
        role: condition(
            series,
            measurand=roles.get(role, "other"),
            unit=given.point.unit if role == "value" else "",
        ).signal
        for role, series in given.series.items()
    }
    signals = share_outages(signals)
    parts = (signals.get(role) for role in ("value", "temperature", "hold", "wash"))
    states = recognise(given.point, given.plant, *parts)
    record = Record(
        point=given.point, plant=given.plant, value=signals.get("value"), temperature=signals.get("temperature"), states=states,
    )  # fmt: skip
    return states, {r: s.sampling for r, s in signals.items()}, hourly_levels(record)


def score_point(
    name: str, found: Sequence[AuditFinding], truth: Sequence[Owed], kept: Sequence[int], score: Score
) -> None:
    """Pair findings with the truth, nearest in time; `kept`: adjustments of which the transmitter knows nothing."""
    left = list(truth)
    for finding in (f for f in found if f.kind in SCORED):
        near = [
            one
            for one in left
            if one.kind == finding.kind and finding.start - _NEAR <= one.time <= finding.end + _NEAR
        ]
        if near:
            first = min(near, key=lambda one: (bool(one.hidden), abs(one.time - finding.start)))
            left.remove(first)
            (score.beyond if first.hidden else score.right)[finding.kind] += 1
        elif finding.kind == "not taken over" and any(abs(finding.start - when) < _NEAR for when in kept):
            continue  # right: a copied or invented figure, or another buffer's, that nobody adopted
        else:
            score.wrong[finding.kind] += 1
            score.told.append(f"wrong  {name} {finding.kind} {iso(finding.start)}: {finding.sentence}")
    for one in left:
        if one.hidden:
            score.hidden[one.kind] += 1
            continue
        score.missed[one.kind] += 1
        open_ = [f for f in found if f.kind == "cannot tell" and f.start <= one.time <= f.end]
        score.unsaid[one.kind] += not open_
        why = f": {open_[0].sentence} ({open_[0].could_hide[0]})" if open_ else ""
        score.told.append(f"missed {name} {one.kind} {iso(one.time)}{why}")
    score.open += sum(f.kind == "cannot tell" and bool(f.calibration) for f in found)


def run(seed: int, points: int, days: float, preset: str) -> Score:
    """One fleet: simulate, recognise, audit, score."""
    score = Score()
    for drawn in random_fleet(seed, points, days, preset):
        fleet_point = with_kept(drawn)
        sim = fleet_point.simulate()
        found, truth = audited(fleet_point, sim)
        kept = [instant(sim, done) for done in sim.calibrations if not np.isfinite(done.adopted_at)]
        kept += [one.time for one in truth if one.kind == "other plateaus"]
        score_point(f"{seed}:{sim.spec.name} {sim.spec.measurand}", found, truth, kept, score)
        score.entries += sum(done.logged for done in sim.calibrations)
    return score


def audited(fleet_point: FleetPoint, sim: SimulatedPoint) -> tuple[tuple[AuditFinding, ...], list[Owed]]:
    """What the audit finds at one point, and what is owed."""
    given = point_input(sim, fleet_point.export(sim))
    plant, honest = plant_of(sim), entries_of(sim)
    entries, other = with_other_buffers(sim, honest, fleet_point.seed)
    known = replace(given.plant, noted=noted(entries, plant))
    states, sampling, levels = states_of(replace(given, plant=known))
    calibrations = evaluate(entries, plant)
    plant, _ = installations_from(calibrations, plant)
    name = sim.spec.name
    found = audit(calibrations, {name: states}, {name: sampling}, plant, {name: levels})
    return found, [*owed(fleet_point, sim), *other]


def total(scores: Sequence[Score]) -> Score:
    made = Score()
    for one in scores:
        made = replace(
            made, right=made.right + one.right, wrong=made.wrong + one.wrong, missed=made.missed + one.missed, hidden=made.hidden + one.hidden, beyond=made.beyond + one.beyond, unsaid=made.unsaid + one.unsaid,
            open=made.open + one.open, entries=made.entries + one.entries, told=[*made.told, *one.told],
        )  # fmt: skip
    return made


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--points", type=int, default=70)
    parser.add_argument("--days", type=float, default=120.0)
    parser.add_argument("--presets", nargs="+", default=["60 s", "10 min", "exception"])
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--show", type=int, default=0, help="how many wrong and missed ones to list")
    given = parser.parse_args()
    rows = []
    for preset in given.presets:
        score = total([run(seed, given.points, given.days, preset) for seed in given.seeds])
        kinds = [f"{score.precision(k)} / {score.recall(k)}" for k in SCORED]
        rows.append(
            [
                preset,
                str(score.entries),
                score.precision(),
                score.recall(),
                *kinds,
                *(
                    ", ".join(f"{k} {n}" for k, n in sorted(c.items())) or "none"
                    for c in (score.hidden, score.beyond)
                ),
                f"{sum(score.unsaid.values())} of {sum(score.missed.values())}",
                str(score.open),
            ]
        )
        print("\n".join(score.told[: given.show]))
    head = [
        "sampling",
        "entries",
        "precision (bar 0.97)",
        "recall (bar 0.97)",
        *(f"{k}: precision / recall" for k in SCORED),
        "wrong but not to be seen, and not found",
        "found all the same",
        "missed where no stated limit says so",
        "cannot tell",
    ]
    print(grid(head, rows, "Audit of the calibration log"))


if __name__ == "__main__":
    main()
