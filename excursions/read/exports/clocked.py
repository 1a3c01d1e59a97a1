"""The instants of a batch of rows: times as written, in the zone of the plan, with the hours that came twice or never."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import TimeArray
from excursions.read.exports.cells.refusals import without_zone
from excursions.read.exports.cells.table import Batch
from excursions.read.exports.layouts.plan import Plan
from excursions.read.exports.outcome import Outcome
from excursions.read.exports.times.times import parse_times
from excursions.read.exports.times.zones import standard_offset, to_utc
from excursions.records import BoolArray


@dataclass(frozen=True, slots=True)
class Clocked:
    """Times of a batch (n,): UTC, where understood, and rows in a doubled hour or in a missing one where there are any."""

    time: TimeArray
    ok: BoolArray
    wall: TimeArray
    twice: BoolArray | None = None
    shift: TimeArray | None = None
    gone: BoolArray | None = None


def clocked(batch: Batch, plan: Plan, outcome: Outcome, columns: tuple[int, ...]) -> Clocked:
    """Times of a batch from some columns; those in an hour that the clock left out are counted."""
    cells = [batch.frame[str(index)] for index in columns]
    found = parse_times(cells, plan.times[columns])
    if found.passes and plan.zone == "UTC":
        raise without_zone()
    if plan.times[columns].flagged:
        ahead = standard_offset(plan.zone, found.time[found.ok])
        found = replace(found, time=np.where(found.ok & found.zoned, found.time - ahead, found.time))
    use = found.ok & ~found.zoned
    if plan.zone == "UTC" or not use.any():
        return Clocked(found.time, found.ok, found.time)
    wall = np.where(use, found.time, found.time[use][0])
    resolved = to_utc(wall, plan.zone)
    time, ok = np.where(use, resolved.time, found.time), found.ok
    twice = resolved.twice & use if resolved.twice is not None else None
    if resolved.missing is None:
        return Clocked(time, ok, wall, twice, resolved.shift)
    gone = resolved.missing & use
    outcome.missing_hour += int(gone.sum())
    return Clocked(time, ok & ~gone, wall, twice, resolved.shift, gone)
