"""Calibrations by their trace: still plateaus in standards, the walk of the temperature to ambient, the return.

Each sign alone also has other causes; they are weighed together as log odds.  The weights are a judgement
of the trade, written here once; none is fitted to data.  Where a log enters a calibration it was as likely done as not
before looking, so that signs too weak to stand alone bear it out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray
from excursions.ranks import median
from excursions.records import CALIBRATING, IndexArray
from excursions.states.again import as_washes, twice, two_twice
from excursions.states.heat import Usual
from excursions.states.line import Claim
from excursions.states.own_standards import with_own_standards
from excursions.states.plateaus import (
    FEWEST_SAMPLES,
    SHORTEST_MIN,
    Plateau,
    all_calm,
    all_lively,
    goes_on_lively,
    rests,
    usual_noise,
    visits,
)
from excursions.states.reading import TOLERANCES, Reading
from excursions.states.settling import Pace
from excursions.states.standards import widened
from excursions.states.trace import Trace, between, join, runs, split_at_gaps
from excursions.states.walk import (
    EDGE_MIN,
    SMALL_WALK_K,
    WALK_K,
    Walk,
    departures,
    level_beside,
    walk_during,
    walk_edges,
    walks,
)

PRIOR = -3.0
ONE_STANDARD, SAME_AGAIN, MORE_STANDARDS = 1.5, 0.7, 3.0
CALM, CAME_BACK, ELSEWHERE, FROZEN = 1.0, 1.0, 1.0, 1.5
WALKED, WALKED_A_LITTLE, STAYED = 2.5, 1.5, -2.0
LIVELY = -1.5
FLAGGED, HELD_MIN = 1.5, 10.0  # a hold for a wash of half a minute says nothing of the work about it
ENTERED = "entered in the log"
NOTED, NOTED_WITHIN_H = 3.0, 2.0  # an entry is written at the start or at the end of the work (cp)
BELIEVED = 0.6
AGAIN_PACES = 4.0  # the same for a level that the reading comes back to
PACES = 8.0  # a standard is this many times the usual move of the reading over minutes away
FROZEN_MIN, FROZEN_LONGEST_H = 5.0, 4.0
FROZEN_ALONE_MIN = 10.0
STANDARD_TO_STANDARD_MIN = 15.0  # a reading elsewhere may pass its level from one standard to the next (cp)
FROZEN_TIMES_USUAL, FROZEN_SHARE = 3.0, 0.95
MOST_FROZEN = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """Everything that calibrations are looked for in; `pace` carries the temperature, `moves` the reading.

    noted : instants (n,) at which a log enters a calibration; hot : spans (k, 2) of cleaning and steam, in time order
    """

    reading: Reading
    moves: Pace | None
    pace: Pace | None
    usual: Usual | None
    flagged: TimeArray
    noted: TimeArray
    hot: TimeArray

    def beside(self, trace: Trace, start: int, end: int) -> tuple[float, float]:
        """Levels before and after a span, heat left out."""
        return level_beside(trace, start, -1, self.hot), level_beside(trace, end, +1, self.hot)

    def entered(self, start: int, end: int) -> bool:
        """Whether a log enters a calibration about this time."""
        near = int(NOTED_WITHIN_H * NS_PER_HOUR)
        return bool(np.any((self.noted > start - near) & (self.noted < end + near)))


def calibrations(signs: Signs) -> list[Claim]:
    """Claims from visits to standards, from walks to ambient, and from readings frozen meanwhile."""
    if not signs.reading.known or len(signs.reading.trace) < FEWEST_SAMPLES:
        return []
    if not signs.reading.windows:
        away = [[span for span, _ in _elsewhere(int(when), signs)] for when in signs.noted]
        signs = replace(signs, reading=with_own_standards(signs.reading, away))
    claims: list[Claim] = []
    near = int(NOTED_WITHIN_H * NS_PER_HOUR)
    about = np.column_stack([signs.noted - near, signs.noted + near])
    seen = [_weigh_visit(visit, signs) for visit in visits(signs.reading, about)]
    seen += [_weigh_frozen(span, signs) for span in _frozen(signs.reading)]
    seen += [_weigh_held(span, signs) for span in signs.flagged.tolist()]
    seen += [_weigh_walk(span, signs) for span in _walk_spans(signs)]
    seen += [claim for when in signs.noted for claim in _weigh_away(int(when), signs)]
    seen += [_weigh_two(stays, signs) for stays in _two_again(signs)]
    for claim in seen:
        if claim and not any(claim.start < c.end and c.start < claim.end for c in claims):
            claims.append(_with_rests(claim, signs))
    return as_washes(claims, signs.reading.trace)


def _with_rests(claim: Claim, signs: Signs) -> Claim:
    """A claim with the standards that a probe far off may have shown in it: the reading at rest where no process is."""
    trace = signs.reading.trace
    levels = signs.beside(trace, claim.start, claim.end)
    more = {
        p.standard
        for p in rests(signs.reading, claim.start, claim.end)
        if p.standard not in claim.standards and not _beside(signs.reading, p.standard, levels)
    }
    return replace(claim, rests=tuple(sorted(more)))


def _beside(reading: Reading, label: str, levels: tuple[float, float]) -> bool:
    """Whether a probe far off may read a level before or after in this standard."""
    window = widened(next(w for w in reading.windows if w.label == label))
    return any(window.low <= level <= window.high for level in levels)


# --- visits to standards -------------------------------------------------------------------------


def _weigh_visit(visit: list[Plateau], signs: Signs) -> Claim | None:
    trace = signs.reading.trace
    start, end = visit[0].start, visit[-1].end
    names = sorted({p.standard for p in visit})
    levels = signs.beside(trace, start, end)
    # A process that sits at a standard's value before and after is there meanwhile too, and now and then calm.
    shown = [p for p in visit if _went_there(trace, p, signs.moves)]
    telling = [
        p
        for p in shown
        if not _sits_in(signs.reading, p.standard, levels) and not _goes_on(trace, p, levels, signs.moves)
    ]
    told = sorted({p.standard for p in telling})
    odds = PRIOR + (0.0, ONE_STANDARD, MORE_STANDARDS)[min(len(told), 2)]
    odds += SAME_AGAIN * (len(telling) > len(told))  # as found and as left in the same standard
    odds += CALM * bool(telling and all(p.still and not _pinned(signs.reading, p) for p in telling))
    odds += CAME_BACK * _came_back(trace, visit[0], levels, signs.moves)
    walk = walk_during(signs.pace, start, end, signs.hot)
    edges = [_reading_edges(trace, start, end, levels)]
    if walk is not None and walk.kelvin > 0 and signs.pace is not None:
        edges.append(walk_edges(signs.pace.trace, start, end, signs.hot))
    span = min(e[0] for e in edges), max(e[1] for e in edges)
    facts = [f"reading still in {' and '.join(names)}"]
    claim = _with_common_signs(span, odds, facts, walk, signs)
    return replace(claim, standards=tuple(sorted({p.standard for p in shown}))) if claim else None


def _went_there(trace: Trace, plateau: Plateau, moves: Pace | None) -> bool:
    """Whether the reading came to a plateau from elsewhere: a calm or held process shows no standard."""
    before = trace.sampled(plateau.start - int(EDGE_MIN * NS_PER_MINUTE), plateau.start)
    there = median(trace.value[trace.slice(plateau.start, plateau.end)])
    return moves is None or not before.size or abs(median(before) - there) > moves.usual_long


def _goes_on(trace: Trace, plateau: Plateau, levels: tuple[float, float], moves: Pace | None) -> bool:
    """Whether the reading is at a plateau's own level before or after the visit as well: the process is there."""
    there = median(trace.value[trace.slice(plateau.start, plateau.end)])
    return moves is not None and any(abs(level - there) <= moves.usual_long for level in levels)


