"""What the fleet as a whole shows: changes since the run before, the audit, what is due, what the record teaches."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from dashboards.wording import PARAMETER_WORDS, Reader, capital, counted, joined, thousands
from excursions.clock import duration_text
from excursions.conclusions import AuditFinding, Coefficient, Due, Lesson
from excursions.digits import number
from excursions.measurands import MEASURANDS
from excursions.plant import Plant
from excursions.report.changes import CHANGES
from excursions.report.reader import looking
from excursions.report.result import Change, ScanResult

MOST_CHANGES = 60
MOST_DUE = 200
AUDIT_WORDS = {
    "no trace": "entry without a trace",
    "no entry": "trace without an entry",
    "other plateaus": "other standards seen",
    "not taken over": "adjustment not seen",
    "other temperature": "other temperature seen",
    "other clock": "log by another clock",
    "copied": "figures repeated",
    "overdue": "longer than the plan",
    "cannot tell": "cannot be told",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """One thing that is different from the run before."""

    change: str
    point: str
    slug: str
    anchor: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What changed, in a line and in rows; `line` is empty without a run before."""

    line: str
    rows: tuple[ChangeRow, ...]
    left_out: int
    of_point: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditRow:
    """One thing in the calibration log that the record does not bear out."""

    instant: int
    when: str
    kind: str
    point: str
    slug: str
    probe: str
    text: str
    could_hide: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRow:
    """When a probe should be calibrated next."""

    point: str
    slug: str
    probe: str
    last: str
    planned: str
    staircase: str
    limit: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonRow:
    """What the record teaches of one parameter of one kind of probe, with its confidence intervals."""

    what: str
    from_what: str
    figures: tuple[str, ...]
    sentence: str


def change_content(result: ScanResult, reader: Reader, slugs: Mapping[str, str]) -> Changes:
    """What is different from the run before in the same folder."""
    comparison = result.comparison
    if comparison is None:
        return Changes(line="", rows=(), left_out=0, of_point={})
    if comparison.problem:
        line = f"It cannot be said what changed: {comparison.problem}."
        return Changes(line=line, rows=(), left_out=0, of_point={})
    at = looking(result.points, reader)
    rows = tuple(_change_row(change, at(change.point), slugs) for change in comparison.changes[:MOST_CHANGES])
    told = joined(
        [f"{thousands(n)} {w}" for w in CHANGES if (n := sum(c.change == w for c in comparison.changes))]
    )
    line = f"{since_the_run_before(comparison.record_end, reader)}: {told or 'nothing changed'}."
    of_point: dict[str, str] = {}
    for change in comparison.changes:
        of_point.setdefault(change.point, change.change)
    return Changes(line=line, rows=rows, left_out=len(comparison.changes) - len(rows), of_point=of_point)


def since_the_run_before(record_end: int, reader: Reader) -> str:
    """What changes are counted from; record_end: of the run before [ns], 0 when not known."""
    until = f", whose record ended {reader.moment(record_end)}" if record_end else ""
    return f"Since the run before{until}"


def _change_row(change: Change, reader: Reader, slugs: Mapping[str, str]) -> ChangeRow:
    return ChangeRow(
        change=change.change,
        point=change.point,
        slug=slugs.get(change.point, ""),
        anchor=f"#ev-{change.event}" if change.event and change.change != "gone" else "",
        sentence=capital(reader.text(change.sentence)),
    )


def audit_rows(result: ScanResult, reader: Reader, slugs: Mapping[str, str]) -> tuple[AuditRow, ...]:
    """Findings of the audit and what does not fit within an entry, newest first."""
    at = looking(result.points, reader)
    entered = {c.id: c.time for c in result.calibrations}
    rows = [audit_row(finding, at(finding.point), slugs, entered) for finding in result.audit]
    copied = {finding.calibration for finding in result.audit if finding.kind == "copied"}
    rows += [
        AuditRow(
            instant=c.time, when=reader.moment(c.time), kind="entry does not fit", point=c.point,
            slug=slugs.get(c.point, ""), probe=c.probe, text=capital(at(c.point).text("; ".join(c.checks))), could_hide="",
        )
        for c in result.calibrations
        if c.checks and not (c.id in copied and len(c.checks) == 1)
    ]  # fmt: skip
    return tuple(sorted(rows, key=lambda row: (-row.instant, row.point, row.kind)))


