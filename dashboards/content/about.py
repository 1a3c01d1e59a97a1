"""All of a scan that concerns one point, sorted out once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from dashboards.wording import Reader
from excursions.conclusions import AuditFinding, Due
from excursions.plant import Plant
from excursions.records import Calibration, Doubt, LabSample, Link, Outcomes, Shift
from excursions.report.result import Change, PointFindings, Remark, ScanResult, Verdict

MOST_NEIGHBOURS = 3  # more lines beside the reading would hide it
MOST_RELATED = 2  # each has a strip of its own below the reading

T = TypeVar("T", Calibration, Shift, Doubt, LabSample, AuditFinding, Due, Change)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """All of a scan that concerns one point; `neighbours` measure in its unit, `related` points in another.

    changes, record_before : what is different from the run before, and where its record ended [ns].
    """

    findings: PointFindings
    verdict: Verdict
    plant: Plant
    calibrations: tuple[Calibration, ...] = ()
    shifts: tuple[Shift, ...] = ()
    links: tuple[Link, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    samples: tuple[LabSample, ...] = ()
    neighbours: tuple[PointFindings, ...] = ()
    related: tuple[PointFindings, ...] = ()
    outcomes: Outcomes = field(default_factory=dict)
    remarks: Mapping[str, tuple[Remark, ...]] = field(default_factory=dict)
    audit: tuple[AuditFinding, ...] = ()
    due: tuple[Due, ...] = ()
    changes: tuple[Change, ...] = ()
    record_before: int = 0


def period_of(findings: PointFindings, reader: Reader) -> str:
    """First and last day of a record in words."""
    if not findings.samples:
        return "no record"
    return f"{reader.date(findings.start)} to {reader.date(findings.end)}"


def told_doubts(result: ScanResult) -> dict[str, list[Doubt]]:
    """Doubts that are told, by point; the table of doubts has the others and says why."""
    return _by_point(result.told_doubts)


def gather(result: ScanResult) -> list[About]:
    """Sort a scan by point, in the order of the verdicts; one pass over every list."""
    verdicts = {verdict.point: verdict for verdict in result.verdicts}
    found = {findings.point.name: findings for findings in result.points}
    calibrations = _by_point(result.calibrations)
    shifts = _by_point(result.shifts)
    doubts = told_doubts(result)
    audit, due = _by_point(result.audit), _by_point(result.due)
    samples = _by_point(result.samples)
    changes = _by_point(result.comparison.changes) if result.comparison else {}
    record_before = result.comparison.record_end if result.comparison else 0
    links: dict[str, list[Link]] = {}
    for link in result.links:
        links.setdefault(link.shift, []).append(link)
    return [
        About(
            findings=found[name],
            verdict=verdicts[name],
            plant=result.plant,
            calibrations=tuple(calibrations.get(name, ())),
            shifts=tuple(shifts.get(name, ())),
            links=tuple(link for shift in shifts.get(name, ()) for link in links.get(shift.id, ())),
            doubts=tuple(doubts.get(name, ())),
            samples=tuple(samples.get(name, ())),
            neighbours=tuple(peer for peer in peers if peer.unit == found[name].unit)[:MOST_NEIGHBOURS],
            related=tuple(peer for peer in peers if peer.unit != found[name].unit)[:MOST_RELATED],
            outcomes=result.outcomes,
            remarks={e.id: result.remarks[e.id] for e in found[name].events if e.id in result.remarks},
            audit=tuple(audit.get(name, ())),
            due=tuple(due.get(name, ())),
            changes=tuple(changes.get(name, ())),
            record_before=record_before,
        )
        for name in verdicts
        if name in found
        for peers in [[found[other] for other in found[name].point.neighbours if other in found]]
    ]


def _by_point(rows: Sequence[T]) -> dict[str, list[T]]:
    sorted_out: dict[str, list[T]] = {}
    for row in rows:
        sorted_out.setdefault(row.point, []).append(row)
    return sorted_out