def _pinned(reading: Reading, plateau: Plateau) -> bool:
    """Whether the reading stood at an end of its range: still, but nobody knows what it was in."""
    seen = reading.trace.value[reading.trace.slice(plateau.start, plateau.end)]
    return bool(np.ptp(seen) == 0 and seen[0] in (reading.point.range or ()))


def _sits_in(reading: Reading, label: str, levels: tuple[float, float]) -> bool:
    """Whether the levels before and after both lie in the window of a standard."""
    window = next(w for w in reading.windows if w.label == label)
    return all(window.low <= level <= window.high for level in levels)


def _came_back(trace: Trace, plateau: Plateau, levels: tuple[float, float], moves: Pace | None) -> bool:
    """Whether the levels before and after are alike and the standard was further off than the process ever jumps."""
    before, after = levels
    there = median(trace.value[trace.slice(plateau.start, plateau.end)])
    away = min(abs(there - before), abs(there - after))
    far = moves is not None and away > PACES * moves.measured
    return bool(far and abs(after - before) < 0.3 * away)


def _reading_edges(trace: Trace, start: int, end: int, levels: tuple[float, float]) -> tuple[int, int]:
    """Widen to where the reading leaves the level before and reaches the level after, within the handling time."""
    reach = int(EDGE_MIN * NS_PER_MINUTE)
    head, inside, tail = (
        trace.slice(start - reach, start),
        trace.slice(start, end),
        trace.slice(end, end + reach),
    )
    first, last = float(trace.value[inside][0]), float(trace.value[inside][-1])
    away = np.abs(trace.value[head] - levels[0]) > 0.1 * abs(first - levels[0])
    calm = np.flatnonzero(~away)
    begin = int(trace.time[head][calm[-1]]) + 1 if calm.size else start
    back = np.flatnonzero(np.abs(trace.value[tail] - levels[1]) <= 0.1 * abs(last - levels[1]))
    return min(begin, start), int(trace.time[tail][back[0]]) if back.size else end


