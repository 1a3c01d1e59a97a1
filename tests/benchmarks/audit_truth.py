"""What a perfect audit of a simulated point owes: what is wrong with its log and physically shows in the export.

Decided from the simulator's truth alone (the process itself, what was done to the point and when, what the historian
lost), never from what the tool says about a record.  What does not show is counted as hidden.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from excursions.plant import Point
from excursions.records import CalibrationEntry
from sample_data.simulator import SimulatedPoint
from sample_data.simulator.calibrate import Calibrated
from sample_data.simulator.fleet import FleetPoint
from sample_data.simulator.grid import DAY_S, NS, FloatArray
from sample_data.simulator.schedule import Span
from sample_data.simulator.spec import Fault
from sample_data.simulator.streams import stream

OTHER_BUFFER = 0.12  # share of pH entries that name a buffer that was not used
FAR_OFF = 0.9  # pH; the stated limit: three times as far as a worn probe reads a buffer
DEAD = 0.3  # of a new probe's slope; the tool says of such a probe that it shows nothing
STEPPED = 0.5  # share of calibrations before which the probe stepped, so that a large adjustment is due
KEPT = 0.5  # of those: not taken over; and as seldom again of all others
KEPT_ELSEWHERE = 0.05
MOVED = (2.0, 12.0)  # size of such a step, in tolerances (log-uniform)
STEPPED_BEFORE_DAYS = (0.6, 5.0)
# The stated limit of the tool (excursions.link.takeover): a tolerance, and a process that moves by about as much, the other way,
# in less than one comparison in 170; six ordinary moves are that for a process without set-points.  A quarter above it the
# finding is owed, unless the process moved just then.
LIMIT, CLEAR, STILL, SELDOM = 1.25, 6.0, 1 / 3, 1 / 170
AROUND_S, AWAY_S, APART_S = 6 * 3600.0, 2 * 3600.0, 10 * 3600.0
WALK_K, WALK_SD = 3.0, 5.0  # a walk to ambient that anybody sees
ELSEWHERE = 3.0  # tolerances between the process and a standard, and six of the process's moves in an hour
HEAT = ("sterilisation", "steam_out", "cip")


@dataclass(frozen=True, slots=True)
class Owed:
    """One thing that is wrong with a log; why it does not show, empty when it does."""

    kind: str
    time: int
    hidden: str = ""


def with_kept(point: FleetPoint) -> FleetPoint:
    """Some calibrations preceded by a step of the probe, and some adjustments that the transmitter does not take over."""
    spec = point.spec
    care, days = spec.care, spec.care.calibrate_days
    rng = stream(point.seed, spec.name, "kept")
    tolerance = _tolerance(spec.measurand, float(np.mean(spec.process.setpoints)))
    # No probe reads less than nothing for long.
    most = {"ph": 2.5, "redox": 400.0}.get(spec.measurand, 0.6 * min(spec.process.setpoints))
    fated = {*care.copied, *care.untraced, *care.unlogged, *care.bench, 0}
    kept: list[int] = []
    steps: list[Fault] = []
    for index, day in enumerate(days):
        stepped, keeps, rest = rng.random(3)
        size = min(float(np.exp(rng.uniform(*np.log(MOVED)))) * tolerance, most) * rng.choice((-1.0, 1.0))
        at = day + care.calibrate_hour / 24.0 - rng.uniform(*STEPPED_BEFORE_DAYS)
        if index in fated or at <= days[index - 1] + 1.0:
            continue
        if stepped < STEPPED:
            steps.append(Fault("step", float(at), float("nan"), size))
        if keeps < KEPT if stepped < STEPPED else rest < KEPT_ELSEWHERE:
            kept.append(index)
    return replace(
        point, spec=replace(spec, care=replace(care, kept=tuple(kept)), faults=(*spec.faults, *steps))
    )


def with_other_buffers(
    sim: SimulatedPoint, entries: Sequence[CalibrationEntry], seed: int
) -> tuple[tuple[CalibrationEntry, ...], list[Owed]]:
    """Some pH entries with a buffer named that was not used (pH 10 for pH 4), and the findings that are owed.

    The plateaus do not show of glass that is broken, nor behind a held output.
    """
    rng = np.random.default_rng([seed, int(sim.spec.name[1:])])
    honest = {_minute(sim, done): done for done in sim.calibrations if done.traced and not done.copied}
    chosen = {
        entry.time
        for entry in entries
        if sim.spec.measurand == "ph" and entry.time // (60 * NS) in honest and rng.random() < OTHER_BUFFER
    }
    made = tuple(
        replace(entry, standards=tuple(replace(s, standard=10.01) if s.standard < 5 else s for s in entry.standards))
        if entry.time in chosen
        else entry
        for entry in entries
    )  # fmt: skip
    return made, [
        Owed("other plateaus", when, _plateaus_hidden(sim, honest[when // (60 * NS)]))
        for when in sorted(chosen)
    ]


def _plateaus_hidden(sim: SimulatedPoint, done: Calibrated) -> str:
    if "calibration" in sim.spec.care.hold:
        return "output held"
    if _broken(sim, done):
        return "broken glass"
    span = _span_of(sim, done)
    acid = sim.grid.slice(span.marks["found1"] + 60.0, span.marks["found1_end"])
    if abs(float(np.median(sim.reading[acid])) - 4.01) > FAR_OFF:
        return "probe so far off that nobody can say which buffer it was in"
    return _out_of_sight(sim, span)


def owed(fleet: FleetPoint, sim: SimulatedPoint) -> list[Owed]:
    """Everything that is wrong with a log as it was kept."""
    made = [
        *_without_trace(fleet, sim),
        *_without_entry(fleet, sim),
        *_copies(sim),
        *_not_taken_over(fleet, sim),
    ]
    return sorted(made, key=lambda one: (one.time, one.kind))


def _without_trace(fleet: FleetPoint, sim: SimulatedPoint) -> list[Owed]:
    made = []
    for done in sim.calibrations:
        if done.logged and not done.traced and done.comment != "workshop":
            span = _span_of(sim, done)
            held = [
                f for f in sim.spec.faults
                if f.kind == "lookalike_hold" and _meets(f, span.start - 7200.0, span.end + 7200.0)
            ]  # fmt: skip
            hidden = "held by the process" if held else _out_of_sight(sim, span, fleet)
            hidden = "broken glass" if _broken(sim, done) else hidden
            made.append(Owed("no trace", instant(sim, done), hidden))
    return made


def _without_entry(fleet: FleetPoint, sim: SimulatedPoint) -> list[Owed]:
    return [
        Owed("no entry", instant(sim, done), _work_hidden(fleet, sim, done))
        for done in sim.calibrations
        if done.traced and not done.logged
    ] + [
        Owed("no entry", sim.grid.start_ns + round(life.start * NS), "an exchange that nobody logged can look the same")
        for life in sim.lives[1:]
        if not life.logged
    ]  # fmt: skip


def _broken(sim: SimulatedPoint, done: Calibrated) -> bool:
    """Whether glass told its buffers no longer apart by then: no reading of it shows anything."""
    life = next(p for p in sim.lives if p.start <= done.time < p.end)
    slope = float(life.parameters(np.array([done.time]))[0][0])
    return sim.spec.measurand in ("ph", "co2") and slope < DEAD


def _work_hidden(fleet: FleetPoint, sim: SimulatedPoint, done: Calibrated) -> str:
    """Why a piece of work does not show: neither a walk to ambient nor the reading in two standards."""
    if _broken(sim, done):
        return "broken glass"
    span = _span_of(sim, done)
    covered = _out_of_sight(sim, span, fleet)
    if covered:
        return covered
    before, during = sim.grid.slice(span.start - 3600.0, span.start), sim.grid.slice(span.start, span.end)
    if float(np.ptp(sim.reading[before])) == 0.0:
        return "the reading stood still anyway"
    kelvin = abs(
        float(np.median(sim.true_temperature[during])) - float(np.median(sim.true_temperature[before]))
    )
    walked = kelvin >= max(WALK_K, WALK_SD * float(np.std(sim.true_temperature[before])))
    away = 0 if "calibration" in sim.spec.care.hold else _standards_away(sim, span)
    if walked and (away or "calibration" in sim.spec.care.hold):
        return ""
    if away > 1:
        return ""
    return f"standards away from the process {away}, walk of {kelvin:.1f} K"


def _standards_away(sim: SimulatedPoint, span: Span) -> int:
    """Standards in which the reading lies away from the process before and after."""
    around = sim.grid.slice(span.start - 3600.0, span.start), sim.grid.slice(span.end, span.end + 3600.0)
    hours = sim.level[:: max(round(3600.0 / sim.grid.step), 1)]
    least = max(
        ELSEWHERE * _tolerance(sim.spec.measurand, float(np.median(sim.level))),
        CLEAR * 1.4826 * float(np.median(np.abs(np.diff(hours)))),
    )
    beside = [float(np.median(sim.reading[part])) for part in around if part.stop > part.start]
    count = 0
    for number in range(len(sim.spec.care.standards)):
        dip = sim.grid.slice(span.marks[f"found{number}"] + 60.0, span.marks[f"found{number}_end"])
        there = float(np.median(sim.reading[dip]))
        count += all(abs(there - level) > least for level in beside)
    return count


def _copies(sim: SimulatedPoint) -> list[Owed]:
    """What repeats the entry before it in the log, however it came about; all of it stands in the log."""
    made = []
    for before, done in pairwise(done for done in sim.calibrations if done.logged):
        seen = (before.raw_found,) if before.action == "verification" else (before.raw_found, before.raw_left)
        mine = (done.raw_found,) if done.action == "verification" else (done.raw_found, done.raw_left)
        same = set(mine) <= set(seen) and done.temperatures == before.temperatures
        if same:
            made.append(Owed("copied", instant(sim, done)))
    return made


# --- adjustments that the transmitter did not take over -------------------------------------------------


def _not_taken_over(fleet: FleetPoint, sim: SimulatedPoint) -> list[Owed]:
    made: list[Owed] = []
    for index, done in enumerate(sim.calibrations):
        if done.kept and done.logged:
            earlier = sim.calibrations[:index]
            hidden = _history_unknown(sim, done, earlier, made) or _jump_hidden(fleet, sim, done)
            made.append(Owed("not taken over", instant(sim, done), hidden))
    return made


def _history_unknown(
    sim: SimulatedPoint, done: Calibrated, earlier: Sequence[Calibrated], told: Sequence[Owed]
) -> str:
    """Why the log does not say with which parameters the transmitter came: then no jump can be expected."""
    life = next(p for p in sim.lives if p.start <= done.time < p.end)
    visible = {one.time for one in told if not one.hidden}
    for one in reversed(earlier):
        if one.time < life.start:
            return "first entry of this probe"
        if np.isfinite(one.adopted_at):
            return "" if one.logged else "what was used was set by work that nobody entered"
        if one.action == "calibration" and one.logged and instant(sim, one) not in visible and not one.copied:
            return "an earlier entry that nobody can see was not taken over"
    return "first entry of this point"


def _jump_hidden(fleet: FleetPoint, sim: SimulatedPoint, done: Calibrated) -> str:
    """Why the missing jump does not show: the process moves as much, other things are wrong, or no data."""
    jump = abs(done.would_move) / LIMIT
    if jump < _tolerance(sim.spec.measurand, float(np.median(sim.level))):
        return "jump within the tolerance"
    moves, here = _process_moves(sim), _process_move(sim, done.time)
    if not here.size:
        return "no hours beside it"
    by_itself = np.abs(moves)
    ordinary = 1.4826 * float(np.median(by_itself))
    hides = max(0.5 * float(np.mean(np.abs(by_itself - j) <= STILL * j)) for j in (jump, LIMIT * jump))
    if jump < CLEAR * ordinary or hides > SELDOM / LIMIT:
        return f"process moves {ordinary:.3g} by itself, jump {jump:.3g}"
    if abs(float(here[0])) > STILL * jump / LIMIT:
        return "the process moved at the same time"
    if _knocked(sim, done):
        return "the probe changed on the bench at the same time"
    since, until = done.time - AWAY_S - AROUND_S, done.time + AWAY_S + AROUND_S
    if any(_meets(f, since, until) for f in sim.spec.faults):
        return "something else is wrong with the reading"
    hot = [s for s in sim.spans if s.kind in HEAT and s.start < until and since < s.end + 2 * 3600.0]
    lost = [o for o in fleet.outages if o.day * DAY_S < until and since < o.day * DAY_S + o.hours * 3600.0]
    return "heat or an outage beside it" if hot or lost else ""


def _knocked(sim: SimulatedPoint, done: Calibrated) -> bool:
    """Whether the probe was changed unseen at the start of this very calibration."""
    earlier = [c.time for c in sim.calibrations if c.time < done.time]
    since = max(earlier, default=0.0)
    return any(f.kind == "unrecorded" and since <= f.day * DAY_S < done.time for f in sim.spec.faults)


def _process_moves(sim: SimulatedPoint) -> FloatArray:
    """By how much the process moves from some hours to the hours as far away as the two sides of a calibration."""
    per_hour = max(round(3600.0 / sim.grid.step), 1)
    hours = np.median(sim.level[: sim.level.size // per_hour * per_hour].reshape(-1, per_hour), axis=1)
    apart = round(APART_S / 3600.0)
    return np.asarray(hours[apart:] - hours[:-apart])


def _process_move(sim: SimulatedPoint, at: float) -> FloatArray:
    """What the process did by itself across one calibration; empty at the edges of the record."""
    before = sim.level[sim.grid.slice(at - AWAY_S - AROUND_S, at - AWAY_S)]
    after = sim.level[sim.grid.slice(at + AWAY_S, at + AWAY_S + AROUND_S)]
    full = AROUND_S / sim.grid.step * 0.9
    if min(before.size, after.size) < full:
        return np.empty(0)
    return np.array([np.median(after) - np.median(before)])


# --- what covers a stretch of time ------------------------------------------------------------------------


def _out_of_sight(sim: SimulatedPoint, span: Span, fleet: FleetPoint | None = None) -> str:
    """Heat or a lost export within the time in which the work was done, or would have been."""
    if any(s.kind in HEAT and s.start < span.end and span.start < s.end for s in sim.spans):
        return "heat meanwhile"
    if fleet is not None and any(
        o.day * DAY_S < span.end and span.start < o.day * DAY_S + o.hours * 3600.0 for o in fleet.outages
    ):
        return "outage meanwhile"
    part = sim.grid.slice(span.start, span.end)
    gone = sim.missing[part] | (sim.quality[part] == 2) | (sim.status[part] > 0)
    return "samples lost meanwhile" if gone.size and float(np.mean(gone)) > 0.5 else ""


def _meets(fault: Fault, since: float, until: float) -> bool:
    """Whether a fault begins or lasts in a stretch; what lasts until it is taken out counts by its beginning."""
    start = fault.day * DAY_S
    end = start + (fault.days * DAY_S if np.isfinite(fault.days) else fault.more.get("ramp_s", 60.0))
    if fault.kind == "stuck" and fault.mode == "glass":
        end = np.inf
    return bool(start < until and since < end)


def _span_of(sim: SimulatedPoint, done: Calibrated) -> Span:
    return next(s for s in sim.spans if s.marks and s.start <= done.time < s.end)


def _tolerance(measurand: str, level: float) -> float:
    return Point(name="any", measurand=measurand).tolerance_at(level)


def instant(sim: SimulatedPoint, done: Calibrated) -> int:
    """When the entry of a calibration is dated, ns."""
    return sim.grid.start_ns + round(done.time * NS)


def _minute(sim: SimulatedPoint, done: Calibrated) -> int:
    return instant(sim, done) // (60 * NS)
