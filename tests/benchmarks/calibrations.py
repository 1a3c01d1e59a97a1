"""Calibrations and links on simulated fleets with a known truth, several seeds; prints the bars beside what was measured.

    python -m tests.benchmarks.calibrations [--probes 200] [--seeds 1 2 3]

The fleets (:mod:`tests.benchmarks.calibration_fleet`) have no signals: events come as a detector would report them.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.stats import binomtest

from excursions.calibrations import SIGNIFICANCE, evaluate, installations_from, shifts
from excursions.clock import NS_PER_HOUR
from excursions.link import attribute, band_at, doubt_windows, error_at, fleet_heat, weigh
from excursions.records import Doubt, Link, Shift
from tests.benchmarks.calibration_fleet import FIRST, Fleet, Life, fleet
from tests.benchmarks.link_scoring import NEAR_TIE

BIG = 3.0  # shifts larger than this many uncertainties


@dataclass
class Tally:
    """Everything counted over the seeds."""

    links: list[tuple[float, bool]] = field(default_factory=list)
    big: Counter[bool] = field(default_factory=Counter)
    recorded: Counter[bool] = field(default_factory=Counter)
    strict: Counter[bool] = field(default_factory=Counter)
    expected: list[float] = field(default_factory=list)
    ageing: Counter[bool] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)
    inside: Counter[bool] = field(default_factory=Counter)
    inside_by_basis: dict[str, Counter[bool]] = field(default_factory=dict)
    late_h: list[float] = field(default_factory=list)


def truth_of(life: Life, shift: Shift) -> dict[str, float]:
    """What each cause really did to a shift's parameter."""
    return life.contributions(shift.parameter, shift.start, shift.end)


def principal(life: Life, shift: Shift) -> str:
    """The cause that did most."""
    parts = truth_of(life, shift)
    return max(parts, key=lambda cause: abs(parts[cause])) if parts else "ageing"


def principals(life: Life, shift: Shift) -> set[str]:
    """The cause that did most, and those that did nearly as much."""
    parts = truth_of(life, shift)
    most = max((abs(part) for part in parts.values()), default=0.0)
    return {principal(life, shift)} | {c for c, part in parts.items() if abs(part) >= NEAR_TIE * most > 0}


def named(link: Link) -> str:
    """A link's cause by the words of the truth."""
    return link.event if link.cause == "event" else link.cause


def score_links(made: Fleet, found: Sequence[Shift], links: Sequence[Link], tally: Tally) -> None:
    lives = {life.name: life for life in made.lives}
    by_shift: dict[str, list[Link]] = {}
    for link in links:
        by_shift.setdefault(link.shift, []).append(link)
    for shift in found:
        life = lives[shift.point]
        if life.swapped_at is not None:
            continue
        true = principal(life, shift)
        rows = by_shift[shift.id]
        tally.links += [(link.probability, named(link) == true) for link in rows]
        first = named(rows[0])
        if abs(shift.change) > BIG * shift.uncertainty:
            tally.big[first in principals(life, shift)] += 1
            tally.strict[first == true] += 1
            tally.expected.append(rows[0].probability)
            if true != "unrecorded":
                tally.recorded[first in principals(life, shift)] += 1
            if first != true:
                parts = {k[:10]: round(v / shift.uncertainty, 1) for k, v in truth_of(life, shift).items()}
                tally.missed.append(
                    f"{shift.measurand} {shift.parameter} z {shift.change / shift.uncertainty:.1f} said {first} true {true} {parts}"
                )
        if true == "ageing":
            tally.ageing[first not in ("ageing", "unrecorded")] += 1


def score_doubts(made: Fleet, doubts: Sequence[Doubt], tally: Tally) -> None:
    lives = {life.name: life for life in made.lives}
    for doubt in (d for d in doubts if not d.open_end):
        life = lives[doubt.point]
        at = doubt.start + ((np.arange(20) + 0.5) / 20 * (doubt.end - doubt.start)).astype(np.int64)
        true = np.array([life.error(int(t)) for t in at])
        inside = np.abs(true - error_at(at, doubt)) <= band_at(at, doubt)
        row = tally.inside_by_basis.setdefault(doubt.basis, Counter())
        for good in inside:
            tally.inside[bool(good)] += 1
            row[bool(good)] += 1
        if doubt.event:
            began = truly_out(made, life, doubt)
            if began is not None:
                tally.late_h.append(abs(doubt.start - began) / NS_PER_HOUR)


def truly_out(made: Fleet, life: Life, doubt: Doubt) -> int | None:
    """When the true error first left the tolerance in the interval the doubt closes (to the hour)."""
    since = max((t for t in life.calibrated if t < doubt.end), default=FIRST)
    point = made.plant.point(life.name)
    assert point is not None
    for when in range(since, doubt.end, NS_PER_HOUR):
        if abs(life.error(when)) > point.tolerance_at(life.level):
            return when
    return None