# --- hidden by a hold ----------------------------------------------------------------------------


def _frozen(reading: Reading) -> list[tuple[int, int]]:
    """Spans in which a lively reading does not move at all, as long as a calibration lasts.

    A hold keeps what was measured last; what stands at an end of the range is pinned there.
    """
    trace = reading.trace
    if usual_noise(trace) == 0.0 or trace.held:
        return []
    every = between(np.flatnonzero(trace.value[1:] != trace.value[:-1]) + 1, len(trace))
    ranges = split_at_gaps(every[every[:, 1] - every[:, 0] >= 2 * FEWEST_SAMPLES], trace)
    if not ranges.size:
        return []
    lasted = (trace.time[ranges[:, 1] - 1] - trace.time[ranges[:, 0]]) / NS_PER_S
    if lasted.max() < 60 * FROZEN_MIN:
        return []
    usual = _usual_stay_s(every, trace)
    long = (lasted >= max(60 * FROZEN_MIN, FROZEN_TIMES_USUAL * usual)) & (lasted <= 3600 * FROZEN_LONGEST_H)
    if np.count_nonzero(long) > MOST_FROZEN:
        return []
    low, high = reading.point.range or (-math.inf, math.inf)
    return [
        (int(trace.time[a]), int(trace.time[b - 1])) for a, b in ranges[long] if low < trace.value[a] < high
    ]


def _usual_stay_s(stays: IndexArray, trace: Trace) -> float:
    """How long the same value stands as a rule [s]: no longer than this for all but a twentieth of the time.

    Holds for calibration and cleaning take less than that; a value that is recorded coarsely stands long all the time.
    """
    until = np.minimum(stays[:, 1], len(trace) - 1)
    lasted = np.sort((trace.time[until] - trace.time[stays[:, 0]]) / NS_PER_S)
    passed = np.cumsum(lasted)
    return float(lasted[np.searchsorted(passed, FROZEN_SHARE * passed[-1])]) if passed[-1] > 0 else 0.0


def _weigh_frozen(span: tuple[int, int], signs: Signs) -> Claim | None:
    walk = walk_during(signs.pace, *span, signs.hot)
    lasted_min = (span[1] - span[0]) / NS_PER_MINUTE
    told = signs.entered(*span) and lasted_min >= FROZEN_ALONE_MIN
    walked = walk is not None and walk.kelvin > 0
    if not told and not walked:
        return None
    claim = _with_common_signs(span, PRIOR + FROZEN + CAME_BACK, ["reading frozen"], walk, signs)
    return claim if claim is None or walked else replace(claim, helped=math.inf)


