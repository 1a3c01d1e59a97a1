"""Ranked causes with probabilities that sum to one, what they rest on, and what to do next."""

from __future__ import annotations

from dataclasses import replace

from excursions.clock import NS_PER_HOUR, to_datetime
from excursions.digits import percent
from excursions.kinds import DEAD, UNUSABLE, advice_for, having
from excursions.records import NOT_BORNE_OUT, NOT_YET, SHOWED_IT, Doubt, Event, Link, Shift
from excursions.report.answers import VERIFY_SOON, came_back, inside
from excursions.report.case import Case, calibrated_after, event_of, is_hot, is_outside, reach_of, worst_in
from excursions.report.explanation import UNKNOWN, Action, Cause
from excursions.report.followed import heat_before
from excursions.report.telling import became
from excursions.report.tracks import tracks_of, worn_out
from excursions.report.wording import (
    CAUSE_WORDS,
    HEAT,
    day,
    difference,
    doubted_from,
    event_sentence,
    why_doubted,
)

LEAST_PROBABILITY = 0.01
MOST_CAUSES = 5
CLEANED = having("washes off")
# What an error rests on beside its causes, by the basis of its window.
_RESTS = {"laboratory samples": "the error is shown by laboratory samples"}
# Failures after which nothing that a calibration finds says more about the stretch than the event itself does.
_OWN_CAUSE = (*UNUSABLE, "bridged")
COARSE_KINDS = ("averages", "interpolated", "sparse")


def latest_onset(case: Case, doubt: Doubt | None) -> int | None:
    """The last instant [ns] at which a cause of what is told can begin; None where nothing bounds it.

    Of a moment that is the moment; of a range the instant at which it is off most, for that error is told.  Onsets
    are known to about an hour.
    """
    if doubt is None:
        return None if case.focus.event else case.last
    worst, _, _ = worst_in(doubt, *reach_of(case.focus, doubt))
    if case.focus.event and doubt.event == case.focus.event:  # the window is this event's: it comes first
        worst = max(worst, case.focus.start)
    return worst + NS_PER_HOUR


def _latest_cause(case: Case, event: Event | None, doubt: Doubt | None) -> int | None:
    """The same for the causes of what is told; an event that is the answer itself, as heat later in one steaming, is never too late."""
    return None if doubt is None and event is not None else latest_onset(case, doubt)


def lead_of(case: Case, doubt: Doubt) -> Event | None:
    """The event an error is laid to: that of its window, unless it begins after the error; then the likeliest before."""
    own, latest = event_of(case, doubt.event), latest_onset(case, doubt)
    if own is None or latest is None or own.start <= latest:
        return own
    causes = causes_of(case, own, doubt)
    return event_of(case, causes[0].event) if causes else None


def causes_of(case: Case, event: Event | None, doubt: Doubt | None) -> tuple[Cause, ...]:
    """Candidates from the calibration shift that covers the moment, else from the event alone."""
    links = _weighed(case, event, doubt)[1]
    if links:
        return _from_links(links, case, event)
    latest = _latest_cause(case, event, doubt)
    if event is None or (latest is not None and event.start > latest):
        if doubt is None:
            return ()
        return (
            Cause(words=UNKNOWN, probability=1.0, reasons=(_RESTS.get(doubt.basis) or why_doubted(doubt),)),
        )
    return _from_event(event, case)


def _weighed(case: Case, event: Event | None, doubt: Doubt | None) -> tuple[Shift | None, list[Link], float]:
    """The shift that weighs the causes, its links that begin in time scaled to one, and the share left out."""
    shift = _shift_over(case, (event_of(case, doubt.event) if doubt else None) or event, doubt)
    if shift is None:
        return None, [], 0.0
    latest = _latest_cause(case, event, doubt)
    links = [k for k in case.links if k.shift == shift.id]
    late = {e.id for e in case.findings.events if latest is not None and e.start > latest}
    kept = [k for k in links if k.event not in late]
    total, whole = sum(k.probability for k in kept), sum(k.probability for k in links)
    if total <= 0:
        return None, [], 0.0
    if len(kept) == len(links):
        return shift, kept, 0.0
    return shift, [replace(k, probability=k.probability / total) for k in kept], 1.0 - total / whole


def _from_event(event: Event, case: Case) -> tuple[Cause, ...]:
    """What may have made an event, judged from it alone."""
    words = event_sentence(event, case.tz)
    hot = heat_before(event, case.findings.events)
    if hot is not None:
        words = f"{words}, after {inside(event_sentence(hot, case.tz))}"
    if event.origin == "probe":
        first = Cause(
            words=f"{'the heat' if event.kind in HEAT or hot is not None else 'the probe'}: {words}",
            probability=event.confidence,
            event=event.id,
            reasons=event.evidence,
        )
        other = Cause(
            words="the process, the record, or something not in it", probability=1 - event.confidence
        )
    elif event.origin == "undecided":
        first = Cause(
            words=f"the probe: {words}", probability=event.confidence, event=event.id, reasons=event.evidence
        )
        other = Cause(words="the process", probability=1 - event.confidence)
    else:
        who = {"process": "the process", "routine": "routine", "record": "the export"}[event.origin]
        first = Cause(
            words=f"{who}: {words}", probability=event.confidence, event=event.id, reasons=event.evidence
        )
        other = Cause(words="something else", probability=1 - event.confidence)
    return tuple(sorted((first, other), key=lambda cause: -cause.probability))


