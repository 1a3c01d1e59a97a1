"""Times taken as UTC that behave like a wall clock: an hour missing in spring or there twice in autumn, where a zone's clocks change.

Nothing is moved: which zone it is only the user knows.  The sign is told, with the option that settles it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

import numpy as np

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_MINUTE, TimeArray, iso
from excursions.read.exports.gather.spill import let_go
from excursions.read.exports.times.zones import changes_between
from excursions.records import Decision, TagSeries

# One zone for each way to change clocks; others change them on the same wall clock.
_ZONES = {
    "Europe/Berlin": "Central Europe", "Europe/London": "the United Kingdom and Portugal", "Europe/Athens": "Eastern Europe",
    "America/New_York": "North America", "Australia/Sydney": "south-eastern Australia", "Pacific/Auckland": "New Zealand",
    "America/Santiago": "Chile",
}  # fmt: skip
_COARSEST = 20 * NS_PER_MINUTE  # at larger intervals an hour is too few samples to be missed
_LEAST = 50
_SLACK = 1.5  # intervals between the last reading and the hour, and between the hour and the next reading
_LONG = 50 * NS_PER_MINUTE
_LONG_GAPS_A_DAY = 0.2  # where data are often missing for an hour, one more says nothing
_TWICE = 1.7  # times the readings of the hours around

# A change: zone, first instant of the hour on the wall clock (ns), whether the hour is missing (else it comes twice).
_Change = tuple[str, int, bool]


def local_signs(series: Mapping[str, TagSeries], naive: Collection[str]) -> list[Decision]:
    """Remarks on files (`naive`) whose times were taken as UTC for want of anything better; no tag may speak against one."""
    shared: dict[int, list[str]] = {}
    for tag, one in series.items():
        if naive and not set(naive).isdisjoint(one.files):
            shared.setdefault(id(one.time), []).append(tag)
    signs: dict[_Change, int] = {}
    against: set[_Change] = set()
    for tags in shared.values():
        time = series[tags[0]].time
        for change, shows in _changes(time):
            if shows:
                signs[change] = signs.get(change, 0) + len(tags)
            else:
                against.add(change)
        let_go(time)
    agreed: dict[tuple[int, bool], list[_Change]] = {}
    for change in sorted(signs):
        if change not in against:
            agreed.setdefault(change[1:], []).append(change)
    return [_told(changes, max(signs[change] for change in changes)) for changes in agreed.values()]


def _told(changes: list[_Change], tags: int) -> Decision:
    """The remark on one hour, with every part of the world where it is so."""
    name, start, missing = changes[0]
    stamp = iso(start)
    when = f"on {stamp[:10]} from {stamp[11:16]} to {iso(start + NS_PER_HOUR)[11:16]}"
    where = " or ".join(_ZONES[zone] for zone, _, _ in changes)
    moved = "forward" if missing else "back"
    return Decision(
        subject="clock", what=f"an hour {'is missing' if missing else 'comes twice'} {when}",
        why=f"clocks go {moved} there in {where} ({tags} tag{'s' if tags > 1 else ''}): the times are likely local and not UTC",
        option=f"--tz, for example --tz {name}",
    )  # fmt: skip


def _changes(time: TimeArray) -> Iterator[tuple[_Change, bool]]:
    """Each change of clocks within the record, and whether the record shows it; changes it says nothing of are left out."""
    if time.size < _LEAST:
        return
    ordered = time if bool((time[1:] >= time[:-1]).all()) else np.sort(time)
    step = np.diff(ordered)
    moving = step[step > 0]
    if not moving.size:
        return
    interval, span = int(np.median(moving)), int(ordered[-1] - ordered[0])
    rare = np.count_nonzero(step > _LONG) <= 2 + _LONG_GAPS_A_DAY * span / NS_PER_DAY
    if interval > _COARSEST or not rare:
        return
    for name in _ZONES:
        instants, offsets = changes_between(name, int(ordered[0]), int(ordered[-1]))
        for instant, before, after in zip(
            instants.tolist(), offsets[:-1].tolist(), offsets[1:].tolist(), strict=True
        ):
            if (
                abs(after - before) == NS_PER_HOUR
                and ordered[0] < instant + min(before, after) - 3 * NS_PER_HOUR
                and instant + max(before, after) + 3 * NS_PER_HOUR < ordered[-1]
            ):
                start, missing = instant + min(before, after), after > before
                shows = _is_missing(ordered, start, interval) if missing else _comes_twice(ordered, start)
                if shows is not None:
                    yield (name, start, missing), shows


def _is_missing(time: TimeArray, start: int, interval: int) -> bool | None:
    """Whether readings run up to the hour and on right behind it; None where more than the hour is missing."""
    first, last = np.searchsorted(time, [start, start + NS_PER_HOUR])
    if first != last:
        return False
    slack = _SLACK * interval
    near = start - time[first - 1] <= slack and time[first] - (start + NS_PER_HOUR) <= slack
    return True if near else None


def _comes_twice(time: TimeArray, start: int) -> bool | None:
    """Whether the hour holds twice the readings of the hours around it; None where those are few."""
    edges = np.searchsorted(time, start + NS_PER_HOUR * np.arange(-2, 4))
    counts = np.diff(edges)
    around = np.delete(counts, 2)
    if around.min() < 3 or around.max() > 1.3 * around.min():
        return None
    return bool(counts[2] >= _TWICE * around.mean())
