"""Signs that somebody held the output, where no hold flag is exported.

A hold is routine work: it comes at the hour of the working day and lasts as long as the work does, while a probe
sticks at any hour and for any time; and it begins and ends with the steaming, cleaning or calibration that it is
there for, while a probe that is broken by them stays broken.
"""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray, duration_text
from excursions.detect.evidence.origin import Clue
from excursions.detect.series.live import Live
from excursions.detect.series.spells import Spells
from excursions.records import CALIBRATING, CLEANING, STATES, STEAMING, BoolArray, Record
from excursions.states.settling import pace_of
from excursions.states.trace import trace_of
from excursions.states.walk import walk_during

AS_LONG = 1.3  # lengths of the same work differ by less than this
SAME_HOUR = 2 * NS_PER_HOUR  # summer time moves an hour by one
DAY_SHARE = 2 * SAME_HOUR / NS_PER_DAY  # chance that an hour at random lies as near
FEWEST_ALIKE = 2  # other standstills of the same hour and length
LONGEST = 4 * NS_PER_HOUR  # no calibration or cleaning holds an output for longer (cp)
AROUND = 20 * NS_PER_MINUTE  # a hold is set this long before the work at most (cp)
AFTERWARDS = 2 * NS_PER_HOUR  # and taken off again within this time (cp)
ROUTINES = (CALIBRATING, CLEANING, STEAMING)
LEAST = 1e-4


def held_clues(record: Record, live: Live, others: Spells, span: tuple[int, int]) -> tuple[Clue, ...]:
    """Clues that the standstill `span` (ns) is a hold, from the long standstills of the record and its states."""
    if span[1] - span[0] > LONGEST:
        return ()
    return (*_by_habit(live, others, span), *_by_state(record, span), *_by_walk(record, span))


def may_be_held(record: Record, live: Live, others: Spells, within: tuple[int, int]) -> bool:
    """Whether a standstill, samples `within` of the live record, is as a hold is at a point whose holds nobody exports:
    exact, over within hours, and not one of several of which some are too long for a hold."""
    first, last = within
    inside = first > 0 and last < len(live) - 1 and not record.point.hold
    short = live.time[last] - live.time[first] <= LONGEST
    exact = bool((live.value[first : last + 1] == live.value[first]).all())
    return bool(inside and short and exact and (others.held_s * NS_PER_S <= LONGEST).all())


def _by_habit(live: Live, others: Spells, span: tuple[int, int]) -> tuple[Clue, ...]:
    """Other standstills of like length at the same hour of other days; nothing where they come at any hour."""
    if len(others) <= FEWEST_ALIKE:
        return ()
    start = live.time[others.first]
    held = (live.time[others.last] - start).astype(np.float64)
    own = float(span[1] - span[0])
    as_long = (held <= AS_LONG * own) & (held * AS_LONG >= own) & (np.abs(start - span[0]) > NS_PER_DAY // 2)
    hour = _near_hour(start, span[0])
    alike = int(np.count_nonzero(as_long & hour))
    if alike < FEWEST_ALIKE or 2 * alike < np.count_nonzero(as_long):
        return ()
    words = f"the reading stood still as long {alike} more times, always at this hour of the day: a hold"
    return (Clue(odds=max(DAY_SHARE**alike, LEAST), words=words),)


def _near_hour(start: TimeArray, at: int) -> BoolArray:
    apart = np.abs(start - at) % NS_PER_DAY
    return np.asarray(np.minimum(apart, NS_PER_DAY - apart) <= SAME_HOUR)


def _by_state(record: Record, span: tuple[int, int]) -> tuple[Clue, ...]:
    """A state that the standstill begins just before and ends soon after."""
    states = record.states
    begins = (states.start >= span[0] - AROUND // 4) & (states.start <= span[0] + AROUND)
    ends = (states.end <= span[1]) & (states.end + AFTERWARDS >= span[1])
    inside = np.flatnonzero(begins & ends & np.isin(states.code, ROUTINES))
    if not inside.size:
        return ()
    k = int(inside[0])
    length = duration_text((states.end[k] - states.start[k]) / 1e9)
    words = f"begins and ends with {STATES[int(states.code[k])]} of {length}: the output was held meanwhile"
    return (Clue(odds=0.01, words=words),)


def _by_walk(record: Record, span: tuple[int, int]) -> tuple[Clue, ...]:
    """A temperature that goes to that of the room and back within the standstill: the probe was taken out."""
    trace = trace_of(record.temperature)
    pace = trace.once("pace", lambda: pace_of(trace, 0.0)) if trace is not None else None
    walk = walk_during(pace, *span)
    if walk is None or not walk.out_and_back:
        return ()
    words = f"the temperature went from {walk.before:.0f} °C to {walk.there:.0f} °C and back meanwhile: taken out, the output held"
    return (Clue(odds=0.01, words=words),)
