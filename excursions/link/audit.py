"""Was it really calibrated?  What the log says beside what the record shows.

Every finding is worded as what the record shows, never as a judgement of a person, and names what could hide a trace in
this export.  A trace is a calibration, or a hold, in the state time line of the point.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.calibrations.shifts import histories
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, duration_text, iso
from excursions.conclusions import AuditFinding
from excursions.plant import Plant, Point
from excursions.records import CALIBRATING, HOLD, NO_DATA, Calibration, Sampling, StateLine

# An entry's time is written by hand, at the start or the end of the work (cp); a date alone means that day.
NEAR_NS = 2 * NS_PER_HOUR
# A span is called a calibration without an entry only when the time line is this sure of it.
SURE = 0.6
_OVERDUE = 1.1  # of the plan, so that a day or two is no finding (cp)
# Below this share (and number) of calibrations with a trace, a missing trace says nothing (cp).
_TRACED_SHARE, _TRACED_LEAST = 0.75, 2
_COARSE_S = 300.0  # sampling slower than this may miss a plateau of a few minutes
_BENCH_WORDS = ("workshop", "bench", "lab", "werkstatt", "labor", "atelier", "taller")


@dataclass(frozen=True, slots=True)
class _Traces:
    """Spans of one point (k, 2): calibrations that the time line is sure of, those it suspects, holds, silence."""

    sure: np.ndarray[tuple[int, int], np.dtype[np.int64]]
    suspected: np.ndarray[tuple[int, int], np.dtype[np.int64]]
    hold: np.ndarray[tuple[int, int], np.dtype[np.int64]]
    silent: np.ndarray[tuple[int, int], np.dtype[np.int64]]
    start: int
    end: int


def audit(
    calibrations: Sequence[Calibration],
    states: Mapping[str, StateLine],
    sampling: Mapping[str, Mapping[str, Sampling]],
    plant: Plant,
) -> tuple[AuditFinding, ...]:
    """Compare the calibration log with the record, point by point.

    Parameters
    ----------
    states : mapping of point to its state time line; a point without one is not judged
    sampling : mapping of point to role (``value``, ``temperature``) to how that signal was recorded

    Returns
    -------
    tuple of AuditFinding
        By point and time.
    """
    found: list[AuditFinding] = []
    for name, line in sorted(states.items()):
        point = plant.point(name)
        if point is None or line.start.size == 0:
            continue
        traces = _traces(line)
        mine = sorted((c for c in calibrations if c.point == name), key=lambda c: c.time)
        hides = _could_hide(point, sampling.get(name, {}))
        matched = _match(mine, traces.suspected)
        missing = [f for f in (_entry(c, matched, traces, hides, plant) for c in mine) if f]
        found += _unless_usual(missing, len(matched))
        found += _without_entry(point, mine, matched, traces, plant)
        found += _overdue(point, mine, traces)
    found += [_copied(c) for history in histories(calibrations) for c in history if c.copied]
    return tuple(sorted(found, key=lambda f: (f.point, f.start, f.kind, f.probe)))


def _traces(line: StateLine) -> _Traces:
    calibrating = line.code == CALIBRATING
    spans = np.column_stack([line.start, line.end])
    return _Traces(
        sure=spans[calibrating & (line.confidence >= SURE)],
        suspected=_joined(spans[calibrating]),
        hold=spans[line.code == HOLD],
        silent=spans[line.code == NO_DATA],
        start=int(line.start[0]),
        end=int(line.end[-1]),
    )


def _joined(
    spans: np.ndarray[tuple[int, int], np.dtype[np.int64]],
) -> np.ndarray[tuple[int, int], np.dtype[np.int64]]:
    """Spans closer than an hour are one piece of work."""
    made: list[list[int]] = []
    for start, end in spans.tolist():
        if made and start - made[-1][1] <= NS_PER_HOUR:
            made[-1][1] = max(end, made[-1][1])
        else:
            made.append([start, end])
    return np.array(made, dtype=np.int64).reshape(-1, 2)


def _match(
    calibrations: Sequence[Calibration], spans: np.ndarray[tuple[int, int], np.dtype[np.int64]]
) -> dict[str, int]:
    """Calibration id -> index of its span; nearest pairs first, each span used once."""
    pairs = sorted(
        (_distance(c, start, end), i, index)
        for i, c in enumerate(calibrations)
        for index, (start, end) in enumerate(spans.tolist())
        if _distance(c, start, end) <= _reach(c)
    )
    matched: dict[str, int] = {}
    used: set[int] = set()
    for _, i, index in pairs:
        if calibrations[i].id not in matched and index not in used:
            matched[calibrations[i].id] = index
            used.add(index)
    return matched


def _reach(calibration: Calibration) -> int:
    """How far an entry's time may lie from the work."""
    return NS_PER_DAY if calibration.time % NS_PER_DAY == 0 else NEAR_NS


