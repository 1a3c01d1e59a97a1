"""What changed since the conclusion before, as the overview shows it; from the ledger, so that a run cut off tells the same."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import datetime

from excursions import clock
from excursions.report.changes import compared
from excursions.report.earlier import Earlier, EarlierEvent, EarlierPoint
from excursions.report.result import Remark, ScanResult
from excursions.site.ledger import Ledger

BEFORE, LATEST = "conclusion before", "conclusion"


def note_changes(ledger: Ledger, result: ScanResult) -> None:
    """Keep what the comparison needs of this conclusion, behind what was kept of the one before (inside a transaction)."""
    ledger.set_meta(BEFORE, ledger.meta(LATEST))
    points = [
        EarlierPoint(
            point=verdict.point, verdict=verdict.verdict, sentence=verdict.sentence,
            error=_figure(verdict.error), error_band=_figure(verdict.error_band),
        )
        for verdict in result.verdicts
    ]  # fmt: skip
    events = [
        EarlierEvent(
            event=event.id, point=event.point, kind=event.kind, origin=event.origin, severity=event.severity,
            start=event.start, end=event.end, open_end=event.open_end,
        )
        for findings in result.points
        for event in findings.events
    ]  # fmt: skip
    kept = Earlier(
        run=str(result.run.get("run", "")),
        record_end=max((findings.end for findings in result.points), default=0),
        points=tuple(points),
        events=tuple(events),
    )
    ledger.set_meta(LATEST, json.dumps(asdict(kept), ensure_ascii=False))


def remarks(ledger: Ledger) -> dict[str, tuple[Remark, ...]]:
    """What people wrote, by the id under which this conclusion tells the event; oldest first."""
    found: dict[str, list[Remark]] = {}
    for row in ledger.rows(
        "SELECT current, written, act, text FROM notes JOIN events USING (event) ORDER BY number"
    ):
        written = clock.to_ns(datetime.fromisoformat(row["written"]))
        found.setdefault(row["current"], []).append(Remark(act=row["act"], written=written, text=row["text"]))
    return {event: tuple(rows) for event, rows in found.items()}


def since_last_conclusion(ledger: Ledger, result: ScanResult) -> ScanResult:
    """The result with what changed since the conclusion before; as it is after the first."""
    text = ledger.meta(BEFORE)
    if not text:
        return result
    held = json.loads(text)
    return compared(
        result,
        Earlier(
            run=held["run"],
            record_end=held["record_end"],
            points=tuple(EarlierPoint(**row) for row in held["points"]),
            events=tuple(EarlierEvent(**row) for row in held["events"]),
        ),
    )


def _figure(value: float) -> float | None:
    return value if math.isfinite(value) else None