def score_fleet(seed: int, probes: int, tally: Tally) -> float:
    """Run one troubled fleet; returns seconds spent."""
    made = fleet(seed, probes)
    began = time.perf_counter()
    calibrations = evaluate(made.entries, made.plant)
    found = shifts(calibrations, made.plant, made.levels)
    weighing = weigh(found, made.events, made.plant, made.levels)
    links = attribute(found, made.events, made.plant, made.levels, weighing=weighing)
    doubts = doubt_windows(found, made.events, calibrations, made.levels, made.plant, weighing=weighing)
    spent = time.perf_counter() - began
    score_links(made, found, links, tally)
    score_doubts(made, doubts, tally)
    return spent


def false_positives(seeds: Sequence[int], probes: int) -> tuple[int, int]:
    """Shifts called significant where nothing changed at all."""
    called = total = 0
    for seed in seeds:
        made = fleet(seed + 10_000, probes, quiet=True)
        found = shifts(evaluate(made.entries, made.plant), made.plant, made.levels)
        called, total = called + sum(s.significant for s in found), total + len(found)
    return called, total


def power(seed: int, probes: int) -> list[tuple[float, float]]:
    """Share of planted slope shifts called significant, by size in uncertainties."""
    curve = []
    for size in (0.5, 1.0, 2.0, 3.0, 4.0):
        made = fleet(seed + 20_000, probes, quiet=True, shift=-size)
        lives = {life.name: life for life in made.lives}
        found = [
            s
            for s in shifts(evaluate(made.entries, made.plant), made.plant, made.levels)
            if s.parameter == "slope" and s.start == lives[s.point].calibrated[1]
        ]
        curve.append(
            (
                size / float(np.median([s.uncertainty for s in found])),
                float(np.mean([s.significant for s in found])),
            )
        )
    return curve


def swaps(seeds: Sequence[int], probes: int) -> tuple[Counter[bool], int, int]:
    """Recognised swaps where the fresh slope differs by more than three uncertainties; false ones; probes without a swap."""
    right: Counter[bool] = Counter()
    false = quiet = 0
    for seed in seeds:
        made = fleet(seed + 30_000, probes, swaps=True)
        calibrations = evaluate(made.entries, made.plant)
        plant, _ = installations_from(calibrations, made.plant)
        for life in made.lives:
            rows = sorted((c for c in calibrations if c.point == life.name), key=lambda c: c.time)
            index = next(i for i, c in enumerate(rows) if c.time > (life.swapped_at or 0))
            before, after = (rows[index - 1].as_left or rows[index - 1].as_found), rows[index].as_found
            clear = any(
                abs(after[n].value - before[n].value)
                > BIG * math.hypot(after[n].uncertainty, before[n].uncertainty)
                for n in after
            )
            stays = [row for row in plant.installations if row.point == life.name]
            if clear:
                right[any(row.start == rows[index].time for row in stays)] += 1
            false += sum(row.start is not None and row.start != rows[index].time for row in stays)
        still = fleet(seed + 40_000, probes)
        nameless = [replace(entry, probe="") for entry in still.entries]
        plant, _ = installations_from(evaluate(nameless, still.plant), still.plant)
        false += sum(row.start is not None for row in plant.installations)
        quiet += probes
    return right, false, quiet


def renewed(seeds: Sequence[int], probes: int) -> tuple[Counter[str], Counter[bool]]:
    """Exchanges nobody logged under one unchanged serial number, where the slope came back by more than three uncertainties.

    What the slope's rise is laid to, by first choice; and whether it is said that the parameters jump to a fresh probe's.
    """
    laid: Counter[str] = Counter()
    told: Counter[bool] = Counter()
    for seed in seeds:
        made = fleet(seed + 60_000, probes, swaps=True, named=True)
        calibrations = evaluate(made.entries, made.plant)
        _, decisions = installations_from(calibrations, made.plant)
        said = {d.subject for d in decisions if "fresh probe" in d.what}
        found = shifts(calibrations, made.plant, made.levels)
        links = {x.shift: x for x in attribute(found, made.events, made.plant, made.levels) if x.rank == 1}
        for life in made.lives:
            for s in found:
                across = s.point == life.name and s.start < (life.swapped_at or 0) <= s.end
                if across and s.parameter == "slope" and s.change > BIG * s.uncertainty:
                    laid[links[s.id].cause] += 1
                    told[life.name in said] += 1
    return laid, told


HEAT = 0.08  # slope lost an hour of dose in the fleets made for it [%]


