"""What the first page says: the answer, then every point worst first, then the fleet's days and the audit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

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
    Reader,
    capital,
    counted,
    described,
    joined,
    kind_label,
    off_by,
    since_words,
    thousands,
)
from excursions.clock import NS_PER_DAY, TimeArray, duration_text
from excursions.kinds import MOVES
from excursions.records import VERIFIED, Event
from excursions.report.followed import moved_after
from excursions.report.result import VERDICTS, PointFindings, ScanResult, Verdict
from excursions.report.telling import became

MOST_NAMED = 6
CAUTIONS = (
    "This is no release system and no protective system: it reads a record after the fact. Quality decisions and "
    "safety functions stay where they are.",
    "Local procedures, lock-out and authorised people decide on every piece of work on a line.",
    "Steam, pressure, hot caustic, acids and broken glass can hurt: isolate, vent, drain and cool before a fitting is opened, "
    "and retract a probe from a live line only with a fitting made for it.",
    "Corrected readings are estimates beside the record. The record itself is never changed.",
)
KNOWN_WORDS = {
    "verified": "verified by a calibration",
    "open": "no calibration confirms this answer yet",
    "never": "never compared with a calibration",
}
OUTSIDE = ", which found the probe outside its limits"
VERDICT_MEANING = {
    "do not use": "the reading does not follow the process",
    "doubt": "the reading may be off, by how much is said",
    "cannot tell": "the record does not decide it",
    "trust": "nothing in the record speaks against it",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One point in the log: every field is text as shown; `days` are day numbers on which something happened."""

    name: str
    slug: str
    measurand: str
    measurand_key: str
    what: str
    probe: str
    verdict: str
    sentence: str
    since: str
    since_time: str
    since_day: int
    wrong: str
    advice: str
    caution: str
    knowledge: str
    known: str
    known_key: str
    changed: str
    worn: str
    event: str
    happened: str
    searched: str
    tags: str
    days: tuple[int, ...]
    in_trouble: bool


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
    calibrated = {calibration.point for calibration in result.calibrations}
    entries = tuple(
        _entry(
            verdict, found[verdict.point], result, reader, slugs,
            known=_known(verdict, result, verdict.point in calibrated), changed=changes.of_point.get(verdict.point, ""),
        )
        for verdict in result.verdicts
        if verdict.point in found
    )  # fmt: skip
    learned, unlearned = lesson_rows(result, reader)
    first, last = record_span(result)
    days = (_day(first, reader), _day(last, reader))
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


def in_trouble(event: Event) -> bool:
    """Whether an event is one a person should look at: not routine, and worth a check."""
    return event.asks_a_look and (event.may_be_probe or event.origin == "record")


def _known(verdict: Verdict, result: ScanResult, calibrated: bool) -> str:
    """Whether a calibration bears the verdict out: a key of `KNOWN_WORDS`."""
    if not calibrated:
        return "never"
    if all(c.left_only for c in result.calibrations if c.point == verdict.point):
        return "open"  # only what was left was entered: nobody said what was found
    if verdict.verdict == "trust" or became(result.outcomes, verdict.event) == VERIFIED:
        return "verified"
    return "open"


def _entry(
    verdict: Verdict, findings: PointFindings, result: ScanResult, reader: Reader, slugs: Mapping[str, str],
    *, known: str, changed: str,
) -> Entry:  # fmt: skip
    point = findings.point
    since = verdict.since
    since_day, since_time = since_now(verdict, findings, reader)
    return Entry(
        name=point.name,
        slug=slugs[point.name],
        measurand=point.quantity.label,
        measurand_key=point.measurand,
        what=described(point.quantity.label, point.description),
        probe=result.plant.probe_at(point.name, findings.end) or "",
        verdict=verdict.verdict,
        sentence=reader.text(verdict.sentence),
        since=since_day,
        since_time=since_time,
        since_day=_day(since, reader) if since is not None else 0,
        wrong=wrong_now(verdict, findings, reader),
        advice=reader.text(verdict.advice),
        caution=reader.text(verdict.caution),
        knowledge=reader.text(verdict.knowledge),
        known=capital(KNOWN_WORDS[known]) + (OUTSIDE if verdict.worn and known == "verified" else ""),
        known_key=known,
        changed=changed,
        worn=capital(reader.text(verdict.worn)),
        event=verdict.event,
        happened=_happened(findings),
        searched=_searched(findings),
        tags=" ".join(tag for tag in point.tags.values() if tag != point.name),
        days=_event_days(findings, reader),
        in_trouble=verdict.verdict != "trust",
    )


