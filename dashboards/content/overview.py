"""What the first page says: the answer, then every point worst first, then the fleet's days and the audit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dashboards.content.entry import KNOWN_WORDS, Entry, day_of, entry_of, in_trouble
from dashboards.content.fleet import (
    AuditRow,
    Changes,
    DueRow,
    LessonRow,
    audit_rows,
    change_content,
    due_rows,
    lesson_rows,
)
from dashboards.content.run import RunFacts, run_content
from dashboards.look import FAMILIES, family
from dashboards.wording import (
    CAUTIONS,
    Reader,
    counted,
    joined,
    thousands,
)
from excursions.clock import NS_PER_DAY
from excursions.records import Calibration
from excursions.report.result import VERDICTS, ScanResult

MOST_NAMED = 6
VERDICT_MEANING = {
    "do not use": "the reading does not follow the process",
    "doubt": "the reading may be off, by how much is said",
    "cannot tell": "the record does not decide it",
    "trust": "nothing in the record speaks against it",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """The whole first page."""

    plant: str
    zone: str
    period: str
    answer: str
    worst: str
    earlier: str
    counts: tuple[tuple[str, int, str], ...]
    measurands: tuple[tuple[str, str, int], ...]
    entries: tuple[Entry, ...]
    first_day: int
    last_day: int
    calendar: tuple[tuple[str, str, tuple[int, ...]], ...]
    calendar_words: str
    changes: Changes
    audit: tuple[AuditRow, ...]
    due: tuple[DueRow, ...]
    lessons: tuple[LessonRow, ...]
    unlearned: tuple[LessonRow, ...]
    known: tuple[tuple[str, str, int], ...]
    run: RunFacts
    cautions: tuple[str, ...]


def overview_content(result: ScanResult, reader: Reader, slugs: Mapping[str, str]) -> Overview:
    """Turn a scan into the content of the first page.

    Parameters
    ----------
    result : ScanResult
    reader : Reader
    slugs : point name -> file stem of its page
    """
    found = {findings.point.name: findings for findings in result.points}
    changes = change_content(result, reader, slugs)
    own: dict[str, list[Calibration]] = {}
    for calibration in result.calibrations:
        own.setdefault(calibration.point, []).append(calibration)
    entries = tuple(
        entry_of(
            verdict, found[verdict.point], result, reader, slugs[verdict.point],
            calibrations=own.get(verdict.point, ()), changed=changes.of_point.get(verdict.point, ""),
        )
        for verdict in result.verdicts
        if verdict.point in found
    )  # fmt: skip
    learned, unlearned = lesson_rows(result, reader)
    first, last = record_span(result)
    days = (day_of(first, reader), day_of(last, reader))
    calendar = _calendar(result, reader, days)
    return Overview(
        plant=result.plant.name or "the plant",
        zone=reader.tz.key,
        period=f"{reader.date(first)} to {reader.date(last)}" if result.points else "no record",
        answer=_answer(entries),
        worst=_worst(entries),
        earlier=_earlier(result),
        counts=tuple(
            (verdict, sum(e.verdict == verdict for e in entries), VERDICT_MEANING[verdict])
            for verdict in VERDICTS
        ),
        measurands=_measurands(entries),
        entries=entries,
        first_day=days[0],
        last_day=days[1],
        calendar=calendar,
        calendar_words=_calendar_words(calendar, days, reader),
        changes=changes,
        audit=audit_rows(result, reader, slugs),
        due=due_rows(result, reader, slugs),
        lessons=learned,
        unlearned=unlearned,
        known=tuple(
            (key, words, sum(e.known_key == key for e in entries)) for key, words in KNOWN_WORDS.items()
        ),
        run=run_content(result, reader),
        cautions=CAUTIONS,
    )


def record_span(result: ScanResult) -> tuple[int, int]:
    """First and last instant of all points that have a record [ns]; (0, 0) without any."""
    held = [f for f in result.points if f.samples]
    return min((f.start for f in held), default=0), max((f.end for f in held), default=0)


def _calendar(
    result: ScanResult, reader: Reader, days: tuple[int, int]
) -> tuple[tuple[str, str, tuple[int, ...]], ...]:
    """(words, ink, events a day) of every family, events worth a look by their first day."""
    length = max(1, days[1] - days[0] + 1)
    rows = []
    for group in FAMILIES:
        starts = np.array(
            [
                event.start
                for findings in result.points
                for event in findings.events
                if in_trouble(event) and family(event.kind) is group
            ],
            dtype=np.int64,
        )
        if starts.size:
            day = np.clip(reader.wall_ms(starts) // 86_400_000 - days[0], 0, length - 1)
            counts = np.bincount(day, minlength=length)
            rows.append((group.label, group.ink, tuple(int(c) for c in counts)))
    return tuple(rows)


def _calendar_words(
    calendar: tuple[tuple[str, str, tuple[int, ...]], ...], days: tuple[int, int], reader: Reader
) -> str:
    if not calendar:
        return "No event worth a look in this record."
    parts = []
    for label, _, counts in calendar:
        busiest = int(np.argmax(counts))
        when = reader.date((days[0] + busiest) * NS_PER_DAY + NS_PER_DAY // 2)
        most = f", most on {when} ({counts[busiest]})" if counts[busiest] > 1 else ""
        parts.append(f"{label}: {counted(sum(counts), 'event')}{most}")
    return "Events worth a look by the day they began. " + "; ".join(parts) + "."


def _answer(entries: tuple[Entry, ...]) -> str:
    """The page's first sentence."""
    if not entries:
        return "No point could be read."
    trouble = [e for e in entries if e.in_trouble and e.verdict != CANNOT_TELL]
    untold = sum(e.verdict == CANNOT_TELL for e in entries)
    if untold:
        return _answer_in_part(entries, len(trouble), untold)
    if not trouble:
        if len(entries) == 1:
            return f"The reading of the one point may be trusted, as far as this record goes{_uncompared(entries)}."
        all_of_them = "Both" if len(entries) == 2 else f"All {thousands(len(entries))}"
        return f"{all_of_them} points may be trusted, as far as this record goes{_uncompared(entries)}."
    if len(entries) == 1:
        return f"The reading of {trouble[0].name} is not to be trusted as it stands."
    many = len(trouble) != 1
    return (
        f"{thousands(len(trouble))} of {thousands(len(entries))} points {'are' if many else 'is'} not to be trusted as "
        f"{'they stand' if many else 'it stands'}."
    )


