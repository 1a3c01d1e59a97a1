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
    Event,
)
from excursions.report.answering import NO_ERROR_KNOWN, NOTHING_AGAINST, answer_of, since_heat
from excursions.report.answers import inside
from excursions.report.case import (
    Case,
    also_there,
    doubt_to_come,
    error_in,
    is_outside,
    leading_doubt,
    newest,
    open_case,
    reach_of,
)
from excursions.report.checks import Scene, checked
from excursions.report.explanation import AGAINST, Action, Cause, Check, Explanation, Focus
from excursions.report.followed import IF_THE_PROBE, half_band
from excursions.report.result import ScanResult
from excursions.report.shown import shown
from excursions.report.telling import became
from excursions.report.unread import Answer
from excursions.report.unseen import could_hide
from excursions.report.verdict import too_few
from excursions.report.why import actions_for, basis_of, causes_of, lead_of
from excursions.report.wording import (
    HEAT,
    day,
    difference,
    doubted_from,
    event_sentence,
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
    answer = answer_of(case)
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
    for opener in (NOTHING_AGAINST, NO_ERROR_KNOWN):
        if against and sentence.startswith(opener):
            return LABORATORY_AGAINST + sentence[len(opener) :]
    return sentence


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


def _error(case: Case, answer: Answer) -> tuple[float, float]:
    """Error and half width of its band; of a bare step its size, which is all there is to go by."""
    if answer.wrong:
        return math.nan, math.nan
    if answer.doubt is not None:
        return error_in(answer.doubt, *reach_of(case.focus, answer.doubt))
    event = answer.event
    if event is not None and answer.verdict != "trust":
        event = since_heat(event, case) or event
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
