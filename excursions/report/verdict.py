"""The answer for each point: trust, doubt, do not use, or cannot tell; since when, how wrong, what to do.

The order of reasons is the order of harm: a reading that does not follow the process comes before one
that is off by a known amount, that before one that may be off, and that before silence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from excursions.clock import NS_PER_DAY, NS_PER_HOUR, NS_PER_S, duration_text
from excursions.kinds import WORTH_ASKING, advice_for, caution_for, having
from excursions.records import NOT_PUT_RIGHT, SEVERITY_RANK, Calibration, Doubt, Event
from excursions.report.followed import moved_after, moved_sentence
from excursions.report.result import VERDICTS, PointFindings, Verdict
from excursions.report.telling import is_live, last_error, stands_now, tolerance_now
from excursions.report.tracks import tracks_of, worn_out
from excursions.report.wording import (
    day,
    doubted_from,
    event_sentence,
    quantity,
    whose,
    why_doubted,
    worst_error,
)

LOST_LEVEL = "level"  # a dropout that has one comes for moments, and the reading between them is one
UNUSABLE = having("unusable")
DOUBTING = having("doubts")
MOST_LIKELY = 0.5
FEWEST_SAMPLES = 30  # with fewer, no record says anything about a probe
ENDS_EARLY = NS_PER_DAY  # exports that were made at different hours of one day differ by less
ASK_THE_RECORD = (
    "Ask whoever keeps the plant's record: it, not the probe, stood still or was played back then."
)
NOTHING_TO_DO = "Nothing to do until the next planned calibration."
NOTHING_NOW = "Nothing to do now."  # no plan is known, so that none can be waited for
BLIND = 0.5  # where more than this share of the kinds of fault cannot show, silence is no answer
VERIFY_SOON = "Verify it when somebody is there anyway; the next planned calibration would also tell."
ASK_FOR_MORE = "Ask for a longer or finer export of this point, or compare the reading with a sample."


def judge(
    findings: PointFindings,
    *,
    doubts: Sequence[Doubt],
    calibrations: Sequence[Calibration],
    outcomes: Mapping[str, tuple[str, str]],
    tz: ZoneInfo,
    newest: int | None = None,
) -> Verdict:
    """Judge one point at the end of its record.

    Parameters
    ----------
    findings : PointFindings
    doubts : those of this point alone, weighed by :func:`excursions.report.telling.weighed_doubts`
    calibrations : those of this point alone
    outcomes : event id -> (what became of it, sentence)
    tz : zone in which sentences give times
    newest : end of the record of the whole plant [ns], to say where this point's ends before it
    """
    verdict = _judged(findings, doubts, calibrations, outcomes, tz)
    ended = newest is not None and newest - findings.end > _patience(findings, "value")
    return replace(
        verdict,
        sentence=" ".join(
            [
                verdict.sentence,
                *_no_longer_recorded(findings, ended, tz),
                *_also_before(verdict, findings, doubts),
            ]
        ),
        worn=worn_out(tracks_of(calibrations)),
        ended=findings.end if ended else None,
    )


def _also_before(verdict: Verdict, findings: PointFindings, doubts: Sequence[Doubt]) -> list[str]:
    """How many stretches that are over a verdict about now leaves unnamed; one of trust names the last itself."""
    if verdict.verdict == "trust":
        return []
    over = sum(not doubt.open_end and not doubt.too_small for doubt in doubts)
    failed = len([event for event in past_faults(findings) if event.id != verdict.event])
    said = [f"{_stretches(over)} to doubt"] if over else []
    said += [f"{_stretches(failed)} to leave out" if not over else f"{failed} to leave out"] if failed else []
    return [f"Before that: {' and '.join(said)}."] if said else []


def _stretches(count: int) -> str:
    return f"{count} earlier stretch{'' if count == 1 else 'es'}"


def _no_longer_recorded(findings: PointFindings, ended: bool, tz: ZoneInfo) -> list[str]:
    """What ends before the rest: the answer holds for a time that is over, or heat would not be seen.

    The words stay as they are while the rest of the plant goes on, so that a page need not be drawn again for them.
    """
    said = []
    ends = {role: int(trace.time[-1]) for role, trace in findings.traces.items() if trace.time.size}
    last = findings.end
    if ended:
        said.append(
            f"Its record ends {day(last, tz)}, before the plant's: of the time since, nothing is known."
        )
    if "temperature" in ends and last - ends["temperature"] > _patience(findings, "temperature"):
        said.append(
            f"Its temperature ends {day(ends['temperature'], tz)}: heat after that would not be seen."
        )
    if "value" in ends and last - ends["value"] > _patience(findings, "value"):
        said.append(f"Its values end {day(ends['value'], tz)}.")
    return said


def _patience(findings: PointFindings, role: str) -> int:
    """How long a signal may be silent at the end of the record without a word: its longest silence is no news."""
    sampling = findings.sampling.get(role)
    longest = sampling.longest_silence_s if sampling is not None else 0.0
    return max(ENDS_EARLY, int(longest * NS_PER_S) if math.isfinite(longest) else 0)


def _judged(
    findings: PointFindings,
    doubts: Sequence[Doubt],
    calibrations: Sequence[Calibration],
    outcomes: Mapping[str, tuple[str, str]],
    tz: ZoneInfo,
) -> Verdict:
    knowledge, calibrated = _knowledge(findings, calibrations, tz), bool(calibrations)
    if findings.samples == 0 or ("value" not in findings.traces and "temperature" not in findings.traces):
        return _verdict(
            findings, "cannot tell", "No sample of this point could be used.", ASK_FOR_MORE, knowledge
        )
    if findings.samples < FEWEST_SAMPLES:
        both = ", those of the temperature among them" if "temperature" in findings.traces else ""
        samples = "1 sample" if findings.samples == 1 else f"{findings.samples} samples"
        text = f"Only {samples} of this point{both}: too few to judge a probe by."
        return _verdict(findings, "cannot tell", text, ASK_FOR_MORE, knowledge)
    live = [event for event in findings.events if is_live(event, calibrations, outcomes)]
    unusable = [e for e in live if e.kind in UNUSABLE and e.open_end and LOST_LEVEL not in e.details]
    if unusable:
        return _from_event("do not use", _worst(unusable), findings, knowledge, tz, calibrated)
    open_doubts = [doubt for doubt in doubts if stands_now(doubt, findings)]
    probe_events = [event for event in live if event.origin == "probe" and event.confidence >= MOST_LIKELY]
    if open_doubts:
        worst = max(open_doubts, key=lambda doubt: _harm(doubt, findings))
        return _adjusted(_from_doubt(worst, probe_events, findings, knowledge, tz, calibrated), outcomes)
    if probe_events:
        return _adjusted(
            _from_event("doubt", _worst(probe_events), findings, knowledge, tz, calibrated), outcomes
        )
    undecided = [
        event
        for event in live
        if event.origin == "undecided"
        and (event.severity == "act" or event.open_end)  # what still goes on is not trusted away
        and event.confidence >= WORTH_ASKING
    ]
    if undecided:
        return _adjusted(
            _from_event("cannot tell", _worst(undecided), findings, knowledge, tz, calibrated), outcomes
        )
    blind = [limit for limit in findings.limits if not limit.is_stated]
    silent = not any(SEVERITY_RANK[event.severity] for event in findings.events) and not doubts
    if silent and len(blind) > BLIND * len(findings.limits):
        reading = findings.traces.get("value")
        count = reading.samples if reading is not None else findings.samples
        text = (
            f"Little can be told from {count} samples of this point: {len(blind)} of {len(findings.limits)} kinds "
            "of fault cannot show in them; none of the others was found."
        )
        return _verdict(findings, "cannot tell", text, ASK_FOR_MORE, knowledge)
    return _with_unlooked(
        _trust(findings, doubts, calibrations, knowledge, tz), findings, calibrations, outcomes, tz
    )


def _adjusted(verdict: Verdict, outcomes: Mapping[str, tuple[str, str]]) -> Verdict:
    """The answer with a word on the calibration since its event, where the record does not show that it helped."""
    state, sentence = outcomes.get(verdict.event, ("", ""))
    return replace(verdict, sentence=f"{verdict.sentence} {sentence}") if state == NOT_PUT_RIGHT else verdict


def _with_unlooked(
    verdict: Verdict,
    findings: PointFindings,
    calibrations: Sequence[Calibration],
    outcomes: Mapping[str, tuple[str, str]],
    tz: ZoneInfo,
) -> Verdict:
    """Trust with a word on readings between an event and a calibration of which only what it left was entered."""
    asked = [
        e
        for e in findings.events
        if is_live(e, (), outcomes) and e.confidence >= WORTH_ASKING and e.kind in DOUBTING
    ]
    if not asked:
        return verdict
    first = min(asked, key=lambda e: e.start)
    closing = min((c for c in calibrations if c.time >= first.end), key=lambda c: c.time, default=None)
    if closing is None or not closing.left_only:
        return verdict
    text = (
        f" Readings from {day(first.start, tz)} to {day(closing.time, tz)} are not verified: {_inside(event_sentence(first, tz))}, "
        "and of the calibration after it only what it left was entered."
    )
    return replace(verdict, sentence=verdict.sentence + text)


def order(verdicts: Sequence[Verdict]) -> tuple[Verdict, ...]:
    """Worst first; equals by name."""
    return tuple(sorted(verdicts, key=lambda v: (-v.rank_score, v.point)))


def _worst(events: Sequence[Event]) -> Event:
    return max(events, key=lambda e: (SEVERITY_RANK[e.severity], e.confidence, e.start))


def _harm(doubt: Doubt, findings: PointFindings) -> float:
    error, band = last_error(doubt)
    size = abs(error) if math.isfinite(error) else band
    return size / tolerance_now(findings) if math.isfinite(size) else 1.0


def _knowledge(findings: PointFindings, calibrations: Sequence[Calibration], tz: ZoneInfo) -> str:
    """What a calibration confirms about this point."""
    if not calibrations:
        return "No calibration of this point was given."
    last = max(calibrations, key=lambda c: c.time)
    age = duration_text(max(0, findings.end - last.time) / 1e9)
    return f"Last {last.action} {day(last.time, tz)}, {age} before the end of the record."


def _verdict(
    findings: PointFindings,
    verdict: str,
    sentence: str,
    advice: str,
    knowledge: str,
    *,
    weight: float = 0.0,
    since: int | None = None,
    error: tuple[float, float] = (math.nan, math.nan),
    event: Event | None = None,
    reasons: tuple[str, ...] = (),
) -> Verdict:
    base = {name: len(VERDICTS) - rank for rank, name in enumerate(VERDICTS)}[verdict]
    return Verdict(
        point=findings.point.name,
        verdict=verdict,
        sentence=sentence,
        since=since,
        advice=advice,
        caution=caution_for(event.kind, findings.point.measurand) if event else "",
        rank_score=base + weight / (1.0 + weight),
        error=error[0],
        error_band=error[1],
        event=event.id if event else "",
        knowledge=knowledge,
        reasons=reasons,
    )


def _from_event(
    verdict: str, event: Event, findings: PointFindings, knowledge: str, tz: ZoneInfo, calibrated: bool
) -> Verdict:
    return _verdict(
        findings,
        verdict,
        f"{event_sentence(event, tz)} ({whose(event)}).{_followed(event, findings, tz)}",
        advice_for(event.kind, findings.point.measurand, calibrated=calibrated),
        knowledge,
        weight=SEVERITY_RANK[event.severity] + event.confidence,
        since=event.start,
        event=event,
        reasons=event.evidence,
    )


def _followed(event: Event, findings: PointFindings, tz: ZoneInfo) -> str:
    """The change of the reading that stands since heat, with its size."""
    change = moved_after(event, findings.events)
    return f" {moved_sentence(change, findings.unit, tz)}" if change else ""


def _from_doubt(
    doubt: Doubt,
    events: Sequence[Event],
    findings: PointFindings,
    knowledge: str,
    tz: ZoneInfo,
    calibrated: bool,
) -> Verdict:
    error, band = last_error(doubt)
    cause = next((e for e in findings.events if e.id == doubt.event), None)
    lead = cause or (_worst(events) if events else None)
    if lead is not None and lead.start > doubt.start + NS_PER_HOUR:
        lead = None  # a cause does not come after its effect
    unit = findings.unit
    if math.isfinite(error):
        direction = "high" if error > 0 else "low"
        shown = f"reads about {quantity(abs(error), unit, band)} {direction} (± {quantity(band, unit, band)})"
    else:
        shown = f"may be off by up to {quantity(band, unit, band)}"
    since = f"{shown} since {doubted_from(doubt, tz)}"
    text = f"{since[0].upper()}{since[1:]}."
    if lead is not None:
        # The cause comes first, unless the doubt began before it: then it is only part of the story.
        late = lead.start > doubt.start + NS_PER_HOUR
        text = f"{text} {event_sentence(lead, tz)}." if late else f"{event_sentence(lead, tz)}; {since}."
    told = _verdict(
        findings,
        "doubt",
        text,
        advice_for(lead.kind if lead else "drift", findings.point.measurand, calibrated=calibrated),
        knowledge,
        weight=_harm(doubt, findings),
        since=doubt.start,
        error=(error, band),
        event=lead,
        reasons=doubt.reasons,
    )
    return replace(told, about=doubt.about)


def _inside(sentence: str) -> str:
    """A sentence as it goes on behind a colon."""
    return sentence[0].lower() + sentence[1:]


def past_faults(findings: PointFindings) -> list[Event]:
    """Failures of the probe, or of what recorded it, that ended by themselves: readings inside them are no readings.

    A temperature element that failed counts where it calls for action: what it compensated is wrong.
    """
    return [
        event
        for event in findings.events
        if (event.kind in UNUSABLE or (event.kind == "temperature_fault" and event.severity == "act"))
        and event.origin in ("probe", "record")
        and event.confidence >= MOST_LIKELY
        and SEVERITY_RANK[event.severity] >= 1
        and not event.open_end
    ]


def _trust(
    findings: PointFindings,
    doubts: Sequence[Doubt],
    calibrations: Sequence[Calibration],
    knowledge: str,
    tz: ZoneInfo,
) -> Verdict:
    waiting = min((doubt for doubt in doubts if doubt.open_end), key=lambda doubt: doubt.start, default=None)
    # What was off and went back without anybody's hand has an end only where the record has one.
    text = "Nothing in this record speaks against the reading now."
    if waiting is not None:
        text = (
            f"Nothing certain speaks against the reading now; from {doubted_from(waiting, tz)} on a change that may be the "
            "probe's has not been verified."
        )
    worn = worn_out(tracks_of(calibrations))
    if worn:
        text = f"{text[:-1]}, but the probe is due for replacement: {worn}."
    past = sorted((doubt for doubt in doubts if not doubt.too_small), key=lambda doubt: doubt.end)
    if past:
        last = past[-1]
        wrong = worst_error(last, findings.unit)
        until = "on" if last.open_end else f"to {day(last.end, tz)}"
        others = f"; and {_stretches(len(past) - 1)}" if len(past) > 1 else ""
        text += (
            f" Readings from {doubted_from(last, tz)} {until} are to be doubted"
            f"{f', {wrong}' if wrong else ''}; {why_doubted(last)}{others}."
        )
        if any(c.time >= last.end and c.action == "calibration" for c in calibrations):
            text += " Since then it was calibrated."
    hidden = next((e for e in findings.events if e.kind == "hidden_heat" and SEVERITY_RANK[e.severity]), None)
    if hidden is not None:
        text += f" {event_sentence(hidden, tz)} cannot be excluded: ask for a finer export of that stretch."
    failed = past_faults(findings)
    if failed:
        worst = _worst(failed)
        more = f", and {len(failed) - 1} more" if len(failed) > 1 else ""
        text += f" To be left out: {event_sentence(worst, tz)}{more}."
    advice = NOTHING_TO_DO if findings.point.plan_days is not None else NOTHING_NOW
    if worn:
        advice = f"Plan its replacement. {worn[0].upper()}{worn[1:]}."
    elif waiting is not None:
        advice = VERIFY_SOON
    elif hidden is not None:
        advice = advice_for(hidden.kind, findings.point.measurand)
    elif failed and worst.origin == "record":
        advice = ASK_THE_RECORD
    elif failed:
        advice = f"It came back by itself. When somebody is there anyway: {_inside(advice_for(worst.kind, findings.point.measurand))}"
    weight = 0.1 * bool(past) + 0.05 * bool(failed) + 0.2 * bool(worn)
    return _verdict(findings, "trust", text, advice, knowledge, weight=weight)
