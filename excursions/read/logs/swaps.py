"""From "probe exchanged" rows of a log to installation periods."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from excursions.plant import Installation
from excursions.records import CalibrationEntry


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """At `time` the probe `into` was put into `point`, and `out` was taken out; either may be empty."""

    time: int
    point: str
    into: str = ""
    out: str = ""


def installations_of(swaps: Sequence[Swap], entries: Sequence[CalibrationEntry]) -> tuple[Installation, ...]:
    """Installation periods in the order of points and time.

    A period ends when the next probe comes in at this point, when the probe is taken out, or when it is put
    in somewhere else.  A probe that was taken out and never put in sat there since before the log.
    """
    ordered = sorted((_told_apart(swap, entries) for swap in swaps), key=lambda swap: (swap.point, swap.time))
    by_point: dict[str, list[Swap]] = defaultdict(list)
    moves: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for swap in ordered:
        by_point[swap.point].append(swap)
        if swap.into:
            moves[swap.into].append((swap.time, swap.point))
    found: list[Installation] = []
    for point, rows in by_point.items():
        found += _at_point(point, rows, moves)
    return tuple(found)


def _told_apart(swap: Swap, entries: Sequence[CalibrationEntry]) -> Swap:
    """A swap that names one probe names the old one, if that probe was the last one calibrated here before.

    What came in is then the next probe that is calibrated here, or nobody says.  Of one that names the new probe, what went
    out is the last other one that was calibrated here.
    """
    if swap.out or not swap.into:
        return swap
    here = sorted(
        (entry for entry in entries if entry.point == swap.point and entry.probe), key=lambda e: e.time
    )
    before = [entry.probe for entry in here if entry.time < swap.time]
    after = [entry.probe for entry in here if entry.time > swap.time]
    if not before or before[-1] != swap.into or (after and after[0] == swap.into):
        others = [probe for probe in before if probe != swap.into]
        return replace(swap, out=others[-1]) if others else swap
    return replace(swap, out=swap.into, into=after[0] if after else "")


def _at_point(
    point: str, rows: Sequence[Swap], moves: dict[str, list[tuple[int, str]]]
) -> list[Installation]:
    found: list[Installation] = []
    sitting: Installation | None = None
    for row in rows:
        if sitting is None and row.out:
            found.append(Installation(probe=row.out, point=point, end=row.time))
        elif sitting is not None:
            found.append(replace(sitting, end=_earliest(sitting, row.time, moves)))
        sitting = Installation(probe=row.into, point=point, start=row.time) if row.into else None
    if sitting is not None:
        found.append(replace(sitting, end=_earliest(sitting, None, moves)))
    return found


def _earliest(sitting: Installation, end: int | None, moves: dict[str, list[tuple[int, str]]]) -> int | None:
    start = sitting.start or 0
    elsewhere = [time for time, at in moves[sitting.probe] if at != sitting.point and time > start]
    ends = [time for time in (*elsewhere, end) if time is not None]
    return min(ends) if ends else None
