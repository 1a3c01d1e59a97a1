"""Where there is no reading of the process to judge: too few samples, none there, or the point was not measuring."""

from __future__ import annotations

import dataclasses

import numpy as np

from excursions.records import (
    HOLD,
    MEASURING,
    NO_DATA,
    SETTLED,
    STATES,
    Doubt,
    Event,
)
from excursions.report.case import (
    Case,
    heat_event,
    is_outside,
)
from excursions.report.followed import moved_after, moved_sentence
from excursions.report.verdict import too_few
from excursions.report.wording import (
    day,
    event_sentence,
    whose,
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What leads: verdict and sentence, since and until, the event and the doubt window they rest on."""

    verdict: str
    sentence: str
    since: int | None = None
    until: int | None = None
    wrong: str = ""
    event: Event | None = None
    doubt: Doubt | None = None


def without_reading(case: Case) -> Answer | None:
    """The answer where nothing can be said of a reading, for want of samples; None where there are some."""
    findings = case.findings
    if few := too_few(findings):
        return Answer(verdict="cannot tell", sentence=few, wrong="not known")
    if is_outside(case):
        text = (
            f"The record does not reach there: it runs from {day(findings.start, case.tz)} to "
            f"{day(findings.end, case.tz)}."
        )
        return Answer(verdict="cannot tell", sentence=text, wrong="not known")
    codes, evidence, span = _states_inside(case)
    if not case.focus.event and set(codes) == {NO_DATA}:
        text = f"There is no reading from {day(span[0], case.tz)} to {day(span[1], case.tz)}: {evidence}."
        return Answer(verdict="cannot tell", sentence=text, since=span[0], until=span[1], wrong="not known")
    return None


def _states_inside(case: Case) -> tuple[list[int], str, tuple[int, int]]:
    """Codes of the states the span touches, the evidence of the first, and from when to when they last."""
    states = case.findings.states
    rows = np.flatnonzero((states.start < case.last) & (states.end > case.focus.start))
    if not rows.size:
        return [], "", (case.focus.start, case.focus.end)
    span = int(states.start[rows[0]]), int(states.end[rows[-1]])
    return [int(code) for code in states.code[rows]], states.evidence[rows[0]], span


def not_measuring(case: Case) -> Answer | None:
    """The answer inside a hold, a cleaning or steam, with heat above a rating; None while the point was measuring."""
    codes, evidence, span = _states_inside(case)
    if not codes or MEASURING in codes:
        return None
    name = STATES[codes[0]]
    words = "on hold" if codes[0] == HOLD else name
    text = (
        f"The point was {words} from {day(span[0], case.tz)} to {day(span[1], case.tz)} ({evidence}): "
        "what it showed then says nothing about the process, and nothing against the probe."
    )
    hot = heat_event(case)
    if hot is not None:
        change = moved_after(hot, case.findings.events)
        moved = f" {moved_sentence(change, case.findings.unit, case.tz)}" if change else ""
        state, became = case.outcomes.get(hot.id, ("", ""))
        settled = f". {became}" if state in SETTLED else f" ({whose(hot)})."
        text = (
            f"{event_sentence(hot, case.tz)}{settled}{moved} The point was {words} from {day(span[0], case.tz)} to "
            f"{day(span[1], case.tz)} ({evidence}): what it showed then says nothing about the process."
        )
    return Answer(
        verdict="do not use",
        sentence=text,
        since=span[0],
        until=span[1],
        wrong="not a reading of the process",
        event=hot,
    )
