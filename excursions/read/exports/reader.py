"""Reads exports: every file found, understood, run, and accounted for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.exports.ahead import in_order
from excursions.read.exports.containers import open_item
from excursions.read.exports.execute import Executor
from excursions.read.exports.gather import Gather
from excursions.read.exports.outcome import Outcome, Replan, findings, status_words
from excursions.read.exports.plan import NoReadingsError, Plan
from excursions.read.exports.planner import OrderOpenError, Texts, make_plan
from excursions.read.exports.sheet import Sheet, look_at
from excursions.read.exports.sources import Item, find_items
from excursions.read.exports.table import Table, Wanted
from excursions.read.model import REFUSED_SCHEMA, FileReport, Reading, ReadOptions
from excursions.records import Decision

_MOST_REPLANS = 4


@dataclass(slots=True)
class _State:
    """What grows while the files are read.

    done : tables already read; a file whose date order is open is tried again after all others
    orders : date orders that were decided, by the headers of the table
    """

    options: ReadOptions
    gather: Gather
    files: list[FileReport] = field(default_factory=list)
    refused: list[tuple[str, int, str, str, str, int]] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    words: dict[tuple[str, str], tuple[int, int]] = field(default_factory=dict)
    problems: list[ExcursionsError] = field(default_factory=list)
    orders: dict[str, set[str]] = field(default_factory=dict)
    done: set[str] = field(default_factory=set)


def read_exports(paths: Sequence[Path], options: ReadOptions) -> Reading:
    """Read every file, folder or pattern; files that cannot be used are among the problems.

    Parameters
    ----------
    paths : files, folders, patterns with ``*``, URLs of Parquet in object storage, or ``-`` for standard input
    options : what the user states

    Returns
    -------
    Reading
        Series in file order, not sorted and not deduplicated; times in ns UTC, units as written.

    Raises
    ------
    ExcursionsError
        The first problem, when there was one and nothing at all could be read.
    """
    state = _State(options=options, gather=Gather(options.spill_bytes))
    waiting = [
        item
        for item in find_items(paths, state.problems, state.decisions)
        if not _read_item(item, state, last=False)
    ]
    for item in waiting:
        _read_item(item, state, last=True)
    series = state.gather.series()
    if not series and state.problems:
        raise state.problems[0]
    return Reading(
        series=series,
        files=tuple(sorted(state.files, key=lambda report: report.path)) if waiting else tuple(state.files),
        refused=pl.DataFrame(state.refused, schema=REFUSED_SCHEMA, orient="row"),
        decisions=tuple(dict.fromkeys(state.decisions)),
        status_words=status_words(state.words, series),
        problems=tuple(state.problems),
    )


def _read_item(item: Item, state: _State, *, last: bool) -> bool:
    """Read all tables of one file; False when a date order is open and other files may still decide it."""
    failures: list[tuple[str, ExcursionsError]] = []
    before, open_order = len(state.done), False
    try:
        with item.hashed():
            for name, table in open_item(item, state.options):
                if name in state.done:
                    continue
                try:
                    _read_table(item, name, table, state, last=last)
                    state.done.add(name)
                except OrderOpenError as error:
                    open_order = True
                    failures.append((name, error))
                except ExcursionsError as error:
                    failures.append((name, error))
                    state.done.add(name)
    except ExcursionsError as error:
        failures.append((item.name, error))
    used = any(report.path == item.name or report.path.startswith(f"{item.name}!") for report in state.files)
    _report(item, [f for f in failures if last or not isinstance(f[1], OrderOpenError)], used, state)
    return last or not open_order or before < 0


def _report(item: Item, failures: list[tuple[str, ExcursionsError]], used: bool, state: _State) -> None:
    """Sheets and members that hold no readings are only remarked on where others of the same file do."""
    for name, error in failures:
        if used and name != item.name and isinstance(error, NoReadingsError):
            state.decisions.append(
                Decision(subject=name, what="left out", why=f"found {error.found}", option="--sheet")
            )
        else:
            state.problems.append(error.at(file=name))


def _read_table(item: Item, name: str, table: Table, state: _State, *, last: bool) -> None:
    sheet = look_at(table.preview, item.stem(name))
    if sheet is None:
        raise _no_data(table)
    options = state.options
    if table.starts_in_1904 and not options.date_system:
        options = replace(options, date_system="1904")
    kind = "|".join(column.header for column in sheet.columns)
    known = state.orders.get(kind, set()) if last else set()
    plan, outcome = _run(
        name, table, sheet, options, next(iter(known)) if len(known) == 1 else "", state.gather
    )
    if not outcome.used:
        raise _nothing_used(sheet, outcome)
    state.orders.setdefault(kind, set()).update(time.order for time in plan.times.values() if time.order)
    _account(item, name, table, plan, outcome, state)


def _run(
    name: str, table: Table, sheet: Sheet, options: ReadOptions, hint: str, gather: Gather
) -> tuple[Plan, Outcome]:
    """Plan and run; where the data contradict the plan, plan again with what they showed."""
    codes: dict[int, frozenset[str]] = {}
    mark = gather.mark()
    for _ in range(_MOST_REPLANS):
        plan = make_plan(sheet, options, name, _texts(table, sheet), codes, hint)
        outcome = Outcome()
        try:
            Executor(plan, gather, outcome, name).run(table)
        except Replan as found:
            codes[found.column] = codes.get(found.column, frozenset()) | found.texts
            gather.rollback(mark)
        except BaseException:
            gather.rollback(mark)
            raise
        else:
            return plan, outcome
    raise InputFileError(
        found="quality codes that change their meaning within the file",
        expected="one table of codes",
        mend="state them as quality words in the register",
    )


def _texts(table: Table, sheet: Sheet) -> Texts:
    def texts(columns: tuple[int, ...]) -> Iterator[pl.DataFrame]:
        wanted = Wanted(width=len(sheet.columns), first_line=sheet.first_line)
        for portion in in_order(table.portions(wanted), lambda job: job()):
            for batch in portion.batches:
                yield batch.frame.select(str(index) for index in columns)

    return texts


def _no_data(table: Table) -> InputFileError:
    rows = table.preview.rows
    if not rows:
        return NoReadingsError(
            found="no rows at all",
            expected="a header and rows that each hold a time and a reading",
            mend="export again",
        )
    first = " ".join(rows[0].cells)[:80]
    only_header = len(rows) <= 2
    return NoReadingsError(
        found=f'a header and no readings under it ("{first}")' if only_header else f'{len(rows)} rows and no time in them (the first: "{first}")',
        expected="a header and rows that each hold a time and a reading",
        mend="export a time span that holds data" if only_header else "export with a time column, best as ISO 8601 (2024-03-01 14:05:00)",
        line=rows[0].line,
    )  # fmt: skip


def _nothing_used(sheet: Sheet, outcome: Outcome) -> InputFileError:
    if not outcome.rejects:
        return NoReadingsError(
            found="a header and no readings under it", expected="rows with readings", mend="export a time span that holds data",
            line=sheet.header_line or None,
        )  # fmt: skip
    line, column, text, reason, _ = outcome.rejects[0]
    return InputFileError(
        found=f'no usable row among {outcome.rows}; the first: "{text[:80]}" ({reason})',
        expected="rows with a time and a reading",
        mend="check the separator, the decimal mark and the date order (--separator, --decimal-mark, --date-order)",
        line=line, column=column,
    )  # fmt: skip


def _account(item: Item, name: str, table: Table, plan: Plan, outcome: Outcome, state: _State) -> None:
    if outcome.remarks:
        outcome.notes.append(f"{outcome.remarks} comment lines among the data were passed over")
    if outcome.unlisted:
        outcome.rejects.append((0, "", "", "more refused readings, counted but not listed", outcome.unlisted))
    state.files.append(
        FileReport(
            path=name,
            sha256=item.sha256,
            bytes=item.size,
            dialect=f"{plan.layout}; {table.words}",
            rows=outcome.rows,
            used=outcome.used,
            refused=outcome.refused,
            tags=len(outcome.tags),
            first=outcome.first,
            last=outcome.last,
            lines=outcome.lines,
            data_line=plan.first_line,
            remarks=outcome.remarks,
            notes=tuple(outcome.notes),
        )
    )
    state.refused.extend((name, *reject) for reject in outcome.rejects)
    state.decisions.extend(plan.decisions)
    state.decisions.extend(findings(name, plan, outcome))
    for key, (quality, count) in outcome.words.items():
        state.words[key] = (quality, state.words.get(key, (quality, 0))[1] + count)
