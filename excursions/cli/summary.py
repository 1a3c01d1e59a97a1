"""The end of a scan in the terminal: what a tired person needs, then where the page is."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from excursions import clock
from excursions.cli.answer import spoken
from excursions.cli.wrapping import filled, wrapped
from excursions.kinds import SEVERITIES, WALKS
from excursions.pipeline.scan import Scan
from excursions.records import SETTLED, SEVERITY_RANK, Event
from excursions.report.answers import past_faults
from excursions.report.changes import CHANGES
from excursions.report.followed import follows
from excursions.report.reader import Reader, looking
from excursions.report.result import ScanResult, Verdict
from excursions.report.telling import became
from excursions.report.wording import audit_account, day, doubt_sentence, event_sentence, row_account, whose

# Who reads of a point: its temperatures as asked for, its readings as exported.
Said = Callable[[str], Reader]
SHOWN_PROBLEMS = 8
SHOWN_POINTS = 12
SHOWN_STRETCHES = 20
SHOWN_EVENTS = 8
DOUBT_SEVERITY = "check"  # readings beyond tolerance, whether or not an event explains them


def findings_at(result: ScanResult, fail_on: str) -> int:
    """Number of findings at or above a severity: events that are a probe's or may be, readings beyond tolerance."""
    if fail_on == "never":
        return 0
    doubted = SEVERITY_RANK[DOUBT_SEVERITY] >= SEVERITY_RANK[fail_on]
    return doubted * _beyond_tolerance(result) + sum(
        event.may_be_probe and SEVERITY_RANK[event.severity] >= SEVERITY_RANK[fail_on]
        for findings in result.points
        for event in findings.events
    )


def _beyond_tolerance(result: ScanResult) -> int:
    """Number of stretches out of tolerance that are told."""
    return sum(doubt.hours_out_of_tolerance > 0 for doubt in result.told_doubts)


def exit_status(done: Scan, fail_on: str) -> int:
    """0 nothing found, 1 findings at or above `fail_on`."""
    return 1 if findings_at(done.result, fail_on) else 0


def print_summary(done: Scan, page: Path, *, display_units: str = "degC") -> None:
    """Verdicts worst first, faults of the input, and the page; temperatures in the unit asked for."""
    result = done.result
    said = looking(result.points, Reader(tz=clock.zone(result.plant.zone), temperature=display_units))
    rows = _row_counts(result)
    span = [(f.start, f.end) for f in result.points if f.samples]
    tz = clock.zone(result.plant.zone)
    lines = [
        f"{result.plant.name or 'Plant'}: {_count(len(result.points), 'point')}, {rows['used']:,} samples used"
    ]
    if span:
        first, last = clock.wall(min(s for s, _ in span), tz), clock.wall(max(e for _, e in span), tz)
        lines[0] += f", {first} to {last} ({result.plant.zone})"
    lines[0] += "."
    for verdict in [v for v in result.verdicts if v.verdict != "trust"][:SHOWN_POINTS]:
        lines += ["", *_verdict_lines(verdict, said)]
    lines += _trusted(result)
    lines += _ended(result, tz)
    lines += _replacements(result, said)
    lines += _past_doubts(result, tz, said)
    lines += _worth_a_look(result, tz, said)
    lines += _audit(result)
    typer.echo("\n".join(lines))
    _print_problems(done)
    _print_notes(result)
    typer.echo(f"\n{changes_line(result)}{_event_counts(result)}")
    typer.echo(f"Rows: {_rows(rows)}")
    for line in word_lines(result.run.get("status_words")):
        typer.echo(line)
    if listed := _list_rows(result):
        typer.echo(listed)
    typer.echo(
        "This tool releases no batch and protects no plant; local procedures and authorised people decide."
    )
    typer.echo(f"\nPage: {page}")


