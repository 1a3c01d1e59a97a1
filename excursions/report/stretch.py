"""Heat of a stretch of time from the tally of a point: hours between edges, dose above a rating, day by day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from excursions.conclusions import DOSE_REFERENCE_DEGC, HeatTally
from excursions.records import FloatArray


def between(heat: HeatTally, start: int, end: int) -> HeatTally:
    """The tally of [start, end); a day that is cut where no swap was logged is shared in proportion to time."""
    if not heat.start.size:
        return heat
    rows = np.flatnonzero((heat.end > start) & (heat.start < end))
    first, last = np.maximum(heat.start[rows], start), np.minimum(heat.end[rows], end)
    share = ((last - first) / (heat.end[rows] - heat.start[rows]))[:, None]
    own = (heat.peak_time[rows] >= start) & (heat.peak_time[rows] < end)
    return replace(
        heat,
        start=first,
        end=last,
        hours=heat.hours[rows] * share,
        ageing_h=heat.ageing_h[rows] * share,
        peak_degc=np.where(own, heat.peak_degc[rows], np.nan),
        peak_time=heat.peak_time[rows],
    )


def peak_of(heat: HeatTally) -> tuple[float, int | None]:
    """Highest temperature [degC] and its instant [ns], the first of equals; NaN and None where none is known."""
    known = np.isfinite(heat.peak_degc)
    if not known.any():
        return math.nan, None
    top = int(np.argmax(np.where(known, heat.peak_degc, -np.inf)))
    return float(heat.peak_degc[top]), int(heat.peak_time[top])


def hours_by_edges(heat: HeatTally, edges: Sequence[float]) -> tuple[float, ...]:
    """Hours up to the first edge, between the edges, and above the last; NaN where an edge was not tallied."""
    above = [hours_above(heat, edge) for edge in edges]
    total = float(heat.hours.sum()) if heat.start.size else math.nan
    ends = [total, *above, 0.0]
    return tuple(max(a - b, 0.0) if math.isfinite(a - b) else math.nan for a, b in pairwise(ends))


def hours_above(heat: HeatTally, edge: float) -> float:
    """Hours above one of the edges of the tally; NaN for any other level, and without a temperature."""
    at = np.flatnonzero(heat.edges_degc == edge)
    return float(heat.hours[:, at[0] + 1 :].sum()) if at.size and heat.start.size else math.nan


def dose_above(heat: HeatTally, rated_degc: float, *, every: bool = False) -> float:
    """Hours at the rating: integral of 2^((T - rated) / 10 K) above it, or with `every` at all temperatures."""
    at = np.flatnonzero(heat.edges_degc == rated_degc)
    if not heat.start.size or not (at.size or every):
        return math.nan
    columns = heat.ageing_h if every else heat.ageing_h[:, at[0] + 1 :]
    return float(columns.sum() * 2.0 ** ((DOSE_REFERENCE_DEGC - rated_degc) / 10.0))


def daily_dose(heat: HeatTally, rated_degc: float) -> FloatArray:
    """The dose above the rating of each row of the tally [h at the rating]; NaN where the rating was not tallied."""
    at = np.flatnonzero(heat.edges_degc == rated_degc)
    if not at.size or not heat.start.size:
        return np.full(heat.start.size, np.nan)
    factor = 2.0 ** ((DOSE_REFERENCE_DEGC - rated_degc) / 10.0)
    return np.asarray(heat.ageing_h[:, at[0] + 1 :].sum(axis=1) * factor, dtype=np.float64)
