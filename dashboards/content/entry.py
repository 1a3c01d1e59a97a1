"""One point in the log of the first page, in words: the answer, what is known of it, what happened there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dashboards.look import family
from dashboards.wording import Reader, capital, described, joined, kind_label, off_by, since_words
from excursions.clock import TimeArray, duration_text
from excursions.kinds import MOVES
from excursions.records import VERIFIED, Calibration, Doubt, Event
from excursions.report.beyond import BEYOND
from excursions.report.followed import half_band, moved_after
from excursions.report.result import PointFindings, ScanResult, Verdict
from excursions.report.telling import became, last_error

KNOWN_WORDS = {
    "verified": "verified by a calibration",
    "open": "no calibration confirms this answer yet",
    "never": "never compared with a calibration",
}
OUTSIDE = ", which found the probe outside its limits"
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


def entry_of(
    verdict: Verdict, findings: PointFindings, result: ScanResult, reader: Reader, slug: str,
    *, calibrations: Sequence[Calibration], changed: str,
) -> Entry:  # fmt: skip
    """The entry of one point.

    slug : file stem of its page; calibrations : its own; changed : what is different from the run before, in words
    """
    reader = reader.of(findings)
    point, known = findings.point, _known(verdict, result, calibrations)
    since = verdict.since
    since_day, since_time = since_now(verdict, findings, reader)
    return Entry(
        name=point.name,
        slug=slug,
        measurand=point.quantity.label,
        measurand_key=point.measurand,
        what=described(point.quantity.label, point.description),
        probe=result.plant.probe_at(point.name, findings.end) or "",
        verdict=verdict.verdict,
        sentence=reader.text(verdict.sentence),
        since=since_day,
        since_time=since_time,
        since_day=day_of(since, reader) if since is not None else 0,
        wrong=wrong_now(verdict, findings, reader, [d for d in result.doubts if d.point == point.name]),
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


def _known(verdict: Verdict, result: ScanResult, calibrations: Sequence[Calibration]) -> str:
    """Whether a calibration bears the verdict out: a key of `KNOWN_WORDS`."""
    if not calibrations:
        return "never"
    if all(c.left_only for c in calibrations):
        return "open"  # only what was left was entered: nobody said what was found
    if verdict.verdict == "trust" or became(result.outcomes, verdict.event) == VERIFIED:
        return "verified"
    return "open"


def since_now(verdict: Verdict, findings: PointFindings, reader: Reader) -> tuple[str, str]:
    """Since when, and how long that is at the end of the record: the margin's two lines."""
    lasting = duration_text(max(0, findings.end - (verdict.since or 0)) / 1e9)
    return since_words(verdict.since, reader, about=verdict.about, rest=f"for {lasting}")


def wrong_now(verdict: Verdict, findings: PointFindings, reader: Reader, doubts: Sequence[Doubt] = ()) -> str:
    """How wrong the reading is at the end of the record, in words; empty for a reading to trust.

    doubts : the windows of this point
    """
    if verdict.verdict == "trust":
        return ""
    if verdict.verdict == "do not use":
        return BEYOND
    text = off_by(verdict.error, verdict.error_band, findings.unit, reader.difference)
    lead = next((event for event in findings.events if event.id == verdict.event), None)
    lead = (moved_after(lead, findings.events) or lead) if lead is not None else None
    if math.isfinite(verdict.error) or lead is None or not lead.may_be_probe or lead.kind not in MOVES:
        return text
    mine = [d for d in doubts if d.event == lead.id and d.open_end and math.isfinite(last_error(d)[0])]
    if (
        mine and lead.origin == "probe"
    ):  # worked out since then: what it was at its largest is no answer to what it is now
        return off_by(*last_error(mine[0]), findings.unit, reader.difference)
    moved = off_by(lead.size, half_band(lead), findings.unit, reader.difference)
    if lead.origin == "probe":
        return f"{moved}, by the size of the {kind_label(lead.kind)} alone"
    return f"{moved} if the probe did it, nothing if the process did"


def in_trouble(event: Event) -> bool:
    """Whether an event is one a person should look at: not routine, and worth a check."""
    return event.asks_a_look and (event.may_be_probe or event.origin == "record")


def _happened(findings: PointFindings) -> str:
    """Kinds of event worth a look with how many, in words; empty without any."""
    counts: dict[str, int] = {}
    for event in findings.events:
        if in_trouble(event):
            counts[kind_label(event.kind)] = counts.get(kind_label(event.kind), 0) + 1
    told = sorted(counts.items(), key=lambda kv: (-kv[1], kv[0]))
    return joined([label if count == 1 else f"{label} ({count} times)" for label, count in told])


def _searched(findings: PointFindings) -> str:
    """Keys of :data:`CALLED`: under their words a point is found beside those on its row."""
    told = [event for event in findings.events if in_trouble(event)]
    keys = [key for key in dict.fromkeys(family(event.kind).key for event in told) if key in CALLED]
    steamed = any(
        event.kind == "sterilisation" or event.details.get(_IN_STEAM, 0.0) > 0 for event in findings.events
    )
    return " ".join([*keys, *(["steam"] if steamed else [])])


def _event_days(findings: PointFindings, reader: Reader) -> tuple[int, ...]:
    """Days (since 1970, plant's wall clock) on which an event worth a look began."""
    starts: TimeArray = np.array([e.start for e in findings.events if in_trouble(e)], dtype=np.int64)
    if starts.size == 0:
        return ()
    return tuple(int(day) for day in np.unique(reader.wall_ms(starts) // 86_400_000))


def day_of(instant: int, reader: Reader) -> int:
    """Number of the day (since 1970, plant's wall clock) in which an instant lies."""
    return int(reader.wall_ms(np.array([instant], np.int64))[0] // 86_400_000)
