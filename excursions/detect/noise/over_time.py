"""The noise of a record over time, as a series that can be searched for changes of level."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.ndimage import median_filter

from excursions.detect.series.pattern import without_round
from excursions.detect.series.scan import Change, Windows, differences
from excursions.detect.series.survey import Survey
from excursions.ranks import median, quantiles
from excursions.records import BoolArray, FloatArray, IndexArray
from excursions.runs import runs

FEWEST = 16  # noise figures: fewer tell no change from chance
LATTICE = 12**-0.5  # standard deviation of rounding to a count
UNSEEN = 0.4  # counts: noise below is not told from rounding
UNRECORDED = 0.6  # dead bands: noise below is hardly recorded, up to one is told only by what is above
FEWEST_SEEN = 3
# Noise that is nearly nil in a fifth of the record, here and there, is drawn lines, not noise.
PIECEWISE = 0.02
AT_A_STRETCH = 0.5  # of the figures that are nearly nil: so many side by side are a reading that fell silent
SIDE_BY_SIDE = 9  # figures of which more than half are silent


@dataclass(frozen=True, kw_only=True)
class NoiseSeries:
    """The noise series that is searched: known stretches only.

    start (k,) ns; block (k,) first block of each; raw, rest (k,) logarithm of the noise, and less its
    pattern; broken (k,); width: ns; unseen: noise below is not told from rounding or from silence.
    """

    start: IndexArray
    block: IndexArray
    raw: FloatArray
    rest: FloatArray
    broken: BoolArray
    width: int
    unseen: float

    @cached_property
    def differences(self) -> tuple[Windows, ...]:
        """Differences of the series at all widths, worked out at the first asking."""
        return differences(self.rest, self.broken)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSpell:
    """A stretch [lo, hi) of noise figures apart from the noise before, and the change it begins with."""

    lo: int
    hi: int
    base: float
    rise: float
    change: Change


def noise_series(survey: Survey) -> NoiseSeries | None:
    """Logarithm of the noise of a record, worked out once for all who ask; None as in :func:`_noise_series`."""
    return survey.once("noise series", lambda: _noise_series(survey))


def _noise_series(survey: Survey) -> NoiseSeries | None:
    """Logarithm of the noise, rounding taken out; None where there is too little of it above rounding."""
    noises = survey.noises
    known = np.flatnonzero(np.isfinite(noises.sigma))
    if known.size < FEWEST or survey.noise <= 0:
        return None
    low, high = quantiles(noises.sigma[known], (0.2, 0.8))
    if low < PIECEWISE * high and not _once(noises.sigma[known] < PIECEWISE * high):
        return None
    rounding = (LATTICE * survey.quantum) ** 2
    unseen = max(UNSEEN * survey.quantum, UNRECORDED * survey.deadband, 1e-3 * survey.noise)
    clean = np.sqrt(np.maximum(noises.sigma[known] ** 2 - rounding, unseen**2))
    if np.count_nonzero(clean > unseen) < FEWEST_SEEN:
        return None
    raw = np.log(clean)
    start = noises.start[known]
    width = int(median(np.diff(start)))
    return NoiseSeries(
        start=start,
        block=noises.block[:-1][known],
        raw=raw,
        rest=without_round(start, raw, width=width),
        broken=np.diff(start, prepend=start[0]) > 1.5 * width,
        width=width,
        unseen=unseen,
    )


def _once(silent: BoolArray) -> bool:
    """Whether most silent figures lie side by side: lines are drawn here and there, a probe falls silent once.

    A stretch goes on through single figures that pass the bar: a last digit that flips makes some.
    """
    mostly = median_filter(silent.astype(np.int8), SIDE_BY_SIDE, mode="nearest") > 0
    longest = max((b - a for a, b in runs(mostly)), default=0)
    return bool(longest >= AT_A_STRETCH * np.count_nonzero(silent))
