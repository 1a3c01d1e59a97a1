"""The answers in words: each with its weight, what to do, and what a calibration confirms.

Which of them a point gets, `report.verdict` decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, duration_text
from excursions.kinds import UNUSABLE, advice_for, caution_for
from excursions.records import SEVERITY_RANK, Calibration, Doubt, Event, Outcomes
from excursions.report.followed import heat_before, moved_after, moved_sentence
from excursions.report.result import VERDICTS, PointFindings, Verdict
from excursions.report.telling import last_error, tolerance_now, worst
from excursions.report.tracks import tracks_of, worn_out
from excursions.report.wording import (
    day,
    difference,
    doubted_from,
    event_sentence,
    whose,
    why_doubted,
    worst_error,
)

MOST_LIKELY = 0.5
ASK_THE_RECORD = (
    "Ask whoever keeps the plant's record: it, not the probe, stood still or was played back then."
)
NOTHING_TO_DO = "Nothing to do until the next planned calibration."
NOTHING_NOW = "Nothing to do now."  # no plan is known, so that none can be waited for
VERIFY_SOON = "Verify it when somebody is there anyway; the next planned calibration would also tell."
ASK_FOR_MORE = "Ask for a longer or finer export of this point, or compare the reading with a sample."


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All that one point is judged by: `doubts` weighed by `telling.weighed_doubts`, and `calibrations`, are its own."""

    findings: PointFindings
    doubts: Sequence[Doubt]
    calibrations: Sequence[Calibration]
    outcomes: Outcomes
    tz: ZoneInfo

    def advice(self, kind: str) -> str:
        """What to do about an event of a kind at this point."""
        return advice_for(kind, self.findings.point.measurand, calibrated=bool(self.calibrations))

    @property
    def confirmed(self) -> str:
        """What a calibration confirms about this point."""
        if not self.calibrations:
            return "No calibration of this point was given."
        last = max(self.calibrations, key=lambda c: c.time)
        age = duration_text(max(0, self.findings.end - last.time) / 1e9)
        return f"Last {last.action} {day(last.time, self.tz)}, {age} before the end of the record."


def cannot_tell(known: Known, sentence: str) -> Verdict:
    """Nothing can be said, for want of data."""
    return _verdict(known, "cannot tell", sentence, ASK_FOR_MORE)


def from_event(verdict: str, event: Event, known: Known) -> Verdict:
    """The answer that an event gives, with the change of the reading that stands since heat."""
    change = moved_after(event, known.findings.events)
    followed = f" {moved_sentence(change, known.findings.unit, known.tz)}" if change else ""
    hot = heat_before(event, known.findings.events)
    followed += f" It followed {inside(event_sentence(hot, known.tz))}." if hot is not None else ""
    return _verdict(
        known,
        verdict,
        f"{event_sentence(event, known.tz)} ({whose(event)}).{followed}",
        known.advice(event.kind),
        weight=SEVERITY_RANK[event.severity] + event.confidence,
        since=event.start,
        event=event,
        reasons=event.evidence,
    )


def from_doubt(doubt: Doubt, events: Sequence[Event], known: Known) -> Verdict:
    """The answer that a window of doubt gives; its cause, or else the worst of some events, leads the sentence."""
    error, band = last_error(doubt)
    lead = next((e for e in known.findings.events if e.id == doubt.event), None) or worst(events)
    if lead is not None and lead.start > doubt.start + NS_PER_HOUR:
        lead = None  # a cause does not come after its effect
    unit = known.findings.unit
    if math.isfinite(error):
        direction = "high" if error > 0 else "low"
        shown = (
            f"reads about {difference(abs(error), unit, band)} {direction} (± {difference(band, unit, band)})"
        )
    else:
        shown = f"may be off by up to {difference(band, unit, band)}"
    # What creeps begins before it leaves the tolerance: two dates beside each other need a word for the second.
    later = lead is not None and doubt.about and doubt.start > lead.start + NS_PER_DAY
    since = f"{shown}{', out of tolerance' if later else ''} since {doubted_from(doubt, known.tz)}"
    told = _verdict(
        known,
        "doubt",
        f"{event_sentence(lead, known.tz)}; {since}." if lead else f"{since[0].upper()}{since[1:]}.",
        known.advice(lead.kind if lead else "drift"),
        weight=harm(doubt, known.findings),
        since=doubt.start,
        error=(error, band),
        event=lead,
        reasons=doubt.reasons,
    )
    return replace(told, about=doubt.about)


def harm(doubt: Doubt, findings: PointFindings) -> float:
    """How many tolerances a reading is off now, or may be; 1 where that is not known."""
    error, band = last_error(doubt)
    size = abs(error) if math.isfinite(error) else band
    return size / tolerance_now(findings) if math.isfinite(size) else 1.0


