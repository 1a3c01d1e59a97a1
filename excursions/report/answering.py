"""The answer to a question about a reading: trust it, doubt it, do not use it, or nobody can tell; the first reason that holds."""

from __future__ import annotations

import math

from excursions.clock import NS_PER_HOUR
from excursions.digits import band_ends
from excursions.kinds import GRADUAL
from excursions.records import (
    NOT_BORNE_OUT,
    NOT_PUT_RIGHT,
    Doubt,
    Event,
)
from excursions.report.answers import inside
from excursions.report.beyond import how_wrong_beyond
from excursions.report.case import (
    Case,
    also_there,
    bridged_event,
    error_in,
    event_of,
    is_blind,
    is_hot,
    leading_doubt,
    live_event,
    probe_beside,
    process_event,
    reach_of,
    unusable_event,
)
from excursions.report.checks import work_unseen
from excursions.report.followed import heat_before, moved_after, moved_sentence
from excursions.report.telling import over_at
from excursions.report.unread import Answer, not_measuring, without_reading
from excursions.report.unseen import dead_unseen
from excursions.report.why import lead_of
from excursions.report.wording import (
    day,
    difference,
    doubted_from,
    event_sentence,
    is_seen,
    whose,
)

NOTHING_AGAINST = "Nothing in this record speaks against the reading there."
NO_ERROR_KNOWN = "No error of the reading there is known."


def answer_of(case: Case) -> Answer:
    """The first of the reasons that holds."""
    silent = without_reading(case)
    if silent:
        return silent
    state = not_measuring(case) if not case.focus.event else None
    if state:
        return state
    bridged = bridged_event(case)
    if bridged:
        return Answer(
            verdict="do not use",
            sentence=f"{event_sentence(bridged, case.tz)}: the export drew a line where there are no data.",
            since=bridged.start,
            until=bridged.end,
            wrong="not a reading at all",
            event=bridged,
        )
    failed = unusable_event(case)
    if failed:
        return _failed(failed, case)
    doubt = leading_doubt(case)
    if doubt is not None and not doubt.too_small:
        return _doubtful(doubt, case)
    live = live_event(case)
    if live is not None:
        return _live(live, case)
    return _trusted(case, doubt)


def _failed(event: Event, case: Case) -> Answer:
    text = f"{event_sentence(event, case.tz)} ({whose(event)})."
    doubt = leading_doubt(case)
    if doubt is not None and not doubt.too_small and (doubt.start < event.start or doubt.end > event.end):
        end = "on" if doubt.open_end else f"to {day(doubt.end, case.tz)}"
        text += f" Readings around it are to be doubted too, from {doubted_from(doubt, case.tz)} {end}."
    return Answer(
        verdict="do not use" if event.origin == "probe" else "cannot tell",
        sentence=text,
        since=event.start,
        until=None if event.open_end else event.end,
        wrong=how_wrong_beyond(case, doubt),
        event=event,
    )


def _doubtful(doubt: Doubt, case: Case) -> Answer:
    error, band = error_in(doubt, *reach_of(case.focus, doubt))
    unit = case.findings.unit
    when = f"at {day(case.focus.start, case.tz)}" if case.focus.is_moment else "at worst"
    if math.isfinite(error) and not is_seen(error, band):
        low, high = (difference(end, unit, band, signed=True) for end in band_ends(error, band))
        text = f"May be off, between {low} and {high}, {when}"
    elif math.isfinite(error):
        text = f"Reads about {difference(abs(error), unit, band)} {'high' if error > 0 else 'low'} {when}"
        text += f" (± {difference(band, unit, band)})" if math.isfinite(band) else ""
    else:
        text = f"May be off by up to {difference(band, unit, band)} {when}"
    lead = lead_of(case, doubt)
    end = "" if doubt.open_end else f" to {day(doubt.end, case.tz)}"
    text += f"; readings are to be doubted from {doubted_from(doubt, case.tz)}{end or ' on'}."
    if lead is not None and lead.start <= doubt.start + NS_PER_HOUR:
        text = f"{event_sentence(lead, case.tz)}. {text}"
    return Answer(
        verdict="doubt",
        sentence=text,
        since=doubt.start,
        until=None if doubt.open_end else doubt.end,
        event=lead,
        doubt=doubt,
    )