def _shift_over(case: Case, event: Event | None, doubt: Doubt | None) -> Shift | None:
    """The significant shift between the calibrations before and after, strongest first."""
    at = event.start if event else doubt.start if doubt else case.focus.start
    if doubt is None and (event is None or event.kind in _OWN_CAUSE):
        return None
    if doubt is None and event and is_hot(event, case) and became(case.outcomes, event.id) == NOT_BORNE_OUT:
        return None  # what it showed in the heat is the heat's, whatever a calibration found later
    probe = event.probe if event else doubt.probe if doubt else ""
    over = [
        s
        for s in case.shifts
        if s.significant and s.start <= at <= s.end and not (probe and s.probe and s.probe != probe)
    ]
    if doubt is None and event is not None:
        over = [s for s in over if any(k.event == event.id for k in case.links if k.shift == s.id)]
    return max(
        over, key=lambda s: (abs(s.change) / s.uncertainty if s.uncertainty else 0.0, s.id), default=None
    )


def _from_links(links: list[Link], case: Case, event: Event | None) -> tuple[Cause, ...]:
    """The likeliest by name, and always the event the answer rests on; the others together."""
    ranked = sorted(links, key=lambda k: (k.rank, k.event))
    named = [k for k in ranked if k.probability >= LEAST_PROBABILITY][:MOST_CAUSES]
    named += [k for k in ranked if event is not None and k.event == event.id and k not in named]
    causes = [
        Cause(words=_link_words(k, case), probability=k.probability, event=k.event, reasons=_reasons(k, case))
        for k in named
    ]
    if len(named) == 1 and not named[0].event and named[0].cause == "unrecorded":
        causes = [replace(causes[0], words=UNKNOWN)]  # nothing else is a candidate: that names no cause
    rest = 1.0 - sum(k.probability for k in named)
    if rest >= LEAST_PROBABILITY / 2:
        others = len(ranked) - len(named)
        words = f"{others} others, each unlikely" if others > 1 else "one other, unlikely"
        causes.append(Cause(words=words, probability=rest))
    return tuple(causes)


def _reasons(link: Link, case: Case) -> tuple[str, ...]:
    """Why a candidate is one; what laboratory samples say of it comes first, for they saw the error itself."""
    event = event_of(case, link.event)
    sampled = tuple(w.words for w in event.witnesses if w.said == SHOWED_IT) if event else ()
    return (*sampled, *link.reasons)


def _link_words(link: Link, case: Case) -> str:
    event = event_of(case, link.event)
    if event is not None:
        return event_sentence(event, case.tz)
    other = case.elsewhere.get(link.event)
    if other is not None:
        return f"at {other.point}: {event_sentence(other, case.tz)}"
    return CAUSE_WORDS.get(link.cause, link.cause)


def basis_of(case: Case, event: Event | None, doubt: Doubt | None) -> str:
    """What the causes rest on: a calibration that found a shift, or the event alone."""
    shift, _, left_out = _weighed(case, event, doubt)
    shown = _RESTS.get(doubt.basis, "") if doubt else ""
    if shift is not None:
        change = difference(
            shift.change, shift.unit if shift.unit != "ratio" else "", shift.uncertainty, signed=True
        )
        name = shift.parameter.replace("_", " ")
        elsewhere = f" at {shift.point}" if shift.point != case.findings.point.name else ""
        words = (
            f"weighed from the calibration of {day(shift.end, case.tz)}{elsewhere}, which found the {name} changed by "
            f"{change} since {day(shift.start, case.tz)}"
        )
        words = f"{shown}; causes {words}" if shown else words
        words += _by_the_record(event)
        if left_out >= LEAST_PROBABILITY / 2:
            words += (
                "; what began after the error asked about cannot have made it and is left out, though it may have made "
                f"{percent(left_out)} of all that the calibration found"
            )
        return words
    if event is None:
        return ""
    state, sentence = case.outcomes.get(event.id, ("", ""))
    if sentence:
        found = "" if state == NOT_YET else f"{state}: "
        return f"judged from the event itself; {found}{sentence[0].lower()}{sentence[1:].rstrip('.')}"
    return "judged from the event itself, without a calibration"


def _by_the_record(event: Event | None) -> str:
    """How sure an event was the probe's before a calibration was weighed, so that two probabilities are not taken for one."""
    if event is None or event.kind in HEAT or event.origin != "probe":
        return ""
    return f"; from the record alone it was {percent(event.confidence)} sure that the probe did it"