def _trusted(result: ScanResult) -> list[str]:
    """Points to trust; those that no calibration was ever held against stand apart."""
    compared = {calibration.point for calibration in result.calibrations}
    trusted = [v.point for v in result.verdicts if v.verdict == "trust"]
    rows = (
        ("trust", [name for name in trusted if name in compared]),
        (
            "trust, though never compared with a calibration",
            [name for name in trusted if name not in compared],
        ),
    )
    lines: list[str] = []
    for head, names in rows:
        if names:
            lines += wrapped(f"{head}: {', '.join(names[:30])}{' ...' if len(names) > 30 else ''}", 96)
    return ["", *lines] if lines else []


def _ended(result: ScanResult, tz: ZoneInfo) -> list[str]:
    """Trusted points whose record ends before the plant's; the others say it in their sentence."""
    early = [f"{v.point} ({day(v.ended, tz)})" for v in result.verdicts if v.verdict == "trust" and v.ended]
    if not early:
        return []
    return wrapped(f"record ends early: {', '.join(early[:30])}{' ...' if len(early) > 30 else ''}", 96)


def _replacements(result: ScanResult, said: Said) -> list[str]:
    """Points whose probe has had its day by its last calibration, also where the reading was put right."""
    worn = [
        f"{verdict.point}: {said(verdict.point).text(verdict.worn)}"
        for verdict in result.verdicts
        if verdict.worn
    ]
    if not worn:
        return []
    more = f"; and {len(worn) - SHOWN_POINTS} more" if len(worn) > SHOWN_POINTS else ""
    text = f"Replacement due: {'; '.join(worn[:SHOWN_POINTS])}{more}"
    return ["", *wrapped(text, 96, then="    ")]


def _past_doubts(result: ScanResult, tz: ZoneInfo, said: Said) -> list[str]:
    """Stretches that are over, by a calibration, by themselves or with a failure: their readings are still on record."""
    rows = [
        (doubt.point, doubt.start, doubt_sentence(doubt, findings.unit, tz))
        for findings in result.points
        for doubt in result.past_doubts
        if doubt.point == findings.point.name
    ]
    rows += [
        (findings.point.name, event.start, event_sentence(event, tz))
        for findings in result.points
        for event in past_faults(findings)
    ]
    told = [(point, said(point).text(text)) for point, _, text in sorted(rows)]
    return _listed("Earlier readings to doubt:", told, SHOWN_STRETCHES)


def _listed(head: str, rows: Sequence[tuple[str, str]], most: int) -> list[str]:
    """Points and what is said of them under a head, the rest counted; nothing without any."""
    if not rows:
        return []
    shown = [filled(f"{point}  {text}", 96, first="    ", then="      ") for point, text in rows[:most]]
    more = len(rows) - most
    return ["", head, *shown, *([f"    ... and {more} more on the pages"] if more > 0 else [])]


def events_worth_a_look(result: ScanResult) -> list[tuple[str, Event]]:
    """Point and event for those that ask for a look and that nothing else tells, worst first.

    At a point that is not trusted these are the ones that were over when its trouble began: the others are part of that.
    What followed heat that is told is told with it, and so is the heat before a change that is.
    """
    now = max((findings.end for findings in result.points), default=0)
    before = {v.point: now + 1 if v.verdict == "trust" else v.since or 0 for v in result.verdicts}
    told = {doubt.event for doubt in result.told_doubts} | {verdict.event for verdict in result.verdicts}
    rows = [
        (-SEVERITY_RANK[event.severity], findings.point.name, event.start, event)
        for findings in result.points
        for event in findings.events
        if event.end <= before.get(findings.point.name, 0)
        and event.may_be_probe
        and event.asks_a_look
        and event.id not in told
        and not any(follows(event, e) or follows(e, event) for e in findings.events if e.id in told)
        and not (event.kind in WALKS and _inside_told(event, result))
        and event not in past_faults(findings)
        and became(result.outcomes, event.id) not in SETTLED
    ]
    return [(point, event) for _, point, _, event in sorted(rows, key=lambda row: row[:3])]


