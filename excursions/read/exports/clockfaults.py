"""What the times of a record say about the clock behind it: steps back, and readings far outside the rest.

Nothing is moved or dropped here.  "Now" is no clock of this machine, so a time counts as one of the future (or of
the far past) only where the record itself shows it: it stands alone, years away from all other readings.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_S, TimeArray
from excursions.read.exports.spill import let_go
from excursions.records import Decision, TagSeries

_MOST_TAGS = 10  # named one by one
_SELDOM = 0.01  # more steps back than this share of the rows are an order of rows, not a clock
_FEW = 3
_SAMPLE = 2_000
_FAR_NS = 365 * NS_PER_DAY
_FAR_TIMES = 50.0  # times the median distance from the middle of the record


def clock_faults(series: Mapping[str, TagSeries]) -> list[Decision]:
    """Remarks on steps back and on readings years away, tag by tag; tags that share their times are named together."""
    shared: dict[int, list[str]] = {}
    for tag, one in series.items():
        shared.setdefault(id(one.time), []).append(tag)
    found: list[tuple[str, str, str]] = []
    for tags in shared.values():
        name = tags[0] if len(tags) == 1 else f"{tags[0]} and {len(tags) - 1} others"
        time = series[tags[0]].time
        step = np.diff(time)
        ordered = not step.size or bool(step.min() >= 0)
        said = (*(() if ordered else _steps_back(time, step)), *_far_away(time, ordered=ordered))
        found += [(name, what, why) for what, why in said]
        let_go(time)
    option = "correct the times in the export, or leave these rows out"
    told = [
        Decision(subject=name, what=what, why=why, option=option) for name, what, why in found[:_MOST_TAGS]
    ]
    if len(found) > _MOST_TAGS:
        more = f"{len(found) - _MOST_TAGS} more remarks on times of other tags"
        told.append(
            Decision(subject="clock", what=more, why="of the same kinds as those named", option=option)
        )
    return told


def _steps_back(time: TimeArray, step: TimeArray) -> list[tuple[str, str]]:
    """Few steps back in a record that otherwise runs on."""
    back = np.flatnonzero(step < 0)
    if back.size > max(_FEW, _SELDOM * step.size) or back.size > 0.5 * step.size:
        return []
    first = int(back[0])
    what = f"the time goes back {_times(back.size)}: first by {_length(-int(step[first]))} after {_said(int(time[first]))}"
    return [
        (
            what,
            "a clock that was set, an hour that comes twice, or files that overlap; rows are put in order of time",
        )
    ]


def _far_away(time: TimeArray, *, ordered: bool) -> list[tuple[str, str]]:
    """Few readings that stand years before or behind all others."""
    if time.size < _FEW:
        return []
    middle = np.sort(time[:: max(1, time.size // _SAMPLE)])
    centre = int(middle[middle.size // 2])
    usual = float(np.median(np.abs(middle - centre)))
    far = max(_FAR_NS, int(min(_FAR_TIMES * usual, 2**62)))
    low, high = (time[0], time[-1]) if ordered else (time.min(), time.max())
    if low >= centre - far and high <= centre + far:
        return []
    found = []
    for rows, words in ((time > centre + far, "behind"), (time < centre - far, "before")):
        count = int(np.count_nonzero(rows))
        if 0 < count <= max(_FEW, _SELDOM * time.size) and 2 * count < time.size:
            at = int(time[rows][0])
            what = f"{count} readings stand years {words} all others, the first at {_said(at)}"
            found.append(
                (what, "a clock that was set wrong, or a time in the future or the far past; they are kept")
            )
    return found


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _said(time: int) -> str:
    return f"{np.datetime64(time, 'ns').astype('datetime64[s]')}Z"


def _length(ns: int) -> str:
    seconds = ns / NS_PER_S
    for size, unit in ((86_400.0, "d"), (3_600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.3g} s"
