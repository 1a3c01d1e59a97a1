"""Search for changes of level at every width at once, each width judged by what is usual at that width.

Method: moving sums.  For each width w the difference of the means of the w blocks after and before every
block is compared with the same differences elsewhere in the record.  In white noise wide windows see more;
in a wandering process narrow ones do; taking each width against its own spread needs no model of the
noise and is right for both.  Widths are joined from the narrowest up.

References
----------
.. [1] P. Bauer, P. Hackl, "The use of MOSUMs for quality control", Technometrics 20 (1978) 431.
.. [2] B. Eichinger, C. Kirch, "A MOSUM procedure for the estimation of multiple random change points",
   Bernoulli 24 (2018) 526: local maxima, several bandwidths joined bottom up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d
from scipy.stats import t as student

from excursions.detect.tails import expected_as_large, outlying
from excursions.records import FloatArray

NORMAL_MAD = 1.4826  # median absolute deviation of a normal law to its standard deviation
INDEPENDENT = 20  # windows side by side needed to measure the spread at a width
WIDEST_SHARE = 3  # the widest window is a third of the series
FEW_PEAKS = 12  # with fewer chances the spread is trusted, the tail is not
FREEDOM = 6  # Student law for extrapolated spreads
SUSPICION = 0.1  # expected chance number below which a peak is looked at more closely


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of level: first block of the new level, window width, difference, spread, chance number."""

    at: int
    width: int
    size: float
    spread: float
    expected: float


def widths(blocks: int) -> tuple[int, ...]:
    """Window widths in blocks: powers of two up to a third of the series."""
    return tuple(2**i for i in range(16) if 2**i <= max(blocks // WIDEST_SHARE, 1))


def differences(level: FloatArray, width: int) -> FloatArray:
    """Mean of `width` blocks from each block on, minus mean of the `width` before; 0 where they do not fit."""
    total = np.concatenate([[0.0], np.cumsum(level - level.mean())])
    out = np.zeros(level.size)
    middle = np.arange(width, level.size - width + 1)
    out[middle[:-1] if middle.size and middle[-1] == level.size else middle] = 0.0
    inner = middle[middle < level.size]
    out[inner] = (total[inner + width] - 2 * total[inner] + total[inner - width]) / width
    return out


def spreads(level: FloatArray, *, floor: float) -> FloatArray:
    """Robust spread of the differences at each of the :func:`widths`, never below `floor`.

    Widths with fewer than twenty windows side by side are extrapolated as a power law from the widths
    that have enough, with the exponent one standard error on the cautious side.
    """
    every = widths(level.size)
    measured = np.array(
        [NORMAL_MAD * float(np.median(np.abs(differences(level, w)[w : level.size - w + 1]))) for w in every]
    )
    known = np.array([level.size // w >= INDEPENDENT for w in every])
    known[:2] = True
    measured = np.maximum(measured, floor)
    if known.all():
        return measured
    last = np.flatnonzero(known)[-4:]
    slope = 0.0
    if last.size > 1:
        slope = float(np.polyfit(last, np.log2(measured[last]), 1)[0]) + 0.5 / math.sqrt(
            level.size / every[last[-1]]
        )
    beyond = np.flatnonzero(~known)
    steps = beyond - last[-1]
    measured[beyond] = measured[last[-1]] * 2.0 ** (max(slope, -0.5) * steps)
    return measured


def changes(level: FloatArray, *, floor: float, least: float = SUSPICION) -> tuple[Change, ...]:
    """Changes of level that the record's own wandering does not explain, in order.

    Parameters
    ----------
    level : ndarray (m,), finite
    floor : float
        Smallest credible spread (resolution of the record), same unit.
    least : float
        Expected chance number below which a difference counts.
    """
    every = widths(level.size)
    spread = spreads(level, floor=floor)
    found: list[Change] = []
    for width, s in zip(every, spread, strict=True):
        for one in _at_width(level, width, float(s), least / math.sqrt(len(every))):
            if all(abs(one.at - other.at) >= 0.8 * width for other in found):
                found.append(one)
    return tuple(sorted(found, key=lambda change: change.at))


def _at_width(level: FloatArray, width: int, spread: float, least: float) -> list[Change]:
    diff = differences(level, width)
    size = np.abs(diff)
    peak = np.flatnonzero((size > 0) & (size == maximum_filter1d(size, 2 * width + 1)))
    if not peak.size or spread <= 0:
        return []
    ratio = size[peak] / spread
    if peak.size >= FEW_PEAKS:
        mark = outlying(ratio, at_most=least) & (ratio > 3)
        bulk = ratio[~mark]
        expected = [expected_as_large(bulk, float(r)) for r in ratio[mark]]
    else:
        chance = 2 * level.size / width * 2 * student.sf(ratio, FREEDOM)
        mark = chance <= least
        expected = [float(c) for c in chance[mark]]
    return [
        Change(at=int(k), width=width, size=float(diff[k]), spread=spread, expected=e)
        for k, e in zip(peak[mark], expected, strict=True)
    ]