def _weigh_held(span: Sequence[int], signs: Signs) -> Claim | None:
    """A held output and a walk to room temperature: what the reading did meanwhile need not be known."""
    start, end = int(span[0]), int(span[1])
    if end - start < FROZEN_MIN * NS_PER_MINUTE:
        return None
    walk = walk_during(signs.pace, start, end, signs.hot)
    if walk is None or walk.kelvin < WALK_K:
        return None
    return _with_common_signs((start, end), PRIOR, [], walk, signs)


# --- out of the line, in something unknown -------------------------------------------------------


def _walk_spans(signs: Signs) -> list[tuple[int, int]]:
    if signs.pace is None or signs.usual is None:
        return []
    time = signs.pace.trace.time
    far = [(int(time[a]), int(time[b - 1])) for a, b in walks(signs.pace.trace, signs.usual)]
    near = [
        span
        for span in departures(signs.pace.trace)
        if not any(span[0] < end and start < span[1] for start, end in far)
    ]
    return [*far, *near]


def _weigh_walk(span: tuple[int, int], signs: Signs) -> Claim | None:
    """A walk during which the reading is elsewhere and comes back, in no standard that is known."""
    trace = signs.reading.trace
    walk = walk_during(signs.pace, *span, signs.hot)
    before, after = signs.beside(trace, *span)
    seen = trace.value[trace.slice(*span)]
    if walk is None or walk.kelvin == 0 or seen.size < 2 or not math.isfinite(before):
        return None
    away = np.abs(seen - before) > TOLERANCES * signs.reading.point.tolerance_at(before)
    if float(np.mean(away)) <= 0.3:
        return None
    back = abs(after - before) < 0.3 * float(np.abs(seen - before).max())  # an adjustment may have moved it
    odds = PRIOR + ELSEWHERE + CAME_BACK * back + LIVELY * goes_on_lively(trace, span, before)
    facts = ["reading elsewhere and back" if back else "reading elsewhere, then at another level"]
    return _with_common_signs(span, odds, facts, walk, signs)


# --- elsewhere when the log enters a calibration -------------------------------------------------


def _weigh_away(noted: int, signs: Signs) -> list[Claim]:
    """A reading, or a temperature, that is elsewhere for minutes about the time of an entry, and comes back.

    Without the entry nobody would look there.
    """
    found = _elsewhere(noted, signs)
    if signs.pace is not None:
        walked = _away(signs.pace.trace, noted, max(SMALL_WALK_K, PACES * signs.pace.measured), signs)
        found += [(span, "temperature elsewhere and back") for span in walked]
    odds = PRIOR + ELSEWHERE + CAME_BACK
    claims = [
        _with_common_signs(span, odds, [fact], walk_during(signs.pace, *span, signs.hot), signs)
        for span, fact in found
    ]
    fact, odds = "reading twice at one level that is not the process's", PRIOR + ELSEWHERE + SAME_AGAIN
    claims += [
        _with_common_signs(span, odds, [fact], walk_during(signs.pace, *span, signs.hot), signs)
        for span in _same_again(noted, signs)
    ]
    return [replace(claim, helped=math.inf) for claim in claims if claim]


def _same_again(noted: int, signs: Signs) -> list[tuple[int, int]]:
    """Spans about an entry from the first to the last stay of the reading at one and the same level elsewhere."""
    near = int(NOTED_WITHIN_H * NS_PER_HOUR)
    trace = signs.reading.trace
    levels = signs.beside(trace, noted - near, noted + near)
    if not all(math.isfinite(level) for level in levels):
        return []
    tolerance = signs.reading.point.tolerance_at(min(levels, key=abs))
    least = AGAIN_PACES * signs.moves.measured if signs.moves else 0.0
    return twice(trace, (noted - near, noted + near), levels, tolerance, least)


def _two_again(signs: Signs) -> list[list[tuple[int, int]]]:
    """Stays at two levels of no process, each twice, anywhere in the record."""
    if signs.moves is None:
        return []
    return two_twice(signs.reading.trace, signs.reading.point.tolerance_at, PACES * signs.moves.measured)


