"""Readings of one tag and instant on which two files do not agree: which two, how many, and what each says."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import polars as pl

from excursions.clock import TimeArray, iso
from excursions.records import ByteArray, Decision, FloatArray, IndexArray

MOST = 100_000  # rows that are listed of one tag
SCHEMA: dict[str, pl.DataType] = {
    "tag": pl.String(), "time": pl.Datetime("ns"), "value": pl.Float64(), "quality": pl.UInt8(), "file": pl.String(),
    "kept_value": pl.Float64(), "kept_quality": pl.UInt8(), "kept_file": pl.String(),
}  # fmt: skip


def contradicted(
    tag: str, time: TimeArray, value: FloatArray, quality: ByteArray, ranges: Sequence[tuple[str, int]]
) -> tuple[pl.DataFrame, list[Decision]]:
    """Readings (n,) in file order that a later file contradicts, beside the one that outlives them: the first of them, and what is said of all.

    ranges : file, and how many readings were there before it
    """
    starts = [start for _, start in ranges]
    parts = np.split(np.arange(time.size), starts[1:]) if len(starts) > 1 else []
    spans = sorted((int(time[rows].min()), int(time[rows].max())) for rows in parts if rows.size)
    apart = all(later[0] > earlier[1] for earlier, later in pairwise(spans))
    if len(parts) < 2 or apart:
        return pl.DataFrame(schema=SCHEMA), []
    order = np.argsort(time, kind="stable")
    ends = np.flatnonzero(np.append(np.diff(time[order]) != 0, True))
    owner = order[ends[np.searchsorted(ends, np.arange(order.size))]]
    before, after = value[order], value[owner]
    equal = (before == after) | (np.isnan(before) & np.isnan(after))
    equal &= quality[order] == quality[owner]
    file = np.searchsorted(np.array(starts), np.arange(time.size), side="right") - 1
    found = np.flatnonzero(~equal & (file[order] != file[owner]))
    said = _told(
        tag, [name for name, _ in ranges], file[order[found]], file[owner[found]], time[order[found]]
    )
    rows, kept = order[found[:MOST]], owner[found[:MOST]]
    names = np.array([name for name, _ in ranges], dtype=object)
    frame = pl.DataFrame(
        {
            "tag": [tag] * rows.size, "time": pl.Series(time[rows]).cast(pl.Datetime("ns")), "value": value[rows],
            "quality": quality[rows].astype(np.uint8), "file": names[file[rows]].tolist(), "kept_value": value[kept],
            "kept_quality": quality[kept].astype(np.uint8), "kept_file": names[file[kept]].tolist(),
        },
        schema=SCHEMA,
    )  # fmt: skip
    return frame, said


def _told(
    tag: str, names: Sequence[str], file: IndexArray, kept: IndexArray, time: TimeArray
) -> list[Decision]:
    """A sentence for each two files: how many readings (n,) of the one the other contradicts."""
    pairs, first, counts = np.unique(file * len(names) + kept, return_index=True, return_counts=True)
    listed = f", the first {MOST:,} of this tag" if file.size > MOST else ""
    return [
        Decision(
            subject=tag, what=f"{counts[at]} readings of {names[pairs[at] // len(names)]} are contradicted by {names[pairs[at] % len(names)]} at the same instants, which counts (first at {iso(int(time[first[at]]))})",
            why="it is read later, and a later file is the historian's later word", option=f"leave one of the two files out; contradicted.csv of a scan holds both readings{listed}",
        )
        for at in np.argsort(first, kind="stable")
    ]  # fmt: skip