def learned_heat(fleets: int, probes: int) -> tuple[int, int, float]:
    """Fleets whose 95 % interval of the slope lost an hour of dose holds the truth, fleets that dared, mean width."""
    held = dared = 0
    widths = []
    for seed in range(fleets):
        made = fleet(seed + 50_000, probes, heat_per_hour=HEAT)
        found = shifts(evaluate(made.entries, made.plant), made.plant, made.levels)
        for lesson in fleet_heat(found, made.events, made.plant):
            dose = [c for c in lesson.coefficients if c.term == "dose" and lesson.parameter == "slope"]
            dared += len(dose)
            held += sum(c.low <= -HEAT <= c.high for c in dose)
            widths += [c.high - c.low for c in dose]
    return held, dared, float(np.mean(widths)) if widths else math.nan


def reliability(links: Sequence[tuple[float, bool]]) -> list[tuple[float, float, int]]:
    """Mean probability and share right in ten bins."""
    chance = np.array([row[0] for row in links])
    right = np.array([row[1] for row in links])
    rows = []
    for low in np.arange(0.0, 1.0, 0.1):
        inside = (chance >= low) & (chance < low + 0.1 + (low > 0.85) * 1e-9)
        if inside.any():
            rows.append((float(chance[inside].mean()), float(right[inside].mean()), int(inside.sum())))
    return rows


def _bin(said: float, was: float, links: int) -> str:
    """One bin in words, with the binomial interval of the share that was right."""
    ci = binomtest(round(was * links), links).proportion_ci(0.95)
    off = " off" if abs(said - was) > 0.05 else ""
    return f"{said:.2f}->{was:.2f}{off} ({links}; 95 % {ci.low:.2f} to {ci.high:.2f})"


def share(counts: Counter[bool]) -> str:
    total = counts[True] + counts[False]
    if not total:
        return "none"
    interval = binomtest(counts[True], total).proportion_ci(0.95)
    return f"{counts[True] / total:.3f} ({counts[True]} of {total}; 95 % {interval.low:.3f} to {interval.high:.3f})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--probes", type=int, default=200)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--show", type=int, default=0, help="how many wrong first choices to list")
    parser.add_argument("--heat", type=int, default=50, help="fleets for the learned heat coefficient")
    given = parser.parse_args()
    tally = Tally()
    spent = sum(score_fleet(seed, given.probes, tally) for seed in given.seeds)
    print(f"{len(given.seeds)} fleets of {given.probes} probes, {spent / len(given.seeds):.1f} s each")
    called, total = false_positives(given.seeds, given.probes)
    interval = binomtest(called, total).proportion_ci(0.95)
    print(
        f"false positives at {SIGNIFICANCE:.0%} (bar: nominal inside): {called / total:.4f} ({called} of {total}; {interval.low:.4f} to {interval.high:.4f})"
    )
    print(
        "power by size in uncertainties: "
        + ", ".join(f"{size:.1f}: {found:.2f}" for size, found in power(given.seeds[0], given.probes))
    )
    print(f"first choice right, shifts beyond {BIG:g} uncertainties (bar 0.95): {share(tally.big)}")
    print(f"    where the true cause is in the record at all: {share(tally.recorded)}")
    print(
        f"    counting no near tie as right: {share(tally.strict)}; the probabilities themselves promised {np.mean(tally.expected):.3f}"
    )
    brier = float(np.mean([(p - r) ** 2 for p, r in tally.links]))
    print(f"Brier score of {len(tally.links)} links (bar 0.06): {brier:.4f}")
    print("reliability (bar 0.05): " + ", ".join(_bin(*row) for row in reliability(tally.links)))
    print(f"ordinary ageing blamed on an event (bar 0.02): {share(tally.ageing)}")
    print(f"90 % band holds the true error (bar 0.86 to 0.94): {share(tally.inside)}")
    for basis, row in sorted(tally.inside_by_basis.items()):
        print(f"    {basis}: {share(row)}")
    print(
        f"start of doubt, median error where an event marks it (bar 6 h): {np.median(tally.late_h):.2f} h, 90 % {np.quantile(tally.late_h, 0.9):.1f} h, n {len(tally.late_h)}"
    )
    right, false, quiet = swaps(given.seeds, given.probes)
    print(
        f"unlogged swaps recognised (bar 0.95): {share(right)}; false ones {false} among {quiet} probes never swapped and {quiet} swapped"
    )
    laid, told = renewed(given.seeds, given.probes)
    print(
        f"the same under one unchanged serial number, troubles besides: the slope's rise laid to something not in the record (bar 0.95): "
        f"{share(Counter({True: laid['unrecorded'], False: laid['event'] + laid['ageing']}))} ({laid['event']} to events, {laid['ageing']} to ageing); told as a fresh probe's figures: {share(told)}"
    )
    held, dared, width = learned_heat(given.heat, 40)
    print(
        f"learned heat coefficient inside its 95 % interval (bar 0.90): {held} of {dared} fleets of 40 probes, {given.heat - dared} declined; mean width {width:.4f} % an hour, truth {-HEAT}"
    )
    for line in tally.missed[: given.show]:
        print("    " + line)


if __name__ == "__main__":
    main()