def _distance(calibration: Calibration, start: int, end: int) -> int:
    return max(start - calibration.time, calibration.time - end, 0)


def _touches(spans: np.ndarray[tuple[int, int], np.dtype[np.int64]], start: int, end: int) -> bool:
    return bool(np.any((spans[:, 0] < end) & (spans[:, 1] > start)))


def _entry(
    calibration: Calibration,
    matched: Mapping[str, int],
    traces: _Traces,
    hides: tuple[str, ...],
    plant: Plant,
) -> AuditFinding | None:
    """An entry without a trace, or one that cannot be looked for."""
    if calibration.id in matched:
        return None
    low, high = calibration.time - NEAR_NS, calibration.time + NEAR_NS
    if high < traces.start or low > traces.end or _touches(traces.hold, low, high):
        return None
    if _off_the_point(calibration, plant):
        return None
    silent = _touches(traces.silent, low, high)
    words = (
        f"no data in part of the time between {iso(low)} and {iso(high)}: whether this {calibration.action} left a trace cannot be told"
        if silent
        else f"no trace of this {calibration.action} in the record between {iso(low)} and {iso(high)}"
    )
    return AuditFinding(
        point=calibration.point,
        probe=calibration.probe,
        kind="cannot tell" if silent else "no trace",
        start=low,
        end=high,
        sentence=words,
        could_hide=hides,
        calibration=calibration.id,
    )


def _unless_usual(missing: Sequence[AuditFinding], with_trace: int) -> list[AuditFinding]:
    """Where calibrations often leave no trace that can be told, one more without a trace says nothing."""
    none = [f for f in missing if f.kind == "no trace"]
    total = with_trace + len(none)
    if not none or (with_trace >= _TRACED_LEAST and with_trace >= _TRACED_SHARE * total):
        return list(missing)
    remark = f"only {with_trace} of {total} calibrations of this point left a trace that can be told"
    return [
        replace(f, kind="cannot tell", could_hide=(remark, *f.could_hide)) if f.kind == "no trace" else f
        for f in missing
    ]


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


def _without_entry(
    point: Point, mine: Sequence[Calibration], matched: Mapping[str, int], traces: _Traces, plant: Plant
) -> list[AuditFinding]:
    """Spans that look like a calibration and that no entry claims."""
    used = set(matched.values())
    made = []
    for index, (start, end) in enumerate(traces.suspected.tolist()):
        near = any(_distance(c, start, end) <= _reach(c) for c in mine)
        if index in used or near or not _touches(traces.sure, start, end):
            continue
        made.append(
            AuditFinding(
                point=point.name,
                probe=plant.probe_at(point.name, start) or "",
                kind="no entry",
                start=start,
                end=end,
                sentence=f"the record looks like a calibration from {iso(start)} for {duration_text((end - start) / 1e9)}, and no entry names it",
                could_hide=("a cleaning or a check without figures can look the same",),
            )
        )
    return made


def _overdue(point: Point, mine: Sequence[Calibration], traces: _Traces) -> list[AuditFinding]:
    """Intervals longer than the plan, up to the end of the record."""
    if point.plan_days is None or not math.isfinite(point.plan_days):
        return []
    allowed = int(_OVERDUE * point.plan_days * NS_PER_DAY)
    real = [c for c in mine if not c.copied]
    times = [c.time for c in real if c.time <= traces.end]
    if not times:
        return []
    made = []
    for earlier, later in zip(times, [*times[1:], traces.end], strict=True):
        if later - earlier > allowed:
            still = later == traces.end
            words = f"{(later - earlier) / NS_PER_DAY:.0f} days " + (
                "without a calibration at the end of the record" if still else "between two calibrations"
            )
            made.append(
                AuditFinding(
                    point=point.name,
                    probe=next(c.probe for c in real if c.time == earlier),
                    kind="overdue",
                    start=earlier + int(point.plan_days * NS_PER_DAY),
                    end=later,
                    sentence=f"{words}; the plan says {point.plan_days:g}",
                )
            )
    return made


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
        made.append(f"changes below {value.deadband:.3g} {point.quantity.unit} were not recorded".rstrip())
    if not point.temperature or "temperature" not in sampling:
        made.append("no temperature signal, so the walk to ambient does not show")
    made.append("a frozen output (hold) during the work, or a calibration in the workshop")
    return tuple(made)
