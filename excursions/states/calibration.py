"""Calibrations by their trace: still plateaus in standards, the walk of the temperature to ambient, the return.

Each sign alone also has other causes; they are weighed together as log odds.  The weights are a judgement
of the trade, written here once; none is fitted to data.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.records import CALIBRATING, FloatArray, IndexArray
from excursions.states.heat import Usual
from excursions.states.line import Claim
from excursions.states.reading import Reading
from excursions.states.standards import Standard, telling_standards
from excursions.states.trace import Trace, join, runs, spells, split_at_gaps

PLATEAU_MIN, PLATEAU_LONGEST_MIN = 2.0, 60.0  # (cp) a standard is read for minutes, not for hours
FEWEST_SAMPLES = 3
NEXT_STANDARD_MIN = 30.0
VISIT_LONGEST_H = 4.0
EDGE_MIN = 20.0  # how far before and after the plateaus the handling may reach
LEVEL_H = 2.0  # the process level before and after is taken over this time
STILL = 0.5  # noise in a standard over noise in the process
ROOM_DEGC = (5.0, 35.0)
WALK_K, ROOM_AWAY_K = 5.0, 8.0
PRIOR, ONE_STANDARD, SAME_AGAIN, MORE_STANDARDS = -3.0, 1.5, 0.7, 3.0
CALM, CAME_BACK, WALKED, STAYED, FLAGGED, FROZEN = 1.0, 1.0, 2.5, -2.0, 1.5, 1.5
BELIEVED = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A still stretch [start, end) (ns) of the reading in a standard."""

    standard: str
    start: int
    end: int
    still: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """Everything that calibrations are looked for in."""

    reading: Reading
    temperature: Trace | None
    usual: Usual | None
    flagged: TimeArray


def calibrations(signs: Signs) -> list[Claim]:
    """Visits to standards and hidden calibrations (reading frozen while the temperature walks to ambient)."""
    if not signs.reading.known or len(signs.reading.trace) < FEWEST_SAMPLES:
        return []
    claims = [claim for visit in _visits(_plateaus(signs.reading)) if (claim := _weigh(visit, signs))]
    return claims + [
        c for c in _hidden(signs) if not any(c.start < d.end and d.start < c.end for d in claims)
    ]


# --- plateaus ------------------------------------------------------------------------------------


def _plateaus(reading: Reading) -> list[Plateau]:
    trace = reading.trace
    usual = _noise(trace.value[:50_000])
    found = [
        plateau
        for standard in telling_standards(reading.point.measurand, trace)
        for first, past in _stays(trace, standard)
        if (plateau := _plateau(trace, standard, (int(first), int(past)), usual))
    ]
    return sorted(found, key=lambda p: (p.start, p.end))


def _stays(trace: Trace, standard: Standard) -> IndexArray:
    """Stretches in the window that last as long as a standard is read, with samples enough to be sure."""
    ranges = split_at_gaps(runs(standard.holds(trace.value)), trace)
    lasted = _until(trace, ranges) - trace.time[ranges[:, 0]]
    good = (lasted >= PLATEAU_MIN * NS_PER_MINUTE) & (lasted <= PLATEAU_LONGEST_MIN * NS_PER_MINUTE)
    fewest = 1 if trace.held else FEWEST_SAMPLES
    return ranges[good & (ranges[:, 1] - ranges[:, 0] >= fewest)]


def _until(trace: Trace, ranges: IndexArray) -> TimeArray:
    """End of each stretch: its next sample; for a sampled record at most one usual interval after its last."""
    following = trace.time[np.minimum(ranges[:, 1], len(trace) - 1)]
    if trace.held:
        return following
    latest = trace.time[ranges[:, 1] - 1] + round(trace.interval_s * NS_PER_S)
    return np.asarray(np.minimum(following, latest))


