"""An explanation in the terminal, for eighty columns and a tired reader; and the same as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from excursions import clock
from excursions.cli.wrapping import wrapped
from excursions.report.explanation import Cause, Check, Explanation
from excursions.report.reader import Reader
from excursions.report.result import ScanResult

WIDTH = 80
LEFT = 12
MOST_REASONS = 3
Words = Callable[[str], str]


def print_explanation(
    answer: Explanation, result: ScanResult, page: Path | None, *, display_units: str, as_json: bool
) -> None:
    """Print the answer on standard output, and where its page is."""
    findings = next(f for f in result.points if f.point.name == answer.point)
    beside = [f for f in result.points if f.point.name in findings.point.neighbours]
    words = Reader(tz=clock.zone(result.plant.zone), temperature=display_units).of(findings, beside).text
    if as_json:
        typer.echo(json.dumps(spoken(explanation_facts(answer, page), words), indent=2, ensure_ascii=False))
        return
    typer.echo("\n".join(explanation_lines(answer, result, words)))
    if page is not None:
        typer.echo(f"\nPage: {page}")


def explanation_lines(answer: Explanation, result: ScanResult, words: Words) -> list[str]:
    """The answer in lines of at most `WIDTH` columns."""
    tz = clock.zone(result.plant.zone)
    findings = next(f for f in result.points if f.point.name == answer.point)
    return [
        *_block(
            "",
            f"{answer.verdict.upper()}  {answer.point} ({findings.point.quantity.label}), {_asked(answer, tz)}",
        ),
        *_block("", words(answer.sentence), indent=4),
        "",
        *_block("Since", _since(answer, tz)),
        *(_block("Reading", words(answer.reading)) if answer.reading else []),
        *_block("How wrong", words(answer.wrong)),
        *_rows("Why", [_cause(cause) for cause in answer.causes], words),
        *(_block("", f"({words(answer.basis)})", indent=LEFT) if answer.basis else []),
        *_rows("Checked", [_check(check) for check in answer.checks], words),
        *_rows(
            "Do next",
            [
                action.words if action.verb == "nothing" else f"{action.verb}: {action.words}"
                for action in answer.actions
            ],
            words,
        ),
        *_rows("Take care", answer.cautions, words),
        *_rows("Could hide", answer.hidden, words),
        *_block("Known", words(answer.knowledge)),
    ]


def _asked(answer: Explanation, tz: ZoneInfo) -> str:
    first, last = clock.wall(answer.focus.start, tz), clock.wall(answer.focus.end, tz)
    if answer.focus.event:
        return f"event of {first}"
    return f"at {first}" if answer.focus.is_moment else f"{first} to {last}"


def _since(answer: Explanation, tz: ZoneInfo) -> str:
    if answer.since is None:
        return "–"
    until = f" to {clock.wall(answer.until, tz)}" if answer.until is not None else ", not over"
    if answer.about:
        return f"about {clock.to_datetime(answer.since, tz):%-d %b %Y}{until}"
    return f"{clock.wall(answer.since, tz)}{until}"


def _cause(cause: Cause) -> str:
    text = f"{share(cause.probability):>5}  {cause.words}" if cause.is_named else cause.words
    return text + (f": {'; '.join(cause.reasons[:MOST_REASONS])}" if cause.reasons else "")


def share(probability: float) -> str:
    """How likely a cause is, in a narrow column."""
    if probability > 0.99:
        return ">99 %"
    return "<1 %" if probability < 0.01 else f"{probability * 100:.0f} %"


def _check(check: Check) -> str:
    return f"{check.question} {check.outcome[0].upper()}{check.outcome[1:]}: {check.evidence}."


def _rows(head: str, rows: Iterable[str], words: Words) -> list[str]:
    lines: list[str] = []
    for number, row in enumerate(rows):
        lines += _block(head if number == 0 else "", words(row), hang=2)
    return lines


def _block(head: str, text: str, *, indent: int | None = None, hang: int = 0) -> list[str]:
    left = LEFT if indent is None and (head or hang) else indent or 0
    first = f"{head:<{left}}" if head else " " * left
    return wrapped(text, WIDTH, first=first, then=" " * (left + hang))


_SENTENCES = (
    "sentence", "wrong", "knowledge", "basis", "words", "reasons", "evidence", "question", "cautions", "hidden", "advice",
    "shock", "found", "replacement", "caution", "reading", "could_hide",
)  # fmt: skip


def spoken(facts: object, words: Words, name: str = "") -> object:
    """Facts for machines with their sentences as `words` writes them; names, stamps and figures stay as they are."""
    if isinstance(facts, dict):
        return {key: spoken(part, words, str(key)) for key, part in facts.items()}
    if isinstance(facts, list | tuple):
        return [spoken(part, words, name) for part in facts]
    return words(facts) if isinstance(facts, str) and name in _SENTENCES else facts


def explanation_facts(answer: Explanation, page: Path | None) -> dict[str, object]:
    """The answer for machines: times ISO 8601 UTC, errors in `unit` (of the point, as in the tables), null where unknown."""
    facts = asdict(answer)
    facts["focus"] = {
        "from": clock.iso(answer.focus.start),
        "to": clock.iso(answer.focus.end),
        "event": answer.focus.event or None,
    }
    for name in ("since", "until"):
        facts[name] = clock.iso(facts[name]) if facts[name] is not None else None
    for name in ("error", "error_low", "error_high"):
        facts[name] = facts[name] if math.isfinite(facts[name]) else None
    facts["event"] = answer.event or None
    facts["page"] = str(page) if page else None
    return facts
