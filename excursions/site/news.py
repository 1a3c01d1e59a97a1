"""From tonight's findings to the ledger: events by their names, what changed in which way, what became overdue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from sqlite3 import Connection, Row
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.clock import duration_text
from excursions.kinds import KINDS
from excursions.records import NOT_BORNE_OUT, SEVERITY_RANK, VERIFIED, Event, short_id
from excursions.report.result import VERDICTS, PointFindings, ScanResult, Verdict
from excursions.report.telling import PASSING
from excursions.report.wording import day, doubt_sentence, event_sentence, whose
from excursions.site.changes import WITHDRAWN, Change
from excursions.site.match import Seen, match

REPORTED_ORIGINS = ("probe", "undecided")
CLOSED = "closed"
NOT_AUDIT_NEWS = ("overdue", "cannot tell")  # the first has a heading of its own, the second says nothing
MOVED_NS = clock.NS_PER_HOUR  # an onset that moves further, and by more than a tenth of what lasts, is told
_LEADS = (
    "verified",
    "worse",
    "resolved",
    "changed",
)  # under which heading an event stands that is different in several ways


@dataclass(slots=True, kw_only=True)
class _Night:
    """What the comparison works with."""

    number: int
    tz: ZoneInfo
    report_from: str
    outcomes: Mapping[str, tuple[str, str]]
    changes: list[Change] = field(default_factory=list)

    def reported(self, origin: str, severity: str) -> bool:
        """Whether the digest tells of an event of this origin and severity."""
        return origin in REPORTED_ORIGINS and SEVERITY_RANK[severity] >= SEVERITY_RANK[self.report_from]


def update_events(
    connection: Connection, result: ScanResult, *, night: int, report_from: str
) -> list[Change]:
    """Bring the ledger's events, verdicts and overdue calibrations up to date; returns what changed, in order."""
    work = _Night(
        number=night,
        tz=clock.zone(result.plant.zone),
        report_from=report_from,
        outcomes=result.outcomes,
    )
    known: dict[str, list[Row]] = {}
    for row in connection.execute("SELECT * FROM events ORDER BY event"):
        known.setdefault(row["point"], []).append(row)
    taken = {row["event"] for rows in known.values() for row in rows}
    for findings in sorted(result.points, key=lambda f: f.point.name):
        _update_point(connection, findings, known.pop(findings.point.name, []), taken, work)
    for rows in known.values():  # points that are no longer there
        for row in rows:
            _withdraw(connection, row, work)
    _update_verdicts(connection, result, work)
    _tell_doubts(connection, result, work)
    _tell_audit(connection, result, work)
    _update_overdue(connection, result, work)
    write_changes(connection, night, work.changes)
    return work.changes


def write_changes(connection: Connection, night: int, changes: Sequence[Change]) -> None:
    """Put changes into the ledger, in their order."""
    for change in changes:
        connection.execute(
            "INSERT INTO changes (night, what, point, event, severity, before, after, sentence) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (night, change.what, change.point, change.event, change.severity, change.before, change.after,
             change.sentence),
        )  # fmt: skip


def _update_point(
    connection: Connection, findings: PointFindings, rows: Sequence[Row], taken: set[str], work: _Night
) -> None:
    """Events that the ledger shows come before those it has withdrawn, which may return."""
    by_name = {row["event"]: row for row in rows}
    events = sorted(findings.events, key=lambda e: (e.start, e.kind, e.end))
    named = match([_seen(row) for row in rows if row["state"] != WITHDRAWN], events)
    left = [number for number in range(len(events)) if number not in named]
    again = match([_seen(row) for row in rows if row["state"] == WITHDRAWN], [events[n] for n in left])
    named |= {left[number]: name for number, name in again.items()}
    for number, event in enumerate(events):
        if number in named:
            _renew(connection, by_name[named[number]], event, work)
        else:
            _begin(connection, event, taken, work)
    for name in sorted(set(by_name) - set(named.values())):
        _withdraw(connection, by_name[name], work)


def _seen(row: Row) -> Seen:
    return Seen(name=row["event"], kind=row["kind"], start=row["start"], end=row["end"])


def _facts(event: Event, work: _Night) -> dict[str, object]:
    """The columns that follow from tonight's findings alone."""
    after = work.outcomes.get(event.id, ("", ""))[0]
    state = after if after == NOT_BORNE_OUT else "verified" if after == VERIFIED else ""
    return {
        "current": event.id, "point": event.point, "probe": event.probe, "kind": event.kind, "origin": event.origin,
        "severity": event.severity, "start": event.start, "end": event.end, "open_end": int(event.open_end),
        "size": None if event.size != event.size else float(event.size), "size_unit": event.size_unit,
        "confidence": float(event.confidence), "after": after,
        "state": state or ("open" if event.open_end else "over"),
    }  # fmt: skip


def _begin(connection: Connection, event: Event, taken: set[str], work: _Night) -> None:
    name, number = event.id, 2
    while name in taken:
        name, number = short_id(event.id, number), number + 1
    taken.add(name)
    facts = _facts(event, work)
    settled = facts["state"] in ("verified", NOT_BORNE_OUT)
    row = facts | {
        "event": name,
        "first_seen": work.number,
        "updated": work.number,
        "ended": None if event.open_end else work.number,
        "verified": work.number if settled else None,
        "closed": None,
    }
    columns = ", ".join(row)
    marks = ", ".join(f":{key}" for key in row)
    connection.execute(f"INSERT INTO events ({columns}) VALUES ({marks})", row)
    told = work.reported(event.origin, event.severity) and not settled
    _tell(work, "new", event, name, after=str(facts["state"]), told=told)


