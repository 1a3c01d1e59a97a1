"""Fewer samples for a page, without losing an extreme.

An envelope, not an average: the record is cut into bins of equal sample count and each bin keeps its first,
lowest, highest and last sample.  A line through those touches every pixel the full record would touch at
that width.  Inside events the bins are finer, short events are kept whole, and the lowest and highest
reading of every event survive to the exact value.  Every index returned is a sample of the record.
"""

from __future__ import annotations

import numpy as np

from excursions.clock import TimeArray
from excursions.records import BoolArray, FloatArray, IndexArray
from excursions.runs import runs

KEPT_PER_BIN = 4  # first, lowest, highest, last
LEAST_PER_SPAN = 16  # four bins even when there are very many events


def thin(time: TimeArray, value: FloatArray, budget: int, keep_spans: TimeArray | None = None) -> IndexArray:
    """Choose the samples of a series that a plot needs.

    Parameters
    ----------
    time : ndarray of int64, shape (n,)
        Strictly increasing instants [ns].
    value : ndarray of float64, shape (n,)
        Readings; what is not finite counts as missing and breaks the line.
    budget : int
        Samples to spend on the whole record, and as many again on what lies inside events.  Marks of
        missing data, and four samples an event at the least, come on top.
    keep_spans : ndarray of int64, shape (k, 2), or None
        Events as half-open spans [ns]; they may overlap, be empty or lie outside the record.

    Returns
    -------
    ndarray of int64
        Increasing indices into `time`.  Held are: the first and last sample; first, lowest, highest and last
        of each bin; lowest and highest inside each span and the samples around its ends; one missing sample
        for each run of missing ones (the longest of each bin where there are more runs than half the
        budget) with its two neighbours.

    Raises
    ------
    ValueError
        If `budget` is below 4 or the arrays differ in length.
    """
    if budget < KEPT_PER_BIN:
        raise ValueError(f"budget is {budget}, expected at least {KEPT_PER_BIN}")
    if time.shape != value.shape:
        raise ValueError(f"time has shape {time.shape}, value has shape {value.shape}")
    if time.size <= budget:
        return np.arange(time.size, dtype=np.int64)
    good = np.isfinite(value)
    chosen = np.zeros(time.size, dtype=np.bool_)
    chosen[[0, -1]] = True
    chosen[envelope(value, budget // KEPT_PER_BIN)] = True
    chosen[_breaks(good, budget)] = True
    for first, last, share in _span_budgets(time, keep_spans, budget):
        chosen[_inside(value[first:last], share) + first] = True
        chosen[[max(first - 1, 0), min(last, time.size - 1)]] = True
    return np.flatnonzero(chosen)


def envelope(value: FloatArray, bins: int) -> IndexArray:
    """Indices of the first, lowest, highest and last finite value of each of `bins` equal parts, unsorted.

    Parts without any finite value give none.  One pass, no copy beyond one array of the input's size.
    """
    if value.size == 0 or bins < 1:
        return np.empty(0, dtype=np.int64)
    width = -(-value.size // bins)
    whole = value.size // width * width
    if whole and np.isfinite(value[:whole]).all():
        rest = envelope(value[whole:], 1) + whole
        return np.concatenate([_envelope_of_finite(value[:whole].reshape(-1, width)), rest])
    rows = -(-value.size // width)
    padded = np.full(rows * width, np.nan)
    padded[: value.size] = value
    table = padded.reshape(rows, width)
    good = np.isfinite(table)
    columns = np.column_stack(
        [
            np.argmax(good, axis=1),
            np.argmin(np.where(good, table, np.inf), axis=1),
            np.argmax(np.where(good, table, -np.inf), axis=1),
            width - 1 - np.argmax(good[:, ::-1], axis=1),
        ]
    )
    held = (columns + np.arange(rows)[:, None] * width)[good.any(axis=1)]
    flat: IndexArray = held.ravel().astype(np.int64)
    return flat


def _envelope_of_finite(table: FloatArray) -> IndexArray:
    """The same for rows without anything missing."""
    rows, width = table.shape
    column = np.zeros((rows, KEPT_PER_BIN), dtype=np.int64)
    column[:, 1], column[:, 2], column[:, 3] = np.argmin(table, axis=1), np.argmax(table, axis=1), width - 1
    flat: IndexArray = (column + np.arange(rows)[:, None] * width).ravel()
    return flat


def _inside(value: FloatArray, share: int) -> IndexArray:
    """All of a short event; else its envelope, which holds its lowest and highest reading."""
    if value.size <= share:
        return np.arange(value.size, dtype=np.int64)
    return envelope(value, max(1, share // KEPT_PER_BIN))


def _span_budgets(time: TimeArray, spans: TimeArray | None, budget: int) -> list[tuple[int, int, int]]:
    """(first, last, share) of every span that holds samples: what short spans leave goes to longer ones."""
    if spans is None or not len(spans):
        return []
    first = np.searchsorted(time, spans[:, 0], side="left")
    last = np.searchsorted(time, spans[:, 1], side="left")
    held = sorted(
        ((int(b - a), int(a), int(b)) for a, b in zip(first, last, strict=True) if b > a),
    )
    result, left = [], budget
    for number, (size, a, b) in enumerate(held):
        share = max(LEAST_PER_SPAN, left // (len(held) - number))
        result.append((a, b, share))
        left = max(0, left - min(size, share))
    return result


def _breaks(good: BoolArray, budget: int) -> IndexArray:
    """One missing sample for each run of missing ones, and the finite samples on both sides of it."""
    starts, ends = runs(~good).T
    if starts.size > budget // 2:
        starts, ends = _longest(starts, ends, good.size, budget // 2)
    around = np.concatenate([starts - 1, starts, ends])
    return around[(around >= 0) & (around < good.size)]


def _longest(starts: IndexArray, ends: IndexArray, size: int, bins: int) -> tuple[IndexArray, IndexArray]:
    """The longest run of each of `bins` equal parts of the record."""
    part = starts * bins // size
    order = np.lexsort((starts - ends, part))
    leads = np.concatenate([[True], np.diff(part[order]) > 0])
    kept = order[leads]
    return starts[kept], ends[kept]
