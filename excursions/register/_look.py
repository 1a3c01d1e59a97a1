"""What a register is inferred from: a tag's words and a few figures of its numbers, small enough to send about."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.clock import TimeArray
from excursions.read.exports.gather.spill import let_go
from excursions.records import TagSeries
from excursions.register._traits import Traits, traits_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One tag without its samples.

    instants: a mark of its sampling instants, empty when they lie on a grid; first, last: earliest and latest instant [ns],
    0 without any.
    """

    tag: str
    unit: str
    description: str
    traits: Traits
    instants: tuple[int, ...]
    first: int
    last: int


def look_of(series: TagSeries) -> Look:
    """Look at one tag as it stood in the files; one that lies on disk has left memory afterwards."""
    look = Look(
        tag=series.tag,
        unit=series.unit,
        description=series.description,
        traits=traits_of(series),
        instants=_instants(series.time),
        first=int(series.time.min()) if series.time.size else 0,
        last=int(series.time.max()) if series.time.size else 0,
    )
    let_go(series.time, series.value, series.quality)
    return look


def _instants(time: TimeArray) -> tuple[int, ...]:
    """A mark of the sampling instants; empty when they lie on a grid, which every tag may share."""
    if time.size < 30:
        return ()
    looked = time[:: max(1, time.size // 64)]
    steps = time[1:200] - time[:199][: time[1:200].size]
    grid = (steps == steps[0]).mean() > 0.5 if steps.size else True
    return () if grid else (int(time.size), *(int(t) for t in looked[:64]))
