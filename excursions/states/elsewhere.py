"""Out of the line about the time at which a log enters a calibration: nobody would look there without the entry."""

from __future__ import annotations

import math
from dataclasses import replace

from excursions.clock import NS_PER_MINUTE
from excursions.runs import runs
from excursions.states.again import twice
from excursions.states.line import Claim
from excursions.states.plateaus import FEWEST_SAMPLES, SHORTEST_MIN
from excursions.states.reading import TOLERANCES
from excursions.states.signs import (
    CAME_BACK,
    ELSEWHERE,
    NEAR,
    PACES,
    PRIOR,
    SAME_AGAIN,
    Signs,
    with_common_signs,
)
from excursions.states.trace import Trace, join
from excursions.states.walk import SMALL_WALK_K

AGAIN_PACES = 4.0  # as `PACES`, for a level that the reading comes back to
STANDARD_TO_STANDARD_MIN = 15.0  # a reading elsewhere may pass its level from one standard to the next (cp)


def weigh_away(noted: int, signs: Signs) -> list[Claim]:
    """A reading, or a temperature, that is elsewhere for minutes about the time of an entry, and comes back.

    Without the entry nobody would look there.
    """
    found = elsewhere(noted, signs)
    if signs.pace is not None:
        walked = _away(signs.pace.trace, noted, max(SMALL_WALK_K, PACES * signs.pace.measured), signs)
        found += [(span, "temperature elsewhere and back") for span in walked]
    odds = PRIOR + ELSEWHERE + CAME_BACK
    claims = [with_common_signs(span, odds, [fact], signs.walk(*span), signs) for span, fact in found]
    fact, odds = "reading twice at one level that is not the process's", PRIOR + ELSEWHERE + SAME_AGAIN
    claims += [
        with_common_signs(span, odds, [fact], signs.walk(*span), signs) for span in _same_again(noted, signs)
    ]
    return [replace(claim, helped=math.inf) for claim in claims if claim]


def _same_again(noted: int, signs: Signs) -> list[tuple[int, int]]:
    """Spans about an entry from the first to the last stay of the reading at one and the same level elsewhere."""
    trace = signs.reading.trace
    levels = signs.beside(trace, noted - NEAR, noted + NEAR)
    if not all(math.isfinite(level) for level in levels):
        return []
    tolerance = signs.reading.point.tolerance_at(min(levels, key=abs))
    least = AGAIN_PACES * signs.moves.measured if signs.moves else 0.0
    return twice(trace, (noted - NEAR, noted + NEAR), levels, tolerance, least)


def elsewhere(noted: int, signs: Signs) -> list[tuple[tuple[int, int], str]]:
    """Stretches about an entry in which the reading is elsewhere and comes back, each with that fact."""
    tolerance = _tolerance_beside(noted, signs)
    least = max(TOLERANCES * tolerance, PACES * signs.moves.measured if signs.moves else 0.0)
    return [(span, "reading elsewhere and back") for span in _away(signs.reading.trace, noted, least, signs)]


def _tolerance_beside(noted: int, signs: Signs) -> float:
    """Tolerance where the reading was before and after an entry; where it usually is, if that is not known."""
    levels = [v for v in signs.beside(signs.reading.trace, noted - NEAR, noted + NEAR) if math.isfinite(v)]
    usual = (signs.reading.low + signs.reading.high) / 2
    return signs.reading.point.tolerance_at(max(levels, key=abs) if levels else usual)


def _away(trace: Trace, noted: int, least: float, signs: Signs) -> list[tuple[int, int]]:
    """Stretches near an instant in which a signal is outside its levels before and after by `least`, nearest first."""
    levels = signs.beside(trace, noted - NEAR, noted + NEAR)
    window = trace.slice(noted - NEAR, noted + NEAR)
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
