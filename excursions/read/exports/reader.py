"""Reads exports: every file found, understood, run, and accounted for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from excursions.clock import iso
from excursions.errors import ExcursionsError, InputFileError
from excursions.read.exports.execute import Executor, Outcome, Replan
from excursions.read.exports.gather import Gather
from excursions.read.exports.plan import Plan
from excursions.read.exports.planner import OrderOpenError, make_plan
from excursions.read.exports.quality import NAMES
from excursions.read.exports.sheet import Sheet, look_at
from excursions.read.exports.sources import Item, find_items
from excursions.read.exports.table import Table
from excursions.read.exports.values import STATE_OFF
from excursions.read.model import REFUSED_SCHEMA, STATUS_SCHEMA, FileReport, Reading, ReadOptions
from excursions.records import Decision, TagSeries

_MOST_REPLANS = 4


@dataclass(slots=True)
class _State:
    """What grows while the files are read."""

    options: ReadOptions
    gather: Gather
    files: list[FileReport] = field(default_factory=list)
    refused: list[tuple[str, int, str, str, str, int]] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    words: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    problems: list[ExcursionsError] = field(default_factory=list)
    orders: dict[str, set[str]] = field(default_factory=dict)


def read_exports(paths: Sequence[Path], options: ReadOptions) -> Reading:
    """Read every file, folder or pattern; files that cannot be used are among the problems.

    Parameters
    ----------
    paths : files, folders, patterns with ``*``, or ``-`` for standard input
    options : what the user states

    Returns
    -------
    Reading
        Series in file order, not sorted and not deduplicated; times in ns UTC, units as written.

    Raises
    ------
    InputFileError
        Only when nothing at all could be read and there was exactly one problem or more: the first one.
    """
    state = _State(options=options, gather=Gather(options.spill_bytes))
    waiting: list[Item] = []
    for item in find_items(paths, options, state.problems):
        if not _read_item(item, state, hint=False):
            waiting.append(item)
    for item in waiting:
        _read_item(item, state, hint=True)
    return _reading(state)


def _read_item(item: Item, state: _State, *, hint: bool) -> bool:
    """Read one file; False when its date order is open and other files may decide it."""
    try:
        with item.opened(state.options) as tables:
            for name, table in tables:
                _read_table(item, name, table, state, hint=hint)
    except OrderOpenError as error:
        if not hint:
            return False
        state.problems.append(error.at(file=item.name))
    except ExcursionsError as error:
        state.problems.append(error.at(file=item.name))
    return True


def _read_table(item: Item, name: str, table: Table, state: _State, *, hint: bool) -> None:
    sheet = look_at(table.preview, item.stem(name))
    if sheet is None:
        raise _no_data(table)
    kind = "|".join(column.header for column in sheet.columns)
    known = state.orders.get(kind, set()) if hint else set()
    codes: dict[int, frozenset[str]] = {}
    mark = state.gather.mark()
    for _ in range(_MOST_REPLANS):
        plan = make_plan(
            sheet,
            state.options,
            name,
            _texts(table, sheet),
            codes,
            next(iter(known)) if len(known) == 1 else "",
        )
        outcome = Outcome()
        try:
            Executor(plan, state.gather, outcome, name).run(
                table.batches(plan.width, plan.first_line, plan.numbers, plan.decimal)
            )
            break
        except Replan as found:
            codes[found.column] = codes.get(found.column, frozenset()) | found.texts
            state.gather.rollback(mark)
            table.tally.notes.clear()
    if not outcome.used:
        raise _nothing_used(sheet, outcome)
    state.orders.setdefault(kind, set()).update(time.order for time in plan.times.values() if time.order)
    _account(item, name, table, plan, outcome, state)


def _texts(table: Table, sheet: Sheet) -> object:
    def texts(columns: tuple[int, ...]) -> Iterator[pl.DataFrame]:
        for batch in table.batches(len(sheet.columns), sheet.first_line, frozenset(), "."):
            yield batch.frame.select(str(index) for index in columns)

    return texts


def _no_data(table: Table) -> InputFileError:
    rows = table.preview.rows
    first = " ".join(rows[0].cells)[:80] if rows else ""
    return InputFileError(
        found=f'{len(rows)} row{"s" if len(rows) != 1 else ""} and no time in any of them (first: "{first}")'
        if rows
        else "no rows at all",
        expected="a header and rows that each hold a time and a reading",
        mend="export with a time column; if the times are written in an unusual way, choose ISO 8601 (2024-03-01 14:05:00)",
        line=rows[0].line if rows else None,
    )


def _nothing_used(sheet: Sheet, outcome: Outcome) -> InputFileError:
    if not outcome.rejects:
        return InputFileError(
            found="a header and no readings under it", expected="rows with readings", mend="export a time span that holds data",
            line=sheet.header_line or None,
        )  # fmt: skip
    line, column, text, reason, _ = outcome.rejects[0]
    return InputFileError(
        found=f'no usable row among {outcome.rows}; the first one: "{text[:80]}" ({reason})',
        expected="rows with a time and a reading",
        mend="check the separator, the decimal mark and the date order (--separator, --decimal-mark, --date-order)",
        line=line, column=column,
    )  # fmt: skip


def _account(item: Item, name: str, table: Table, plan: Plan, outcome: Outcome, state: _State) -> None:
    notes = list(table.tally.notes)
    if outcome.unlisted:
        notes.append(f"{outcome.unlisted} more refused readings are counted in one entry")
        outcome.rejects.append((0, "", "", "more refused readings like these", outcome.unlisted))
    state.files.append(
        FileReport(
            path=name,
            sha256=item.sha256,
            bytes=item.bytes,
            dialect=f"{plan.layout}; {table.words}",
            rows=outcome.rows,
            used=outcome.used,
            refused=outcome.refused,
            tags=len(outcome.tags),
            first=outcome.first,
            last=outcome.last,
            lines=table.tally.lines,
            notes=tuple(notes),
        )  # fmt: skip
    )
    state.refused.extend((name, *reject) for reject in outcome.rejects)
    state.decisions.extend(plan.decisions)
    state.decisions.extend(_findings(name, plan, outcome))
    for key, (quality, count) in outcome.words.items():
        state.words[key] = (quality, state.words.get(key, (quality, 0))[1] + count)


def _findings(name: str, plan: Plan, outcome: Outcome) -> list[Decision]:
    """What was decided row by row."""
    found = []
    for mark, count in outcome.marks.items():
        found.append(
            Decision(
                subject=name,
                what=f'{count} readings with "{mark}" keep their number and are marked uncertain',
                why="a mark is not a measured value",
            )
        )
    if outcome.doubled.rows:
        open_rows = outcome.doubled.open_rows
        why = "by the order of the readings within each tag"
        why += (
            f"; for {open_rows} the order says nothing: taken as the first pass and marked uncertain"
            if open_rows
            else ""
        )
        found.append(
            Decision(
                subject=name,
                what=f"{outcome.doubled.rows} readings in the hour that comes twice in {plan.zone} were put in the first or the second pass",
                why=why,
                option="export in UTC or with offsets",
            )
        )
    if outcome.missing_hour:
        found.append(
            Decision(
                subject=name,
                what=f"{outcome.missing_hour} rows stand in the hour that does not exist in {plan.zone} and were refused",
                why="the clock goes forward over it",
                option="if the recorder keeps winter time all year, pass its fixed zone, for example --tz Etc/GMT-1",
            )  # fmt: skip
        )
    for tag, units in sorted(outcome.units_seen.items()):
        if len(units) > 1:
            found.append(
                Decision(
                    subject=tag,
                    what=f"the unit changes within the tag: {', '.join(sorted(units))}",
                    why="the unit column says so; values are kept as written",
                    option="split the export",
                )
            )
    return found


def _reading(state: _State) -> Reading:
    series = state.gather.series()
    if not series and state.problems:
        raise state.problems[0]
    files = tuple(_with_span(report, series) for report in state.files)
    refused = pl.DataFrame(state.refused, schema=REFUSED_SCHEMA, orient="row")
    return Reading(
        series=series, files=files, refused=refused, decisions=tuple(dict.fromkeys(state.decisions)),
        status_words=_status_words(state, series), problems=tuple(state.problems),
    )  # fmt: skip


def _with_span(report: FileReport, series: dict[str, TagSeries]) -> FileReport:
    return report


def _status_words(state: _State, series: dict[str, TagSeries]) -> pl.DataFrame:
    rows = []
    for (tag, word), (quality, count) in sorted(state.words.items()):
        two_state = quality >= STATE_OFF and tag in series and bool((series[tag].quality == 0).any())
        name = ("good" if two_state else "bad") if quality >= STATE_OFF else NAMES[quality]
        rows.append((tag, word, name, count))
    return pl.DataFrame(rows, schema=STATUS_SCHEMA, orient="row")


__all__ = ["iso", "read_exports", "replace"]
