"""Hours and ageing by band of temperature and by day, from every sample of a record.

The same line as in :mod:`excursions.physics.heat`: straight between neighbouring samples, integrated exactly, nothing
counted across a break.  A line that crosses an edge of a band is cut there, so an irregular record needs no grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, TimeArray
from excursions.conclusions import DOSE_REFERENCE_DEGC, HeatTally
from excursions.records import BoolArray, FloatArray, IndexArray

_RATE = math.log(2.0) / 10.0  # Q10 = 2 (ASTM F1980)
_FLAT = 1e-4  # rises of the exponent below this: the mean of both ends is exact to a billionth
_FEW_EDGES = 20
_MOST_PIECES = 500_000  # added up at once; a row is never parted


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """Samples with the cuts between rows put in; counts says which piece after a sample counts."""

    time: TimeArray
    temp: FloatArray
    counts: BoolArray
    row: IndexArray  # of each piece


def tally_heat(
    time: TimeArray,
    temp_degc: FloatArray,
    edges_degc: FloatArray,
    *,
    gap_s: float = math.inf,
    cuts: TimeArray | None = None,
    left_out: BoolArray | None = None,
) -> HeatTally:
    """Add up hours, ageing and the highest sample for each UTC day and band.

    Parameters
    ----------
    time, temp_degc : ndarray, shape (n,)
        Strictly increasing instants [ns], finite temperatures [degC].
    edges_degc : ndarray, shape (k,)
        Increasing edges of the bands; band j lies above edge j - 1 up to and with edge j.
    gap_s : float
        A longer silence [s] counts as missing.
    cuts : ndarray or None
        Instants [ns] at which a day is cut in two (a probe was swapped).
    left_out : ndarray of bool, shape (n,), or None
        Samples that are no heat (a failing element): neither they nor the lines to them count.
    """
    if not time.size:
        return HeatTally(edges_degc=edges_degc)
    good = np.ones(time.size, dtype=np.bool_) if left_out is None else ~left_out
    counts = good[:-1] & good[1:] & (np.diff(time) <= min(gap_s, 1e9) * 1e9)
    rows = _row_edges(time, cuts)
    hours, ageing = _sums(_cut(time, temp_degc, counts, rows), edges_degc, rows.size - 1)
    seen = (time, temp_degc) if left_out is None else (time[good], temp_degc[good])
    peak, when = _peaks(*seen, rows)
    held = np.flatnonzero((hours.sum(axis=1) > 0) | np.isfinite(peak))
    return HeatTally(
        start=np.maximum(rows[:-1], time[0])[held],
        end=np.minimum(rows[1:], time[-1] + 1)[held],
        edges_degc=edges_degc,
        hours=hours[held],
        ageing_h=ageing[held],
        peak_degc=peak[held],
        peak_time=when[held],
    )


def _row_edges(time: TimeArray, cuts: TimeArray | None) -> TimeArray:
    """Midnights around the record, and the cuts inside it."""
    days = np.arange(time[0] // NS_PER_DAY, time[-1] // NS_PER_DAY + 2) * NS_PER_DAY
    inside = np.empty(0, np.int64) if cuts is None else cuts[(cuts > time[0]) & (cuts <= time[-1])]
    return np.union1d(days, inside)


def _cut(time: TimeArray, temp: FloatArray, counts: BoolArray, rows: TimeArray) -> _Line:
    """Put a sample on the line wherever it passes from one row into the next."""
    at = np.searchsorted(time, rows)
    inner = (at > 0) & (at < time.size)
    inner[inner] &= counts[at[inner] - 1] & (time[at[inner]] > rows[inner])
    at, when = at[inner], rows[inner]
    if at.size:
        share = (when - time[at - 1]) / (time[at] - time[at - 1])
        between = temp[at - 1] + share * (temp[at] - temp[at - 1])
        time, temp = np.insert(time, at, when), np.insert(temp, at, between)
        counts = np.insert(counts, at, True)
    first = np.minimum(np.searchsorted(time, rows), time.size - 1)
    return _Line(time=time, temp=temp, counts=counts, row=np.repeat(np.arange(rows.size - 1), np.diff(first)))


def _sums(line: _Line, edges: FloatArray, rows: int) -> tuple[FloatArray, FloatArray]:
    """Hours and hours at the reference temperature, shape (rows, k + 1).

    Whole rows at a time, which add up the same: what it takes beside the line would be the peak of a long search.
    """
    first = np.searchsorted(line.row, np.arange(rows + 1))
    parts, start = [], 0
    while start < rows:
        stop = max(start + 1, int(np.searchsorted(first, first[start] + _MOST_PIECES, side="right")) - 1)
        a, b = int(first[start]), int(first[stop])
        part = _Line(
            time=line.time[a : b + 1],
            temp=line.temp[a : b + 1],
            counts=line.counts[a:b],
            row=line.row[a:b] - start,
        )
        parts.append(_sums_of(part, edges, stop - start))
        start = stop
    hours, ageing = (np.concatenate(one) for one in zip(*parts, strict=True))
    return hours, ageing


def _sums_of(line: _Line, edges: FloatArray, rows: int) -> tuple[FloatArray, FloatArray]:
    bands = edges.size + 1
    dt = np.diff(line.time) * line.counts
    band = _bands(line.temp, edges)
    factor = np.exp(_RATE * (line.temp - DOSE_REFERENCE_DEGC))
    aged = dt * _mean(factor[:-1], factor[1:], _RATE * np.diff(line.temp))
    one = band[:-1] == band[1:]
    key = np.where(one, line.row * bands + band[:-1], rows * bands)
    hours, ageing = (_by_key(key, weights, rows, bands) for weights in (dt, aged))
    across = np.flatnonzero(~one & line.counts)
    if across.size:
        _add_crossings(hours, ageing, line, dt, across, edges)
    return hours / NS_PER_HOUR, ageing / NS_PER_HOUR


def _bands(temp: FloatArray, edges: FloatArray) -> NDArray[np.integer[Any]]:
    """The band of each temperature: how many edges lie below it."""
    if edges.size > _FEW_EDGES:
        return np.searchsorted(edges, temp)
    band = np.zeros(temp.size, np.uint8)  # counting a few edges is quicker than searching among them
    for edge in edges:
        band += temp > edge
    return band


def _by_key(key: IndexArray, weights: FloatArray, rows: int, bands: int) -> FloatArray:
    """Sums by row and band; pieces of the last key belong to several bands and are left out."""
    sums = np.asarray(np.bincount(key, weights=weights, minlength=rows * bands + 1), dtype=np.float64)
    return sums[:-1].reshape(rows, bands)


def _add_crossings(
    hours: FloatArray, ageing: FloatArray, line: _Line, dt: FloatArray, across: IndexArray, edges: FloatArray
) -> None:
    """Share the pieces that cross an edge among the bands they pass."""
    ends = np.sort(np.stack([line.temp[across], line.temp[across + 1]]), axis=0)
    row, lasted = line.row[across], dt[across]
    limits = np.concatenate([[-np.inf], edges, [np.inf]])
    for band in range(edges.size + 1):
        low, high = np.clip(ends, limits[band], limits[band + 1])
        part = lasted * (high - low) / (ends[1] - ends[0])
        rise = _RATE * (high - low)
        start, end = (np.exp(_RATE * (t - DOSE_REFERENCE_DEGC)) for t in (low, high))
        hours[:, band] += np.bincount(row, weights=part, minlength=hours.shape[0])
        ageing[:, band] += np.bincount(row, weights=part * _mean(start, end, rise), minlength=hours.shape[0])


def _mean(first: FloatArray, last: FloatArray, rise: FloatArray) -> FloatArray:
    """Mean of an exponential over a piece whose exponent rises by `rise`."""
    mean = (first + last) / 2
    return np.divide(last - first, rise, out=mean, where=np.abs(rise) >= _FLAT)


def _peaks(time: TimeArray, temp: FloatArray, rows: TimeArray) -> tuple[FloatArray, TimeArray]:
    """Highest sample of each row and when it was first reached; NaN and 0 in a row without any."""
    peak, when = np.full(rows.size - 1, np.nan), np.zeros(rows.size - 1, np.int64)
    first = np.searchsorted(time, rows)
    held = np.flatnonzero(np.diff(first))
    if not held.size:
        return peak, when
    top = np.maximum.reduceat(temp, first[held])
    peak[held] = top
    hit = np.flatnonzero(temp == np.repeat(top, np.diff(first)[held]))
    which, at = np.unique(np.repeat(held, np.diff(first)[held])[hit], return_index=True)
    when[which] = time[hit[at]]
    return peak, when
