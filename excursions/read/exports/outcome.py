"""What a run over a table comes to: counts, refusals, status texts, and what was decided row by row."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from excursions.clock import TimeArray
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.cells.values import STATE_OFF
from excursions.read.exports.layouts.plan import Plan
from excursions.read.exports.times.zones import DoubledHours
from excursions.read.model import STATUS_SCHEMA
from excursions.read.text.quality import NAMES, fold_word
from excursions.read.text.words import is_status_text
from excursions.records import BAD, Decision, TagSeries

_MOST_REFUSED = 200_000  # listed one by one in a table; the rest is counted in one entry
_MOST_WORDS = 2_000
_LONGEST = 500
_SHOWN_WORDS = 5


class Replan(Exception):
    """The data contradict the plan that the first rows suggested; `texts` is what to consider beside them."""

    def __init__(self, column: int, texts: frozenset[str]) -> None:
        super().__init__(f"column {column}")
        self.column, self.texts = column, texts


@dataclass(frozen=True, slots=True)
class Met:
    """A status text met for one tag: what it was taken for, how often, and where first (line, and file once known)."""

    quality: int
    count: int
    line: int
    file: str = ""

    def and_then(self, later: Met) -> Met:
        """Both together; this one came first."""
        return replace(self, quality=later.quality, count=self.count + later.count)


@dataclass(slots=True)
class Outcome:
    """Counts and lists of one table.  rows == used + refused.

    rejects : line, column, text, reason, readings it stands for
    words : by tag and text; codes : those of them that stood in a column of qualities, not in place of a number; marks : comparison mark -> count
    renamed : name -> tag, its unit, the other unit that made a second tag of it
    converted : (tag, unit) -> the tag's first unit, which these readings were converted to; remarks : comment lines among the data
    lines : of the table, to its end
    """

    rows: int = 0
    used: int = 0
    refused: int = 0
    first: int | None = None
    last: int | None = None
    tags: set[str] = field(default_factory=set)
    rejects: list[tuple[int, str, str, str, int]] = field(default_factory=list)
    unlisted: int = 0
    words: dict[tuple[str, str], Met] = field(default_factory=dict)
    codes: set[str] = field(default_factory=set)
    marks: dict[str, int] = field(default_factory=dict)
    renamed: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    converted: dict[tuple[str, str], str] = field(default_factory=dict)
    doubled: DoubledHours = field(default_factory=DoubledHours)
    missing_hour: int = 0
    remarks: int = 0
    lines: int = 0
    notes: list[str] = field(default_factory=list)

    def refuse(self, line: int, column: str, text: str, reason: str, rows: int) -> None:
        """Note one refusal that stands for `rows` readings."""
        self.rows += rows
        self.refused += rows
        if len(self.rejects) < _MOST_REFUSED:
            self.rejects.append((line, column, text[:_LONGEST], reason, rows))
        else:
            self.unlisted += rows

    def use(self, time: TimeArray) -> None:
        """Count readings."""
        count = int(time.size)
        self.rows += count
        self.used += count
        first, last = int(time.min()), int(time.max())
        self.first = first if self.first is None else min(self.first, first)
        self.last = last if self.last is None else max(self.last, last)

    def absorb(self, other: Outcome, line: int) -> None:
        """Add what a portion after `line` lines came to."""
        self.rows += other.rows
        self.used += other.used
        self.refused += other.refused
        self.unlisted += other.unlisted
        self.missing_hour += other.missing_hour
        self.remarks += other.remarks
        self.tags |= other.tags
        self.codes |= other.codes
        for name, choose in (("first", min), ("last", max)):
            known = [moment for moment in (getattr(self, name), getattr(other, name)) if moment is not None]
            setattr(self, name, choose(known, default=None))
        room = _MOST_REFUSED - len(self.rejects)
        self.rejects.extend(
            (line + at, column, text, why, rows) for at, column, text, why, rows in other.rejects[:room]
        )
        self.unlisted += sum(reject[-1] for reject in other.rejects[room:])
        for (tag, word), met in other.words.items():
            self.word(tag, word, met.quality, met.count, line + met.line)
        for mark, count in other.marks.items():
            self.marks[mark] = self.marks.get(mark, 0) + count
        self.renamed.update(other.renamed)
        self.converted.update(other.converted)
        self.notes.extend(note for note in other.notes if note not in self.notes)

    def word(self, tag: str, word: str, quality: int, count: int, line: int) -> None:
        """Count a status text; `line` is that of the first."""
        key = (tag, clean(word)[:80])
        if key not in self.words and len(self.words) >= _MOST_WORDS:
            key = (tag, "(other texts)")
        met = Met(quality, count, line)
        self.words[key] = self.words[key].and_then(met) if key in self.words else met


def strange_words(outcome: Outcome, stated: Container[str]) -> str:
    """A remark on texts in place of numbers that are no usual words for a bad value; empty without any.

    `stated` holds the words of the user, folded.
    """
    strange: dict[str, tuple[int, int]] = {}
    for (_, word), met in outcome.words.items():
        if (
            word not in outcome.codes
            and met.quality == BAD
            and not is_status_text(word)
            and fold_word(word) not in stated
        ):
            count, line = strange.get(word, (0, met.line))
            strange[word] = (count + met.count, min(line, met.line))
    if not strange:
        return ""
    shown = ", ".join(
        f'"{word}" ({strange[word][0]} x, first in line {strange[word][1]})'
        for word in sorted(strange)[:_SHOWN_WORDS]
    )
    more = f" and {len(strange) - _SHOWN_WORDS} other texts" if len(strange) > _SHOWN_WORDS else ""
    return (
        f"text where a number or a usual word for a bad value was expected, taken as bad quality: {shown}{more}; "
        "correct it, or state what it means under the quality words of the register"
    )


def texts_only(outcome: Outcome) -> int:
    """Readings that are texts nobody uses for a missing value, nor for a state."""
    return sum(
        met.count
        for (_, word), met in outcome.words.items()
        if word not in outcome.codes and met.quality == BAD and not is_status_text(word) and word != "(empty)"
    )


def findings(name: str, plan: Plan, outcome: Outcome) -> list[Decision]:
    """What was decided row by row, in words."""
    found = [
        Decision(
            subject=name,
            what=f'{count} readings with "{mark}" keep their number and are marked uncertain',
            why="a limit or a doubtful mark is not a measured value",
        )
        for mark, count in sorted(outcome.marks.items())
    ]
    if outcome.doubled.rows:
        found.append(_doubled(name, plan, outcome.doubled))
    if outcome.missing_hour:
        found.append(
            Decision(
                subject=name,
                what=f"{outcome.missing_hour} rows stand in the hour that does not exist in {plan.zone} and were refused",
                why="the clock goes forward over it",
                option="if the recorder keeps winter time all year, pass its fixed zone, for example --tz Etc/GMT-1 for UTC+1",
            )
        )
    found.extend(
        Decision(
            subject=tag,
            what=f"readings in {unit} were converted to {first}",
            why="the other readings of the tag are in that unit",
            option="--mixed-units apart",
        )
        for (tag, unit), first in sorted(outcome.converted.items())
    )
    for new, (tag, unit, other) in sorted(outcome.renamed.items()):
        found.append(
            Decision(
                subject=tag,
                what=f'readings in {other} are kept apart as "{new}"',
                why=f"the other readings of the tag are in {unit}",
                option="--mixed-units convert, or export the tag in one unit",
            )
        )
    return found


def _doubled(name: str, plan: Plan, hours: DoubledHours) -> Decision:
    why = "by the order of the readings within each tag"
    if hours.open_rows:
        why += f"; for {hours.open_rows} of them the order says nothing: they are taken as the first pass and marked uncertain"
    return Decision(
        subject=name, what=f"{hours.rows} readings in the hour that comes twice in {plan.zone} were put in its first or second pass",
        why=why, option="export in UTC or with offsets",
    )  # fmt: skip


def status_words(words: Mapping[tuple[str, str], Met], series: Mapping[str, TagSeries]) -> pl.DataFrame:
    """The table of status texts; a two-state word is good in a two-state signal and bad in any other."""
    rows = []
    for (tag, word), met in sorted(words.items(), key=lambda item: item[0]):
        quality = NAMES[met.quality] if met.quality < STATE_OFF else "bad"
        if met.quality >= STATE_OFF:
            two_state = tag in series and bool(
                np.isin(series[tag].value[series[tag].quality == 0], (0.0, 1.0)).any()
            )
            quality = "good" if two_state else "bad"
        rows.append((tag, word, quality, met.count, met.file, met.line))
    return pl.DataFrame(rows, schema=STATUS_SCHEMA, orient="row")
