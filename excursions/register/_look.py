"""What a register is inferred from: a tag's words and a few figures of its numbers, small enough to send about."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from excursions.clock import TimeArray
from excursions.measurands import converted, to_canonical
from excursions.plant import Plant
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


def looks_of(series: Mapping[str, TagSeries | Look]) -> dict[str, Look]:
    """A look at every tag; what was looked at before is taken as it is."""
    return {tag: one if isinstance(one, Look) else look_of(one) for tag, one in series.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """How the reading of a point is exported: the unit, and its median in the unit of its measurand (NaN where not known)."""

    unit: str
    level: float


def usual_levels(plant: Plant, looks: Mapping[str, Look]) -> dict[str, Usual]:
    """Unit and median of the reading of every point that has one."""
    found = {}
    for point in plant.points:
        if point.value in looks:
            look = looks[point.value]
            unit = point.unit or look.unit
            scale = to_canonical(point.measurand, unit) if look.traits.count else None
            found[point.name] = Usual(
                unit=unit, level=converted(look.traits.q50, scale) if scale else math.nan
            )
    return found


def _instants(time: TimeArray) -> tuple[int, ...]:
    """A mark of the sampling instants; empty when they lie on a grid, which every tag may share."""
    if time.size < 30:
        return ()
    looked = time[:: max(1, time.size // 64)]
    steps = time[1:200] - time[:199][: time[1:200].size]
    grid = (steps == steps[0]).mean() > 0.5 if steps.size else True
    return () if grid else (int(time.size), *(int(t) for t in looked[:64]))