def _renew(connection: Connection, row: Row, event: Event, work: _Night) -> None:
    facts = _facts(event, work)
    if all(row[key] == value for key, value in facts.items() if key != "state") and row["state"] in (
        facts["state"],
        CLOSED,
    ):
        return
    _compare(row, event, facts, work)
    worse = SEVERITY_RANK[event.severity] > SEVERITY_RANK[row["severity"]]
    if row["state"] == CLOSED and not worse:
        facts["state"] = CLOSED
    facts["updated"] = work.number
    facts["ended"] = None if event.open_end else row["ended"] or work.number
    facts["verified"] = row["verified"] or (
        work.number if facts["state"] in ("verified", NOT_BORNE_OUT) else None
    )
    settings = ", ".join(f"{key} = :{key}" for key in facts)
    connection.execute(f"UPDATE events SET {settings} WHERE event = :event", facts | {"event": row["event"]})


def _compare(row: Row, event: Event, facts: Mapping[str, object], work: _Night) -> None:
    """Say in which ways a known event is different: the ledger keeps each, the digest has one line for all of them."""
    found = _differences(row, event, facts, work)
    lead = min((what for what, _, _, said in found if said), key=_LEADS.index, default="")
    moved = "".join(
        f" Before: {old}; now: {new}." for what, old, new, said in found if said and what == "changed"
    )
    for what, before, after, said in found:
        leads, lead = said and what == lead, "" if said and what == lead else lead
        _tell(
            work,
            what,
            event,
            row["event"],
            before=before,
            after=after,
            told=leads,
            more=moved if leads else "",
        )


def _differences(
    row: Row, event: Event, facts: Mapping[str, object], work: _Night
) -> list[tuple[str, str, str, bool]]:
    """What is different, each as heading, before, after and whether the digest tells of it."""
    told, closed = work.reported(event.origin, event.severity), row["state"] == CLOSED
    was_told = work.reported(row["origin"], row["severity"])
    found = []
    if row["state"] == WITHDRAWN:
        found.append(("changed", WITHDRAWN, "seen again", told))
    if row["kind"] != event.kind or row["origin"] != event.origin:
        names = _called(row["kind"], row["origin"]), _called(event.kind, event.origin)
        found.append(("changed", *names, told or was_told))
    elif abs(row["start"] - event.start) > max(MOVED_NS, event.well_begun - event.start):
        found.append(
            ("changed", f"began {day(row['start'], work.tz)}", f"began {day(event.start, work.tz)}", told)
        )
    passes = event.kind in PASSING or event.went_back  # a changed level stays when it no longer moves
    if SEVERITY_RANK[event.severity] > SEVERITY_RANK[row["severity"]]:
        found.append(("worse", row["severity"], event.severity, told))
    elif event.open_end and not row["open_end"]:
        found.append(("worse", "over", "open again", told and not closed))
    if row["open_end"] and not event.open_end and passes:
        found.append(("resolved", "open", "over", told and not closed))
    if facts["after"] != row["after"] and facts["state"] in ("verified", NOT_BORNE_OUT):
        found.append(("verified", row["after"], str(facts["after"]), told))
    return found


def _called(kind: str, origin: str) -> str:
    return f"{KINDS[kind].label if kind in KINDS else kind} ({origin})"


def _withdraw(connection: Connection, row: Row, work: _Night) -> None:
    if row["state"] == WITHDRAWN:
        return
    connection.execute(
        "UPDATE events SET state = ?, updated = ? WHERE event = ?", (WITHDRAWN, work.number, row["event"])
    )
    label = _called(row["kind"], row["origin"])
    work.changes.append(
        Change(
            what="changed",
            point=row["point"],
            event=row["event"],
            severity=row["severity"],
            before=label,
            after=WITHDRAWN,
            sentence=f"In the record as it is now nothing is left of this {label} of {day(row['start'], work.tz)}.",
            told=work.reported(row["origin"], row["severity"]),
        )
    )


def _tell(
    work: _Night,
    what: str,
    event: Event,
    name: str,
    *,
    told: bool,
    before: str = "",
    after: str = "",
    more: str = "",
) -> None:
    sentence = f"{event_sentence(event, work.tz)} ({whose(event)})."
    if what == "verified":
        sentence = f"{sentence} {work.outcomes[event.id][1]}"
    sentence += more or (f" Before: {before}; now: {after}." if what == "changed" else "")
    work.changes.append(
        Change(
            what=what,
            point=event.point,
            event=name,
            severity=event.severity,
            before=before,
            after=after,
            sentence=sentence,
            told=told,
        )
    )


def _update_verdicts(connection: Connection, result: ScanResult, work: _Night) -> None:
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


def _tell_onset(verdict: Verdict, old: int, spoken: set[tuple[str, str]], work: _Night) -> None:
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


def _tell_verdict(verdict: Verdict, old: str, spoken: set[tuple[str, str]], work: _Night) -> None:
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


def _tell_doubts(connection: Connection, result: ScanResult, work: _Night) -> None:
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


def _tell_audit(connection: Connection, result: ScanResult, work: _Night) -> None:
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


def _update_overdue(connection: Connection, result: ScanResult, work: _Night) -> None:
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
