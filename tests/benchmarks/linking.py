"""The scoreboard of calibrations, links and doubt on simulated fleets.

    python -m tests.benchmarks.linking                          one fleet of 40 probes, true events as input
    python -m tests.benchmarks.linking --points 200 --detected  the whole way, detection included

With true events the figures are those of the linking alone; with detected ones, of the house.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations import evaluate, installations_from, shifts
from excursions.clock import NS_PER_DAY
from excursions.conclusions import Levels
from excursions.link import attribute, doubt_windows, error_at
from excursions.link.correct import band_at
from excursions.pipeline.analyse import analyse_point
from excursions.plant import Plant
from excursions.records import CalibrationEntry, Doubt, Event, Shift
from sample_data.simulator import ShiftTruth, SimulatedPoint, TruthRow
from sample_data.simulator.fleet import random_fleet
from tests.benchmarks.link_scoring import (
    Coverage,
    Linked,
    blamed,
    brier,
    cover,
    first_choice,
    onset_hours,
    pair_shifts,
    reliability_of_links,
    score_links,
)
from tests.benchmarks.simulated import entries_of, plant_of, point_input
from tests.benchmarks.tables import grid

ORIGIN_OF = {"fault": "probe", "record": "record"}


@dataclass(frozen=True)
class Seen:
    """One point as the linking sees it, and what is true of it, hour by hour."""

    plant: Plant
    entries: tuple[CalibrationEntry, ...]
    events: tuple[Event, ...]
    levels: Levels
    truth: tuple[TruthRow, ...]
    shifts: tuple[ShiftTruth, ...]
    hours: np.ndarray
    error: np.ndarray
    live: np.ndarray
    unlogged: bool


def true_events(truth: Sequence[TruthRow]) -> tuple[Event, ...]:
    """Faults as a perfect detector would report them."""
    return tuple(
        Event(
            point=row.point, probe=row.probe, kind=row.kind, start=row.start, end=row.end, size=row.size, size_unit=row.unit,
            confidence=0.95, origin=ORIGIN_OF[row.role], evidence=("true event",),
        )
        for row in truth
        if row.is_fault and not (math.isnan(row.size) and row.kind == "step")
    )  # fmt: skip


def hourly(sim: SimulatedPoint) -> Levels:
    """Hourly medians of what the process did, as the live reading would show them."""
    every = round(3600 / sim.grid.step)
    n = sim.grid.t.size // every * every
    time = sim.grid.ns[:n:every]
    median = [np.median(a[:n].reshape(-1, every), axis=1) for a in (sim.reading, sim.temperature)]
    return Levels(time=time, value=median[0], temperature=median[1])


def see(seed: int, points: int, days: float, preset: str, detected: bool) -> Iterator[Seen]:
    """Simulate a fleet point by point and keep what the linking needs."""
    for fleet_point in random_fleet(seed, points, days, preset):
        sim = fleet_point.simulate()
        truth, true_shifts = fleet_point.truth(sim)
        if detected:
            findings, _ = analyse_point(point_input(sim, fleet_point.export(sim)))
            events, levels = findings.events, findings.levels
        else:
            events, levels = true_events(truth), hourly(sim)
        every = round(3600 / sim.grid.step)
        busy = np.zeros(sim.grid.t.size, bool)
        for span in sim.spans:
            if span.kind != "wash":
                busy[sim.grid.slice(span.start - 900, span.end + 3 * 3600)] = True
        yield Seen(
            plant_of(sim), entries_of(sim), events, levels, truth, true_shifts, sim.grid.ns[::every], sim.error[::every],
            ~busy[::every], any(not life.logged for life in sim.lives),
        )  # fmt: skip


def plant_around(seen: Sequence[Seen]) -> Plant:
    """One plant of all points."""
    parts = [s.plant for s in seen]
    return replace(
        parts[0],
        points=tuple(p for plant in parts for p in plant.points),
        probes=tuple(p for plant in parts for p in plant.probes),
        installations=tuple(i for plant in parts for i in plant.installations),
    )


@dataclass(frozen=True)
class Fleet:
    """The scored fleet."""

    linked: tuple[Linked, ...]
    brier: float
    coverage: Coverage
    swaps: tuple[int, int]


def score_fleet(seen: Sequence[Seen]) -> Fleet:
    """Calibrations, links and doubt of one fleet against its truth."""
    plant = plant_around(seen)
    evaluated = evaluate([entry for s in seen for entry in s.entries], plant)
    plant, decisions = installations_from(evaluated, plant)
    levels = {s.plant.points[0].name: s.levels for s in seen}
    events = [event for s in seen for event in s.events]
    found = shifts(evaluated, plant, levels)
    links = attribute(found, events, plant, levels)
    faults = [row for s in seen for row in s.truth if row.role in ("fault", "aftermath")]
    linked = score_links([t for s in seen for t in s.shifts], found, links, events, faults)
    doubts = doubt_windows(found, events, evaluated, levels, plant)
    coverage = Coverage(0, 0, ())
    for s in seen:
        name = s.plant.points[0].name
        for doubt in (d for d in doubts if d.point == name and not d.open_end):
            coverage += _covered(s, doubt)
    told = " ".join(d.subject for d in decisions)
    unlogged = [s for s in seen if s.unlogged and _large_swap(s, found)]
    swaps = (sum(s.plant.points[0].name in told for s in unlogged), len(unlogged))
    return Fleet(tuple(linked), brier(linked, events, faults), coverage, swaps)


def _large_swap(seen: Seen, found: Sequence[Shift]) -> bool:
    """Whether the fresh probe differs by more than three uncertainties in some parameter."""
    return any(
        abs(shift.change) > 3 * shift.uncertainty
        for truth, shift in pair_shifts(seen.shifts, found)
        if truth.main == "swap"
    )


def _covered(seen: Seen, doubt: Doubt) -> Coverage:
    inside = (seen.hours >= doubt.start) & (seen.hours < doubt.end) & seen.live
    hours = seen.hours[inside]
    got = cover(seen.error[inside], error_at(hours, doubt), band_at(hours, doubt))
    marks = [
        row.start
        for row in seen.truth
        if row.role == "fault"
        and row.kind in ("step", "over_temperature")
        and doubt.start - NS_PER_DAY * 30 < row.start < doubt.end
    ]
    onset = (
        (onset_hours(doubt.start, min(marks, key=lambda m: abs(m - doubt.start))),)
        if doubt.event and marks
        else ()
    )
    return replace(got, onset_h=onset)


def report(fleets: Sequence[Fleet]) -> str:
    """The table."""
    linked = [one for fleet in fleets for one in fleet.linked]
    right, large = first_choice(linked)
    blame, alone = blamed(linked)
    cover_all = sum((f.coverage for f in fleets), Coverage(0, 0, ()))
    still = [one for one in linked if one.still]
    spread = np.array([one.z for one in linked if math.isfinite(one.z)])
    rows = [
        ["shifts with known truth", str(len(linked))],
        ["first choice right, of shifts over three uncertainties", f"{right}/{large} = {right / max(large, 1):.3f}"],
        ["Brier score of their links", _mean([f.brier for f in fleets])],
        ["ordinary ageing blamed on an event", f"{blame}/{alone} = {blame / max(alone, 1):.3f}"],
        ["called significant though nothing moved (nominal 0.01)", f"{sum(o.shift.significant for o in still)}/{len(still)}"],
        ["error of the shift over its uncertainty: mean, deviation", f"{spread.mean():+.2f}, {spread.std():.2f}"],
        ["true error inside the 90 % band, of hours", f"{cover_all.inside}/{cover_all.of} = {cover_all.inside / max(cover_all.of, 1):.3f}"],
        ["start of doubt, median error where an event marks it", f"{np.median(np.abs(cover_all.onset_h)):.1f} h of {len(cover_all.onset_h)}" if cover_all.onset_h else "."],
        ["unlogged swaps recognised, of those over three uncertainties", f"{sum(f.swaps[0] for f in fleets)}/{sum(f.swaps[1] for f in fleets)}"],
    ]  # fmt: skip
    parts = [grid(["", "figure"], rows, "Calibrations, links and doubt"), by_cause(linked)]
    said = [[f"{p:.2f}", f"{share:.2f}", str(count)] for p, share, count in reliability_of_links(linked)]
    parts.append(
        grid(
            ["probability said", "share right", "shifts"],
            said,
            "Reliability of the first choice (large shifts)",
        )
    )
    return "\n\n".join(parts)


def _mean(values: Sequence[float]) -> str:
    """Mean of the finite values as text, a full stop for none."""
    finite = [value for value in values if math.isfinite(value)]
    return f"{sum(finite) / len(finite):.3f}" if finite else "."


def by_cause(linked: Sequence[Linked]) -> str:
    """First choice right by true cause, large shifts."""
    rows = []
    for cause in sorted({one.cause for one in linked}):
        mine = [one for one in linked if one.cause == cause and one.large]
        wrong = sorted({one.links[0].cause for one in mine if not one.right and one.links})
        rows.append([cause, str(len(mine)), str(sum(one.right for one in mine)), ", ".join(wrong)])
    return grid(["true main cause", "large shifts", "first choice right", "else"], rows, "By cause")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--points", type=int, default=40)
    parser.add_argument("--days", type=float, default=365.0)
    parser.add_argument("--preset", default="10 min")
    parser.add_argument("--seeds", type=int, nargs="+", default=[21])
    parser.add_argument(
        "--detected", action="store_true", help="events from the detectors instead of the truth"
    )
    asked = parser.parse_args()
    fleets = [
        score_fleet(list(see(seed, asked.points, asked.days, asked.preset, asked.detected)))
        for seed in asked.seeds
    ]
    print(report(fleets))


if __name__ == "__main__":
    main()
