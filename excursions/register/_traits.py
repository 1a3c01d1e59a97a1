"""What a tag's numbers look like: cheap figures from a thinned look, never a statement about the probe."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from excursions.read.text.nothing import figures_for_nothing
from excursions.records import BAD, FloatArray, TagSeries

# Values looked at; quantiles of 500 values are good to a few per cent, enough to tell ranges apart.
_LOOK = 500
_SCAN = 4_000  # values scanned for the pinned ends of a range
_RAW_ENDS = (3.6, 4.0, 20.0, 21.0)  # NAMUR NE 43 failure levels and the ends of the live zero; from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Traits:
    """Figures of one tag in its own unit; NaN and False when there is nothing to look at.

    low, high: extremes; q01, q50, q99: quantiles of the look; flag: only two levels, the lower one 0;
    share_on: share of samples not at 0; pinned_low, pinned_high: an extreme that is repeated exactly.
    """

    count: int = 0
    low: float = float("nan")
    high: float = float("nan")
    q01: float = float("nan")
    q50: float = float("nan")
    q99: float = float("nan")
    flag: bool = False
    whole: bool = False
    share_on: float = float("nan")
    pinned_low: bool = False
    pinned_high: bool = False

    @property
    def raw_current(self) -> bool:
        """Whether the values look like a 4-20 mA current: inside it, and touching its ends."""
        inside = self.low >= 3.5 and self.high <= 22.5 and self.q99 > 4.0
        ends = sum(abs(end - at) < 0.02 for end in _RAW_ENDS for at in (self.low, self.high))
        return inside and ends >= 2


def traits_of(series: TagSeries) -> Traits:
    """Look at one tag (file order, unit as written; bad quality and figures for nothing left out)."""
    series = _without_codes(series)
    look = _good(series)
    if look.size == 0:
        return Traits()
    low, high = _extremes(series, look)
    ordered = np.sort(look)
    last = ordered.size - 1
    q01, q50, q99 = (float(ordered[round(last * share)]) for share in (0.01, 0.5, 0.99))
    whole = bool(np.all(look == np.rint(look)))
    flag = whole and low == 0.0 and high in (0.0, 1.0, 100.0) and bool(np.all((look == 0.0) | (look == high)))
    return Traits(
        count=int(series.value.size),
        low=low,
        high=high,
        q01=q01,
        q50=q50,
        q99=q99,
        flag=flag or (whole and low == high == 1.0),
        whole=whole,
        share_on=float(np.mean(look != 0.0)),
        pinned_low=_pinned(series, low),
        pinned_high=_pinned(series, high),
    )


def _without_codes(series: TagSeries) -> TagSeries:
    codes = figures_for_nothing(series.value, series.quality)
    if not codes:
        return series
    nothing = np.isin(series.value, [code.figure for code in codes])
    return replace(series, quality=np.where(nothing, BAD, series.quality).astype(np.uint8))


def _good(series: TagSeries) -> FloatArray:
    """About `_LOOK` values, evenly spread over the record, without bad and missing ones."""
    step = max(1, series.value.size // _LOOK)
    value = series.value[::step]
    good: FloatArray = value[np.isfinite(value) & (series.quality[::step] != BAD)]
    return good


def _extremes(series: TagSeries, look: FloatArray) -> tuple[float, float]:
    """Smallest and largest value of good quality."""
    value = series.value
    if value.size <= _LOOK:
        return float(look.min()), float(look.max())
    if series.quality.max() == BAD:
        value = value[series.quality != BAD]
    low, high = float(np.fmin.reduce(value)), float(np.fmax.reduce(value))
    return (low, high) if np.isfinite([low, high]).all() else (float(look.min()), float(look.max()))


def _pinned(series: TagSeries, end: float) -> bool:
    """Whether an extreme is hit again and again: the mark of the end of a range."""
    step = max(1, series.value.size // _SCAN)
    return int(np.count_nonzero(series.value[::step] == end)) >= 3
