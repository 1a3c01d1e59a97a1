"""Was it really calibrated?  What the log says beside what the record shows.

Every finding is worded as what the record shows, never as a judgement of a person, and names what could hide a trace in
this export.  A trace is a calibration, or a hold, in the state time line of the point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_DAY, NS_PER_MINUTE, duration_text, wall
from excursions.conclusions import AuditFinding, Levels
from excursions.digits import written
from excursions.link.takeover import NotTakenOver, not_taken_over
from excursions.link.traces import (
    NEAR_NS,
    Traces,
    distance,
    match,
    reach,
    shows_traces,
    touches,
    traces_of,
)
from excursions.measurands import MEASURANDS, to_canonical
from excursions.plant import Plant, Point
from excursions.records import Calibration, Sampling, StateLine
from excursions.states.standards import label_of

_OVERDUE = 1.1  # of the plan, so that a day or two is no finding (cp)
_COARSE_S = 300.0  # sampling slower than this may miss a plateau of a few minutes
_BENCH_WORDS = ("workshop", "bench", "lab", "werkstatt", "labor", "atelier", "taller")
# A calibration that shows one standard less than the others of its point is also shorter than they are (cp).
_SHORTER, _OTHERS = 0.7, 2
# More pieces of work than this about one another that nobody entered are the process's own (cp).
_OFTEN, _OFTEN_NS = 2, 4 * NS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """What one point is judged by; coarse: sampled too slowly for a missing trace to say anything."""

    point: Point
    plant: Plant
    mine: Sequence[Calibration]
    traces: Traces
    matched: Mapping[str, int]
    line: Levels
    hides: tuple[str, ...]
    coarse: bool
    tz: ZoneInfo

    def finding(
        self,
        kind: str,
        of: Calibration,
        sentence: str,
        *,
        span: tuple[int, int] | None = None,
        hides: tuple[str, ...],
    ) -> AuditFinding:
        start, end = span or (of.time, of.time)
        return AuditFinding(
            point=self.point.name, probe=of.probe, kind=kind, start=start, end=end, sentence=sentence,
            could_hide=hides, calibration=of.id,
        )  # fmt: skip


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
    found: list[AuditFinding] = []
    for name, line in sorted(states.items()):
        point = plant.point(name)
        if point is None or line.start.size == 0:
            continue
        traces = traces_of(line)
        mine = sorted((c for c in calibrations if c.point == name), key=lambda c: c.time)
        look = _Look(
            point=point,
            plant=plant,
            mine=mine,
            traces=traces,
            matched=match(mine, traces.work),
            line=(levels or {}).get(name) or Levels(),
            hides=_could_hide(point, sampling.get(name, {})),
            coarse=_coarse(sampling.get(name, {}).get("value")),
            tz=tz,
        )
        found += [*_without_trace(look), *_without_entry(look), *_other_plateaus(look), *_overdue(look)]
    found += [_copied(c) for history in histories(calibrations) for c in history if c.copied]
    unentered: dict[str, list[int]] = {}
    for f in found:
        if f.kind == "no entry":
            unentered.setdefault(f.point, []).append(f.start)
    kept = not_taken_over(calibrations, levels or {}, plant, unentered)
    found += [_not_taken_over(one, tz) for one in kept]
    return tuple(sorted(found, key=lambda f: (f.point, f.start, f.kind, f.probe)))


# --- entries without a trace ---------------------------------------------------------------------


def _without_trace(look: _Look) -> list[AuditFinding]:
    """Entries that nothing in the record bears out, or of which that cannot be told."""
    missing = [c for c in look.mine if _looked_for(c, look) and not _traced(c, look)]
    with_trace = sum(_traced(c, look) for c in look.mine)
    clear = [c for c in missing if not _covered(c, look)]
    telling = shows_traces(with_trace, len(clear))
    usual = (
        () if telling
        else (f"only {with_trace} of {with_trace + len(clear)} calibrations of this point left a trace that can be told",)
    )  # fmt: skip
    made = []
    for c in missing:
        covered = _covered(c, look)
        plain = telling and not covered and not look.coarse
        words = (
            f"{covered} in part of the time between {_between(c, look.tz)}: whether this {c.action} left a trace cannot be told"
            if covered
            else f"no trace of this {c.action} in the record between {_between(c, look.tz)}"
        )
        made.append(
            look.finding(
                "no trace" if plain else "cannot tell",
                c,
                words,
                span=_around(c),
                hides=(*(() if covered else usual), *look.hides),
            )
        )
    return made


def _covered(calibration: Calibration, look: _Look) -> str:
    """What else fills part of the time in which a trace is looked for; empty when nothing does."""
    if touches(look.traces.silent, *_around(calibration)):
        return "no data"
    return "cleaning or steam" if touches(look.traces.hot, *_around(calibration)) else ""


def _around(calibration: Calibration) -> tuple[int, int]:
    return calibration.time - NEAR_NS, calibration.time + NEAR_NS


def _between(calibration: Calibration, tz: ZoneInfo) -> str:
    low, high = _around(calibration)
    return f"{wall(low, tz)} and {wall(high, tz)}"


def _traced(calibration: Calibration, look: _Look) -> bool:
    return calibration.id in look.matched or touches(look.traces.hold, *_around(calibration))


def _looked_for(calibration: Calibration, look: _Look) -> bool:
    """Whether an entry should have left a trace: inside the record, and at the point."""
    low, high = _around(calibration)
    inside = high >= look.traces.start and low <= look.traces.end
    return inside and not _off_the_point(calibration, look.plant)


def _off_the_point(calibration: Calibration, plant: Plant) -> bool:
    """Done in the workshop by its own words, or with the probe installed only afterwards or taken out before."""
    if any(word in calibration.comment.casefold() for word in _BENCH_WORDS):
        return True
    stays = [row for row in plant.installations if row.probe == calibration.probe and row.probe]
    edges = [edge for row in stays for edge in (row.start, row.end) if edge is not None]
    there = any(
        row.point == calibration.point
        and (row.start is None or row.start <= calibration.time)
        and (row.end is None or calibration.time < row.end)
        for row in stays
    )
    near_swap = any(abs(edge - calibration.time) <= NEAR_NS for edge in edges)
    return bool(stays) and (not there or near_swap)


# --- traces without an entry, and other standards than the entry's --------------------------------


def _without_entry(look: _Look) -> Iterator[AuditFinding]:
    """Spans that look like a calibration and that no entry claims; and where such spans cannot be told."""
    used = set(look.matched.values())
    edges = [
        edge
        for row in look.plant.installations
        if row.point == look.point.name
        for edge in (row.start, row.end)
        if edge is not None
    ]
    found: list[tuple[int, int]] = []
    for index, (start, end) in enumerate(look.traces.work.tolist()):
        near = any(distance(c, start, end) <= reach(c) for c in look.mine)
        swapped = any(start - NEAR_NS <= edge <= end + NEAR_NS for edge in edges)
        if index not in used and not near and not swapped and look.traces.sure[index]:
            found.append((start, end))
    for start, end in found:
        if sum(abs(other - start) <= _OFTEN_NS for other, _ in found) > _OFTEN:
            continue  # whatever the reading does there, nobody calibrates so often
        yield AuditFinding(
            point=look.point.name,
            probe=look.plant.probe_at(look.point.name, start) or "",
            kind="no entry",
            start=start,
            end=end,
            sentence=f"the record looks like a calibration from {wall(start, look.tz)} for {duration_text((end - start) / 1e9)}, and no entry names it",
            could_hide=("a cleaning or a check without figures can look the same",),
        )
    yield from _limit_without_entry(look)


def _limit_without_entry(look: _Look) -> Iterator[AuditFinding]:
    """The stated limit: points whose entered calibrations would not have been told by their traces alone."""
    entered = [c for c in look.mine if _looked_for(c, look)]
    alone = sum(look.traces.alone[i] for c in entered if (i := look.matched.get(c.id)) is not None)
    if len(entered) < _OTHERS or shows_traces(alone, len(entered) - alone):
        return
    yield AuditFinding(
        point=look.point.name,
        probe="",
        kind="cannot tell",
        start=look.traces.start,
        end=look.traces.end,
        sentence=f"a calibration that nobody entered need not show here: {alone} of {len(entered)} entered ones would be told without their entry",
        could_hide=look.hides,
    )


def _other_plateaus(look: _Look) -> Iterator[AuditFinding]:
    """Standards seen that the entry does not name, or fewer than it names."""
    spans = {
        c.id: (c, _entered(c), look.traces.standards[i], look.traces.work[i])
        for c in look.mine
        if (i := look.matched.get(c.id)) is not None
    }
    for c, entered, seen, (start, end) in spans.values():
        if not entered or not seen or touches(look.traces.hold, start, end):
            continue
        others = [row for row in spans.values() if row[0] is not c and row[2] >= entered]
        usual = median(float(row[3][1] - row[3][0]) for row in others) if len(others) >= _OTHERS else math.inf
        fewer = (
            seen < entered
            and not _sits_in(look, entered - seen, int(start))
            and math.isfinite(usual)
            and float(end - start) < _SHORTER * usual
        )
        if (seen - entered and entered - seen) or fewer:
            yield look.finding(
                "other plateaus",
                c,
                f"the entry names {_listed(entered)}; the record from {wall(int(start), look.tz)} to {wall(int(end), look.tz)} "
                f"shows the reading still in {_listed(seen)}",
                span=(int(start), int(end)),
                hides=("a standard read for less than two minutes, or by a probe that was far off, does not show", *look.hides),
            )  # fmt: skip


def _sits_in(look: _Look, labels: frozenset[str], when: int) -> bool:
    """Whether the process was at one of these standards the day before: then a probe put into it shows nothing."""
    before = look.line.value[(look.line.time >= when - NS_PER_DAY) & (look.line.time < when)]
    before = before[np.isfinite(before)]
    level = float(np.median(before)) if before.size else math.nan
    return any(w.low <= level <= w.high for w in look.point.quantity.windows if w.label in labels)


def _entered(calibration: Calibration) -> frozenset[str]:
    """Labels of the standards an entry names; empty when one of them has no window of its own."""
    labels = []
    for standard in calibration.standards:
        scale = to_canonical(calibration.measurand, standard.standard_unit) or (1.0, 0.0)
        labels.append(
            label_of(calibration.measurand, standard.standard * scale[0] + scale[1], standard.label)
        )
    return frozenset(labels) if all(labels) else frozenset()


def _listed(labels: frozenset[str]) -> str:
    return " and ".join(sorted(labels))


# --- the rest --------------------------------------------------------------------------------------


def _not_taken_over(one: NotTakenOver, tz: ZoneInfo) -> AuditFinding:
    c, unit = one.calibration, MEASURANDS[one.calibration.measurand].unit
    return AuditFinding(
        point=c.point, probe=c.probe, kind="not taken over", start=c.time, end=c.time, calibration=c.id,
        sentence=f"the adjustment of {wall(c.time, tz)} would move the reading by {written(one.expected, signed=True)} {unit}; "
        f"it moved by {written(one.seen, 2, signed=True)} {unit} (on ordinary days by about {written(one.ordinary, 2)})",
        could_hide=(f"the process may have moved the other way by as much at the same time, {_seldom(one.hides)}",),
    )  # fmt: skip


def _seldom(share: float) -> str:
    """How often the process hides such a jump by itself."""
    return (
        f"as it does in {share * 100:.1f} % of such comparisons here"
        if share
        else "as it never does in this record"
    )


def _overdue(look: _Look) -> Iterator[AuditFinding]:
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
        start=over[0][1] + int(plan * NS_PER_DAY),
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


def _coarse(value: Sampling | None) -> bool:
    """Whether an export is too sparse to hold a missing trace against an entry: the stated limit of this audit."""
    return value is not None and (value.interval_s > _COARSE_S or value.kind in ("averages", "interpolated"))


def _could_hide(point: Point, sampling: Mapping[str, Sampling]) -> tuple[str, ...]:
    """What could hide a trace in this export."""
    value = sampling.get("value")
    made = []
    if value is not None and value.interval_s > _COARSE_S:
        made.append(
            f"a sample every {value.interval_s / (NS_PER_MINUTE / 1e9):.0f} min can miss a short plateau"
        )
    if value is not None and value.kind in ("averages", "interpolated"):
        made.append(
            f"the export holds {value.kind.replace('interpolated', 'interpolated values')}, which smooth plateaus"
        )
    if value is not None and value.deadband > 0:
        made.append(
            f"changes below {written(value.deadband)} {point.quantity.unit} were not recorded".rstrip()
        )
    if not point.temperature or "temperature" not in sampling:
        made.append("no temperature signal, so the walk to ambient does not show")
    made.append("a frozen output (hold) during the work, or a calibration in the workshop")
    return tuple(made)