def audit_row(
    finding: AuditFinding, reader: Reader, slugs: Mapping[str, str], entered: Mapping[str, int]
) -> AuditRow:
    """One finding of the audit as text, under the instant of its entry [ns]; one without an entry where it was seen."""
    instant = entered.get(finding.calibration, finding.start)
    when = reader.moment(instant)
    if finding.kind == "overdue":
        when = f"{reader.date(finding.start)} to {reader.date(finding.end)}"
    return AuditRow(
        instant=instant, when=when, kind=AUDIT_WORDS.get(finding.kind, finding.kind), point=finding.point,
        slug=slugs.get(finding.point, ""), probe=finding.probe, text=capital(reader.text(finding.sentence)),
        could_hide="; ".join(reader.text(text) for text in finding.could_hide),
    )  # fmt: skip


def due_rows(result: ScanResult, reader: Reader, slugs: Mapping[str, str]) -> tuple[DueRow, ...]:
    """Probes in use, by the earliest of their dates; those without any come last.

    A probe that has left its point is due nowhere: it is calibrated before it goes back in.
    """
    ends = {findings.point.name: findings.end for findings in result.points}

    def first(due: Due) -> tuple[int, str]:
        dates = [d for d in (due.planned, due.limit_early, due.staircase) if d is not None]
        return (min(dates, default=2**63 - 1), due.point)

    used = [due for due in result.due if in_use(due, result.plant, ends.get(due.point, due.last))]
    return tuple(
        due_row(due, ends.get(due.point, due.last), reader, slugs)
        for due in sorted(used, key=first)[:MOST_DUE]
    )


def in_use(due: Due, plant: Plant, end: int) -> bool:
    """Whether the probe still sits at the point at an instant, as far as anybody said."""
    sits = plant.probe_at(due.point, end)
    return not sits or not due.probe or sits == due.probe


def due_row(due: Due, end: int, reader: Reader, slugs: Mapping[str, str]) -> DueRow:
    """The dates of one probe as text; end: of the record."""
    limit = "not foreseeable"
    if due.limit is not None:
        name = PARAMETER_WORDS.get(due.parameter, due.parameter)
        early = reader.date(due.limit_early) if due.limit_early is not None else "not known"
        late = reader.date(due.limit_late) if due.limit_late is not None else "no end foreseeable"
        limit = f"{name} about {reader.date(due.limit)} ({early} to {late})"
        if due.limit <= due.last:
            limit = f"{name}: beyond it at the last calibration"
    planned, staircase = _date(due.planned, end, reader), _date(due.staircase, end, reader)
    ways = [f"by the plan {planned}"] if due.planned is not None else []
    ways += [f"by the last results {staircase}"] if due.staircase is not None else []
    return DueRow(
        point=due.point,
        slug=slugs.get(due.point, ""),
        probe=due.probe,
        last=reader.date(due.last),
        planned=planned,
        staircase=staircase,
        limit=limit,
        when="; ".join(ways) or "not known, because no plan is stated and the last results give no interval",
    )


def _date(instant: int | None, end: int, reader: Reader) -> str:
    """A date, and by how much it was over when the record ended."""
    if instant is None:
        return "not known"
    over = (
        f", over by {duration_text((end - instant) / 1e9)} at the end of the record" if instant < end else ""
    )
    return f"{reader.date(instant)}{over}"


def lesson_rows(result: ScanResult, reader: Reader) -> tuple[tuple[LessonRow, ...], tuple[LessonRow, ...]]:
    """What could be learned, and what could not for want of calibrations."""
    rows = [(lesson.enough, _lesson_row(lesson, reader)) for lesson in result.lessons]
    return tuple(row for enough, row in rows if enough), tuple(row for enough, row in rows if not enough)


def _lesson_row(lesson: Lesson, reader: Reader) -> LessonRow:
    kind = MEASURANDS[lesson.measurand].label if lesson.measurand in MEASURANDS else lesson.measurand
    model = f", {lesson.model}" if lesson.model else ""
    return LessonRow(
        what=f"{PARAMETER_WORDS.get(lesson.parameter, lesson.parameter)} of {kind} probes{model}",
        from_what=f"{counted(lesson.shifts, 'shift')} of {counted(lesson.probes, 'probe')}",
        figures=tuple(_figure(c, lesson.unit, reader) for c in lesson.coefficients),
        sentence=capital(reader.text(lesson.sentence)),
    )


def _figure(c: Coefficient, unit: str, reader: Reader) -> str:
    half = (c.high - c.low) / 2
    value = reader.amount(c.value, unit, half if math.isfinite(half) else math.nan, signed=True)
    return f"{c.term.replace('_', ' ')}: {value} ({number(c.low, half, signed=True)} to {number(c.high, half, signed=True)})"
