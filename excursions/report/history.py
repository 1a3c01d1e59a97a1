"""Every calibration with all that is known of it: found and left, shifts and their causes, checks, doubt, audit, next due."""

from __future__ import annotations

from dataclasses import dataclass

from excursions.conclusions import AuditFinding, Due
from excursions.records import Calibration, Doubt, Link, Shift
from excursions.report.result import ScanResult


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftTold:
    """A shift that a calibration found, and its possible causes, most probable first."""

    shift: Shift
    links: tuple[Link, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationTold:
    """One calibration and everything that follows from it.

    doubts : windows of readings that it closes, or that are open because of it; due : when it is the newest of its probe
    """

    calibration: Calibration
    shifts: tuple[ShiftTold, ...]
    doubts: tuple[Doubt, ...]
    audit: tuple[AuditFinding, ...]
    due: Due | None


def history(
    result: ScanResult, *, point: str = "", probe: str = "", since: int | None = None
) -> tuple[CalibrationTold, ...]:
    """Calibrations by point, probe and time; those of one point, one probe or from an instant [ns] on, if asked."""
    links: dict[str, list[Link]] = {}
    for link in sorted(result.links, key=lambda one: one.rank):
        links.setdefault(link.shift, []).append(link)
    chosen = [
        c
        for c in result.calibrations
        if (not point or c.point == point)
        and (not probe or result.plant.probe_of(c) == probe)
        and (since is None or c.time >= since)
    ]
    return tuple(
        _told(c, result, links)
        for c in sorted(chosen, key=lambda c: (c.point, result.plant.probe_of(c), c.time))
    )


def _told(c: Calibration, result: ScanResult, links: dict[str, list[Link]]) -> CalibrationTold:
    mine = result.plant.probe_of(c)

    def same(probe: str, point: str) -> bool:
        return probe == mine if probe and mine else point == c.point

    return CalibrationTold(
        calibration=c,
        shifts=tuple(
            ShiftTold(shift=s, links=tuple(links.get(s.id, ())))
            for s in result.shifts
            if s.end == c.time and same(s.probe, s.point)
        ),
        doubts=tuple(
            d
            for d in result.told_doubts
            if same(d.probe, d.point) and _follows(d, c, result, mine)
        ),
        audit=tuple(f for f in result.audit if f.calibration == c.id),
        due=next((d for d in result.due if d.last == c.time and same(d.probe, d.point)), None),
    )  # fmt: skip


def _follows(doubt: Doubt, c: Calibration, result: ScanResult, mine: str) -> bool:
    """Whether a window is closed by this calibration, or none of its probe closes it and this is the newest before it."""
    every = [
        other.time
        for other in result.calibrations
        if result.plant.probe_of(other) == mine and (mine or other.point == c.point) and not other.copied
    ]
    closing = None if doubt.open_end else min((t for t in every if t >= doubt.end), default=None)
    return c.time == (closing or max((t for t in every if t <= doubt.start), default=None))


def unclaimed(result: ScanResult, point: str = "", since: int | None = None) -> tuple[AuditFinding, ...]:
    """Audit findings that belong to no entry: traces nobody wrote down, intervals longer than the plan."""
    return tuple(
        f
        for f in result.audit
        if not f.calibration and (not point or f.point == point) and (since is None or f.end >= since)
    )
