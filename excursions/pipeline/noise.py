"""What is kept of a point's noise: a series thinned for its page, and medians around what got hot.

A record has up to two hundred thousand values of noise.  A page draws a few thousand, and an exposure to heat asks for
the day before and the day after, so that both are worked out here, while all of them are at hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from excursions.clock import TimeArray
from excursions.conclusions import BESIDE, NoiseBeside
from excursions.detect.catalogue import noise_trace
from excursions.kinds import TOLD_AS_HEAT
from excursions.records import Event, FloatArray, Record
from excursions.report.result import Trace
from excursions.report.thin import thin


def noise_kept(
    record: Record, events: Sequence[Event], *, budget: int, counted_from: int
) -> tuple[Trace | None, NoiseBeside]:
    """The thinned series of noise, None without any, and the noise beside the ends of every event of heat.

    Parameters
    ----------
    record : Record
        Surveyed.
    events : sequence of Event
        What was found in it.
    budget : int
        Values of noise to keep for a page.
    counted_from : int
        Values before this instant [ns] are kept but not counted.
    """
    found = noise_trace(record)
    if found is None:
        return None, NoiseBeside()
    time, noise = found
    kept = thin(time, noise, budget)
    trace = Trace(
        name="noise",
        unit=record.value.unit if record.value else "",
        time=time[kept],
        value=noise[kept],
        samples=int(np.count_nonzero(time >= counted_from)),
    )
    return trace, _beside(time, noise, events)


def _beside(time: TimeArray, noise: FloatArray, events: Sequence[Event]) -> NoiseBeside:
    heat = [event for event in events if event.kind in TOLD_AS_HEAT]
    ends = np.unique(np.array([[event.start, event.end] for event in heat], np.int64))
    return NoiseBeside(
        time=ends,
        before=np.array([_middle(time, noise, end - BESIDE, end) for end in ends.tolist()], np.float64),
        after=np.array([_middle(time, noise, end, end + BESIDE) for end in ends.tolist()], np.float64),
    )


def _middle(time: TimeArray, value: FloatArray, start: int, end: int) -> float:
    """Median of what is finite in [start, end), NaN without any."""
    first, last = np.searchsorted(time, [start, end])
    seen = value[first:last][np.isfinite(value[first:last])]
    return float(np.median(seen)) if seen.size else math.nan