def _inside_told(event: Event, result: ScanResult) -> bool:
    """Whether a stretch to be doubted that is told anyway covers most of a walk of the same point."""
    over = (clock.shared(event, doubt) for doubt in result.told_doubts if doubt.point == event.point)
    return any(2 * length >= event.end - event.start for length in over if length > 0)


def _worth_a_look(result: ScanResult, tz: ZoneInfo, said: Said) -> list[str]:
    """What they are and since when; the rest is counted."""
    told = [
        (point, f"{said(point).text(event_sentence(event, tz))} ({whose(event)})")
        for point, event in events_worth_a_look(result)
    ]
    return _listed("Worth a look:", told, SHOWN_EVENTS)


def _audit(result: ScanResult) -> list[str]:
    """What the calibration log says that the record does not bear out, counted; whoever trusts the log should know."""
    said = audit_account(finding.kind for finding in result.audit)
    if not said:
        return []
    text = f"Calibration log beside the record: {said} (excursions calibrations tells each; tables/audit.csv)"
    return ["", *wrapped(text, 96, then="    ")]


def _verdict_lines(verdict: Verdict, said: Said) -> list[str]:
    text = said(verdict.point).text
    body = wrapped(text(f"{verdict.sentence} {verdict.knowledge}"), 92, first="    ", then="    ")
    todo = wrapped(text(f"Next: {verdict.advice}"), 92, first="    ", then="    ")
    return [f"{verdict.verdict.upper()}  {verdict.point}", *body, *todo]


def _row_counts(result: ScanResult) -> dict[str, int]:
    rows = result.run["rows"]
    assert isinstance(rows, dict)
    return rows


def _rows(rows: dict[str, int]) -> str:
    text = row_account(rows["read"], rows["used"], rows["duplicates"], rows["conflicts"], rows["refused"])
    return text + (" (refused.csv says why)" if rows["refused"] else "")


def word_lines(listed: object) -> list[str]:
    """The commonest texts that stood in place of a number or said that one is not good; empty without any."""
    if not isinstance(listed, list):
        return []
    told: dict[tuple[str, str], tuple[int, str]] = {}
    for row in listed:
        key = (str(row["word"]), str(row["quality"]))
        count, first = told.get(key, (0, f"{row['file']}, line {row['line']}" if row["file"] else "before"))
        told[key] = (count + int(row["count"]), first)
    said = sorted(
        (-count, word, quality, first)
        for (word, quality), (count, first) in told.items()
        if quality != "good"
    )
    if not said:
        return []
    lines = ["Texts in place of a number, or as a quality:"]
    for count, word, quality, first in said[:SHOWN_PROBLEMS]:
        lines += wrapped(
            f'{-count:,} x "{word[:40]}", taken as {quality} (first: {first})',
            96,
            first="  ",
            then="    ",
        )
    more = len(said) - SHOWN_PROBLEMS
    return [*lines, *([f"  ... and {more:,} more in run.json"] if more > 0 else [])]


def _list_rows(result: ScanResult) -> str:
    """The account of calibration logs and laboratory samples; empty where there are none."""
    rows = result.run.get("list_rows")
    if not isinstance(rows, dict) or not rows["read"]:
        return ""
    text = f"Rows of logs and samples: {rows['read']:,} read = {rows['used']:,} used + {rows['refused']:,} refused"
    return text + (" (refused.csv says why)" if rows["refused"] else "")


def _print_problems(done: Scan) -> None:
    if not done.problems:
        return
    typer.echo(f"\n{_count(len(done.problems), 'thing')} to mend in the input:", err=True)
    for problem in done.problems[:SHOWN_PROBLEMS]:
        typer.echo(filled(str(problem), 96, first="  - ", then="    "), err=True)
    if len(done.problems) > SHOWN_PROBLEMS:
        typer.echo(f"  ... and {len(done.problems) - SHOWN_PROBLEMS} more in run.json", err=True)


