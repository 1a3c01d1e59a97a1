"""Readings of one tag and instant on which two files do not agree: which two, how many, and what each says."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import polars as pl

from excursions.clock import TimeArray, iso
from excursions.records import ByteArray, Decision, FloatArray

MOST = 100_000  # rows that are listed of one tag
SCHEMA: dict[str, pl.DataType] = {
    "tag": pl.String(), "time": pl.Datetime("ns"), "value": pl.Float64(), "quality": pl.UInt8(), "file": pl.String(),
    "kept_value": pl.Float64(), "kept_quality": pl.UInt8(), "kept_file": pl.String(),
}  # fmt: skip


def contradicted(
    tag: str, time: TimeArray, value: FloatArray, quality: ByteArray, ranges: Sequence[tuple[str, int]]
) -> pl.DataFrame:
    """Readings (n,) in file order that a later file contradicts, beside the one that outlives them.

    ranges : file, and how many readings were there before it
    """
    starts = [start for _, start in ranges]
    parts = np.split(np.arange(time.size), starts[1:]) if len(starts) > 1 else []
    spans = sorted((int(time[rows].min()), int(time[rows].max())) for rows in parts if rows.size)
    apart = all(later[0] > earlier[1] for earlier, later in pairwise(spans))
    if len(parts) < 2 or apart:
        return pl.DataFrame(schema=SCHEMA)
    order = np.argsort(time, kind="stable")
    ends = np.flatnonzero(np.append(np.diff(time[order]) != 0, True))
    owner = order[ends[np.searchsorted(ends, np.arange(order.size))]]
    before, after = value[order], value[owner]
    equal = (before == after) | (np.isnan(before) & np.isnan(after))
    equal &= quality[order] == quality[owner]
    file = np.searchsorted(np.array(starts), np.arange(time.size), side="right") - 1
    found = np.flatnonzero(~equal & (file[order] != file[owner]))[:MOST]
    rows, kept = order[found], owner[found]
    names = np.array([name for name, _ in ranges], dtype=object)
    return pl.DataFrame(
        {
            "tag": [tag] * rows.size, "time": pl.Series(time[rows]).cast(pl.Datetime("ns")), "value": value[rows],
            "quality": quality[rows].astype(np.uint8), "file": names[file[rows]].tolist(), "kept_value": value[kept],
            "kept_quality": quality[kept].astype(np.uint8), "kept_file": names[file[kept]].tolist(),
        },
        schema=SCHEMA,
    )  # fmt: skip


def told(frame: pl.DataFrame) -> list[Decision]:
    """What is said of the readings of one tag that later files contradict, a sentence for each two files."""
    groups = frame.group_by("tag", "file", "kept_file", maintain_order=True).agg(
        pl.len(), pl.col("time").first().cast(pl.Int64)
    )
    return [
        Decision(
            subject=tag, what=f"{count} readings of {file} are contradicted by {kept} at the same instants, which counts (first at {iso(first)})",
            why="it is read later, and a later file is the historian's later word", option="leave one of the two files out; contradicted.csv of a scan holds both readings",
        )
        for tag, file, kept, count, first in groups.iter_rows()
    ]  # fmt: skip