def _plateau(trace: Trace, standard: Standard, span: tuple[int, int], usual: float) -> Plateau | None:
    """A plateau, when the second half of the stay keeps within an eighth of the window."""
    first, past = span
    late = trace.value[(first + past) // 2 : past]
    if np.ptp(late) > max((standard.high - standard.low) / 8, 2 * trace.resolution):
        return None
    start, end = int(trace.time[first]), int(_until(trace, np.array([span]))[0])
    fewer = (past - first) <= STILL * (end - start) / (trace.usual_s * NS_PER_S)  # recorded on change: seldom
    return Plateau(
        standard=standard.label,
        start=start,
        end=end,
        still=fewer if trace.held else usual > 0 and _noise(late) <= STILL * usual,
    )


def _noise(value: FloatArray) -> float:
    """Typical size of the change from sample to sample."""
    return float(np.median(np.abs(np.diff(value)))) if value.size > 1 else 0.0


def _visits(plateaus: Sequence[Plateau]) -> list[list[Plateau]]:
    """Group plateaus that follow each other like the standards of one calibration."""
    visits: list[list[Plateau]] = []
    for plateau in plateaus:
        if visits and plateau.start - visits[-1][-1].end <= NEXT_STANDARD_MIN * NS_PER_MINUTE:
            visits[-1].append(plateau)
        else:
            visits.append([plateau])
    return [v for v in visits if v[-1].end - v[0].start <= VISIT_LONGEST_H * NS_PER_HOUR]


# --- weighing ------------------------------------------------------------------------------------


def _weigh(visit: list[Plateau], signs: Signs) -> Claim | None:
    start, end = visit[0].start, visit[-1].end
    names = sorted({p.standard for p in visit})
    facts = [f"reading still in {' and '.join(names)}"]
    odds = PRIOR + (ONE_STANDARD if len(names) == 1 else MORE_STANDARDS)
    odds += SAME_AGAIN * (len(visit) > len(names))  # as found and as left in the same standard
    odds += CALM * all(p.still for p in visit)
    before, after = _level(signs.reading.trace, start, -1), _level(signs.reading.trace, end, +1)
    there = float(np.median(signs.reading.trace.value[signs.reading.trace.slice(start, end)]))
    if abs(after - before) < 0.3 * min(abs(there - before), abs(there - after)):
        odds += CAME_BACK
    more, fact = _temperature_says(signs, start, end)
    odds, facts = odds + more, [*facts, *fact]
    if _touched(signs.flagged, start, end):
        odds, facts = odds + FLAGGED, [*facts, "hold active"]
    edges = [_reading_edges(signs.reading.trace, start, end, (before, after))]
    if more == WALKED and signs.temperature is not None:
        edges.append(_walk_edges(signs.temperature, start, end))
    return _claim(min(e[0] for e in edges), max(e[1] for e in edges), odds, facts)


def _claim(start: int, end: int, odds: float, facts: Sequence[str]) -> Claim | None:
    confidence = 1.0 / (1.0 + math.exp(-odds))
    if confidence < BELIEVED:
        return None
    return Claim(start=start, end=end, code=CALIBRATING, confidence=confidence, evidence="; ".join(facts))


def _level(trace: Trace, at: int, side: int) -> float:
    """Median reading of the two hours before (-1) or after (+1) the handling around an instant; NaN without."""
    near, far = at + side * int(EDGE_MIN * NS_PER_MINUTE), at + side * int(LEVEL_H * NS_PER_HOUR)
    seen = trace.value[trace.slice(min(near, far), max(near, far))]
    return float(np.median(seen)) if seen.size else math.nan


def _temperature_says(signs: Signs, start: int, end: int) -> tuple[float, list[str]]:
    """Log odds and fact from the walk to ambient; nothing where the process is at ambient itself."""
    trace = signs.temperature
    if trace is None:
        return 0.0, []
    before = _level(trace, start, -1)
    room = sum(ROOM_DEGC) / 2
    if not math.isfinite(before) or abs(before - room) <= ROOM_AWAY_K:
        return 0.0, []
    seen = trace.value[trace.slice(start - int(5 * NS_PER_MINUTE), end + int(5 * NS_PER_MINUTE))]
    seen = seen[(seen >= ROOM_DEGC[0]) & (seen <= ROOM_DEGC[1])]
    if seen.size and np.abs(seen - before).max() > WALK_K:
        there = float(seen[np.argmax(np.abs(seen - before))])
        return WALKED, [f"temperature from {before:.0f} to {there:.0f} degC"]
    return (STAYED if abs(before - room) > 2 * ROOM_AWAY_K else 0.0), []


def _touched(spans: TimeArray, start: int, end: int) -> bool:
    return bool(np.any((spans[:, 0] < end) & (spans[:, 1] > start)))


def _reading_edges(trace: Trace, start: int, end: int, levels: tuple[float, float]) -> tuple[int, int]:
    """Widen to where the reading leaves the level before and reaches the level after, within the handling time."""
    reach = int(EDGE_MIN * NS_PER_MINUTE)
    head = trace.slice(start - reach, start)
    tail = trace.slice(end, end + reach)
    first, last = (
        float(trace.value[trace.slice(start, end)][0]),
        float(trace.value[trace.slice(start, end)][-1]),
    )
    away = np.abs(trace.value[head] - levels[0]) > 0.1 * abs(first - levels[0])
    calm = np.flatnonzero(~away)
    begin = int(trace.time[head][calm[-1]]) + 1 if calm.size else start
    back = np.flatnonzero(np.abs(trace.value[tail] - levels[1]) <= 0.1 * abs(last - levels[1]))
    return min(begin, start), int(trace.time[tail][back[0]]) if back.size else end


def _walk_edges(trace: Trace, start: int, end: int) -> tuple[int, int]:
    """Widen to where the temperature left its level before and came back to it, within the handling time."""
    reach = int(EDGE_MIN * NS_PER_MINUTE)
    window = trace.slice(start - reach, end + reach)
    time, away = trace.time[window], np.abs(trace.value[window] - _level(trace, start, -1))
    ranges = runs(away > 0.15 * away.max())
    ranges = ranges[(time[ranges[:, 0]] < end) & (time[ranges[:, 1] - 1] > start)]
    if not ranges.size:
        return start, end
    return int(time[ranges[0, 0]]), int(time[ranges[-1, 1] - 1])


# --- hidden by a hold ----------------------------------------------------------------------------


def _hidden(signs: Signs) -> list[Claim]:
    """Walks of the temperature to ambient during which the reading does not move at all."""
    trace, usual = signs.temperature, signs.usual
    if trace is None or usual is None or _noise(signs.reading.trace.value[:50_000]) == 0.0:
        return []
    claims = []
    for first, past in _walks(trace, usual):
        start, end = int(trace.time[first]), int(trace.time[past - 1])
        seen = signs.reading.trace.value[signs.reading.trace.slice(start, end)]
        there = float(np.median(trace.value[first:past]))
        if seen.size < 2 * FEWEST_SAMPLES or np.unique(seen[seen.size // 10 :]).size > 1:
            continue
        odds = PRIOR + WALKED + FROZEN + CAME_BACK / 2 + FLAGGED * _touched(signs.flagged, start, end)
        claim = _claim(
            start, end, odds, [f"reading frozen while the temperature goes to {there:.0f} degC and back"]
        )
        claims += [claim] if claim else []
    return claims


def _walks(trace: Trace, usual: Usual) -> IndexArray:
    """Stretches at ambient of a process that is usually not, as long as a calibration lasts."""
    room = sum(ROOM_DEGC) / 2
    if usual.low > room + ROOM_AWAY_K:
        mirrored = replace(trace, value=-trace.value)
        ranges = spells(mirrored, on=-(usual.low - ROOM_AWAY_K), off=-(usual.low - WALK_K))
    elif usual.high < room - ROOM_AWAY_K:
        ranges = spells(trace, on=usual.high + ROOM_AWAY_K, off=usual.high + WALK_K)
    else:
        return np.empty((0, 2), dtype=np.int64)
    ranges = join(ranges, trace.time, 2 * trace.interval_s)
    lasted = trace.time[ranges[:, 1] - 1] - trace.time[ranges[:, 0]]
    return ranges[(lasted >= PLATEAU_MIN * NS_PER_MINUTE) & (lasted <= VISIT_LONGEST_H * NS_PER_HOUR)]
