"""Hours and ageing of a point by day and band: what the life of its probes is added up from."""

from __future__ import annotations

import numpy as np

from excursions.conclusions import HeatTally
from excursions.detect.heat.bands import tally_heat
from excursions.detect.series.survey import Heat, heat_in, heat_of
from excursions.records import BoolArray, FloatArray, Record
from excursions.states.element import not_heat
from excursions.states.trace import spells

FIXED_DEGC = (40.0, 60.0, 80.0, 100.0, 120.0, 130.0, 140.0)  # (cp) warm, hot water, hot cleaning, steam


def heat_tally(record: Record, *, since: int = -(2**63)) -> HeatTally:
    """Add up every sample of the temperature; the bands end at the ratings of all probes known here and at fixed ones.

    `since`: a midnight [ns] before which nothing is added up.

    A temperature that belongs to no reading is added up too: whose heat it is, a person may know.
    """
    heat = heat_of(record)
    if heat is None and record.point.measurand == "temperature":
        heat = heat_in(record.value)
    if heat is None:
        return HeatTally()
    plant, point = record.plant, record.point
    rows = [row for row in plant.installations if row.point == point.name]
    cuts = np.array([t for row in rows for t in (row.start, row.end) if t is not None], dtype=np.int64)
    edges = band_edges(record)
    left_out = _element(heat, edges)
    own = slice(
        max(int(np.searchsorted(heat.trace.time, since)) - 1, 0), None
    )  # the line from before counts too
    return tally_heat(
        heat.trace.time[own],
        heat.trace.value[own],
        edges,
        gap_s=heat.trace.gap_s,
        cuts=np.unique(cuts),
        left_out=left_out[own] if left_out is not None else None,
    )


def band_edges(record: Record) -> FloatArray:
    """Fixed edges and both ratings of whoever sat here."""
    plant, point = record.plant, record.point
    starts = [row.start or 0 for row in plant.installations if row.point == point.name]
    ratings = [plant.ratings(point, when) for when in [int(record.states.start[0]), *starts]]
    stated = [level for r in ratings for level in (r.continuous_degc, r.sterilisation_degc)]
    return np.unique(np.array([*FIXED_DEGC, *stated], dtype=np.float64))


def _element(heat: Heat, edges: FloatArray) -> BoolArray | None:
    """Samples of hot stretches that only a failing element can have drawn."""
    trace = heat.trace
    limit = float(edges[edges >= heat.usual.high].min(initial=float(edges[-1])))
    ranges = [
        (int(first), int(past))
        for first, past in spells(trace, on=limit, off=limit)
        if not_heat(trace, int(first), int(past), heat.usual.middle)
    ]
    if not ranges:
        return None
    out = np.zeros(len(trace), dtype=np.bool_)
    for first, past in ranges:
        out[first:past] = True
    return out
