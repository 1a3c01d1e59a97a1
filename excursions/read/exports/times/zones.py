"""Wall times to UTC: the hour that comes twice, the hour that does not exist.

Offsets change at instants of UTC; on the wall clock a change back repeats an hour and a change forward leaves
one out.  A repeated hour is resolved by the order of the readings within their tag: where the wall time falls
back inside the hour, the second pass has begun.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray, zone
from excursions.records import BoolArray

_STEP = timedelta(days=1)


@lru_cache(maxsize=64)
def changes(name: str, first_year: int, last_year: int) -> tuple[TimeArray, TimeArray]:
    """Instants (ns UTC) where the zone's offset changes in these years, and the offsets (ns) before, between and after.

    Returns
    -------
    (k,) instants, (k + 1,) offsets
    """
    tz = zone(name)
    moment, end = datetime(first_year, 1, 1, tzinfo=UTC), datetime(last_year + 1, 1, 2, tzinfo=UTC)

    def offset(when: datetime) -> int:
        found = when.astimezone(tz).utcoffset()
        return round((found or timedelta()).total_seconds())

    instants: list[int] = []
    offsets = [offset(moment)]
    while moment < end:
        later = moment + _STEP
        if offset(later) != offsets[-1]:
            low, high = moment, later
            while high - low > timedelta(seconds=1):
                middle = low + (high - low) / 2
                middle = middle.replace(microsecond=0)
                low, high = (middle, high) if offset(middle) == offsets[-1] else (low, middle)
            instants.append(round(high.timestamp()))
            offsets.append(offset(later))
        moment = later
    return np.array(instants, np.int64) * NS_PER_S, np.array(offsets, np.int64) * NS_PER_S


@dataclass(frozen=True, slots=True)
class Resolved:
    """time (n,) ns UTC, the first pass wherever the wall time came twice; twice, missing (n,): such rows, or None."""

    time: TimeArray
    twice: BoolArray | None = None
    missing: BoolArray | None = None
    shift: TimeArray | None = None


def to_utc(wall: TimeArray, name: str) -> Resolved:
    """UTC of wall times (n,) ns."""
    if not wall.size or name == "UTC":
        return Resolved(wall)
    low, high = int(wall.min()), int(wall.max())
    instants, offsets = changes_between(name, low, high)
    if not instants.size:
        return Resolved(wall - offsets[0])
    # On the wall clock the old offset ends at `ends`, the new one begins at `begins`.
    ends, begins = instants + offsets[:-1], instants + offsets[1:]
    index = np.searchsorted(np.maximum(ends, begins), wall, side="right")
    time = wall - offsets[index]
    following = np.minimum(index, instants.size - 1)
    open_change = index < instants.size
    back = ends > begins
    near = open_change & (wall >= np.minimum(ends, begins)[following])
    twice = near & back[following]
    missing = near & ~back[following]
    shift = (offsets[:-1] - offsets[1:])[following]
    return Resolved(
        time,
        twice if twice.any() else None,
        missing if missing.any() else None,
        np.where(twice, shift, 0) if twice.any() else None,
    )


def changes_between(name: str, low: int, high: int) -> tuple[TimeArray, TimeArray]:
    """Changes that can matter for wall times from `low` to `high`: instants (k,) and offsets (k + 1,), see :func:`changes`."""
    first, last = (1970 + int(ns // (365.2425 * NS_PER_DAY)) for ns in (low - NS_PER_DAY, high + NS_PER_DAY))
    instants, offsets = changes(name, max(first - 1, 1901), min(last + 1, 2198))
    start = int(np.searchsorted(instants, low - 2 * NS_PER_DAY))
    stop = int(np.searchsorted(instants, high + 2 * NS_PER_DAY))
    return instants[start:stop], offsets[start : stop + 1]


def standard_offset(name: str, wall: TimeArray) -> int:
    """Offset (ns) of a zone's standard time about the first of these times: the lesser where it keeps summer time."""
    if not wall.size or name == "UTC":
        return 0
    first = int(wall.min())
    return int(changes_between(name, first, first + 365 * NS_PER_DAY)[1].min())


@dataclass(slots=True)
class DoubledHours:
    """Resolves repeated hours tag by tag, also where one is cut by the end of a batch."""

    last: dict[object, tuple[int, bool]] = field(default_factory=dict)
    rows: int = 0
    open_rows: int = 0

    def settle(
        self, tag: object, wall: TimeArray, resolved: TimeArray, twice: BoolArray, shift: TimeArray
    ) -> tuple[TimeArray, BoolArray]:
        """Times of one tag in file order with the second passes moved, and where the order says nothing."""
        time = resolved.copy()
        unsure = np.zeros(time.size, np.bool_)
        index = np.flatnonzero(twice)
        carried = self.last.pop(tag, None)
        runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
        for run in runs:
            before = carried if carried is not None and run[0] == 0 else None
            second, settled = _second_pass(wall, run, before)
            time[run[second]] += shift[run[second]]
            if not settled:
                unsure[run] = True
            if run[-1] == time.size - 1:
                self.last[tag] = (int(wall[run[-1]]), bool(second[-1]))
        self.rows += int(index.size)
        self.open_rows += int(unsure.sum())
        return time, unsure


def _second_pass(wall: TimeArray, run: TimeArray, before: tuple[int, bool] | None) -> tuple[BoolArray, bool]:
    """Which rows of a run inside one doubled hour belong to the second pass, and whether the order tells."""
    inside = wall[run]
    step = np.diff(inside)
    falling = _descending(wall, run)
    jumps = np.flatnonzero(step > 0) + 1 if falling else np.flatnonzero(step < 0) + 1
    if before is not None:
        last, was_second = before
        if was_second:
            return np.ones(run.size, np.bool_), True
        if not falling and inside[0] < last:
            return np.ones(run.size, np.bool_), True
    second = np.zeros(run.size, np.bool_)
    if jumps.size == 1:
        second[jumps[0] :] = True
        return (~second if falling else second), True
    return second, False


def _descending(wall: TimeArray, run: TimeArray) -> bool:
    """Whether the rows around the run go back in time."""
    start, end = max(int(run[0]) - 1, 0), min(int(run[-1]) + 1, wall.size - 1)
    return bool(wall[start] > wall[end])
