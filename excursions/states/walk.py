"""The walk of the temperature to ambient and back that a probe makes when it is taken out for calibration.

A probe has little mass: out of the line it is at room temperature within minutes, and back as fast.  A
vessel that cools takes far longer, which tells the two apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, TimeArray
from excursions.ranks import median
from excursions.records import FloatArray, IndexArray
from excursions.runs import runs
from excursions.states.heat import Usual
from excursions.states.settling import Pace
from excursions.states.trace import Trace, around_its_level, join, spells

ROOM_DEGC = (5.0, 35.0)
EDGE_MIN = 20.0  # how far before and after the plateaus the handling may reach
LEVEL_H = 1.0  # the level before and after is taken up to this far away
WALK_K, SMALL_WALK_K = 5.0, 1.0
HALF_WAY, MOST_CROSSINGS = 0.5, 4
DEPARTED_K = 3.0  # from the level of the hours around, over minutes and back
PACES = 6.0  # a walk is this many times the usual move of the temperature over minutes
QUICK_MIN = 15.0
RETURNED = 0.4
ROOM_AWAY_K = 8.0
AT_REST_K = 1.0  # a probe in a beaker moves no more than that (cp)
LONGEST_H = 4.0
SHORTEST_MIN = 3.0
# The level of the hours around is the median of three times the longest walk; looked at every five minutes.
_LEVEL_HOURS, _GRID_MIN = 3 * LONGEST_H, 5.0
_OUT_EVERY_D, _FEWEST_OUT = 4.0, 2  # probes are taken out for calibration less than twice a week (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """What the temperature did around a span: level before, level meanwhile [degC]; out for room and back.

    rest : where it came to rest meanwhile [degC]; NaN where it moved all the time
    """

    before: float
    there: float
    out_and_back: bool
    rest: float = math.nan

    @property
    def kelvin(self) -> float:
        """Size of the walk, 0 when there was none."""
        return abs(self.there - self.before) if self.out_and_back else 0.0

    @property
    def stayed(self) -> bool:
        """Whether the temperature plainly was meanwhile where no probe out of the line could be."""
        room = sum(ROOM_DEGC) / 2
        return not self.out_and_back and abs(self.there - room) > 2 * ROOM_AWAY_K


_NO_HEAT = np.empty((0, 2), dtype=np.int64)


def level_beside(trace: Trace, at: int, side: int, hot: TimeArray = _NO_HEAT) -> float:
    """Median of the hour before (-1) or after (+1), less the time of handling, around an instant; NaN without samples.

    hot : spans (k, 2) of heat, in time order; where one fills part of that hour, the hour beyond it is taken
    """
    at = _past_heat(at, side, hot)
    near, far = at + side * int(EDGE_MIN * NS_PER_MINUTE), at + side * int(LEVEL_H * NS_PER_HOUR)
    seen = trace.sampled(min(near, far), max(near, far))
    return median(seen) if seen.size else math.nan


def _past_heat(at: int, side: int, hot: TimeArray) -> int:
    """An instant moved away (-1 back, +1 on) beyond heat that fills part of the hour on that side."""
    reach = int(LEVEL_H * NS_PER_HOUR)
    for start, end in hot[::side].tolist():
        if (start < at and at - reach < end) if side < 0 else (end > at and start < at + reach):
            at = min(at, start) if side < 0 else max(at, end)
    return at


def walk_during(pace: Pace | None, start: int, end: int, hot: TimeArray = _NO_HEAT) -> Walk | None:
    """What the temperature did around [start, end) ns; None without a temperature to tell."""
    if pace is None:
        return None
    trace = pace.trace
    before, after = level_beside(trace, start, -1, hot), level_beside(trace, end, +1, hot)
    seen = trace.sampled(start, end)
    if not seen.size or not math.isfinite(before):
        return None
    there = median(seen)
    size = abs(there - before)
    back = not math.isfinite(after) or abs(after - before) < RETURNED * size
    gone = (
        size > max(SMALL_WALK_K, PACES * pace.measured, 2 * trace.resolution)
        and ROOM_DEGC[0] <= there <= ROOM_DEGC[1]
    )
    return Walk(
        before=before,
        there=there,
        out_and_back=bool(gone and back and _quick(trace, start, end, (before, there, after), hot)),
        rest=_rest(seen),
    )


def _rest(seen: FloatArray) -> float:
    """Level at which evenly spread samples (n,) stay for at least half of the time; NaN without one."""
    ordered, half = np.sort(seen), seen.size // 2
    width = ordered[half:] - ordered[: seen.size - half]
    at = int(np.argmin(width))
    return float(np.median(ordered[at : at + half + 1])) if width[at] <= AT_REST_K else math.nan


def _quick(
    trace: Trace, start: int, end: int, levels: tuple[float, float, float], hot: TimeArray = _NO_HEAT
) -> bool:
    """Whether the temperature left the level before, and came back to the level after, within minutes."""
    before, there, after = levels
    reach = int(EDGE_MIN * NS_PER_MINUTE)
    window = _window(trace, start - reach, end + reach)
    time, value = trace.time[window], trace.value[window]
    gone = (value - before) / (there - before)
    back = (value - after) / (there - after) if math.isfinite(after) else gone
    far = np.flatnonzero(gone > 0.8)
    if not far.size or np.count_nonzero(np.diff(gone > HALF_WAY)) > MOST_CROSSINGS:
        return False  # a failing element goes to and fro; a probe goes out once and back once
    first, last = int(far[0]), int(far[-1])
    left, came = np.flatnonzero(gone[:first] < 0.2), last + np.flatnonzero(back[last:] < 0.2)
    limit = max(QUICK_MIN * NS_PER_MINUTE, 1.5 * trace.usual_s * 1e9)
    out = time[first] - time[left[-1] if left.size else 0]
    back_in = time[came[0] if came.size else -1] - time[last]
    # Straight out of heat, or into it, there is no level to leave or to come back to.
    return bool(
        (out <= limit or _heat_near(start, hot, reach)) and (back_in <= limit or _heat_near(end, hot, reach))
    )


def _heat_near(at: int, hot: TimeArray, reach: int) -> bool:
    return bool(np.any((hot[:, 0] < at + reach) & (hot[:, 1] > at - reach)))


def _window(trace: Trace, start: int, end: int) -> slice:
    """The samples in a span and one on either side, so that a sparing record has its levels too."""
    inside = trace.slice(start, end)
    return slice(max(inside.start - 1, 0), min(inside.stop + 1, len(trace)))


def walk_edges(trace: Trace, start: int, end: int, hot: TimeArray = _NO_HEAT) -> tuple[int, int]:
    """Widen a span to where the temperature left its level and came back to it, within the handling time."""
    reach = int(EDGE_MIN * NS_PER_MINUTE)
    window = _window(trace, start - reach, end + reach)
    time, away = trace.time[window], np.abs(trace.value[window] - level_beside(trace, start, -1, hot))
    ranges = runs(away > 0.15 * away.max())
    ranges = ranges[(time[ranges[:, 0]] < end) & (time[ranges[:, 1] - 1] > start)]
    if not ranges.size:
        return start, end
    return min(int(time[ranges[0, 0]]), start), max(int(time[ranges[-1, 1] - 1]), end)


def walks(trace: Trace, usual: Usual) -> IndexArray:
    """Stretches at ambient of a process that is usually not, as long as a calibration lasts."""
    room = sum(ROOM_DEGC) / 2
    if usual.low > room + ROOM_AWAY_K:
        mirrored = replace(trace, value=-trace.value)
        ranges = spells(mirrored, on=-(usual.low - ROOM_AWAY_K), off=-(usual.low - WALK_K))
    elif usual.high < room - ROOM_AWAY_K:
        ranges = spells(trace, on=usual.high + ROOM_AWAY_K, off=usual.high + WALK_K)
    else:
        return np.empty((0, 2), dtype=np.int64)
    ranges = join(ranges, trace.time, 2 * trace.usual_s)
    lasted = trace.time[ranges[:, 1] - 1] - trace.time[ranges[:, 0]]
    return ranges[(lasted >= SHORTEST_MIN * NS_PER_MINUTE) & (lasted <= LONGEST_H * NS_PER_HOUR)]


def departures(trace: Trace) -> list[tuple[int, int]]:
    """Stretches [ns] in which the temperature is off towards ambient from where it was in the hours around, and back.

    Unlike :func:`walks` they need not leave what this process usually has.  Where they come oftener than probes are
    taken out, they are the process's own: then only larger ones count, and none where those come too often as well.
    """
    step = round(_GRID_MIN * NS_PER_MINUTE)
    span = int(trace.time[-1] - trace.time[0]) if len(trace) else 0
    if span < _LEVEL_HOURS * NS_PER_HOUR or trace.usual_s > 60.0 * _GRID_MIN:
        return []
    when, value, level = around_its_level(trace, _GRID_MIN, _LEVEL_HOURS)
    room = sum(ROOM_DEGC) / 2
    off = value - level
    # What goes past the temperature of any room is heat or cold on its way, not a probe taken out.
    past = np.concatenate([[0], np.cumsum((value < ROOM_DEGC[0]) | (value > ROOM_DEGC[1]))])
    for least in (DEPARTED_K, WALK_K):
        ranges = runs((np.abs(off) >= least) & (off * (level - room) < 0))
        lasted = (ranges[:, 1] - ranges[:, 0]) * step
        stayed = past[ranges[:, 1]] == past[ranges[:, 0]]
        ranges = ranges[stayed & (lasted <= LONGEST_H * NS_PER_HOUR)]
        if len(ranges) <= max(_FEWEST_OUT, span / (_OUT_EVERY_D * NS_PER_DAY)):
            return [(int(when[a]), int(when[b - 1]) + step) for a, b in ranges]
    return []
