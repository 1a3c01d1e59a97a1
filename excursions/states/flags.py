"""Hold and wash signals: when they are active, whatever their polarity."""

from __future__ import annotations

import numpy as np

from excursions.clock import TimeArray
from excursions.records import BoolArray, FloatArray, Signal
from excursions.runs import runs
from excursions.states.trace import trace_of

MOST_LEVELS = 8  # more different values make it a measured percentage, not a flag


def active_spans(signal: Signal | None) -> TimeArray:
    """Spans [start, end) in ns, shape (k, 2), during which a flag is not at rest.

    At rest is the value it has most of the time, so that polarity needs no setting; a flag that never
    changes says nothing.  A flag keeps its value until the next sample, as flags are recorded on change.
    """
    trace = trace_of(signal)
    if trace is None or len(trace) < 2:
        return np.empty((0, 2), dtype=np.int64)
    levels, which = np.unique(trace.value, return_inverse=True)
    if levels.size < 2:
        return np.empty((0, 2), dtype=np.int64)
    held = np.diff(trace.time, append=trace.time[-1]).astype(np.float64)
    rest = float(levels[np.argmax(np.bincount(which, weights=held))])
    ranges = runs(_active(trace.value, levels, rest))
    ends = np.minimum(ranges[:, 1], len(trace) - 1)
    return np.column_stack([trace.time[ranges[:, 0]], trace.time[ends]])


def _active(value: FloatArray, levels: FloatArray, rest: float) -> BoolArray:
    """Away from rest: any other level of a flag, or more than half the range of a measured one."""
    if levels.size <= MOST_LEVELS:
        return np.asarray(value != rest)
    return np.asarray(np.abs(value - rest) > 0.5 * (levels[-1] - levels[0]))
