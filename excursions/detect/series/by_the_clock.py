"""Whether moments keep to a clock: always the same minutes of the hour, or of every so many hours, as an automatic wash does.

For each period of a clock, the share of the moments that fall into the fullest window of it, against what a window so wide
would hold of moments at random (binomial law, over all windows and all periods tried).
"""

from __future__ import annotations

import numpy as np
from scipy.special import bdtrc

from excursions.clock import NS_PER_HOUR, NS_PER_MINUTE, NS_PER_S, TimeArray

PERIODS_H = (1, 2, 3, 4, 6, 8, 12, 24)
FEWEST = 5
MOST = 0.8  # of the moments must keep to it
CHANCE = 1e-4
WINDOW_NS = 3 * NS_PER_MINUTE  # a valve opens on the minute, a sample is up to its interval later (cp)


def clock_hours(time: TimeArray, interval_s: float) -> int | None:
    """Period [h] of the clock that moments (n,) ns keep to; None where none explains them better than chance.

    Parameters
    ----------
    interval_s : float
        Time between samples, which the moments are known to.
    """
    if time.size < FEWEST:
        return None
    window = max(WINDOW_NS, round(2 * interval_s * NS_PER_S))
    best: tuple[float, int | None] = (CHANCE, None)
    for hours in PERIODS_H:
        period = hours * NS_PER_HOUR
        if 3 * window > period:
            continue
        phase = np.sort(time % period)
        around = np.concatenate([phase, phase + period])
        held = int(np.max(np.searchsorted(around, phase + window) - np.arange(phase.size)))
        if held < MOST * time.size:
            continue
        chance = float(bdtrc(held - 2, time.size - 1, window / period)) * time.size * len(PERIODS_H)
        if chance < best[0]:
            best = chance, hours
    return best[1]
