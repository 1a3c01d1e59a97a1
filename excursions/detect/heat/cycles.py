"""Sterilisations and hot cleanings as families: what those of this line are usually like, and which one is not like them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from excursions.detect.heat.exposure import Exposure
from excursions.digits import written
from excursions.ranks import median, scatter_of
from excursions.records import BoolArray, FloatArray

FEWEST = 5  # fewer cycles have no usual
SPREADS = 5.0  # robust standard deviations off the middle
HOTTER_K = 3.0  # a hotter cycle is hotter by this much at least
LONGER, FASTER, SHORTER = 1.5, 2.0, 1.0 / 3.0  # and a longer, faster or shorter one by this factor
COMPANY = 2  # so many others alike make it another kind of cycle rather than an odd one


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """The usual cycle of a record: the median peak of its `count` cycles (NaN with too few to say)."""

    count: int
    peak_degc: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trait:
    """One figure that cycles are compared by; `up` True where only more is odd."""

    figure: Callable[[Exposure], float]
    words: str
    unit: str
    least: float
    relative: bool = True
    up: bool = True


_HOTTER = _Trait(figure=lambda e: e.peak_degc, words="hotter", unit="°C", least=HOTTER_K, relative=False)
_TRAITS = (
    _HOTTER,
    _Trait(figure=lambda e: e.minutes_steam, words="longer", unit="min", least=LONGER),
    _Trait(figure=lambda e: e.heating_k_per_min, words="heated faster", unit="K/min", least=FASTER),
    _Trait(figure=lambda e: e.cooling_k_per_min, words="cooled faster", unit="K/min", least=FASTER),
    _Trait(
        figure=lambda e: e.cooling_min,
        words="no hold while cooling: half way down",
        unit="min",
        least=SHORTER,
        up=False,
    ),
)


def family_of(cycles: Sequence[Exposure]) -> Family:
    """How many cycles one record has, and their median peak; NaN where they are too few to have a usual."""
    peaks = np.array([cycle.peak_degc for cycle in cycles])
    return Family(count=len(cycles), peak_degc=median(peaks) if peaks.size >= FEWEST else math.nan)


def oddities(cycles: Sequence[Exposure]) -> list[tuple[str, ...]]:
    """For each cycle, in what it differs from the family, as short facts; all empty with too few cycles."""
    facts: list[list[str]] = [[] for _ in cycles]
    if len(cycles) >= FEWEST:
        for trait in _TRAITS:
            figures = np.array([trait.figure(cycle) for cycle in cycles])
            for i in _odd(figures, trait):
                usual = float(np.nanmedian(figures))
                facts[i].append(
                    f"{trait.words} than the other cycles: {written(figures[i])} {trait.unit} against {written(usual)} {trait.unit}"
                    if trait.up
                    else f"{trait.words} in {written(figures[i])} {trait.unit}, usually {written(usual)} {trait.unit}"
                )
    return [tuple(f) for f in facts]


def hotter(peaks_degc: FloatArray) -> tuple[BoolArray, tuple[str, ...]]:
    """Which hot cleanings of one record are odd, hotter than the others, and how hot those are, as a fact; none with too few."""
    odd = np.zeros(peaks_degc.size, dtype=np.bool_)
    odd[_odd(peaks_degc, _HOTTER)] = True
    if not odd.any():
        return odd, ()
    return odd, (f"hotter than the other cleanings, usually {written(np.nanmedian(peaks_degc))} °C",)


def _odd(figures: np.ndarray, trait: _Trait) -> list[int]:
    """Positions whose figure lies far from the middle, by spread and by a difference that matters."""
    known = np.isfinite(figures) & (figures > 0)
    if np.count_nonzero(known) < FEWEST:
        return []
    scaled = np.log(np.where(known, figures, 1.0)) if trait.relative else figures
    off = scaled - median(scaled[known])
    spread = scatter_of(scaled[known])
    least = abs(math.log(trait.least)) if trait.relative else trait.least
    far = (off if trait.up else -off) > max(least, SPREADS * spread)
    near = np.abs(scaled[:, None] - scaled) <= least / 3
    company = (near & known).sum(axis=1) - 1
    return [int(i) for i in np.flatnonzero(far & known & (company < COMPANY))]
