"""Which answer each point gets: trust, doubt, do not use, or cannot tell.

The order of reasons is the order of harm: a reading that does not follow the process comes before one
that is off by a known amount, that before one that may be off, and that before silence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from excursions.clock import NS_PER_DAY, NS_PER_S
from excursions.kinds import DOUBTED, UNUSABLE, WORTH_ASKING
from excursions.records import NOT_PUT_RIGHT, Calibration, Doubt, Event, Outcomes
from excursions.report.answers import (
    MOST_LIKELY,
    Known,
    cannot_tell,
    earlier_stretches,
    from_doubt,
    from_event,
    harm,
    inside,
    past_faults,
    trust,
)
from excursions.report.followed import follows
from excursions.report.result import PointFindings, Verdict
from excursions.report.telling import PASSING, became, is_live, is_open_question, stands_now, worst
from excursions.report.tracks import tracks_of, worn_out
from excursions.report.wording import day, event_sentence, whose

LOST_LEVEL = "level"  # a dropout that has one comes for moments, and the reading between them is one
FEWEST_SAMPLES = 30  # with fewer, no record says anything about a probe
ENDS_EARLY = NS_PER_DAY  # exports that were made at different hours of one day differ by less
BLIND = 0.5  # where more than this share of the kinds of fault cannot show, silence is no answer


def judge(
    findings: PointFindings,
    *,
    doubts: Sequence[Doubt],
    calibrations: Sequence[Calibration],
    outcomes: Outcomes,
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
    known = Known(findings=findings, doubts=doubts, calibrations=calibrations, outcomes=outcomes, tz=tz)
    verdict = _judged(known)
    ended = newest is not None and newest - findings.end > _patience(findings, "value")
    return replace(
        verdict,
        sentence=" ".join(
            [
                verdict.sentence,
                *_also_now(verdict, known),
                *_no_longer_recorded(findings, ended, tz),
                *_also_before(verdict, known),
            ]
        ),
        worn=worn_out(tracks_of(calibrations)),
        ended=findings.end if ended else None,
    )


def order(verdicts: Sequence[Verdict]) -> tuple[Verdict, ...]:
    """Worst first; equals by name."""
    return tuple(sorted(verdicts, key=lambda v: (-v.rank_score, v.point)))


def _judged(known: Known) -> Verdict:
    """The answer about now, worst reasons first."""
    if few := too_few(known.findings):
        return cannot_tell(known, few)
    live, probes, questions = _standing(known)
    unusable = worst([e for e in live if e.kind in UNUSABLE and e.open_end and LOST_LEVEL not in e.details])
    if unusable:
        return from_event("do not use", unusable, known)
    open_doubts = [doubt for doubt in known.doubts if stands_now(doubt, known.findings)]
    if open_doubts:
        leading = max(open_doubts, key=lambda doubt: harm(doubt, known.findings))
        return _adjusted(from_doubt(leading, probes, known), known.outcomes)
    own = [event for event in questions if not any(follows(event, heat) for heat in probes)]
    if probes and (lead := worst([*probes, *own])):
        return _adjusted(from_event("doubt", lead, known), known.outcomes)
    if lead := worst(questions):
        return _adjusted(from_event("cannot tell", lead, known), known.outcomes)
    blind = _blind(known)
    return cannot_tell(known, blind) if blind else _with_unlooked(trust(known), known)


ROLES = {"value": "reading", "temperature": "temperature"}


def too_few(findings: PointFindings) -> str:
    """That there is too little to judge by; empty where there is enough."""
    if findings.samples == 0 or ("value" not in findings.traces and "temperature" not in findings.traces):
        return "No sample of this point could be used."
    if findings.samples >= FEWEST_SAMPLES:
        return ""
    names = [name for name in ("value", "temperature") if name in findings.traces]
    counts = [f"{n} sample{'' if n == 1 else 's'}" for n in (findings.traces[name].samples for name in names)]
    said = " and ".join(f"{count} of the {ROLES[name]}" for count, name in zip(counts, names, strict=True))
    return f"Only {said}: too few to judge a probe by."


def _standing(known: Known) -> tuple[list[Event], list[Event], list[Event]]:
    """Events that still bear on the reading; of them those of the probe, and those that may be the process's as well."""
    live = [
        e
        for e in known.findings.events
        if is_live(e, known.calibrations, known.outcomes) and not _over_with_its_window(e, known)
    ]
    probes = [e for e in live if e.origin == "probe" and e.confidence >= MOST_LIKELY]
    return live, probes, [e for e in live if is_open_question(e)]


