"""What is new of points beside their events: answers, readings to doubt, the calibration log, calibrations overdue."""

from __future__ import annotations

from sqlite3 import Connection

from excursions import clock
from excursions.clock import duration_text
from excursions.report.result import VERDICTS, ScanResult, Verdict
from excursions.report.wording import day, doubt_sentence
from excursions.site.changes import MOVED_NS, Change, Telling

NOT_AUDIT_NEWS = ("overdue", "cannot tell")  # the first has a heading of its own, the second says nothing


def update_points(connection: Connection, result: ScanResult, work: Telling) -> None:
    """Bring the ledger's verdicts and overdue calibrations up to date, and tell what is new; each thing once."""
    _update_verdicts(connection, result, work)
    _tell_doubts(connection, result, work)
    _tell_audit(connection, result, work)
    _update_overdue(connection, result, work)


def _update_verdicts(connection: Connection, result: ScanResult, work: Telling) -> None:
    """Points whose answer became worse or better, beside what their events say."""
    before = {row["point"]: row for row in connection.execute("SELECT * FROM verdicts")}
    spoken = {(change.what, change.point) for change in work.changes if change.told}
    ends = {findings.point.name: findings.end for findings in result.points}
    connection.execute("DELETE FROM verdicts")
    for verdict in sorted(result.verdicts, key=lambda v: v.point):
        connection.execute(
            "INSERT INTO verdicts VALUES (?, ?, ?, ?)",
            (verdict.point, verdict.verdict, verdict.since, verdict.sentence),
        )
        old = before.get(verdict.point)
        if old is None:
            continue
        if old["verdict"] != verdict.verdict:
            _tell_verdict(verdict, old["verdict"], spoken, work)
        elif _moved_since(old["since"], verdict, ends.get(verdict.point, 0)):
            _tell_onset(verdict, old["since"], spoken, work)


def _moved_since(old: int | None, verdict: Verdict, now: int) -> bool:
    """Whether a standing doubt begins elsewhere than was told: by more than a tenth of how long it stands."""
    if old is None or verdict.since is None:
        return False
    return abs(old - verdict.since) > max(MOVED_NS, (now - verdict.since) // 10)


def _tell_onset(verdict: Verdict, old: int, spoken: set[tuple[str, str]], work: Telling) -> None:
    since = f"since {day(old, work.tz)}", f"since {day(verdict.since or 0, work.tz)}"
    work.changes.append(
        Change(
            what="changed",
            point=verdict.point,
            severity="check",
            before=since[0],
            after=since[1],
            sentence=f"What it rests on is dated anew. Before: {verdict.verdict} {since[0]}; now: {since[1]}.",
            told=not any(point == verdict.point for _, point in spoken),
        )
    )


def _tell_verdict(verdict: Verdict, old: str, spoken: set[tuple[str, str]], work: Telling) -> None:
    worse = VERDICTS.index(verdict.verdict) < VERDICTS.index(old)
    what = "worse" if worse else "resolved"
    # What is told of an event says it already, and how the point stands; two messages about one thing are one too many.
    said = any(
        (heading, verdict.point) in spoken for heading in (("worse", "new", "changed") if worse else (what,))
    )
    work.changes.append(
        Change(
            what=what,
            point=verdict.point,
            severity="act" if worse else "note",
            before=old,
            after=verdict.verdict,
            sentence=f"{old} became {verdict.verdict}: {verdict.sentence}",
            told=not said,
        )
    )


def _tell_doubts(connection: Connection, result: ScanResult, work: Telling) -> None:
    """Readings that a calibration found out of tolerance; what the calibration ended is told once."""
    known = _told_before(connection, "doubted")
    names = {row["current"]: row["event"] for row in connection.execute("SELECT event, current FROM events")}
    units = {
        point.name: point.quantity.unit for point in result.plant.points
    }  # also of those without a record
    units |= {findings.point.name: findings.unit for findings in result.points}
    for doubt in sorted(result.told_doubts, key=lambda d: (d.point, d.end, d.start)):
        closed = (doubt.point, clock.iso(doubt.end))
        if doubt.open_end or not doubt.hours_out_of_tolerance > 0 or closed in known:
            continue
        known.add(closed)
        work.changes.append(
            Change(
                what="doubted",
                point=doubt.point,
                event=names.get(doubt.event, ""),
                severity="check",
                after=closed[1],
                sentence=f"Readings to doubt: {doubt_sentence(doubt, units.get(doubt.point, ''), work.tz)}.",
                told=True,
            )
        )


def _tell_audit(connection: Connection, result: ScanResult, work: Telling) -> None:
    """Where the calibration log and the record disagree, each once; a log may be late, so what it lacks waits for its next entry."""
    known = _told_before(connection, "audit")
    logged = max((c.time for c in result.calibrations), default=0)
    for finding in result.audit:
        if finding.kind in NOT_AUDIT_NEWS or (finding.kind == "no entry" and finding.end > logged):
            continue
        name = f"{finding.kind}: {finding.calibration or clock.iso(finding.start)[:10]}"
        if (finding.point, name) in known:
            continue
        known.add((finding.point, name))
        work.changes.append(
            Change(
                what="audit",
                point=finding.point,
                severity="note",
                after=name,
                sentence=f"{finding.kind.capitalize()}: {finding.sentence}.",
                told=True,
            )
        )


def _told_before(connection: Connection, what: str) -> set[tuple[str, str]]:
    """Points and what was told of them under a heading in the nights before."""
    rows = connection.execute("SELECT point, after FROM changes WHERE what = ?", (what,))
    return {(row["point"], row["after"]) for row in rows}


def _update_overdue(connection: Connection, result: ScanResult, work: Telling) -> None:
    """Calibrations whose planned date lies before the end of the record; each is told once."""
    known = {
        (row["point"], row["probe"], row["planned"]) for row in connection.execute("SELECT * FROM overdue")
    }
    ends = {findings.point.name: findings.end for findings in result.points}
    connection.execute("DELETE FROM overdue")
    for due in result.due:
        if due.planned is None or due.point not in ends or ends[due.point] <= due.planned:
            continue
        if due.probe and result.plant.probe_at(due.point, ends[due.point]) not in (due.probe, None):
            continue  # it sits on the bench
        connection.execute(
            "INSERT OR REPLACE INTO overdue VALUES (?, ?, ?)", (due.point, due.probe, due.planned)
        )
        if (due.point, due.probe, due.planned) in known:
            continue
        late = duration_text((ends[due.point] - due.planned) / 1e9)
        who = f" of probe {due.probe}" if due.probe else ""
        work.changes.append(
            Change(
                what="overdue",
                point=due.point,
                severity="check",
                after=clock.iso(due.planned),
                sentence=f"The calibration{who} was planned for {day(due.planned, work.tz)}, {late} before the end of the record.",
                told=True,
            )
        )
