"""Whether a hot stretch can be heat at all, or only a failing temperature element or its cable.

Used by the states and by the heat detectors, so that both judge alike.
"""

from __future__ import annotations

import numpy as np

from excursions.clock import NS_PER_S
from excursions.states.trace import Trace

FASTEST_K_PER_S = 10.0  # (cp) steam on an element in a probe shaft: a few kelvin a second
JUMP_K = 20.0
FEW = 2  # a peak of so few samples with nothing on its way is no heat, level or not
HIGHEST_DEGC = 200.0  # saturated steam of 15 bar: no line with a probe in it
ONE_STEP = 0.8  # share of the whole rise that one step takes, where the element should need several
SEEN_S = 120.0  # sampled more coarsely, a ramp of an ordinary cycle can hide between two samples


def not_heat(trace: Trace, first: int, past: int, usual: float) -> bool:
    """Whether samples [first, past) look like a failing element rather than heat.

    Impossible: a change faster than any element follows, or hotter than any steam.  Unlikely: up in one
    step, down in one step and exactly constant in between (an open circuit, or one or two wild samples), where
    samples are close enough that a real rise would show on its way.

    Parameters
    ----------
    usual : float
        Temperature the process usually has [degC].
    """
    top = trace.value[first:past]
    if float(top.max()) > HIGHEST_DEGC:
        return True
    entry, left = _step(trace, first - 1), _step(trace, past - 1)
    if max(_rate(trace, first - 1), _rate(trace, past - 1)) > FASTEST_K_PER_S:
        return True
    if trace.interval_s > SEEN_S:
        return False
    rise = float(np.median(top)) - usual
    at_once = min(abs(entry), abs(left)) > ONE_STEP * abs(rise) and abs(rise) > JUMP_K
    return bool(at_once and (past - first <= FEW or np.ptp(top) <= trace.resolution))


def _step(trace: Trace, before: int) -> float:
    """Change from sample `before` to the next; infinite sizes where the record has no next."""
    if before < 0 or before + 1 >= len(trace):
        return float("inf")
    return float(trace.value[before + 1] - trace.value[before])


def _rate(trace: Trace, before: int) -> float:
    """Speed of a large change [K/s]; 0 for small changes, at the ends and across gaps."""
    change = _step(trace, before)
    if not np.isfinite(change) or abs(change) < JUMP_K:
        return 0.0
    lasted = float(trace.time[before + 1] - trace.time[before]) / NS_PER_S
    return 0.0 if lasted > trace.gap_s else abs(change) / lasted
