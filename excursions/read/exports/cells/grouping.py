"""Rows brought together by their tags."""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.records import IndexArray


def grouped(tags: pl.Series) -> tuple[IndexArray, list[str], list[int]]:
    """Order (n,) that brings equal tags together and keeps the order within; their names; bounds (k + 1,)."""
    codes = tags.cast(pl.Categorical).to_physical().to_numpy()
    counts = np.bincount(codes)
    present = np.flatnonzero(counts)
    if counts.size > 2**16:  # codes are shared by all files of a run; few of them are in this batch
        table = np.zeros(counts.size, np.uint32)
        table[present] = np.arange(present.size)
        codes, counts = table[codes], counts[present]
    # Radix sort, which numpy uses for small whole numbers, is several times faster than any other here.
    small = codes.astype(
        np.uint8 if counts.size <= 2**8 else np.uint16 if counts.size <= 2**16 else np.uint32
    )
    order = np.argsort(small, kind="stable")
    bounds = [0, *np.cumsum(counts[counts > 0]).tolist()]
    names = tags.gather(order[bounds[:-1]]).cast(pl.String).to_list()
    return order, names, bounds
