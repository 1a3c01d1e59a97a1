"""What a check found, in the terminal: eighty columns for one file, still readable for thousands of signals."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import polars as pl
import typer

from excursions import clock
from excursions.cli.check_facts import check_facts
from excursions.cli.wrapping import wrapped
from excursions.digits import written
from excursions.pipeline.check import OF_COLUMNS, CheckResult, FileCheck, ShownEntry, SignalCheck
from excursions.read.model import ShownReading, ShownRow
from excursions.records import FIGURE_UNITS, CalibrationEntry, Decision, LabSample
from excursions.report.recording import KIND_WORDS, flats, gaps, peaks, recorded, resolved
from excursions.report.wording import row_account

WIDTH = 80
MOST_FILES, MOST_SIGNALS, MOST_DECISIONS, MOST_WORDS = 8, 6, 14, 20
_ENDLESS = re.compile(r"[^\s/\\]{70,}")  # a word that no line can hold, unless it is part of a path
QUALITIES = ("good", "uncertain", "bad")


def print_check(found: CheckResult, *, everything: bool, as_json: bool) -> None:
    """Print what was found on standard output."""
    if as_json:
        typer.echo(json.dumps(check_facts(found), indent=2, ensure_ascii=False))
        return
    typer.echo("\n".join(check_lines(found, everything=everything)))


def exit_status(found: CheckResult) -> int:
    """2 when nothing at all could be used, else 0."""
    used = any(file.used or file.taken_for == "register" for file in found.files)
    return 0 if used else 2


def check_lines(found: CheckResult, *, everything: bool) -> list[str]:
    """Files, decisions, status texts, clock, signals, rows: one block each."""
    tz = clock.zone(found.plant.zone)
    return [
        *_files(found, tz, everything),
        *_decisions(found.decisions, everything),
        *_words(found, everything),
        *_problems(found, everything),
        *_signals(found, tz, everything),
        "",
        *_fill(_rows(found), hang=2),
    ]


def _rows(found: CheckResult) -> str:
    rows = found.rows
    text = f"Rows of exports: {row_account(rows['read'], rows['used'], rows['repeated'], rows['contradicted'], rows['refused'])}."
    lists = [file for file in found.files if file.taken_for in ("calibration log", "laboratory samples")]
    if lists:
        read, used, refused = (
            sum(getattr(file, name) for file in lists) for name in ("rows", "used", "refused")
        )
        text += f" Of logs and samples: {read:,} read = {used:,} used + {refused:,} refused."
    return text


# --- files ---------------------------------------------------------------------------------------


def _files(found: CheckResult, tz: ZoneInfo, everything: bool) -> list[str]:
    kinds = Counter(file.taken_for for file in found.files)
    head = ", ".join(f"{count:,} {_plural(kind, count)}" for kind, count in kinds.items())
    shown = found.files if everything else _worth_showing(found.files)
    lines = [f"FILES  {head}"]
    for file in shown:
        lines += ["", *_file(file, tz)]
    if len(shown) < len(found.files):
        lines += [
            "",
            f"  ... and {len(found.files) - len(shown):,} more files of these kinds (--all shows them)",
        ]
    return lines


def _plural(kind: str, count: int) -> str:
    return kind + ("s" if count != 1 and kind in ("export", "calibration log", "register") else "")


def _worth_showing(files: Sequence[FileCheck]) -> list[FileCheck]:
    """Files with faults first, then the first ones of every kind; in the order they were read."""
    ranked = sorted(
        range(len(files)),
        key=lambda at: (not (files[at].problems or files[at].refused), files[at].taken_for == "ignored", at),
    )
    return [files[at] for at in sorted(ranked[:MOST_FILES])]


def _file(file: FileCheck, tz: ZoneInfo) -> list[str]:
    lines = _fill(f"{_shown(file.path)}: {file.taken_for}", indent=2, hang=2)
    if file.why:
        lines += _fill(_shown(file.why), indent=4)
    if file.rows:
        lines += _fill(_counts(file, tz), indent=4)
    for note in file.notes:
        lines += _fill(f"Note: {note}", indent=4, hang=2)
    for row in file.shown:
        lines += _shown_row(row, tz)
    for entry in file.entries:
        lines += _shown_entry(entry, tz)
    if file.entry_count > len(file.entries):
        lines.append(f"    ... {file.entry_count:,} in all")
    for refused in file.refused_rows:
        column = f', column "{refused["column"]}"' if refused["column"] else ""
        lines += _fill(
            f"refused: line {refused['line']}{_shown(column)}: {_shown(str(refused['reason']))}: {_cut(str(refused['text']), 60)}",
            indent=4,
            hang=2,
        )
    if file.refused > len(file.refused_rows):
        lines.append(f"    ... {file.refused:,} refused in all (a scan writes them to refused.csv)")
    for problem in file.problems:
        lines += _fill(f"To mend: {_shown(problem)}", indent=4, hang=2)
    return lines


def _counts(file: FileCheck, tz: ZoneInfo) -> str:
    text = f"{file.rows:,} {'readings' if file.taken_for == 'export' else 'rows'} = {file.used:,} used + {file.refused:,} refused"
    if file.tags:
        text += f"; {file.tags:,} {'tag' if file.tags == 1 else 'tags'}"
    if file.first is not None and file.last is not None:
        text += f"; {_iso(file.first, tz)} to {_iso(file.last, tz)}"
    return text


def _shown_row(row: ShownRow, tz: ZoneInfo) -> list[str]:
    lines = [f"    line {row.line:<6} {_cut(row.text, WIDTH - 16)}"]
    if row.refused:
        return [*lines, *_fill(f"refused: {_shown(row.refused)}", indent=15, hang=2)]
    if not row.readings:
        return [*lines, "               no reading in this row"]
    for reading in row.readings:
        lines += _fill(_reading(reading, tz), indent=13, hang=2)
    more = row.count - len(row.readings)
    return [*lines, f"             ... and {more:,} more in this row"] if more > 0 else lines


def _reading(reading: ShownReading, tz: ZoneInfo) -> str:
    value = f"{reading.value:.10g}" if math.isfinite(reading.value) else "no number"
    unit = f" {reading.unit}" if reading.unit else ""
    return f"= {_iso(reading.time, tz)}  {_cut(reading.tag, 40)}  {value}{_shown(unit)}  {QUALITIES[reading.quality]}"


def _shown_entry(shown: ShownEntry, tz: ZoneInfo) -> list[str]:
    entry = shown.entry
    said = _sample(entry, tz) if isinstance(entry, LabSample) else _calibration(entry, tz)
    return [
        f"    line {shown.line:<6} {_cut(shown.text, WIDTH - 16)}",
        *_fill(f"= {_shown(said)}", indent=13, hang=2),
    ]


def _sample(sample: LabSample, tz: ZoneInfo) -> str:
    comment = f'  "{_cut(sample.comment, 40)}"' if sample.comment else ""
    return (
        f"{_iso(sample.time, tz)}  {sample.point}  {written(sample.value, 8)} {sample.unit}{comment}".rstrip()
    )


def _calibration(entry: CalibrationEntry, tz: ZoneInfo) -> str:
    who = (
        " ".join(part for part in (entry.point, entry.probe and f"probe {entry.probe}") if part)
        or "nobody named"
    )
    parts = [f"{_iso(entry.time, tz)}  {who}  {entry.action}, {entry.phase.replace('_', ' ')}"]
    parts += [
        f"{name.replace('_', ' ')} {written(value, 6)} {FIGURE_UNITS.get(name, '')}".strip()
        for name, value in entry.figures.items()
    ]
    for reading in entry.standards:
        warm = (
            f" at {written(reading.temperature_degc)} °C" if math.isfinite(reading.temperature_degc) else ""
        )
        parts.append(
            f"{written(reading.raw, 6)} {reading.raw_unit} in {written(reading.standard, 6)} {reading.standard_unit}{warm}".strip()
        )
    return "; ".join(parts) + (f'; "{_cut(entry.comment, 40)}"' if entry.comment else "")


# --- decisions, texts, faults --------------------------------------------------------------------


def _decisions(decisions: Sequence[Decision], everything: bool) -> list[str]:
    groups: dict[tuple[str, str, str], list[str]] = {}
    for decision in decisions:
        if not decision.what.startswith(OF_COLUMNS):  # shown beside the file
            groups.setdefault((decision.what, decision.why, decision.option), []).append(decision.subject)
    if not groups:
        return ["", "DECIDED  nothing: all of it is stated"]
    items = list(groups.items())
    shown = items if everything else items[:MOST_DECISIONS]
    noun = "thing" if len(items) == 1 else "things"
    lines = ["", f"DECIDED  {len(items):,} {noun}, each with what shows it and what would change it"]
    for (what, why, option), subjects in shown:
        who = (
            _cut(subjects[0], 60)
            if len(subjects) == 1
            else f"{_cut(subjects[0], 40)} and {len(subjects) - 1:,} more"
        )
        text = f"- {who}: {what}, because {why}" + (f". To change it: {option}" if option else "")
        lines += _fill(_shown(text), indent=2, hang=2)
    if len(shown) < len(items):
        lines.append(f"  ... and {len(items) - len(shown):,} more (--all shows them)")
    return lines


def _words(found: CheckResult, everything: bool) -> list[str]:
    if not found.words.height:
        return []
    table = (
        found.words.sort("line", maintain_order=True)
        .group_by("word", "quality", maintain_order=True)
        .agg(pl.col("count").sum(), pl.col("tag").n_unique().alias("tags"), pl.col("file", "line").first())
        .sort(["count", "word"], descending=[True, False])
    )
    shown = table if everything else table.head(MOST_WORDS)
    lines = ["", "STATUS TEXTS  in place of a number, or as a quality"]
    for word, quality, count, tags, file, line in shown.iter_rows():
        lines.append(
            f"  {count:>10,}  taken as {quality:<9}  {_cut(word, 36)}  ({tags:,} {'tag' if tags == 1 else 'tags'})"
        )
        lines += _fill(f"first: {_shown(file)}, line {line}", indent=33, hang=2)
    if shown.height < table.height:
        lines.append(f"  ... and {table.height - shown.height:,} more (--all shows them)")
    return [*lines, *_fill("To change it: [quality_words] in the register.", indent=2)]


def _problems(found: CheckResult, everything: bool) -> list[str]:
    told = {problem for file in found.files for problem in file.problems}
    rest = [str(problem) for problem in found.problems if str(problem) not in told]
    if not rest:
        return []
    shown = rest if everything else rest[:MOST_DECISIONS]
    lines = ["", "TO MEND"]
    for problem in shown:
        lines += _fill(f"- {_shown(problem)}", indent=2, hang=2)
    return [
        *lines,
        *(
            [f"  ... and {len(rest) - len(shown):,} more (--all shows them)"]
            if len(shown) < len(rest)
            else []
        ),
    ]


# --- signals -------------------------------------------------------------------------------------


def _signals(found: CheckResult, tz: ZoneInfo, everything: bool) -> list[str]:
    if not found.signals:
        return []
    shown = (
        found.signals if everything or len(found.signals) <= MOST_SIGNALS else found.signals[:MOST_SIGNALS]
    )
    many = len(found.signals)
    lines = ["", f"SIGNALS  {many:,}{', the oddest first' if many > 1 else ''}"]
    for signal in shown:
        lines += ["", *_signal(signal, tz)]
    rest = found.signals[len(shown) :]
    return [*lines, *_counted(rest)] if rest else lines


def _counted(rest: Sequence[SignalCheck]) -> list[str]:
    """The signals that are not shown, by how they were recorded."""
    groups = Counter(
        (
            KIND_WORDS.get(s.sampling.kind, s.sampling.kind),
            clock.duration_text(s.sampling.interval_s),
            s.sampling.sure,
        )
        for s in rest
        if math.isfinite(s.sampling.interval_s)
    )
    lines = ["", f"  and {len(rest):,} more (--all shows each):"]
    for (kind, interval, sure), count in groups.most_common(12):
        lines.append(f"  {count:>7,}  {kind}, {interval} apart{'' if sure else ', not certain'}")
    if len(groups) > 12:
        lines.append(f"  {sum(groups.values()) - sum(c for _, c in groups.most_common(12)):>7,}  others")
    odd = sum(bool(signal.oddities) for signal in rest)
    return [*lines, f"  {odd:,} of them with an odd clock"] if odd else lines


def _signal(signal: SignalCheck, tz: ZoneInfo) -> list[str]:
    role = f" ({signal.role} of {signal.point})" if signal.point else " (of no point)"
    span = (
        f"; {_iso(signal.first, tz)} to {_iso(signal.last, tz)}"
        if signal.first is not None and signal.last is not None
        else ""
    )
    count = f"{signal.samples:,} {'sample' if signal.samples == 1 else 'samples'}"
    facts = [
        ("Kept", recorded(signal.sampling, signal.amount)),
        ("Step", resolved(signal.sampling, signal.amount)),
        ("Peaks", peaks(signal.sampling, signal.amount)),
        ("Flat", flats(signal.sampling, signal.amount)),
        ("Gaps", gaps(signal.sampling, lambda instant: _iso(instant, tz))),
        *(("Clock", oddity.words) for oddity in signal.oddities),
    ]
    if signal.repeated or signal.conflicts:
        facts.append(
            ("Rows", f"{signal.repeated:,} repeated, {signal.conflicts:,} that contradict a later one")
        )
    if signal.words:
        texts = ", ".join(f'"{_cut(word, 24)}" {count:,}' for word, count in list(signal.words.items())[:6])
        facts.append(("Texts", texts))
    lines = _fill(f"{_cut(signal.tag, 60)}{_shown(role)}", indent=2, hang=2)
    lines += _fill(f"{count}{span}", indent=4)
    for head, text in facts:
        lines += _fill(f"{head:<7}{text[:1].upper()}{_shown(text[1:])}.", indent=4, hang=7)
    return lines


# --- small ---------------------------------------------------------------------------------------


def _iso(instant: int, tz: ZoneInfo) -> str:
    return clock.to_datetime(instant, tz).isoformat()


def _cut(text: str, most: int) -> str:
    said = _shown(text)
    return said if len(said) <= most else said[: most - 3] + "..."


def _shown(text: str) -> str:
    """Text of a file without what a terminal would obey."""
    return "".join(char if char.isprintable() else ("  " if char == "\t" else "?") for char in text)


def _fill(text: str, *, indent: int = 0, hang: int = 0) -> list[str]:
    return wrapped(
        _ENDLESS.sub(lambda word: f"{word[0][:60]}...", text),
        WIDTH,
        first=" " * indent,
        then=" " * (indent + hang),
    )