def since_now(verdict: Verdict, findings: PointFindings, reader: Reader) -> tuple[str, str]:
    """Since when, and how long that is at the end of the record: the margin's two lines."""
    lasting = duration_text(max(0, findings.end - (verdict.since or 0)) / 1e9)
    return since_words(verdict.since, reader, about=verdict.about, rest=f"for {lasting}")


def wrong_now(verdict: Verdict, findings: PointFindings, reader: Reader) -> str:
    """How wrong the reading is at the end of the record, in words; empty for a reading to trust."""
    if verdict.verdict == "trust":
        return ""
    if verdict.verdict == "do not use":
        return "beyond correction: the reading does not follow the process"
    text = off_by(verdict.error, verdict.error_band, findings.unit, reader.difference)
    lead = next((event for event in findings.events if event.id == verdict.event), None)
    lead = (moved_after(lead, findings.events) or lead) if lead is not None else None
    if math.isfinite(verdict.error) or lead is None or lead.origin != "undecided" or lead.kind not in MOVES:
        return text
    half = (lead.size_high - lead.size_low) / 2  # the same doubt, as the moment explained tells it
    moved = off_by(lead.size, half, findings.unit, reader.difference)
    return f"{moved} if the probe did it, nothing if the process did"


def _happened(findings: PointFindings) -> str:
    """Kinds of event worth a look with how many, in words; empty without any."""
    counts: dict[str, int] = {}
    for event in findings.events:
        if in_trouble(event):
            counts[kind_label(event.kind)] = counts.get(kind_label(event.kind), 0) + 1
    told = sorted(counts.items(), key=lambda kv: (-kv[1], kv[0]))
    return joined([label if count == 1 else f"{label} ({count} times)" for label, count in told])


# What people call a family of events when they look for it; the label of each kind stands on the page already.
CALLED = {
    "heat": "heat hot heated overheated overtemperature",
    "still": "stuck frozen dead flat",
    "moved": "moved shifted offset",
    "noise": "noise noisy",
    "missing": "missing gap",
    "steam": "steam steamed steaming sterilised",
}
_IN_STEAM = "minutes_above_110_degc_min"


def _searched(findings: PointFindings) -> str:
    """Keys of :data:`CALLED`: under their words a point is found beside those on its row."""
    told = [event for event in findings.events if in_trouble(event)]
    keys = [key for key in dict.fromkeys(family(event.kind).key for event in told) if key in CALLED]
    steamed = any(
        event.kind == "sterilisation" or event.details.get(_IN_STEAM, 0.0) > 0 for event in findings.events
    )
    return " ".join([*keys, *(["steam"] if steamed else [])])


def _day(instant: int, reader: Reader) -> int:
    return int(reader.wall_ms(np.array([instant], np.int64))[0] // 86_400_000)


def _event_days(findings: PointFindings, reader: Reader) -> tuple[int, ...]:
    """Days (since 1970, plant's wall clock) on which an event worth a look began."""
    starts: TimeArray = np.array([e.start for e in findings.events if in_trouble(e)], dtype=np.int64)
    if starts.size == 0:
        return ()
    return tuple(int(day) for day in np.unique(reader.wall_ms(starts) // 86_400_000))


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
            return "The reading of the one point may be trusted."
        all_of_them = "Both" if len(entries) == 2 else f"All {thousands(len(entries))}"
        return f"{all_of_them} points may be trusted, as far as this record goes."
    if len(entries) == 1:
        return f"The reading of {trouble[0].name} is not to be trusted as it stands."
    many = len(trouble) != 1
    return (
        f"{thousands(len(trouble))} of {thousands(len(entries))} points {'are' if many else 'is'} not to be trusted as "
        f"{'they stand' if many else 'it stands'}."
    )


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
