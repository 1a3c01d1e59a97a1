"""Several changes that came at once, in a process that else takes its time: one fault that shows again, or a way of the process.

One jump of a loose plug, a blocked junction or a ground is seldom the last: a probe that jumped does so again with probability
one half (cp), so that k jumps have the share 2^-k.  A process that jumps may do so at any rate, a few times a record or
many; with no rate likelier than another by the order of magnitude, k jumps have a share that falls as 1/k.  So two or three
speak no more for the process than one does, and from half a dozen on they are its way.

References
----------
.. [1] H. Jeffreys, "Theory of Probability", 3rd edition (1961), section 3.1: the prior 1/rate of a scale nobody knows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from excursions.clock import NS_PER_S
from excursions.detect.series.scan import Change
from excursions.detect.series.shape import Transition, transition_of
from excursions.detect.series.survey import Survey, jumps_of
from excursions.records import FloatArray, IndexArray, Record

# Other changes that show how fast the process is, and how many may be at once.
MOST_OTHERS, QUICK_SHARE = 12, 0.2
OUTRUN = 2.0  # times the tallest other jump of the record: a pace it never has
TELLING = 0.2  # of the size: a smaller change shows nothing of how fast a large one comes
BESIDE_JUMP = 8  # samples: jumps so near are the same one
# A stirred vessel takes minutes to reach a new level; samples further apart cannot show it (cp).
FASTEST_VESSEL_S = 60.0
AGAIN = 0.5  # probability that a probe that jumped jumps again (cp)


def worth(others: int) -> float:
    """How much likelier the process is made by so many other jumps of the kind, beside one alone.

    Parameters
    ----------
    others : int
        Other changes of the kind in the record, none or more.

    Returns
    -------
    float
        1 without others or with one; 4/3, 2, 3.2, 5.3 ... with two, three, four, five.
    """
    return float((1 / AGAIN) ** others / (1 + others))


def outruns(
    record: Record, survey: Survey, every: Sequence[Change], change: Change, family: Sequence[Transition]
) -> bool:
    """Whether a change, and the others of its kind, came faster than any medium in a vessel, and the rest took its time.

    From one sample to the next, or sharply within a minute: then beside all moves that took as long.

    At rest at zero and away from it a reading goes at once, as a pump does.
    """
    pace = pace_s(record, survey)
    if pace > FASTEST_VESSEL_S or change.across:
        return False
    lasted = [took_s(record, survey, one) for one in family]
    at_once = all(one.samples <= 3 for one in family) and max(lasted) <= max(3 * pace, 1.0)
    if not at_once and (not all(one.sharp for one in family) or max(lasted) > FASTEST_VESSEL_S):
        return False
    if any(0.0 in (one.before, one.after) for one in family):
        return False
    first = np.array([one.first for one in family])
    lag = 1 if at_once else max(one.samples for one in family)
    at, size = _jumps(record, survey) if at_once else _moves(survey, lag)
    own, this = np.abs(at[:, None] - first) <= BESIDE_JUMP + lag, np.abs(at - first[0]) <= BESIDE_JUMP + lag
    if not np.max(size[this], initial=0.0) > OUTRUN * np.max(size[~own.any(axis=1)], initial=0.0):
        return False  # within that time this process has gone nearly as far
    others = [
        transition_of(survey, other) for other in every[: MOST_OTHERS + len(family)] if other is not change
    ]
    apart = (other for other in others if np.abs(other.first - first).min() > BESIDE_JUMP)
    least = TELLING * abs(family[0].size)
    others = [o for o in apart if o.sharp and not o.hidden and abs(o.size) >= least][:MOST_OTHERS]
    quick = sum(other.samples <= max(lag, 2) for other in others)
    return quick <= max(QUICK_SHARE * len(others), 1.0)  # one is chance


def _jumps(record: Record, survey: Survey) -> tuple[IndexArray, FloatArray]:
    """Where (k,) and how far the reading went from one sample to the next, the largest of each block."""
    jumps = jumps_of(record, survey)
    return jumps.at, jumps.size


def _moves(survey: Survey, lag: int) -> tuple[IndexArray, FloatArray]:
    """Where (n - lag,) and how far the reading went in so many samples; not at all across a break."""
    value, breaks = survey.live.value, np.cumsum(survey.live.fresh)
    moved = np.where(breaks[lag:] == breaks[:-lag], np.abs(value[lag:] - value[:-lag]), 0.0)
    return np.arange(moved.size), moved


def took_s(record: Record, survey: Survey, one: Transition) -> float:
    """How long a change took [s]; recorded on exception, the last value stood until one look before the first new one."""
    if record.value is None or record.value.sampling.kind != "exception":
        return one.length_s
    time = survey.live.time
    return min(one.length_s, float(time[one.last] - time[one.first]) / NS_PER_S + pace_s(record, survey))


def pace_s(record: Record, survey: Survey) -> float:
    """Time [s] between two looks of the recorder: a thinned record leaves out samples, but none of a change."""
    if record.value is None or not record.value.sampling.on_change:
        return survey.interval_s
    shortest = record.value.sampling.shortest_s
    return min(shortest, survey.interval_s) if shortest > 0 else survey.interval_s