def trust(known: Known) -> Verdict:
    """Nothing speaks against the reading now: with what was doubtful before, what waits for a look, what wears."""
    findings, tz = known.findings, known.tz
    # What was off and went back without anybody's hand has an end only where the record has one.
    waiting = min((d for d in known.doubts if d.open_end), key=lambda doubt: doubt.start, default=None)
    worn = worn_out(tracks_of(known.calibrations))
    past = sorted((d for d in known.doubts if not d.too_small), key=lambda doubt: doubt.end)
    hidden = next((e for e in findings.events if e.kind == "hidden_heat" and e.asks_a_look), None)
    failed = past_faults(findings)
    text = "Nothing in this record speaks against the reading now."
    if waiting is not None:
        text = (
            f"Nothing certain speaks against the reading now; from {doubted_from(waiting, tz)} on a change that may be the "
            "probe's has not been verified."
        )
    if worn:
        text = f"{text[:-1]}, but the probe is due for replacement: {worn}."
    if past:
        text += _doubted_before(past, known)
    if hidden is not None:
        text += f" {event_sentence(hidden, tz)} cannot be excluded: ask for a finer export of that stretch."
    lead = worst(failed)
    if lead is not None:
        more = f", and {len(failed) - 1} more" if len(failed) > 1 else ""
        text += f" To be left out: {event_sentence(lead, tz)}{more}."
    beside = worst(_temperature_was_wrong(findings))
    if beside is not None:
        text += f" Its temperature was wrong for a while: {inside(event_sentence(beside, tz))}."
    weight = 0.1 * bool(past) + 0.05 * bool(failed) + 0.2 * bool(worn)
    advice = _advice_trusted(known, worn, waiting is not None, hidden, lead or beside)
    return _verdict(known, "trust", text, advice, weight=weight)


def _doubted_before(past: Sequence[Doubt], known: Known) -> str:
    """The last stretch of a reading to trust that was to be doubted, and how many there were before it."""
    last = past[-1]
    wrong = worst_error(last, known.findings.unit)
    until = "on" if last.open_end else f"to {day(last.end, known.tz)}"
    others = f"; and {earlier_stretches(len(past) - 1)}" if len(past) > 1 else ""
    text = (
        f" Readings from {doubted_from(last, known.tz)} {until} are to be doubted"
        f"{f', {wrong}' if wrong else ''}; {why_doubted(last)}{others}."
    )
    since = any(c.time >= last.end and c.action == "calibration" for c in known.calibrations)
    return f"{text} Since then it was calibrated." if since else text


def _advice_trusted(known: Known, worn: str, waits: bool, hidden: Event | None, failed: Event | None) -> str:
    measurand = known.findings.point.measurand
    if worn:
        return f"Plan its replacement. {worn[0].upper()}{worn[1:]}."
    if waits:
        return VERIFY_SOON
    if hidden is not None:
        return advice_for(hidden.kind, measurand)
    if failed is not None and failed.origin == "record":
        return ASK_THE_RECORD
    if failed is not None:
        return came_back(failed, measurand)
    return NOTHING_TO_DO if known.findings.point.plan_days is not None else NOTHING_NOW


def came_back(failed: Event, measurand: str) -> str:
    """What to do about a failure that ended by itself."""
    return (
        f"It came back by itself. When somebody is there anyway: {inside(advice_for(failed.kind, measurand))}"
    )


def past_faults(findings: PointFindings) -> list[Event]:
    """Failures of the probe, or of what recorded it, that ended by themselves: readings inside them are no readings.

    A temperature element that failed counts where it calls for action: what it compensated is wrong.
    """
    return [
        event
        for event in findings.events
        if (event.kind in UNUSABLE or (event.kind == "temperature_fault" and event.severity == "act"))
        and _is_over(event)
    ]


def _temperature_was_wrong(findings: PointFindings) -> list[Event]:
    """Faults of the temperature element that are over and too small to leave the reading out: it reads on, compensated wrongly."""
    return [
        event
        for event in findings.events
        if event.kind == "temperature_fault" and event.severity != "act" and _is_over(event)
    ]


def _is_over(event: Event) -> bool:
    """Whether a failure of the probe, or of what recorded it, is worth a look and ended by itself."""
    failed = event.origin in ("probe", "record") and event.confidence >= MOST_LIKELY
    return failed and event.asks_a_look and not event.open_end


def earlier_stretches(count: int) -> str:
    """``3 earlier stretches``."""
    return f"{count} earlier stretch{'' if count == 1 else 'es'}"


def inside(sentence: str) -> str:
    """A sentence as it goes on behind a colon."""
    return sentence[0].lower() + sentence[1:]


def _verdict(
    known: Known,
    verdict: str,
    sentence: str,
    advice: str,
    *,
    weight: float = 0.0,
    since: int | None = None,
    error: tuple[float, float] = (math.nan, math.nan),
    event: Event | None = None,
    reasons: tuple[str, ...] = (),
) -> Verdict:
    base = {name: len(VERDICTS) - rank for rank, name in enumerate(VERDICTS)}[verdict]
    point = known.findings.point
    return Verdict(
        point=point.name,
        verdict=verdict,
        sentence=sentence,
        since=since,
        advice=advice,
        caution=caution_for(event.kind, point.measurand) if event else "",
        rank_score=base + weight / (1.0 + weight),
        error=error[0],
        error_band=error[1],
        event=event.id if event else "",
        knowledge=known.confirmed,
        reasons=reasons,
    )