def _weigh_two(stays: Sequence[tuple[int, int]], signs: Signs) -> Claim | None:
    trace = signs.reading.trace
    span = stays[0][0], stays[-1][1]
    before, after = signs.beside(trace, *span)
    seen = trace.value[trace.slice(*span)]
    if seen.size < FEWEST_SAMPLES or not math.isfinite(before):
        return None
    back = abs(after - before) < 0.3 * float(np.abs(seen - before).max())  # an adjustment may have moved it
    lively, calm = (test(trace, stays) for test in (all_lively, all_calm))
    odds = PRIOR + MORE_STANDARDS + SAME_AGAIN + CAME_BACK * back + CALM * calm + LIVELY * lively
    facts = ["reading at two levels that are not the process's, each twice"]
    return _with_common_signs(span, odds, facts, walk_during(signs.pace, *span, signs.hot), signs)


def _elsewhere(noted: int, signs: Signs) -> list[tuple[tuple[int, int], str]]:
    """Stretches about an entry in which the reading is elsewhere and comes back, each with that fact."""
    tolerance = _tolerance_beside(noted, signs)
    least = max(TOLERANCES * tolerance, PACES * signs.moves.measured if signs.moves else 0.0)
    return [(span, "reading elsewhere and back") for span in _away(signs.reading.trace, noted, least, signs)]


def _tolerance_beside(noted: int, signs: Signs) -> float:
    """Tolerance where the reading was before and after an entry; where it usually is, if that is not known."""
    near = int(NOTED_WITHIN_H * NS_PER_HOUR)
    levels = [v for v in signs.beside(signs.reading.trace, noted - near, noted + near) if math.isfinite(v)]
    usual = (signs.reading.low + signs.reading.high) / 2
    return signs.reading.point.tolerance_at(max(levels, key=abs) if levels else usual)


def _away(trace: Trace, noted: int, least: float, signs: Signs) -> list[tuple[int, int]]:
    """Stretches near an instant in which a signal is outside its levels before and after by `least`, nearest first."""
    near = int(NOTED_WITHIN_H * NS_PER_HOUR)
    levels = signs.beside(trace, noted - near, noted + near)
    window = trace.slice(noted - near, noted + near)
    time, value = trace.time[window], trace.value[window]
    if not all(math.isfinite(level) for level in levels) or value.size < FEWEST_SAMPLES:
        return []
    away = (value > max(levels) + least) | (value < min(levels) - least)
    ranges = join(runs(away), time, 60 * STANDARD_TO_STANDARD_MIN)
    ranges = ranges[(ranges[:, 0] > 0) & (ranges[:, 1] < value.size)]
    ranges = ranges[ranges[:, 1] - ranges[:, 0] >= FEWEST_SAMPLES]
    spans = [(int(time[first]), int(time[past])) for first, past in ranges]
    long = [span for span in spans if span[1] - span[0] >= SHORTEST_MIN * NS_PER_MINUTE]
    return sorted(long, key=lambda span: max(span[0] - noted, noted - span[1], 0))


# --- common --------------------------------------------------------------------------------------


def _with_common_signs(
    span: tuple[int, int], odds: float, facts: Sequence[str], walk: Walk | None, signs: Signs
) -> Claim | None:
    """Add what the temperature and the hold flag say, and make the claim when it is believed."""
    said = list(facts)
    helped = NOTED * signs.entered(*span)
    if helped:
        odds, said = odds + helped, [*said, ENTERED]
    if walk is not None and walk.kelvin > 0:
        odds += WALKED if walk.kelvin >= WALK_K else WALKED_A_LITTLE
        said.append(f"temperature from {walk.before:.0f} °C to {walk.there:.0f} °C and back")
    elif walk is not None and walk.stayed:
        odds += STAYED
    held = np.minimum(signs.flagged[:, 1], span[1]) - np.maximum(signs.flagged[:, 0], span[0])
    if np.any(held >= min(HELD_MIN * NS_PER_MINUTE, 0.5 * (span[1] - span[0]))):
        odds, said = odds + FLAGGED, [*said, "hold active"]
    confidence = 1.0 / (1.0 + math.exp(-odds))
    if confidence < BELIEVED or span[1] - span[0] > FROZEN_LONGEST_H * NS_PER_HOUR:
        return None
    return Claim(
        start=span[0], end=span[1], code=CALIBRATING, confidence=confidence, evidence="; ".join(said), helped=helped,
        stood=walk.rest if walk is not None and walk.kelvin > 0 else math.nan,
    )  # fmt: skip