def _uncompared(entries: tuple[Entry, ...]) -> str:
    """What a record alone cannot say of readings to trust: how many were never held against a standard."""
    never = sum(e.known_key == "never" for e in entries)
    if not never:
        return ""
    if never == len(entries):
        return f"; {'it was never' if never == 1 else 'none was ever'} compared with a calibration"
    return f"; {thousands(never)} of them {'was' if never == 1 else 'were'} never compared with a calibration"


CANNOT_TELL = "cannot tell"


def _answer_in_part(entries: tuple[Entry, ...], trouble: int, untold: int) -> str:
    """The first sentence where of some points nothing can be told."""
    if len(entries) == 1:
        return f"Whether the reading of {entries[0].name} may be trusted cannot be told from this record."
    of_them = f"of {thousands(untold)} {'more ' if trouble else ''}it cannot be told"
    if not trouble:
        return f"No point is found wrong, but {of_them}."
    many = trouble != 1
    return (
        f"{thousands(trouble)} of {thousands(len(entries))} points {'are' if many else 'is'} not to be trusted as "
        f"{'they stand' if many else 'it stands'}; {of_them}."
    )


def _worst(entries: tuple[Entry, ...]) -> str:
    if not entries or not entries[0].in_trouble:
        return ""
    lead = entries[0]
    since = f" since {lead.since}" if lead.since else ""
    return f"Worst: {lead.name} ({lead.measurand}), {lead.verdict}{since}."


def _earlier(result: ScanResult) -> str:
    """Points whose earlier readings are doubtful although doubt does not last to the end of the record."""
    past = {doubt.point for doubt in result.past_doubts}
    names = [verdict.point for verdict in result.verdicts if verdict.point in past]
    if not names:
        return ""
    named = joined(
        names[:MOST_NAMED]
        + ([f"{thousands(len(names) - MOST_NAMED)} more"] if len(names) > MOST_NAMED else [])
    )
    return f"Stretches of earlier readings are doubtful at {named}."


def _measurands(entries: tuple[Entry, ...]) -> tuple[tuple[str, str, int], ...]:
    counts: dict[tuple[str, str], int] = {}
    for entry in entries:
        key = (entry.measurand_key, entry.measurand)
        counts[key] = counts.get(key, 0) + 1
    return tuple(
        (key, label, count) for (key, label), count in sorted(counts.items(), key=lambda kv: kv[0][1])
    )