def _live(event: Event, case: Case) -> Answer:
    beside = probe_beside(case, event) if event.origin != "probe" else None
    known = event.origin == "probe" or beside is not None
    state, became = case.outcomes.get(event.id, ("", ""))
    told = f" {became}" if state in (NOT_PUT_RIGHT, NOT_BORNE_OUT) else ""
    if beside is not None:
        told += f" Also: {inside(event_sentence(beside, case.tz))} ({whose(beside)})."
    if event.back_at is not None:
        told += f" {_over(event, case)}"
    hot = heat_before(event, case.findings.events)
    if hot is not None:
        told = f" It followed {inside(event_sentence(hot, case.tz))}.{told}"
    change = since_heat(event, case)
    if change is not None:
        told = f" {moved_sentence(change, case.findings.unit, case.tz)}{told}"
    passed = state == NOT_BORNE_OUT and is_hot(event, case)  # what was no harm is over with the heat
    who = "measured" if passed else whose(event)
    return Answer(
        verdict="doubt" if known else "cannot tell",
        sentence=f"{event_sentence(event, case.tz)} ({who}).{told}",
        since=event.start,
        until=event.end if passed else over_at(event, case.calibrations, case.outcomes),
        event=event,
    )


def since_heat(event: Event, case: Case) -> Event | None:
    """What the reading did since heat, as far as the span asked about reaches it."""
    change = moved_after(event, case.findings.events)
    reached = change is not None and (case.focus.event or change.start < case.last)
    return change if reached else None


def _over(event: Event, case: Case) -> str:
    """That a change of level is over, and when."""
    return f"It was over on {day(event.back_at or event.end, case.tz)}: the reading went back to where it had been."


def _over_before(case: Case) -> str:
    """The last slow change that was over before the moment, when no calibration has come between; empty without one."""
    moment = case.focus.start
    over = [
        event
        for event in case.findings.events
        if event.kind in GRADUAL and event.origin != "process" and (event.back_at or moment + 1) <= moment
    ]
    last = max(over, key=lambda event: event.back_at or 0, default=None)
    if last is None or any((last.back_at or 0) < c.time <= moment for c in case.calibrations):
        return ""
    return f" {event_sentence(last, case.tz)} was before that. {_over(last, case)}"


def _trusted(case: Case, doubt: Doubt | None) -> Answer:
    asked = event_of(case, case.focus.event) or process_event(case)
    if asked is None and doubt is None and is_blind(case):
        return Answer(verdict="cannot tell", sentence=case.verdict.sentence, wrong="not known")
    work = _in_work_unseen(case) if asked is None else None
    if work is not None:
        return Answer(
            verdict="cannot tell",
            sentence=f"The log has work at the point on {day(work, case.tz)}, of which the signals show nothing: a standard may have been read.",
            wrong="not known",
        )
    also = not case.focus.event and bool(also_there(case, None))
    text = NO_ERROR_KNOWN if also else NOTHING_AGAINST
    if asked is not None:
        who = {"process": "the process did that", "routine": "routine"}.get(asked.origin, whose(asked))
        state, sentence = case.outcomes.get(asked.id, ("", ""))
        text = f"{event_sentence(asked, case.tz)}: "
        text += sentence[0].lower() + sentence[1:] if state == NOT_BORNE_OUT else f"{who}."
    if doubt is not None and math.isfinite(error_in(doubt, *reach_of(case.focus, doubt))[0]):
        text += f" {doubt.too_small[0].upper()}{doubt.too_small[1:]}."
    if asked is None:
        text += _over_before(case)
    if asked is None and not case.focus.event:
        text += "".join(
            f" It could not show everything: {words}." for words in dead_unseen(case.findings)[:1]
        )
    return Answer(verdict="trust", sentence=text, event=asked, doubt=doubt)


def _in_work_unseen(case: Case) -> int | None:
    """The entry of work (ns) that a moment may lie in though the signals show none of it; None without one."""
    if not case.focus.is_moment or case.focus.event:
        return None
    worked = [c.time for c in case.calibrations]
    return work_unseen(case.findings.states, worked, case.focus.start, case.last)
