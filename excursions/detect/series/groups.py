"""Robust statistics of many groups of samples at once: groups of like size are sorted side by side in a table."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from excursions.ranks import median, row_median
from excursions.records import FloatArray, IndexArray

TABLE_CELLS = 2_000_000  # rows are sorted in tables of this size, to bound memory
# A row up to this size is sorted sooner than parted and searched for what lies beside the middle.
SORTED = 256
TRIM = 0.1  # largest share left out of a trimmed mean

Counts = NDArray[np.int64]
RowFunction = Callable[[FloatArray, Counts], FloatArray]


def midmean(value: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Interquartile mean of each value[start:stop] (plain mean below four samples), NaN where empty."""
    return _grouped(value, start, stop, _row_midmean)


def group_median(value: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Median of each value[start:stop], NaN where empty; NaN samples must have been left out."""
    count = stop - start
    usual = int(median(count)) if count.size else 0
    even = count == usual
    if usual <= 0 or 2 * np.count_nonzero(even) < count.size:
        return _grouped(value, start, stop, _row_median)
    out = np.empty(count.size)
    out[even] = _even_median(value, start[even], usual)
    out[~even] = _grouped(value, start[~even], stop[~even], _row_median)
    return out


def _even_median(value: FloatArray, start: IndexArray, size: int) -> FloatArray:
    """Median of groups of one size: small ones put in order, of large ones the middle alone."""
    out = np.empty(start.size)
    for part in np.array_split(np.arange(start.size), 1 + start.size * size // TABLE_CELLS):
        rows = np.lib.stride_tricks.sliding_window_view(value, size)[start[part]]
        if size <= SORTED:
            out[part] = row_median(rows)
            continue
        rows.partition(size // 2, axis=1)
        upper = rows[:, size // 2]
        out[part] = upper if size % 2 else (rows[:, : size // 2].max(axis=1) + upper) / 2
    return out


def trimmed_mean(value: FloatArray, start: IndexArray, stop: IndexArray) -> FloatArray:
    """Mean of the lowest nine tenths of each value[start:stop], NaN where empty."""
    return _grouped(value, start, stop, _row_trimmed_mean)


def _row_trimmed_mean(rows: FloatArray, count: Counts) -> FloatArray:
    """Mean of the lowest nine tenths of each sorted row."""
    keep = np.maximum(np.round(count * (1 - TRIM)).astype(np.int64), 1)
    total = np.cumsum(rows, axis=1)
    return np.asarray(total[np.arange(rows.shape[0]), keep - 1] / keep)


def _row_midmean(rows: FloatArray, count: Counts) -> FloatArray:
    """Mean of the middle half of each sorted row; `count` valid entries stand first."""
    cut = count // 4
    total = np.cumsum(rows, axis=1)
    line = np.arange(rows.shape[0])
    upper = total[line, count - cut - 1]
    lower = np.where(cut > 0, total[line, np.maximum(cut - 1, 0)], 0.0)
    return np.asarray((upper - lower) / (count - 2 * cut))


def _row_median(rows: FloatArray, count: Counts) -> FloatArray:
    line = np.arange(rows.shape[0])
    return np.asarray((rows[line, (count - 1) // 2] + rows[line, count // 2]) / 2)


def _grouped(value: FloatArray, start: IndexArray, stop: IndexArray, reduce: RowFunction) -> FloatArray:
    """Apply a row function to the sorted groups, groups of like size together in one padded table."""
    count = stop - start
    out = np.full(count.size, np.nan)
    size_class = np.where(count > 0, np.ceil(np.log2(np.maximum(count, 1))).astype(np.int64), -1)
    for each in np.unique(size_class[size_class >= 0]):
        chosen = np.flatnonzero(size_class == each)
        widest = int(count[chosen].max())
        for part in np.array_split(chosen, 1 + chosen.size * widest // TABLE_CELLS):
            out[part] = reduce(_sorted_rows(value, start[part], count[part], widest), count[part])
    return out


def _sorted_rows(value: FloatArray, start: IndexArray, count: Counts, widest: int) -> FloatArray:
    """Table of sorted groups, padded with +inf."""
    column = np.arange(widest)
    last = value.size - widest
    if last >= 0:  # whole stretches are copied, those at the very end are taken one value at a time
        rows = np.lib.stride_tricks.sliding_window_view(value, widest)[np.minimum(start, last)]
        late = np.flatnonzero(start > last)
        rows[late] = value[np.minimum(start[late, None] + column, value.size - 1)]
    else:
        rows = value[np.minimum(start[:, None] + column, value.size - 1)]
    short = np.flatnonzero(count < widest)
    if short.size:
        rows[short] = np.where(column >= count[short, None], np.inf, rows[short])
    rows.sort(axis=1)
    return np.asarray(rows)
