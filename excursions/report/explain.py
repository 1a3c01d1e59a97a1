"""Explain one moment, range or event of one point: the answer first, then why, what was checked, what to do.

The order of reasons is that of :mod:`excursions.report.verdict`, asked of any moment instead of the end of the
record, and with all that is known now: a calibration a month later counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from excursions.clock import NS_PER_HOUR
from excursions.digits import band_ends
from excursions.kinds import GRADUAL, KINDS, MOVES, caution_for
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
    doubt_to_come,
    error_in,
    event_of,
    is_blind,
    is_hot,
    is_outside,
    leading_doubt,
    live_event,
    newest,
    open_case,
    probe_beside,
    process_event,
    reach_of,
    unusable_event,
)
from excursions.report.checks import Scene, checked, work_unseen
from excursions.report.explanation import AGAINST, Action, Cause, Check, Explanation, Focus
from excursions.report.followed import IF_THE_PROBE, half_band, heat_before, moved_after, moved_sentence
from excursions.report.result import ScanResult
from excursions.report.shown import shown
from excursions.report.telling import became, over_at
from excursions.report.unread import Answer, not_measuring, without_reading
from excursions.report.unseen import could_hide, dead_unseen
from excursions.report.verdict import too_few
from excursions.report.why import actions_for, basis_of, causes_of, lead_of
from excursions.report.wording import (
    HEAT,
    day,
    difference,
    doubted_from,
    event_sentence,
    is_seen,
    too_far,
    whose,
)

__all__ = ["Action", "Cause", "Explanation", "Focus", "explain", "newest"]

GENERAL_CAUTION = (
    "Local procedures, lock-out and authorised people decide on every piece of work on a line. "
    "This tool releases no batch and protects no plant."
)


def explain(result: ScanResult, point: str, focus: Focus | None = None) -> Explanation:
    """Explain a moment, a range or an event of a point.

    Parameters
    ----------
    result : ScanResult
    point : str
        Name of the point.
    focus : Focus or None
        What is asked about; None takes the present trouble or the newest event worth a look.

    Raises
    ------
    UsageError
        If the scan holds no such point.
    """
    chosen = focus or newest(result, point)
    case = open_case(result, point, chosen)
    answer = _answer(case)
    error, band = _error(case, answer)
    told = (error, band) if answer.doubt is not None and answer.verdict == "doubt" else (math.nan, math.nan)
    onset = answer.event or (lead_of(case, answer.doubt) if answer.doubt else None)
    causes = causes_of(case, onset, answer.doubt)
    checks = () if too_few(case.findings) else checked(_scene(case, onset, answer))
    return Explanation(
        point=point,
        measurand=case.findings.point.measurand,
        unit=case.findings.unit,
        focus=chosen,
        verdict=answer.verdict,
        sentence=f"{_not_unopposed(answer.sentence, checks)}{_also_on_record(case, answer)}{_beyond_the_record(case)}",
        since=answer.since,
        until=answer.until,
        wrong=answer.wrong or _wrong(error, band, case, answer),
        error=error,
        error_low=error - band,
        error_high=error + band,
        causes=causes,
        basis=basis_of(case, onset, answer.doubt) if causes else "",
        checks=checks,
        actions=actions_for(case, answer.verdict, onset, answer.doubt, (answer.since, answer.until)),
        cautions=_cautions(case, onset, answer.verdict),
        hidden=could_hide(case, answer.verdict),
        event=onset.id if onset else "",
        knowledge=_known_then(case),
        about=answer.doubt is not None and answer.doubt.about and answer.since == answer.doubt.start,
        reading=shown(case.findings, chosen, case.tz, *told),
    )


def _not_unopposed(sentence: str, checks: Sequence[Check]) -> str:
    """A sentence that does not say that nothing speaks against a reading where a laboratory sample does."""
    against = any(check.outcome == AGAINST for check in checks)
    return sentence.replace(NOTHING_AGAINST, LABORATORY_AGAINST) if against else sentence


def _beyond_the_record(case: Case) -> str:
    """What is to be said where a range reaches beyond the record by more than an hour; empty elsewhere."""
    findings, focus = case.findings, case.focus
    if not findings.samples or is_outside(case) or focus.end - focus.start <= NS_PER_HOUR or focus.event:
        return ""
    said = ""
    if focus.start < findings.start - NS_PER_HOUR:
        said += f" The record begins {day(findings.start, case.tz)}: of what was before nothing is known."
    if focus.end > findings.end + NS_PER_HOUR:
        said += f" The record ends {day(findings.end, case.tz)}: of what came after nothing is known."
    return said


def _known_then(case: Case) -> str:
    """Which calibrations stand before and after what is asked about; of the end of the record as the point itself is told."""
    before = [c for c in case.calibrations if c.time <= case.focus.start]
    after = [c for c in case.calibrations if c.time > case.focus.start]
    if not after:
        return case.verdict.knowledge
    last, following = max(before, key=lambda c: c.time, default=None), min(after, key=lambda c: c.time)
    other = last is not None and last.probe != following.probe and following.probe
    text = (
        f"Last {last.action} before it {day(last.time, case.tz)}"
        if last is not None
        else "No calibration before it was given"
    )
    owner = f" (of probe {following.probe})" if other else ""
    return f"{text}; the next after it {day(following.time, case.tz)}{owner}."


LABORATORY_AGAINST = (
    "No error of the reading there is known, but a laboratory sample differs by more than its tolerance."
)
NOTHING_AGAINST = "Nothing in this record speaks against the reading there."
MOST_ALSO = 2  # events named beside the one that leads; the page lists them all


def _also_on_record(case: Case, answer: Answer) -> str:
    """What else stands on record at a moment or in a range, told or too slight to decide; empty for a question about an event."""
    if case.focus.event or is_outside(case):
        return ""
    others = [
        event_sentence(event, case.tz) + f" ({_standing(event, case)})"
        for event in also_there(case, answer.event)
    ]
    told = answer.sentence.casefold()
    others = [inside(words) for words in others if words.partition(" (")[0].casefold() not in told]
    if not others:
        return ""
    more = f"; and {len(others) - MOST_ALSO} more" if len(others) > MOST_ALSO else ""
    return f" On record there: {'; '.join(others[:MOST_ALSO])}{more}."


def _standing(event: Event, case: Case) -> str:
    """Whose doing an event is, that a calibration did not bear it out, and that noise leaves the reading within its tolerance."""
    if became(case.outcomes, event.id) == NOT_BORNE_OUT and event.kind in HEAT:
        return "measured; the calibration after it found no shift from it"
    slight = event.kind == "noise_growth" and not event.asks_a_look
    less = "; the reading scatters by less than its tolerance all the same" if slight else ""
    if became(case.outcomes, event.id) == NOT_BORNE_OUT:
        return f"{whose(event)}, not borne out by the calibration after it{less}"
    doubt = doubt_to_come(case, event)
    left = f", out of tolerance from {doubted_from(doubt, case.tz)} on" if doubt is not None else ""
    return f"{whose(event)}{left}{less}"


def _answer(case: Case) -> Answer:
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
    change = _since_heat(event, case)
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


def _since_heat(event: Event, case: Case) -> Event | None:
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
    text = "No error of the reading there is known." if also else NOTHING_AGAINST
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


def _error(case: Case, answer: Answer) -> tuple[float, float]:
    """Error and half width of its band; of a bare step its size, which is all there is to go by."""
    if answer.wrong:
        return math.nan, math.nan
    if answer.doubt is not None:
        return error_in(answer.doubt, *reach_of(case.focus, answer.doubt))
    event = answer.event
    if event is not None and answer.verdict != "trust":
        event = _since_heat(event, case) or event
    if event is None or event.kind not in MOVES or answer.verdict == "trust":
        return math.nan, math.nan
    return event.size * _share_of(event, case), half_band(event)


def _share_of(event: Event, case: Case) -> float:
    """How much of a slow change there was by the moment, or the end of the range, that is asked about."""
    if event.kind not in GRADUAL or case.focus.event:
        return 1.0
    return min(max((case.last - event.start) / max(event.end - event.start, 1), 0.0), 1.0)


def _wrong(error: float, band: float, case: Case, answer: Answer) -> str:
    unit = case.findings.unit
    if not math.isfinite(error):
        if answer.verdict == "trust":
            return "nothing is known to be wrong"
        return (
            f"up to {difference(band, unit, band)} either way"
            if math.isfinite(band)
            else "cannot be said yet"
        )
    if answer.verdict == "trust":
        low, high = (difference(end, unit, band, signed=True) for end in band_ends(error, band))
        return f"between {low} and {high}; {answer.doubt.too_small if answer.doubt else ''}"
    text = too_far(error, band, unit)
    if answer.doubt is None:
        text += f" {IF_THE_PROBE}"
    elif not case.focus.is_moment:
        text += " at worst"
    return text


def _scene(case: Case, event: Event | None, answer: Answer) -> Scene:
    """Ask about the change itself where one is known, else about the moment."""
    asked = start, end = case.focus.start, case.focus.end
    if case.focus.event and answer.doubt is not None:
        asked = answer.doubt.start, answer.doubt.end
    if event is not None:
        start, end = event.start, event.end if event.kind in GRADUAL else event.start
    elif answer.doubt is not None:
        start = end = answer.doubt.start
    doubt = answer.doubt or leading_doubt(case)
    whole = (event.start, event.end) if event is not None else (start, end)
    return Scene(
        findings=case.findings, peers=case.peers, samples=case.samples, start=start, end=end, whole=whole, asked=asked,
        doubted=(doubt.start, doubt.end) if doubt else None,
        tz=case.tz, heat=event is not None and event.kind in HEAT,
        element=event is not None and KINDS[event.kind].signal == "temperature", witnesses=event.witnesses if event is not None else (),
        worked=tuple(c.time for c in case.calibrations),
    )  # fmt: skip


def _cautions(case: Case, event: Event | None, verdict: str) -> tuple[str, ...]:
    if verdict == "trust" or event is None:
        return (GENERAL_CAUTION,)
    own = caution_for(event.kind, case.findings.point.measurand)
    return (own, GENERAL_CAUTION) if own else (GENERAL_CAUTION,)
