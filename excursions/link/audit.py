"""Was it really calibrated?  What the log says beside what the record shows.

Every finding is worded as what the record shows, never as a judgement of a person, and names what could hide a trace in
this export.  A trace is a calibration, or a hold, in the state time line of the point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np

from excursions import clock
from excursions.calibrations.entries import on_bench
from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, duration_text, wall
from excursions.conclusions import AuditFinding, Levels
from excursions.digits import written
from excursions.link.elsewhen import by_clock, clock_findings, missed_entry, missed_work, other_clock
from excursions.link.named import other_plateaus, other_temperature
from excursions.link.sight import Look, coarse, could_hide, tells_nothing
from excursions.link.takeover import NotTakenOver, not_taken_over
from excursions.link.traces import (
    NEAR_NS,
    distance,
    match,
    reach,
    shows_traces,
    touches,
    traces_of,
)
from excursions.measurands import MEASURANDS
from excursions.plant import Plant, Point
from excursions.read.actions import says_sample
from excursions.records import Calibration, Sampling, StateLine

_OVERDUE = 1.1  # of the plan, so that a day or two is no finding (cp)
# What heats a probe finds it in the line, so that heat hides no calibration: it must only leave room for the work, which takes up
# to an hour and is mostly entered at its end; half of it would show as well (cp).
_ROOM_BEFORE_NS, _ROOM_AFTER_NS = NS_PER_HOUR, 30 * NS_PER_MINUTE
_BESIDE_HEAT_NS = 10 * NS_PER_MINUTE
_WARM_NS, _WALK_K = 3 * NS_PER_HOUR, 5.0  # a smaller walk of the temperature may be the process's own (cp)
_STANDING_NS, _STANDING_FEWEST = 12 * NS_PER_HOUR, 12
# Work of one point takes about as long each time: a piece without any standard that is longer than this many times the longest
# entered one is none (cp).
_LONGER = 3.0
_OTHERS = 2  # entries from which on the point's own habit is asked
# More pieces of work than this about one another that nobody entered are the process's own (cp).
_OFTEN, _OFTEN_NS = 2, 4 * NS_PER_DAY


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
        missing = [c for c in look.mine if _looked_for(c, look) and not _traced(c, look)]
        strays = _strays(look)
        found += [*_without_trace(look, missing, strays), *_without_entry(look, missing, strays)]
        found += [*_overdue(look), *other_temperature(look)]
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
        on_change=(value := sampling.get("value")) is not None and value.kind in ("exception", "swinging"),
    )  # fmt: skip


# --- entries without a trace ---------------------------------------------------------------------


def _without_trace(
    look: Look, missing: Sequence[Calibration], strays: Sequence[tuple[int, int]]
) -> list[AuditFinding]:
    """Entries that nothing in the record bears out (`missing`), or of which that cannot be told."""
    with_trace = sum(_traced(c, look) for c in look.mine)
    clear = [c for c in missing if not _covered(c, look)]
    # Recorded on change, a held output and a quiet process look alike; what is seen only where the log points need not be seen.
    faint = look.on_change and not any(look.traces.alone[i] for i in look.matched.values())
    telling = shows_traces(with_trace, len(clear)) and not faint
    usual = (
        () if telling
        else ("no calibration of this point would be told without its entry",) if faint and with_trace
        else (f"only {with_trace} of {with_trace + len(clear)} calibrations of this point left a trace that can be told",)
    )  # fmt: skip
    made = []
    for c in missing:
        covered = _covered(c, look)
        plain = (telling or _would_walk(look, c.time)) and not covered and not look.coarse
        words = (
            f"{covered} in part of the time between {_between(c, look.tz)}: whether this {c.action} left a trace cannot be told"
            if covered
            else f"no trace of this {c.action} in the record between {_between(c, look.tz)}{missed_work(c, strays, look.tz)}"
        )
        made.append(
            look.finding(
                "no trace" if plain else "cannot tell",
                c,
                words,
                span=_around(c, look.tz),
                hides=(*(() if covered else usual), *look.hides),
            )
        )
    return made


def _covered(calibration: Calibration, look: Look) -> str:
    """What else fills part of the time in which a trace is looked for; empty when nothing does."""
    if touches(look.traces.silent, *_around(calibration, look.tz)):
        return "no data"
    when = calibration.time
    if touches(look.traces.hot, when - _ROOM_BEFORE_NS, when + _ROOM_AFTER_NS):
        return "cleaning or steam"
    if tells_nothing(calibration):
        return "a probe that by its own entry tells its standards no longer apart"
    return "a reading that stands still" if _stands(look.line, when) else ""


def _would_walk(look: Look, when: int) -> bool:
    """Whether work of this point at an instant would have shown by its temperature, however few of its entries left a trace.

    A calibration that is plain without the log came to rest at some temperature out of the line; where the process stood far
    from that, and quietly, another one walks there as well.
    """
    rests = [
        look.traces.stood[i]
        for i in look.matched.values()
        if look.traces.alone[i] and math.isfinite(look.traces.stood[i])
    ]
    around = look.line.temperature[np.abs(look.line.time - when) <= _WARM_NS]
    around = around[np.isfinite(around)]
    if not rests or not around.size:
        return False
    walk = abs(float(np.median(around)) - float(np.median(rests)))
    return walk >= _WALK_K and float(np.ptp(around)) <= 0.5 * walk


def _stands(line: Levels, when: int) -> bool:
    """Whether the reading shows one and the same value for hours about an instant: pinned, held or dead, it shows no work."""
    near = line.value[np.abs(line.time - when) <= _STANDING_NS]
    near = near[np.isfinite(near)]
    return bool(near.size >= _STANDING_FEWEST and np.ptp(near) == 0)


def _around(calibration: Calibration, tz: ZoneInfo) -> tuple[int, int]:
    far = reach(calibration, tz)
    return calibration.time - far, calibration.time + far


def _between(calibration: Calibration, tz: ZoneInfo) -> str:
    low, high = _around(calibration, tz)
    return f"{wall(low, tz)} and {wall(high, tz)}"


def _traced(calibration: Calibration, look: Look) -> bool:
    return calibration.id in look.matched or touches(look.traces.hold, *_around(calibration, look.tz))


def _looked_for(calibration: Calibration, look: Look) -> bool:
    """Whether an entry should have left a trace: inside the record, and at the point."""
    low, high = _around(calibration, look.tz)
    inside = high >= look.traces.start and low <= look.traces.end
    return inside and not _by_sample(calibration) and not _off_the_point(calibration, look.plant)


def _by_sample(calibration: Calibration) -> bool:
    """Whether the reading was set to what the laboratory found in a sample: the probe stays where it is."""
    labels = {standard.label for standard in calibration.standards}
    return labels == {"sample"} or (not labels and says_sample(calibration.comment))


def _off_the_point(calibration: Calibration, plant: Plant) -> bool:
    """Done in the workshop by its own words, or with the probe installed only afterwards or taken out before."""
    if on_bench(calibration.comment):
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


# --- traces without an entry --------------------------------


def _without_entry(
    look: Look, missing: Sequence[Calibration], strays: Sequence[tuple[int, int]]
) -> Iterator[AuditFinding]:
    """Spans that look like a calibration and that no entry claims (`strays`); and where such spans cannot be told."""
    for start, end in strays:
        yield AuditFinding(
            point=look.point.name,
            probe=look.plant.probe_at(look.point.name, start) or "",
            kind="no entry",
            start=start,
            end=end,
            sentence=f"the record looks like a calibration from {wall(start, look.tz)} for {duration_text((end - start) / 1e9)}, and no entry names it"
            + missed_entry((start, end), missing, strays, look.tz),
            could_hide=("a cleaning, an exchange of the probe or a check without figures can look the same",),
        )
    yield from _limit_without_entry(look)


def _strays(look: Look) -> list[tuple[int, int]]:
    """Work that is plain and that no entry claims."""
    used = set(look.matched.values())
    edges = [
        edge
        for row in look.plant.installations
        if row.point == look.point.name
        for edge in (row.start, row.end)
        if edge is not None
    ]
    found: list[tuple[int, int]] = []
    entered = [look.traces.work[i] for i in used]
    longest = _LONGER * max((float(end - start) for start, end in entered), default=math.inf)
    for index, (start, end) in enumerate(look.traces.work.tolist()):
        seen = look.traces.standards[index]
        # A cleaning begins and ends with the reading elsewhere, too.
        beside_heat = touches(look.traces.hot, start - _BESIDE_HEAT_NS, end + _BESIDE_HEAT_NS)
        if (not seen and end - start > longest) or (len(seen) < 2 and beside_heat):
            continue
        near = any(distance(c, start, end) <= reach(c, look.tz) for c in look.mine)
        swapped = any(start - NEAR_NS <= edge <= end + NEAR_NS for edge in edges)
        if index not in used and not near and not swapped and look.traces.sure[index]:
            found.append((start, end))
    # Whatever the reading does where such spans come in clusters, nobody calibrates so often.
    return [s for s in found if sum(abs(other - s[0]) <= _OFTEN_NS for other, _ in found) <= _OFTEN]


def _limit_without_entry(look: Look) -> Iterator[AuditFinding]:
    """The stated limit: points whose entered calibrations would not have been told by their traces alone."""
    if look.coarse and look.mine:
        words = "calibrations that nobody entered, standards other than the entry's and adjustments not taken over need not show in this export"
        yield _limit(look, words)
        return
    entered = [c for c in look.mine if _looked_for(c, look)]
    alone = sum(look.traces.alone[i] for c in entered if (i := look.matched.get(c.id)) is not None)
    if len(entered) < _OTHERS or shows_traces(alone, len(entered) - alone):
        return
    words = f"a calibration that nobody entered need not show here: {alone} of {len(entered)} entered ones would be told without their entry"
    yield _limit(look, words)


def _limit(look: Look, sentence: str) -> AuditFinding:
    """A stated limit of the whole record of a point."""
    return AuditFinding(
        point=look.point.name, probe="", kind="cannot tell", start=look.traces.start, end=look.traces.end,
        sentence=sentence, could_hide=look.hides,
    )  # fmt: skip


# --- the rest --------------------------------------------------------------------------------------


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
