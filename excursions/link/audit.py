"""Was it really calibrated?  What the log says beside what the record shows.

Every finding is worded as what the record shows, never as a judgement of a person, and names what could hide a trace in
this export.  A trace is a calibration, or a hold, in the state time line of the point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_DAY, wall
from excursions.conclusions import AuditFinding, Levels
from excursions.digits import written
from excursions.link.elsewhen import by_clock, clock_findings, other_clock
from excursions.link.named import other_plateaus, other_temperature
from excursions.link.sight import Look, coarse, could_hide
from excursions.link.takeover import NotTakenOver, not_taken_over
from excursions.link.traces import match, traces_of
from excursions.link.unmatched import unmatched
from excursions.measurands import MEASURANDS
from excursions.plant import Plant, Point
from excursions.records import Calibration, Sampling, StateLine

_OVERDUE = 1.1  # of the plan, so that a day or two is no finding (cp)


def audit(
    calibrations: Sequence[Calibration],
    states: Mapping[str, StateLine],
    sampling: Mapping[str, Mapping[str, Sampling]],
    plant: Plant,
    levels: Mapping[str, Levels] | None = None,
) -> tuple[AuditFinding, ...]:
    """Compare the calibration log with the record, point by point.

    Parameters
    ----------
    states : mapping of point to its state time line; a point without one is not judged
    sampling : mapping of point to role (``value``, ``temperature``) to how that signal was recorded
    levels : mapping of point to hourly levels, to see whether adjustments were taken over

    Returns
    -------
    tuple of AuditFinding
        By point and time.
    """
    tz = clock.zone(plant.zone)
    written_looks = _looks(calibrations, states, sampling, plant, levels or {})
    clock_seen = other_clock(written_looks)
    found: list[AuditFinding] = []
    looks, entered = written_looks, calibrations
    if clock_seen is not None:
        found += clock_findings(written_looks, clock_seen)
        calibrations = by_clock(entered, clock_seen)
        looks = _looks(calibrations, states, sampling, plant, levels or {})
    for look in looks:
        found += [*unmatched(look), *_overdue(look), *other_temperature(look)]
    found += [_copied(c) for history in histories(calibrations) for c in history if c.copied]
    unentered: dict[str, list[int]] = {}
    for f in found:
        if f.kind == "no entry":
            unentered.setdefault(f.point, []).append(f.start)
    unborne = {f.calibration for f in found if f.kind == "no trace"}
    blind = {f.point for f in found if f.kind == "cannot tell" and not f.calibration}
    misnamed = {f.calibration for look in looks for f in other_plateaus(look)}
    kept = tuple(not_taken_over(calibrations, levels or {}, plant, unentered, unborne, blind, misnamed))
    found += [_not_taken_over(one, tz) for one in kept]
    ids = frozenset(one.calibration.id for one in kept)
    found += [f for look in looks for f in other_plateaus(replace(look, kept=ids))]
    named = {c.id: e.id for c, e in zip(calibrations, entered, strict=True)}
    found = [replace(f, calibration=named.get(f.calibration, f.calibration)) for f in found]
    return tuple(sorted(found, key=lambda f: (f.point, f.start, f.kind, f.probe)))


def _looks(
    calibrations: Sequence[Calibration],
    states: Mapping[str, StateLine],
    sampling: Mapping[str, Mapping[str, Sampling]],
    plant: Plant,
    levels: Mapping[str, Levels],
) -> list[Look]:
    """What each point with a record is judged by."""
    return [
        _look(point, line, calibrations, sampling.get(name, {}), plant, levels.get(name) or Levels())
        for name, line in sorted(states.items())
        if (point := plant.point(name)) is not None and line.start.size
    ]


def _look(
    point: Point,
    line: StateLine,
    calibrations: Sequence[Calibration],
    sampling: Mapping[str, Sampling],
    plant: Plant,
    levels: Levels,
) -> Look:
    traces, tz = traces_of(line), clock.zone(plant.zone)
    mine = sorted((c for c in calibrations if c.point == point.name), key=lambda c: c.time)
    return Look(
        point=point, plant=plant, mine=mine, traces=traces, matched=match(mine, traces.work, tz), line=levels,
        hides=could_hide(point, sampling), coarse=coarse(sampling.get("value")), tz=tz,
        on_change=(value := sampling.get("value")) is not None and value.on_change,
    )  # fmt: skip


def _not_taken_over(one: NotTakenOver, tz: ZoneInfo) -> AuditFinding:
    c, unit = one.calibration, MEASURANDS[one.calibration.measurand].unit
    return AuditFinding(
        point=c.point, probe=c.probe, kind="not taken over", start=c.time, end=c.time, calibration=c.id,
        sentence=f"the adjustment of {wall(c.time, tz)} would move the reading by {written(one.expected, signed=True)} {unit}; "
        f"it moved by {written(one.seen, 2, signed=True)} {unit} (on ordinary days by about {written(one.ordinary, 2)})",
        could_hide=(
            f"the process may have moved the other way by as much at the same time, {_seldom(one.hides)}",
            "a probe that changed only while it was out of the line needs no jump to be set right",
        ),
    )  # fmt: skip


def _seldom(share: float) -> str:
    """How often the process hides such a jump by itself."""
    return (
        f"as it does in {share * 100:.1f} % of such comparisons here"
        if share
        else "as it never does in this record"
    )


def _overdue(look: Look) -> Iterator[AuditFinding]:
    """Intervals longer than the plan up to the end of the record, all of a point in one sentence."""
    plan = look.point.plan_days
    if plan is None or not math.isfinite(plan):
        return
    real = [c for c in look.mine if not c.copied and c.time <= look.traces.end]
    if not real:
        return
    times = [c.time for c in real]
    allowed = int(_OVERDUE * plan * NS_PER_DAY)
    over = [
        (c, earlier, later)
        for c, earlier, later in zip(real, times, [*times[1:], look.traces.end], strict=True)
        if later - earlier > allowed
    ]
    if not over:
        return
    open_end = over[-1][2] == look.traces.end
    between = [(later - earlier) / NS_PER_DAY for _, earlier, later in over[: -1 if open_end else None]]
    parts = []
    if between:
        parts.append(_long_ones(between, len(times) - 1))
    if open_end:
        parts.append(
            f"{(over[-1][2] - over[-1][1]) / NS_PER_DAY:.0f} days without a calibration at the end of the record"
        )
    yield AuditFinding(
        point=look.point.name,
        probe=over[-1][0].probe,
        kind="overdue",
        start=over[0][1],  # the span is that of the days the sentence counts
        end=over[-1][2],
        sentence=f"{'; '.join(parts)}; the plan says {plan:g}",
    )


def _long_ones(days: Sequence[float], intervals: int) -> str:
    if len(days) == 1:
        return f"{days[0]:.0f} days between two calibrations"
    short, long = f"{min(days):.0f}", f"{max(days):.0f}"
    lengths = short if short == long else f"{short} to {long}"
    return f"{len(days)} of {intervals} intervals longer than planned, {lengths} days"


def _copied(calibration: Calibration) -> AuditFinding:
    return AuditFinding(
        point=calibration.point,
        probe=calibration.probe,
        kind="copied",
        start=calibration.time,
        end=calibration.time,
        sentence="values are the same as in the entry before, to the last digit",
        could_hide=("a form that fills in the last values by itself",),
        calibration=calibration.id,
    )
