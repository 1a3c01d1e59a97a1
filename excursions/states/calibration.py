"""Calibrations by their trace: still plateaus in standards, the walk of the temperature to ambient, the return."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from excursions.clock import NS_PER_MINUTE
from excursions.ranks import median
from excursions.states.again import as_washes, two_twice
from excursions.states.elsewhere import elsewhere, weigh_away
from excursions.states.frozen import frozen, weigh_frozen, weigh_held
from excursions.states.line import Claim
from excursions.states.own_standards import with_own_standards
from excursions.states.plateaus import (
    FEWEST_SAMPLES,
    Plateau,
    all_calm,
    all_lively,
    goes_on_lively,
    in_a_row,
    rests,
    visits,
)
from excursions.states.reading import TOLERANCES, Reading
from excursions.states.settling import Pace
from excursions.states.signs import (
    CAME_BACK,
    ELSEWHERE,
    MORE_STANDARDS,
    NEAR,
    PACES,
    PRIOR,
    SAME_AGAIN,
    Signs,
    with_common_signs,
)
from excursions.states.standards import widened
from excursions.states.trace import Trace
from excursions.states.walk import EDGE_MIN, departures, walk_edges, walks

ONE_STANDARD, CALM, LIVELY = 1.5, 1.0, -1.5  # log odds


def calibrations(signs: Signs) -> list[Claim]:
    """Claims from visits to standards, from walks to ambient, and from readings frozen meanwhile."""
    if not signs.reading.known or len(signs.reading.trace) < FEWEST_SAMPLES:
        return []
    if not signs.reading.windows:
        away = [[span for span, _ in elsewhere(int(when), signs)] for when in signs.noted]
        signs = replace(signs, reading=with_own_standards(signs.reading, away))
    claims: list[Claim] = []
    about = np.column_stack([signs.noted - NEAR, signs.noted + NEAR])
    seen = [
        _weigh_visit(visit, signs)
        for found in visits(signs.reading, about)
        for visit in _without_process(found, signs)
    ]
    seen += [weigh_frozen(span, signs) for span in frozen(signs.reading)]
    seen += [weigh_held(span, signs) for span in signs.flagged.tolist()]
    seen += [_weigh_walk(span, signs) for span in _walk_spans(signs)]
    seen += [claim for when in signs.noted for claim in weigh_away(int(when), signs)]
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
    walk = signs.walk(start, end)
    edges = [_reading_edges(trace, start, end, levels)]
    if walk is not None and walk.kelvin > 0 and signs.pace is not None:
        edges.append(walk_edges(signs.pace.trace, start, end, signs.hot))
    span = min(e[0] for e in edges), max(e[1] for e in edges)
    facts = [f"reading still in {' and '.join(names)}"]
    claim = with_common_signs(span, odds, facts, walk, signs)
    return replace(claim, standards=tuple(sorted({p.standard for p in shown}))) if claim else None


def _without_process(visit: list[Plateau], signs: Signs) -> list[list[Plateau]]:
    """A visit without the plateaus that are the process itself, in pieces where these lay between: as it is where every one may be.

    A process that sits at a standard's value is calm there now and then, also right before the work and right after it.
    """
    trace = signs.reading.trace
    levels = signs.beside(trace, visit[0].start, visit[-1].end)
    work = [
        p
        for p in visit
        if _went_there(trace, p, signs.moves)
        and not (_sits_in(signs.reading, p.standard, levels) and _goes_on(trace, p, levels, signs.moves))
    ]
    return in_a_row(work) if work else [visit]


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
    walk = signs.walk(*span)
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
    return with_common_signs(span, odds, facts, walk, signs)


# --- at two levels, each twice -------------------------------------------------------------------


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
    return with_common_signs(span, odds, facts, signs.walk(*span), signs)
