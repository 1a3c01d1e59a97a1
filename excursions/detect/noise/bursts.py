"""A line of the spectrum followed through the samples: when it comes and goes, and what the level does then."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import uniform_filter1d

from excursions.clock import NS_PER_S
from excursions.detect.evidence.origin import SOON_S
from excursions.detect.series.live import Live
from excursions.detect.series.spectra import Spectra
from excursions.ranks import median, quantile, scatter_of
from excursions.records import FloatArray, IndexArray
from excursions.runs import runs

FEWEST_PERIODS, MOST_PERIODS = 3, 64  # over which an amplitude is followed
CLEAR_OF_NOISE = 5.0  # half an amplitude must pass the noise of what follows it by this
EDGE_PERIODS = 2  # periods that make a level beside an edge
FEWEST_TIMES = 4  # a line that comes as often comes and goes
STRONG = 0.9  # a line may be there for a fifth of the chunks that show it


def bursts_of(
    live: Live, spectra: Spectra, stretches: IndexArray, period_s: float, clear: float
) -> IndexArray:
    """Sample ranges (k, 2) in which the amplitude at this period passes half of what it is when it is there.

    `clear` is the amplitude over the noise: a weaker line is followed over more periods.
    """
    per_period = period_s / spectra.step_s
    over = (2 * CLEAR_OF_NOISE / max(clear, 1e-6)) ** 2
    long = round(min(max(FEWEST_PERIODS * per_period, over), MOST_PERIODS * per_period))
    found: list[IndexArray] = []
    for lo, hi in stretches:
        a = int(spectra.first[max(lo - 1, 0)])
        b = int(spectra.first[min(hi, spectra.first.size - 1)] + spectra.length)
        a = max(a, int(found[-1][-1, 1])) if found else a
        strength = _followed(live.time[a:b], live.value[a:b], period_s, per_period, long)
        there = runs(strength > 0.5 * quantile(strength, STRONG))
        if there.size:
            pause = there[1:, 0] - there[:-1, 1]
            cut = np.flatnonzero(pause > long)
            whole = np.column_stack(
                [there[np.append(0, cut + 1), 0], there[np.append(cut, len(there) - 1), 1]]
            )
            kept = whole[whole[:, 1] - whole[:, 0] >= long]
            found += [a + kept] if kept.size else []
    return np.concatenate(found) if found else np.empty((0, 2), dtype=np.int64)


def _followed(
    time: IndexArray, value: FloatArray, period_s: float, per_period: float, long: int
) -> FloatArray:
    """Amplitude at this period around each sample, any unit."""
    seconds = (time - time[0]) / NS_PER_S
    short = max(round(2 * per_period), 4)
    centred = value - _smoothed(value, short)
    turned = centred * np.exp(-2j * np.pi * seconds / period_s)
    return np.asarray(np.hypot(_smoothed(turned.real, long), _smoothed(turned.imag, long)))


def _smoothed(value: FloatArray, width: int) -> FloatArray:
    """Moving mean of `width` samples, the ends held."""
    return np.asarray(uniform_filter1d(value, width, mode="nearest"))


def goes_on(spectra: Spectra, bursts: IndexArray) -> bool:
    """Whether a line that comes and goes had no longer pause before the last chunk ended than it always has."""
    if len(bursts) < FEWEST_TIMES:
        return False
    pause = bursts[1:, 0] - bursts[:-1, 1]
    return bool(int(spectra.first[-1]) + spectra.length - int(bursts[-1, 1]) <= pause.max())


def switched(live: Live, bursts: IndexArray, period_s: float) -> tuple[float, float]:
    """By how much the level jumps where a line comes, and back where it goes, with its standard error.

    What the level walks meanwhile, just before and just after, is taken off.  Nil with infinite error where it comes
    too seldom to tell, or so slowly that a process follows within its edges.
    """
    if len(bursts) < FEWEST_TIMES:
        return 0.0, math.inf
    if FEWEST_PERIODS * period_s > SOON_S:
        return 0.0, math.inf  # no edge is known so well that it could be seen to come at once
    step = float(np.median(np.diff(live.time[bursts[0, 0] : bursts[0, 1]]))) / NS_PER_S
    level = max(round(EDGE_PERIODS * period_s / step), 2)
    apart = (
        FEWEST_PERIODS * level // EDGE_PERIODS
    )  # an edge is known no better than what follows the amplitude
    at = np.concatenate([bursts[:, 0], bursts[:, 1]])
    sign = np.repeat([1.0, -1.0], len(bursts))
    reach = 2 * level + apart
    inside = (at >= reach) & (at + reach <= len(live))
    at, sign = at[inside], sign[inside]
    if at.size < 2 * FEWEST_TIMES - 2:
        return 0.0, math.inf
    total = np.concatenate([[0.0], np.cumsum(live.value - live.value[0])])

    def mean(first: IndexArray) -> FloatArray:
        return np.asarray((total[first + level] - total[first]) / level)

    far, near = mean(at - apart // 2 - 2 * level), mean(at - apart // 2 - level)
    then, later = mean(at + apart // 2), mean(at + apart // 2 + level)
    walked = ((near - far) + (later - then)) / 2 * (level + apart) / level
    jump = sign * (then - near - walked)
    return median(jump), scatter_of(jump) * 1.2533 / math.sqrt(jump.size)