def _over_with_its_window(event: Event, known: Known) -> bool:
    """Whether every window of doubt of an event is closed, by whatever showed that its error is gone.

    What still lasts itself, a reading that stands, goes on beyond the calibration in its midst; so does what was not put right.
    """
    windows = [doubt.open_end for doubt in known.doubts if doubt.event == event.id]
    lasts = event.kind in PASSING and event.open_end
    return (
        bool(windows) and not any(windows) and not lasts and became(known.outcomes, event.id) != NOT_PUT_RIGHT
    )


def _blind(known: Known) -> str:
    """That silence is no answer, because most kinds of fault could not show; empty where they could, or where one was told."""
    findings = known.findings
    blind = [limit for limit in findings.limits if not limit.is_stated]
    silent = not any(event.asks_a_look for event in findings.events) and not known.doubts
    if not silent or len(blind) <= BLIND * len(findings.limits):
        return ""
    reading = findings.traces.get("value")
    count = reading.samples if reading is not None else findings.samples
    return (
        f"Little can be told from {count} samples of this point: {len(blind)} of {len(findings.limits)} kinds "
        "of fault cannot show in them; none of the others was found."
    )


# --- what is said beside the answer --------------------------------------------------------------


def _also_now(verdict: Verdict, known: Known) -> list[str]:
    """What else calls for action now, or was the probe's, beside the event that a doubt names."""
    lead = next((e for e in known.findings.events if e.id == verdict.event), None)
    if verdict.verdict != "doubt" or lead is None:
        return []
    _, probes, questions = _standing(known)
    others = (e for e in (*probes, *questions) if e.id != lead.id)
    also = worst([e for e in others if not (follows(e, lead) or follows(lead, e))])
    return [f"Also: {inside(event_sentence(also, known.tz))} ({whose(also)})."] if also else []


def _also_before(verdict: Verdict, known: Known) -> list[str]:
    """How many stretches that are over a verdict about now leaves unnamed; one of trust names the last itself."""
    if verdict.verdict == "trust":
        return []
    over = sum(not doubt.open_end and not doubt.too_small for doubt in known.doubts)
    failed = len([event for event in past_faults(known.findings) if event.id != verdict.event])
    said = [f"{earlier_stretches(over)} to doubt"] if over else []
    said += (
        [f"{earlier_stretches(failed)} to leave out" if not over else f"{failed} to leave out"]
        if failed
        else []
    )
    return [f"Before that: {' and '.join(said)}."] if said else []


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


def _adjusted(verdict: Verdict, outcomes: Outcomes) -> Verdict:
    """The answer with a word on the calibration since its event, where the record does not show that it helped."""
    state, sentence = outcomes.get(verdict.event, ("", ""))
    return replace(verdict, sentence=f"{verdict.sentence} {sentence}") if state == NOT_PUT_RIGHT else verdict


def _with_unlooked(verdict: Verdict, known: Known) -> Verdict:
    """Trust with a word on readings between an event and a calibration of which only what it left was entered."""
    # What opened a stretch that is told is told with it.
    told = {doubt.event for doubt in known.doubts if not doubt.too_small}
    asked = [
        e
        for e in known.findings.events
        if e.id not in told
        and is_live(e, (), known.outcomes)
        and e.confidence >= WORTH_ASKING
        and e.kind in DOUBTED
    ]
    if not asked:
        return verdict
    first, tz = min(asked, key=lambda e: e.start), known.tz
    closing = min((c for c in known.calibrations if c.time >= first.end), key=lambda c: c.time, default=None)
    if closing is None or not closing.left_only:
        return verdict
    text = (
        f" Readings from {day(first.start, tz)} to {day(closing.time, tz)} are not verified: {inside(event_sentence(first, tz))}, "
        "and of the calibration after it only what it left was entered."
    )
    return replace(verdict, sentence=verdict.sentence + text)
