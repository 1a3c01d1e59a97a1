"""What the times of an export say about the clock behind them, as remarks tag by tag."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from excursions.clock import TimeArray
from excursions.read.exports.gather.spill import let_go
from excursions.read.text.oddtimes import Oddity, steps_back, strays
from excursions.records import Decision, TagSeries

_MOST_TAGS = 10  # named one by one
_OPTION = "correct the times in the export, or leave these rows out; rows are put in order of time and kept"


def clock_faults(series: Mapping[str, TagSeries]) -> list[Decision]:
    """Remarks on steps back and on readings far away; tags that share their times are named together."""
    shared: dict[int, list[str]] = {}
    for tag, one in series.items():
        shared.setdefault(id(one.time), []).append(tag)
    found: list[tuple[str, Oddity]] = []
    for tags in shared.values():
        name = tags[0] if len(tags) == 1 else f"{tags[0]} and {len(tags) - 1} others"
        time = series[tags[0]].time
        found += [(name, oddity) for oddity in _odd(time)]
        let_go(time)
    told = [
        Decision(subject=name, what=f"odd times: {one.kind}", why=one.words, option=_OPTION)
        for name, one in found[:_MOST_TAGS]
    ]
    if len(found) > _MOST_TAGS:
        more = f"{len(found) - _MOST_TAGS} more remarks on times of other tags"
        told.append(
            Decision(subject="clock", what=more, why="of the same kinds as those named", option=_OPTION)
        )
    return told


def _odd(time: TimeArray) -> Iterator[Oddity]:
    ordered = time.size < 2 or bool((time[1:] >= time[:-1]).all())
    back = None if ordered else steps_back(time)
    if back is not None:
        yield back
    yield from strays(time if ordered else np.sort(time))