def actions_for(
    case: Case, verdict: str, event: Event | None, doubt: Doubt | None, span: tuple[int | None, int | None]
) -> tuple[Action, ...]:
    """What to do, first things first; `span` is since when and until when the answer holds [ns], None where open."""
    worn = worn_out(tracks_of(case.calibrations))
    replaced = (Action(verb="replace", words=f"Plan its replacement: {worn}."),) if worn else ()
    if verdict == "trust" and doubt is not None and doubt.open_end:
        return (Action(verb="verify", words=VERIFY_SOON), *replaced)
    if verdict == "trust":
        return (Action(verb="nothing", words="Nothing to do for this moment."), *replaced)
    over = doubt is not None and not doubt.open_end
    if event is None and doubt is None:
        if verdict == "cannot tell":
            return _ask(case)
        around = next(
            (d for d in case.doubts if not d.too_small and d.start < case.last and d.end > case.focus.start),
            None,
        )
        if around is not None:
            end = "on" if around.open_end else f"to {day(around.end, case.tz)}"
            words = f"Leave this stretch out; readings around it are to be doubted too, from {doubted_from(around, case.tz)} {end}."
            return (Action(verb="set aside", words=words),)
        return (Action(verb="nothing", words="Nothing to do: take the readings outside this stretch."),)
    actions = [_set_aside(case, span, doubt)]
    if event is not None and event.kind == "bridged":
        return (*actions, *_ask(case, event))
    settled = doubt.end if over and doubt is not None else calibrated_after(case, event) if event else None
    passed = event is not None and event.kind in UNUSABLE and not event.open_end
    if settled is None and passed and event is not None:
        actions.append(Action(verb="verify", words=came_back(event, case.findings.point.measurand)))
    elif settled is None:
        actions += _work(event, case.findings.point.measurand, calibrated=bool(case.calibrations))
    else:
        actions.append(Action(verb="nothing", words=_settled(case, event, settled)))
    if verdict == "cannot tell" or _coarse(case):
        actions += _ask(case)
    return (*actions, *replaced)


def _settled(case: Case, event: Event | None, settled: int) -> str:
    """How it was put right: what follows nothing comes back by itself, and the calibration after it bears out the rest."""
    if event is not None and event.kind == "temperature_fault" and not event.open_end:
        advice = inside(advice_for(event.kind, case.findings.point.measurand))
        return f"It was over on {day(event.end, case.tz)} by itself; no calibration of the reading looks at the element: {advice}"
    if event is not None and event.kind in UNUSABLE and not event.open_end:
        return f"The probe itself needs nothing for this: it was over on {day(event.end, case.tz)}, and the probe was calibrated on {day(settled, case.tz)}."
    if event is not None and became(case.outcomes, event.id) == NOT_BORNE_OUT:
        return f"The probe itself needs nothing for this: nothing that the calibration of {day(settled, case.tz)} found is laid to it."
    return f"The probe itself needs nothing for this: put right on {day(settled, case.tz)}."


def _set_aside(case: Case, span: tuple[int | None, int | None], doubt: Doubt | None) -> Action:
    start, until = span
    guessed = doubt is not None and doubt.start == start
    begin = (
        f"from {doubted_from(doubt, case.tz) if doubt and guessed else day(start, case.tz)} "
        if start is not None
        else ""
    )
    end = f"to {day(until, case.tz)}" if until is not None else "until it is put right"
    words = f"Do not decide on the readings as they stand, {begin}{end}"
    words += "; the corrected reading on the page is an estimate." if doubt is not None else "."
    return Action(verb="set aside", words=words)


def _work(event: Event | None, measurand: str, *, calibrated: bool) -> list[Action]:
    """Work on the probe, by kind of event; advice comes from the table of kinds."""
    kind = event.kind if event else "drift"
    advice = advice_for(kind, measurand, calibrated=calibrated)
    if kind in CLEANED:
        return [
            Action(verb="clean", words=advice),
            Action(verb="calibrate", words="Calibrate if a difference is left after cleaning."),
        ]
    verify = Action(verb="verify", words=advice)
    if kind in DEAD:  # whose advice says when to replace it
        return [verify]
    words = "Calibrate if the verification is out of tolerance; replace when the slope is out of its band."
    return [verify, Action(verb="calibrate", words=words)]


def _ask(case: Case, event: Event | None = None) -> tuple[Action, ...]:
    """Ask for what would decide it."""
    point = case.findings.point
    tags = ", ".join(point.tags.values()) or point.name
    if is_outside(case):
        words = f"Ask for an export of {tags} that reaches {_asked_days(case)}."
        return (Action(verb="ask for a better export", words=words),)
    if _coarse(case) or (event is not None and event.kind == "bridged"):
        words = f"Ask for the raw samples (no averages, no interpolation) of {tags}, {_asked_days(case)}."
        return (Action(verb="ask for a better export", words=words),)
    more = "" if point.temperature else f", and export its temperature beside {tags}"
    return (Action(verb="verify", words=f"Compare the reading with a laboratory sample{more}."),)


def _asked_days(case: Case) -> str:
    """The day or days asked about."""
    ends = (case.focus.start, case.focus.end)
    first, last = (to_datetime(t, case.tz).strftime("%-d %b %Y") for t in ends)
    return first if first == last else f"{first} to {last}"


def _coarse(case: Case) -> bool:
    sampling = case.findings.sampling.get("value")
    return sampling is not None and sampling.kind in COARSE_KINDS
