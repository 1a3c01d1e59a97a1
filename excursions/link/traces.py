"""Traces of calibrations in the state time line of a point, and which entry of the log each belongs to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from scipy.special import logit

from excursions import clock
from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, TimeArray
from excursions.records import CALIBRATING, CLEANING, HOLD, NO_DATA, STEAMING, Calibration, StateLine

# An entry's time is written by hand, at the start or the end of the work (cp); a date alone means that day.
NEAR_NS = 2 * NS_PER_HOUR
# A span is called a calibration without an entry only when the time line is this sure of it.
SURE = 0.6
# A probe that is taken out and put back within this time was looked at or exchanged: two looks at standards take longer (cp).
_SHORT_NS = 20 * NS_PER_MINUTE
_HELD_NS = 10 * NS_PER_MINUTE


@dataclass(frozen=True, slots=True)
class Traces:
    """Spans of one point (k, 2): pieces of work that look like calibrations, holds, silence, cleaning and steam.

    standards : labels seen in each piece of work; rests : labels in which a probe far off may have been; sure : whether a piece may be held against an empty log; alone :
    whether it would be if no log entered it; stood: temperature [degC] at which the probe rested out of the line, NaN if unknown
    """

    work: TimeArray
    standards: tuple[frozenset[str], ...]
    rests: tuple[frozenset[str], ...]
    sure: tuple[bool, ...]
    alone: tuple[bool, ...]
    stood: tuple[float, ...]
    hold: TimeArray
    silent: TimeArray
    hot: TimeArray
    start: int
    end: int


def traces_of(line: StateLine) -> Traces:
    """Pieces of work of a time line; spans closer than an hour are one."""
    groups: list[list[int]] = []
    for i in np.flatnonzero(line.code == CALIBRATING).tolist():
        if groups and line.start[i] - line.end[groups[-1][-1]] <= NS_PER_HOUR:
            groups[-1].append(i)
        else:
            groups.append([i])
    standards = tuple(frozenset(s for i in g for s in line.standards_in(i)) for g in groups)
    return Traces(
        work=np.array([[line.start[g[0]], line.end[g[-1]]] for g in groups], np.int64).reshape(-1, 2),
        standards=standards,
        rests=tuple(frozenset(s for i in g for s in line.rests_in(i)) for g in groups),
        sure=tuple(_sure(line, g, seen) for g, seen in zip(groups, standards, strict=True)),
        alone=tuple(_sure(line, g, seen, entered=False) for g, seen in zip(groups, standards, strict=True)),
        stood=tuple(next((t for i in g if np.isfinite(t := line.stood_at(i))), np.nan) for g in groups),
        hold=_long(line.spans(HOLD), _HELD_NS),
        silent=_long(line.spans(NO_DATA), _SHORT_NS),
        hot=_long(line.spans(CLEANING, STEAMING), _SHORT_NS),
        start=int(line.start[0]),
        end=int(line.end[-1]),
    )


def _long(spans: TimeArray, least: int) -> TimeArray:
    """Spans long enough to hold, or to hide, a calibration: a wash of half a minute is neither."""
    return spans[spans[:, 1] - spans[:, 0] >= least]


def _sure(line: StateLine, group: Sequence[int], seen: frozenset[str], *, entered: bool = True) -> bool:
    """Whether a piece of work is plain; not `entered`: without what an entry of a log adds."""
    long = line.end[group[-1]] - line.start[group[0]] >= _SHORT_NS
    odds = max(float(logit(line.confidence[i])) - (0.0 if entered else line.helped_in(i)) for i in group)
    return bool(odds >= logit(SURE) - 1e-9 and (len(seen) > 1 or long))


def match(calibrations: Sequence[Calibration], spans: TimeArray, tz: ZoneInfo) -> Mapping[str, int]:
    """Calibration id -> index of its span; nearest pairs first, each span used once."""
    pairs = sorted(
        (distance(c, start, end), i, index)
        for i, c in enumerate(calibrations)
        for index, (start, end) in enumerate(spans.tolist())
        if distance(c, start, end) <= reach(c, tz)
    )
    matched: dict[str, int] = {}
    used: set[int] = set()
    for _, i, index in pairs:
        if calibrations[i].id not in matched and index not in used:
            matched[calibrations[i].id] = index
            used.add(index)
    return matched


def reach(calibration: Calibration, tz: ZoneInfo) -> int:
    """How far an entry's time may lie from the work; a day alone stands at its noon, or at its midnight."""
    if not day_alone(calibration, tz):
        return NEAR_NS
    return NS_PER_DAY // 2 if clock.to_datetime(calibration.time, tz).hour else NS_PER_DAY


def day_alone(calibration: Calibration, tz: ZoneInfo) -> bool:
    """Whether an entry tells the day and no hour: the reader puts it at noon, a sheet may have it at midnight."""
    said = clock.to_datetime(calibration.time, tz)
    return said.hour in (0, 12) and said.minute == said.second == 0


def distance(calibration: Calibration, start: int, end: int) -> int:
    """Time between an entry and a span, 0 inside it."""
    return max(start - calibration.time, calibration.time - end, 0)


def touches(spans: TimeArray, start: int, end: int) -> bool:
    """Whether any span (k, 2) overlaps [start, end)."""
    return bool(np.any((spans[:, 0] < end) & (spans[:, 1] > start)))


def shows_traces(with_trace: int, without: int) -> bool:
    """Whether calibrations of a point leave traces that can be told, from how many of its entries have one.

    Two kinds of point: at nine in ten an honest calibration shows nearly always (and a few entries in a hundred have no
    calibration behind them); at the others it shows seldom rather than often.  These figures are common practice, no
    source; what decides are the point's own entries, and which kind is clearly the likelier.
    """
    plain = _PLAIN * _SHOWN**with_trace * (1.0 - _SHOWN) ** without
    # A share v of density 2 (1 - v): k of n traces have the chance 2 k! (n - k + 1)! / (n + 2)! in each order.
    other = 2.0 * (1.0 - _PLAIN) / (with_trace + without + 2)
    for i in range(1, with_trace + 1):
        other *= i / (without + 1 + i)
    return plain > _CLEARLY * other


_PLAIN, _SHOWN, _CLEARLY = 0.9, 0.93, 2.0
