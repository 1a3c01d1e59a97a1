"""What the page of one explained moment says: the answer, its causes, what was checked, what to do."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.content.about import About, period_of
from dashboards.wording import Reader, capital, described, since_words
from excursions.digits import percent
from excursions.report.explanation import Cause, Explanation


@dataclass(frozen=True, slots=True, kw_only=True)
class MomentContent:
    """The answer to one question, as text and rows; since and since_time as the margin shows them."""

    name: str
    what: str
    probe: str
    asked: str
    verdict: str
    sentence: str
    since: str
    since_time: str
    reading: str
    wrong: str
    why: str
    knowledge: str
    basis: str
    causes: tuple[tuple[str, str, str], ...]
    checks: tuple[tuple[str, str, str], ...]
    actions: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    hidden: tuple[str, ...]
    period: str
    zone: str


def moment_content(answer: Explanation, about: About, reader: Reader) -> MomentContent:
    """Turn an explanation into text in the reader's zone and units."""
    findings = about.findings
    since, since_time = since_words(answer.since, reader, about=answer.about, rest=_until(answer, reader))
    return MomentContent(
        name=answer.point,
        what=described(findings.point.quantity.label, findings.point.description),
        probe=about.plant.probe_at(answer.point, answer.focus.start) or "",
        asked=asked_words(answer, reader),
        verdict=answer.verdict,
        sentence=reader.text(answer.sentence),
        since=since,
        since_time=since_time,
        reading=reader.text(answer.reading),
        wrong=reader.text(answer.wrong),
        why="; ".join(
            f"{percent(c.probability)} {reader.text(c.words)}" if c.is_named else reader.text(c.words)
            for c in answer.causes[:2]
        ),
        knowledge=reader.text(answer.knowledge),
        basis=capital(reader.text(answer.basis)),
        causes=tuple(
            (_share(cause), reader.text(cause.words), reader.text("; ".join(cause.reasons)))
            for cause in answer.causes
        ),
        checks=tuple(
            (check.question, check.outcome, capital(reader.text(check.evidence))) for check in answer.checks
        ),
        actions=tuple(
            (capital(action.verb) if action.verb != "nothing" else "", reader.text(action.words))
            for action in answer.actions
        ),
        cautions=tuple(reader.text(text) for text in answer.cautions),
        hidden=tuple(capital(reader.text(text)) for text in answer.hidden),
        period=period_of(findings, reader),
        zone=reader.tz.key,
    )


def asked_words(answer: Explanation, reader: Reader) -> str:
    """The question in words: the moment, the range, or the event."""
    focus = answer.focus
    if focus.event:
        return f"event of {reader.moment(focus.start)}"
    if focus.is_moment:
        return reader.moment(focus.start)
    return f"{reader.moment(focus.start)} to {reader.moment(focus.end)}"


def _until(answer: Explanation, reader: Reader) -> str:
    return f"to {reader.moment(answer.until)}" if answer.until is not None else "not over"


def _share(cause: Cause) -> str:
    """How likely a cause is; a dash where it names none."""
    return percent(cause.probability) if cause.is_named else "–"
