"""What is different from the run before: new, worse, better or gone, of points and of events worth a look.

An event keeps its identity when its onset moved a little: same point, same kind, overlapping time.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.digits import written
from excursions.kinds import KINDS
from excursions.records import MAY_BE_PROBE, SEVERITY_RANK, Event
from excursions.report.earlier import Earlier, EarlierEvent, EarlierPoint
from excursions.report.result import VERDICTS, Change, Comparison, PointFindings, ScanResult, Verdict
from excursions.report.wording import day, event_sentence

NEW, WORSE, BETTER, GONE = CHANGES = ("new", "worse", "better", "gone")
NEAR = clock.NS_PER_HOUR  # an onset found this much earlier or later is the same onset


def compared(result: ScanResult, earlier: Earlier | None) -> ScanResult:
    """The result with its comparison, and the same in brief in ``run``."""
    if earlier is None:
        return result
    changes = () if earlier.problem else compare(result, earlier)
    comparison = Comparison(
        run=earlier.run, record_end=earlier.record_end, changes=changes, problem=earlier.problem
    )
    counts = {word: sum(change.change == word for change in changes) for word in CHANGES}
    brief: dict[str, object] = {"run": earlier.run, "problem": earlier.problem, **counts}
    return dataclasses.replace(result, comparison=comparison, run=result.run | {"since_run": brief})


def compare(result: ScanResult, earlier: Earlier) -> tuple[Change, ...]:
    """All changes: kinds in the order of `CHANGES`, then points in the order of the verdicts, then by time."""
    tz = clock.zone(result.plant.zone)
    verdicts = {verdict.point: verdict for verdict in result.verdicts}
    before = {point.point: point for point in earlier.points}
    rank = {name: number for number, name in enumerate([*verdicts, *sorted(before.keys() - verdicts.keys())])}
    rows = [
        *(_new_point(v) for name, v in verdicts.items() if name not in before),
        *(_gone_point(p) for name, p in before.items() if name not in verdicts),
        *(row for name, v in verdicts.items() if name in before for row in _verdict(before[name], v)),
    ]
    events: dict[str, list[EarlierEvent]] = {}
    for event in earlier.events:
        events.setdefault(event.point, []).append(event)
    for findings in result.points:
        name = findings.point.name
        if name in before:
            rows += _events(events.get(name, []), findings, tz)
    return tuple(
        sorted(rows, key=lambda row: (CHANGES.index(row.change), rank[row.point], row.start, row.event))
    )


def _new_point(verdict: Verdict) -> Change:
    return Change(
        change=NEW, what="point", point=verdict.point, after=verdict.verdict,
        sentence=f"A point that was not there before: {verdict.verdict}.",
    )  # fmt: skip


def _gone_point(point: EarlierPoint) -> Change:
    return Change(
        change=GONE, what="point", point=point.point, before=point.verdict,
        sentence=f"A point of the run before ({point.verdict}) that is not in what was given now.",
    )  # fmt: skip


def _verdict(before: EarlierPoint, now: Verdict) -> Iterator[Change]:
    ranks = [VERDICTS.index(v) if v in VERDICTS else len(VERDICTS) for v in (before.verdict, now.verdict)]
    if ranks[0] != ranks[1]:
        yield Change(
            change=WORSE if ranks[1] < ranks[0] else BETTER, what="verdict", point=now.point,
            before=before.verdict, after=now.verdict,
            sentence=f"{now.verdict}, was {before.verdict}: {now.sentence}",
        )  # fmt: skip
        return
    old, new = before.error, now.error
    if old is None or not (math.isfinite(old) and math.isfinite(new)):
        return
    bands = [b for b in (before.error_band, now.error_band) if b is not None and math.isfinite(b)]
    grown = abs(new) - abs(old)
    if abs(grown) > max(bands, default=0.0) and grown:
        yield Change(
            change=WORSE if grown > 0 else BETTER, what="error", point=now.point,
            before=written(old, 4), after=written(new, 4),
            sentence=f"Further off than before: {now.sentence}" if grown > 0 else f"Less off than before: {now.sentence}",
        )  # fmt: skip


def _events(before: list[EarlierEvent], findings: PointFindings, tz: ZoneInfo) -> Iterator[Change]:
    for event in findings.events:
        old = next((e for e in before if _same(e, event)), None)
        if _told(event) and (old is None or not _told(old)):
            again = "" if old is None else ", passed over before"
            yield _event_change(NEW if old is None else WORSE, event, f"{event_sentence(event, tz)}{again}.")
        elif old is not None and _told(old) and not _told(event):
            words = f"{event_sentence(event, tz)}: now {_laid_to(event)}."
            yield _event_change(BETTER, event, words)
        elif old is not None and _told(event) and old.open_end and not event.open_end:
            yield _event_change(BETTER, event, f"{event_sentence(event, tz)}: over now.")
    for old in before:
        inside = findings.start <= old.start <= findings.end
        if _told(old) and inside and not any(_same(old, event) for event in findings.events):
            label = KINDS[old.kind].label if old.kind in KINDS else old.kind
            yield Change(
                change=GONE, what="event", point=old.point, event=old.event, kind=old.kind, start=old.start,
                sentence=f"{label[0].upper()}{label[1:]} of {day(old.start, tz)}: no longer found in this record.",
            )  # fmt: skip


def _event_change(word: str, event: Event, sentence: str) -> Change:
    return Change(
        change=word, what="event", point=event.point, event=event.id, kind=event.kind, start=event.start,
        sentence=sentence,
    )  # fmt: skip


def _laid_to(event: Event) -> str:
    words = {"process": "laid to the process", "routine": "known as routine", "record": "laid to the export"}
    return words.get(event.origin, "for the record only")


def _told(event: Event | EarlierEvent) -> bool:
    return event.origin in MAY_BE_PROBE and SEVERITY_RANK.get(event.severity, 0) >= 1


def _same(old: EarlierEvent, event: Event) -> bool:
    if old.event == event.id:
        return True
    overlap = old.start < event.end + NEAR and event.start < old.end + NEAR
    return old.kind == event.kind and overlap
