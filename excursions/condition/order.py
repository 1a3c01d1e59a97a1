"""Time order, and one row an instant: what repeats is dropped and counted, what contradicts is resolved openly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from excursions.clock import TimeArray
from excursions.records import ByteArray, FloatArray, IndexArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered:
    """Rows in strictly increasing time order, and what became of the others.

    duplicates: rows dropped because they repeat the kept one exactly; conflicts: rows dropped because
    they give another value or quality for the same instant; moved: True when the rows had to be sorted.
    clash: of the first conflict in time, the instant (ns), the value dropped and the value kept.
    """

    time: TimeArray
    value: FloatArray
    quality: ByteArray
    duplicates: int
    conflicts: int
    moved: bool
    clash: tuple[int, float, float] = (0, float("nan"), float("nan"))


def put_in_order(time: TimeArray, value: FloatArray, quality: ByteArray) -> Ordered:
    """Sort stably by time and keep the last row of each instant in file order.

    The last row wins because a later file or line is the historian's later word on that instant.

    Parameters
    ----------
    time, value, quality : ndarray, shape (n,)
        As read: any order, repeats allowed.
    """
    step = np.diff(time)
    if not step.size or step.min() > 0:
        return Ordered(time=time, value=value, quality=quality, duplicates=0, conflicts=0, moved=False)
    moved = bool(step.min() < 0)
    if moved:
        order = np.argsort(time, kind="stable")
        time, value, quality = time[order], value[order], quality[order]
    last = np.append(time[1:] != time[:-1], True)
    kept = np.flatnonzero(last)
    owner = kept[np.searchsorted(kept, np.flatnonzero(~last))]  # the row that outlives each dropped one
    dropped = np.flatnonzero(~last)
    equal = (value[dropped] == value[owner]) | (np.isnan(value[dropped]) & np.isnan(value[owner]))
    equal &= quality[dropped] == quality[owner]
    duplicates = int(np.count_nonzero(equal))
    return Ordered(
        time=time[kept],
        value=value[kept],
        quality=quality[kept],
        duplicates=duplicates,
        conflicts=int(dropped.size) - duplicates,
        moved=moved,
        clash=_clash(time, value, dropped[~equal], owner[~equal]),
    )


def _clash(
    time: TimeArray, value: FloatArray, dropped: IndexArray, owner: IndexArray
) -> tuple[int, float, float]:
    """Instant and both values of the first row that contradicts the one that was kept."""
    if not dropped.size:
        return 0, float("nan"), float("nan")
    return int(time[dropped[0]]), float(value[dropped[0]]), float(value[owner[0]])
