"""One outage, several signals: where an export drew one signal across missing data, it drew the others too.

A drawn line that happens to start and end at the same value is flat and proves nothing alone.  When another
signal of the same point is drawn across the very same stretch, the flat one is no frozen reading either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from excursions.condition.bridged import on_line, rounding
from excursions.condition.signal import with_bridges
from excursions.records import IndexArray, Signal


def share_outages(signals: Mapping[str, Signal]) -> dict[str, Signal]:
    """Mark in each signal the stretches that another one shows to be drawn, where this one is straight too.

    Parameters
    ----------
    signals : mapping of role to Signal
        Signals of one point.

    Returns
    -------
    dict of role to Signal
        The same signals in the same order; only `bridged` may have grown.
    """
    spans = [
        (int(signal.time[first]), int(signal.time[last - 1]))
        for signal in signals.values()
        for first, last in signal.bridged
    ]
    return {role: _with_spans(signal, spans) for role, signal in signals.items()}


def _with_spans(signal: Signal, spans: list[tuple[int, int]]) -> Signal:
    found = [tuple(row) for row in signal.bridged.tolist()]
    for start, end in spans:
        lo, hi = np.searchsorted(signal.time, [start, end + 1])
        taken = any(lo < last and first < hi for first, last in found)
        if not taken and hi - lo >= 3 and _is_straight(signal, int(lo), int(hi)):
            found.append((int(lo), int(hi)))
    if len(found) == len(signal.bridged):
        return signal
    grown: IndexArray = np.array(sorted(found), dtype=np.int64).reshape(-1, 2)
    return replace(signal, bridged=grown, sampling=with_bridges(signal.sampling, signal.time, grown))


def _is_straight(signal: Signal, lo: int, hi: int) -> bool:
    stretch = signal.value[lo:hi]
    finite = np.isfinite(stretch)
    return bool(finite.all() and on_line(stretch, rounding(signal.value, signal.sampling.resolution)).all())
