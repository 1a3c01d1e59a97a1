"""From tonight's findings to the ledger: events by their names, what changed in which way, what became overdue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from sqlite3 import Connection, Row

from excursions import clock
from excursions.kinds import KINDS
from excursions.records import NOT_BORNE_OUT, SEVERITY_RANK, VERIFIED, Event, short_id
from excursions.report.result import PointFindings, ScanResult
from excursions.report.telling import PASSING
from excursions.report.wording import day, event_sentence, whose
from excursions.site.changes import MOVED_NS, WITHDRAWN, Change, Telling
from excursions.site.match import Seen, match
from excursions.site.pointnews import update_points

CLOSED = "closed"
# Under which heading an event stands that is different in several ways.
_LEADS = ("verified", "worse", "resolved", "changed")


def update_events(
    connection: Connection, result: ScanResult, *, night: int, report_from: str
) -> list[Change]:
    """Bring the ledger's events, verdicts and overdue calibrations up to date; returns what changed, in order."""
    work = Telling(
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
    update_points(connection, result, work)
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
    connection: Connection, findings: PointFindings, rows: Sequence[Row], taken: set[str], work: Telling
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


def _facts(event: Event, work: Telling) -> dict[str, object]:
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


def _begin(connection: Connection, event: Event, taken: set[str], work: Telling) -> None:
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


def _renew(connection: Connection, row: Row, event: Event, work: Telling) -> None:
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


def _compare(row: Row, event: Event, facts: Mapping[str, object], work: Telling) -> None:
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
    row: Row, event: Event, facts: Mapping[str, object], work: Telling
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


def _withdraw(connection: Connection, row: Row, work: Telling) -> None:
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
    work: Telling,
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
