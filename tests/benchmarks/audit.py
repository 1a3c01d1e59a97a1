"""Was it really calibrated?  Logs of simulated fleets beside their records: precision and recall of the audit.

    python -m tests.benchmarks.audit [--points 70] [--days 120] [--presets "60 s" "10 min" exception] [--seeds 1 2 3]

Truth: entries written without a calibration at the point (no trace), calibrations nobody wrote down (no entry), figures
copied from the entry before, buffers named that were not used, adjustments entered that the transmitter never took over
(those count whose jump the point's stated limit says can be seen; unentered calibrations do not count where the audit
itself says that they need not show).  "Cannot tell" is an answer, counted beside precision and recall, and a miss for recall.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from excursions.calibrations import evaluate, installations_from
from excursions.calibrations.entries import noted
from excursions.clock import NS_PER_HOUR, iso
from excursions.conclusions import AuditFinding, Levels
from excursions.condition import condition, share_outages
from excursions.link import audit
from excursions.link.takeover import shows
from excursions.pipeline.point import PointInput, hourly_levels
from excursions.records import CalibrationEntry, Record, Sampling, Signal, StandardReading, StateLine
from excursions.states import recognise
from sample_data.simulator import SimulatedPoint
from sample_data.simulator.calibrate import Calibrated
from sample_data.simulator.fleet import random_fleet
from sample_data.simulator.grid import NS
from tests.benchmarks.simulated import entries_of, plant_of, point_input
from tests.benchmarks.tables import grid

SCORED = ("no trace", "no entry", "copied", "other plateaus", "not taken over")
KEPT = 0.3  # share of adjustments that the transmitter did not take over
LIMIT = 1.25  # above the stated limit: the level at the adjustment is not quite the usual one
MOVED = (2.0, 12.0)  # what such an adjustment would move the reading by, in tolerances (log-uniform)
ALIVE_MV = 100.0  # between pH 7 and 4, where sound glass gives 177 mV
OTHER_BUFFER = 0.08  # share of pH entries that name a buffer that was not used
_NEAR = 3 * NS_PER_HOUR


@dataclass
class Score:
    """Found rightly, found wrongly and missed, by kind; what was left open; the wrong ones in words."""

    right: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    open: int = 0
    entries: int = 0
    told: list[str] = field(default_factory=list)

    def share(self, against: Counter[str], kind: str = "") -> str:
        """Right over right and `against`."""
        good, bad = (c[kind] if kind else sum(c.values()) for c in (self.right, against))
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


def expected(sim: SimulatedPoint, changed: Sequence[int] = ()) -> list[tuple[str, Calibrated]]:
    """What a perfect audit would find; `changed` are the times of entries that were altered since, copies of nothing now."""
    minutes = {when // 60_000_000_000 for when in changed}
    made = []
    for done in sim.calibrations:
        if done.logged and not done.traced and done.comment != "workshop":
            made.append(("no trace", done))
        if done.traced and not done.logged:
            made.append(("no entry", done))
    # A copy is what repeats the entry before it in the log, however it came about.
    logged = [done for done in sim.calibrations if done.logged]
    for before, done in pairwise(logged):
        seen = (before.raw_found,) if before.action == "verification" else (before.raw_found, before.raw_left)
        same = {done.raw_found, done.raw_left} <= set(seen) and done.temperatures == before.temperatures
        altered = any(instant(sim, one) // 60_000_000_000 in minutes for one in (before, done))
        if same and not altered:
            made.append(("copied", done))
    return made


def with_other_buffers(
    sim: SimulatedPoint, entries: Sequence[CalibrationEntry], seed: int
) -> tuple[tuple[CalibrationEntry, ...], list[tuple[str, int]]]:
    """Some pH entries with a buffer named that was not used (pH 10 for pH 4), and the findings that are owed.

    Only where the plateaus could show: no output held meanwhile, a calibration at the point, of glass that is not broken
    (the audit says of a probe that is far off that its standards do not show).
    """
    random = np.random.default_rng([seed, int(sim.spec.name[1:])])
    honest = {
        instant(sim, done) // 60_000_000_000
        for done in sim.calibrations
        if done.traced and not done.copied and np.ptp(done.raw_found) > ALIVE_MV
    }
    chosen = {
        entry.time
        for entry in entries
        if sim.spec.measurand == "ph" and "calibration" not in sim.spec.care.hold
        and entry.time // 60_000_000_000 in honest and random.random() < OTHER_BUFFER
    }  # fmt: skip
    made = tuple(
        replace(entry, standards=tuple(replace(s, standard=10.01) if s.standard < 5 else s for s in entry.standards))
        if entry.time in chosen
        else entry
        for entry in entries
    )  # fmt: skip
    return made, [("other plateaus", when) for when in sorted(chosen)]


def with_kept(
    sim: SimulatedPoint, entries: Sequence[CalibrationEntry], levels: Levels, seed: int
) -> tuple[tuple[CalibrationEntry, ...], list[tuple[str, int]]]:
    """Some adjustments entered with raw values that call for another zero or gain, of which the transmitter knows nothing.

    Electrodes and cells only, whose raw values alone give the parameters.  Owed are those whose jump is as large as the
    point's stated limit and has levels on both sides.
    """
    random = np.random.default_rng([seed, int(sim.spec.name[1:]), 2])
    point = plant_of(sim).points[0]
    level = float(np.nanmedian(levels.value)) if np.isfinite(levels.value).any() else np.nan
    if sim.spec.measurand not in ("ph", "redox", "conductivity") or not np.isfinite(level):
        return tuple(entries), []
    minutes = {instant(sim, c) // 60_000_000_000: c for c in sim.calibrations if c.traced and not c.copied}
    moved: dict[int, float] = {}
    for entry in entries:
        honest = minutes.get(entry.time // 60_000_000_000)
        first = (
            entry.time // 60_000_000_000 == entries[0].time // 60_000_000_000
        )  # nothing before it to differ from
        if honest is None or honest.action != "calibration" or first or entry.time in moved:
            continue
        size = (
            float(np.exp(random.uniform(*np.log(MOVED))))
            * point.tolerance_at(level)
            * random.choice((-1.0, 1.0))
        )
        if random.random() < KEPT:
            moved[entry.time] = size
    made = tuple(
        replace(entry, figures={}, standards=tuple(_moved(sim.spec.measurand, s, moved[entry.time], level) for s in entry.standards))
        if entry.time in moved
        else entry
        for entry in entries
    )  # fmt: skip
    return made, [
        ("not taken over", when)
        for when, size in moved.items()
        if all(shows(levels, point, level, part) for part in (size, size / LIMIT)) and _beside(levels, when)
    ]


def _moved(measurand: str, standard: StandardReading, size: float, level: float) -> StandardReading:
    """The raw value that makes the reading `size` higher at the level once it is taken over."""
    if measurand == "conductivity":
        return replace(standard, raw=standard.raw / (1.0 + size / level))
    return replace(standard, raw=standard.raw + (59.16 * size if measurand == "ph" else -size))


def _beside(levels: Levels, when: int) -> bool:
    """Whether there are levels in the hours before and after."""
    hours = (levels.time[np.isfinite(levels.value)] - when) / NS_PER_HOUR
    return bool(np.sum((hours > -8) & (hours < -2)) >= 3 and np.sum((hours >= 2) & (hours < 7)) >= 3)


def instant(sim: SimulatedPoint, done: Calibrated) -> int:
    return sim.grid.start_ns + round(done.time * NS)


def score_point(
    sim: SimulatedPoint,
    found: Sequence[AuditFinding],
    planted: Sequence[tuple[str, int]],
    score: Score,
    also: Sequence[int] = (),
    seed: int = 0,
) -> None:
    """Pair findings with the truth, nearest in time."""
    left = [*((kind, instant(sim, done)) for kind, done in expected(sim, also)), *planted]
    kept = [instant(sim, done) for done in sim.calibrations if not np.isfinite(done.adopted_at)]
    for finding in (f for f in found if f.kind in SCORED):
        here = [kind for kind, when in left if abs(finding.start - when) < _NEAR]
        true = any(abs(finding.start - when) < _NEAR for when in (*kept, *also))
        if finding.kind == "not taken over" and true and finding.kind not in here:
            continue  # right, though not owed: below the limit, or a figure that nobody adopted
        near = [
            t for t in left if t[0] == finding.kind and finding.start - _NEAR <= t[1] <= finding.end + _NEAR
        ]
        if near:
            left.remove(near[0])
            score.right[finding.kind] += 1
        else:
            score.wrong[finding.kind] += 1
            score.told.append(
                f"wrong  {seed}:{sim.spec.name} {sim.spec.measurand} {finding.kind} {iso(finding.start)}: {finding.sentence}"
            )
    blind = any(f.kind == "cannot tell" and not f.calibration for f in found)  # the tool's stated limit
    for kind, when in left:
        if kind == "no entry" and blind:
            score.open += 1
            continue
        score.missed[kind] += 1
        open_ = [f for f in found if f.kind == "cannot tell" and f.start <= when <= f.end]
        why = f": {open_[0].sentence} ({open_[0].could_hide[0]})" if open_ else ""
        score.told.append(f"missed {seed}:{sim.spec.name} {sim.spec.measurand} {kind} {iso(when)}{why}")
    score.open += sum(f.kind == "cannot tell" and bool(f.calibration) for f in found)
    score.entries += sum(done.logged for done in sim.calibrations)


def run(seed: int, points: int, days: float, preset: str) -> Score:
    """One fleet: simulate, recognise, audit, score."""
    score = Score()
    for fleet_point in random_fleet(seed, points, days, preset):
        sim = fleet_point.simulate()
        given = point_input(sim, fleet_point.export(sim))
        plant = plant_of(sim)
        honest = entries_of(sim)
        entries, planted = with_other_buffers(sim, honest, seed)
        known = replace(given.plant, noted=noted(entries, plant))
        states, sampling, levels = states_of(replace(given, plant=known))
        entries, kept = with_kept(sim, entries, levels, seed)
        also = [new.time for old, new in zip(honest, entries, strict=True) if old is not new]
        calibrations = evaluate(entries, plant)
        plant, _ = installations_from(calibrations, plant)
        name = sim.spec.name
        found = audit(calibrations, {name: states}, {name: sampling}, plant, {name: levels})
        score_point(sim, found, [*planted, *kept], score, also, seed)
    return score


def total(scores: Sequence[Score]) -> Score:
    made = Score()
    for one in scores:
        made = replace(
            made, right=made.right + one.right, wrong=made.wrong + one.wrong, missed=made.missed + one.missed,
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
        kinds = [f"{score.share(score.wrong, k)} / {score.share(score.missed, k)}" for k in SCORED]
        rows.append(
            [
                preset,
                str(score.entries),
                score.share(score.wrong),
                score.share(score.missed),
                *kinds,
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
        "cannot tell",
    ]
    print(grid(head, rows, "Audit of the calibration log"))


if __name__ == "__main__":
    main()