def _print_notes(result: ScanResult) -> None:
    """What the reader remarked on a file it used (cut off, hour missing) or left alone, and where the zone taken looks wrong."""
    inputs = result.run["inputs"]
    assert isinstance(inputs, dict)
    zones = [row for row in result.decisions if row.subject == "clock" and row.option.startswith("--tz")]
    notes = [f"{row.what}: {row.why}. To change it: {row.option}" for row in zones]
    notes += [f"{file['path']}: {note}" for file in inputs["exports"] for note in file["notes"]]
    notes += [f"{file['file']}: left out, {file['reason']}" for file in inputs.get("ignored", ())]
    for note in notes[:SHOWN_PROBLEMS]:
        typer.echo(filled(f"Note: {note}", 96, then="      "), err=True)
    if len(notes) > SHOWN_PROBLEMS:
        typer.echo(f"      ... and {len(notes) - SHOWN_PROBLEMS} more in run.json", err=True)


def changes_line(result: ScanResult) -> str:
    """What is different from the run before in this folder, in a line; empty without one."""
    if result.comparison is None:
        return ""
    if result.comparison.problem:
        return f"Since the run before: cannot tell, {result.comparison.problem}.\n"
    counts = [
        f"{number} {word}"
        for word in CHANGES
        if (number := sum(change.change == word for change in result.comparison.changes))
    ]
    return f"Since the run before: {', '.join(counts) or 'nothing changed'} (tables/changes.csv)\n"


def _event_counts(result: ScanResult) -> str:
    """How many events are laid to a probe or left open, by severity: what the exit status is made from."""
    counts = dict.fromkeys(reversed(SEVERITIES), 0)
    for findings in result.points:
        for event in findings.events:
            if event.may_be_probe:
                counts[event.severity] += 1
    shown = ", ".join(f"{count} {severity}" for severity, count in counts.items())
    beyond = _beyond_tolerance(result)
    stretches = (
        f"; {_count(beyond, 'stretch', 'stretches')} out of tolerance (tables/doubts.csv)" if beyond else ""
    )
    return f"Events of a probe, or undecided: {shown} (tables/events.csv){stretches}"


def _count(number: int, noun: str, many: str = "") -> str:
    return f"{number:,} {noun if number == 1 else many or noun + 's'}"


def summary_facts(done: Scan, page: Path, *, display_units: str = "degC") -> dict[str, object]:
    """The summary for machines: run identity, counts, verdicts, problems, where the page is.

    Sentences are as the terminal writes them; figures are in the unit that stands beside them, which is the tables'.
    """
    result = done.result
    said = looking(result.points, Reader(tz=clock.zone(result.plant.zone), temperature=display_units))
    units = {findings.point.name: findings.unit for findings in result.points}
    return {
        "run": result.run["run"],
        "version": result.run["version"],
        "page": str(page),
        "rows": result.run["rows"],
        "found": result.run["found"],
        "since_run": result.run.get("since_run"),
        "points": [spoken(_verdict_facts(v, units[v.point]), said(v.point).text) for v in result.verdicts],
        "problems": [str(problem) for problem in done.problems],
    }


def _verdict_facts(verdict: Verdict, unit: str) -> dict[str, object]:
    return {
        "point": verdict.point,
        "verdict": verdict.verdict,
        "since": clock.iso(verdict.since) if verdict.since is not None else None,
        "sentence": verdict.sentence,
        "error": verdict.error if math.isfinite(verdict.error) else None,
        "error_band": verdict.error_band if math.isfinite(verdict.error_band) else None,
        "error_unit": "K" if unit == "degC" else unit,
        "advice": verdict.advice,
        "caution": verdict.caution,
        "event": verdict.event or None,
    }


def print_json(done: Scan, page: Path, *, display_units: str = "degC") -> None:
    """Print :func:`summary_facts` as JSON."""
    facts = summary_facts(done, page, display_units=display_units)
    typer.echo(json.dumps(facts, indent=2, ensure_ascii=False))
