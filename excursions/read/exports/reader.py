"""Reads exports: every file found, understood, run, and accounted for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError
from excursions.read.exports.cells.table import Table
from excursions.read.exports.files.containers import open_item
from excursions.read.exports.files.sound import broken, is_fault
from excursions.read.exports.files.sources import Item, find_items
from excursions.read.exports.gather.clockchanges import local_signs
from excursions.read.exports.gather.clockfaults import clock_faults
from excursions.read.exports.gather.contradictions import SCHEMA
from excursions.read.exports.gather.gather import Gather
from excursions.read.exports.layouts.plan import NoReadingsError
from excursions.read.exports.layouts.zonestated import TAKEN_AS_UTC
from excursions.read.exports.onetable import Asked, TableRead, read_table
from excursions.read.exports.outcome import Met, status_words, strange_words
from excursions.read.exports.plantimes import OrderOpenError
from excursions.read.model import REFUSED_SCHEMA, FileReport, Reading, ReadOptions
from excursions.read.text.quality import user_words
from excursions.records import Decision


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
    words: dict[tuple[str, str], Met] = field(default_factory=dict)
    problems: list[ExcursionsError] = field(default_factory=list)
    orders: dict[str, set[str]] = field(default_factory=dict)
    done: set[str] = field(default_factory=set)


def read_exports(
    paths: Sequence[Path], options: ReadOptions, *, orders: Mapping[str, Iterable[str]] | None = None
) -> Reading:
    """Read every file, folder or pattern; files that cannot be used are among the problems.

    Parameters
    ----------
    paths : files, folders, patterns with ``*``, URLs of Parquet in object storage, or ``-`` for standard input
    options : what the user states
    orders : date orders decided when earlier files of the same export were read (``Reading.orders``)

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
    state.orders.update({kind: set(known) for kind, known in (orders or {}).items()})
    waiting = [
        item
        for item in find_items(paths, state.problems, state.decisions)
        if not _read_item(item, state, last=False)
    ]
    for item in waiting:
        _read_item(item, state, last=True)
    if waiting:
        state.files.sort(key=lambda report: report.path)
        state.refused.sort(key=lambda reject: reject[0])
    series = state.gather.series(apart=True)
    state.decisions.extend(_parted(tag, names) for tag, names in state.gather.parted)
    clashes = pl.concat([pl.DataFrame(schema=SCHEMA), *state.gather.contradicted])
    state.decisions.extend(state.gather.told)
    naive = {decision.subject for decision in state.decisions if decision.what == TAKEN_AS_UTC}
    if not series and state.problems:
        raise state.problems[0]
    return Reading(
        series=series,
        files=tuple(state.files),
        refused=pl.DataFrame(state.refused, schema=REFUSED_SCHEMA, orient="row"),
        decisions=tuple(
            dict.fromkeys((*state.decisions, *clock_faults(series), *local_signs(series, naive)))
        ),
        status_words=status_words(state.words, series),
        problems=tuple(state.problems),
        contradicted=clashes,
        orders={kind: tuple(sorted(known)) for kind, known in state.orders.items() if known},
    )


def _parted(tag: str, names: tuple[str, ...]) -> Decision:
    return Decision(
        subject=tag, what=f"{len(names)} files hold a signal of this name each: {', '.join(names[:6])}{' and more' if len(names) > 6 else ''}",
        why="where their times overlap their readings contradict or interleave one another", option="name the columns after their signals",
    )  # fmt: skip


def _read_item(item: Item, state: _State, *, last: bool) -> bool:
    """Read all tables of one file; False when a date order is open and other files may still decide it."""
    failures: list[tuple[str, ExcursionsError]] = []
    open_order = False
    try:
        for name, table in open_item(item, state.options):
            if name in state.done:
                continue
            if any(name == apart or name.startswith(f"{apart}!") for apart in state.options.apart):
                state.done.add(name)
                state.decisions.append(
                    Decision(
                        subject=name,
                        what="not read as an export",
                        why="it is a calibration log or a list of samples",
                    )
                )
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
            except BaseException as error:
                if not is_fault(error):
                    raise
                failures.append((name, broken("file", error)))
                state.done.add(name)
    except ExcursionsError as error:
        failures.append((item.name, error))
    used = any(report.path == item.name or report.path.startswith(f"{item.name}!") for report in state.files)
    _report(item, [f for f in failures if last or not isinstance(f[1], OrderOpenError)], used, state)
    return last or not open_order


def _report(item: Item, failures: list[tuple[str, ExcursionsError]], used: bool, state: _State) -> None:
    """Sheets and members that hold no readings are only remarked on where others of the same file do."""
    for name, error in failures:
        if used and name != item.name and isinstance(error, NoReadingsError):
            state.decisions.append(
                Decision(subject=name, what="left out", why=f"found {error.found}", option="--sheet")
            )
        else:
            state.problems.append(error.at(file=name))


def _title(name: str) -> str:
    """The name of a sheet or a member as it stands, or of a file below its folder."""
    outer, mark, inner = name.rpartition("!")
    return inner if mark else "/".join(Path(inner or outer).parts[-2:])


def _read_table(item: Item, name: str, table: Table, state: _State, *, last: bool) -> None:
    asked = Asked(
        name=name, stem=item.stem(name), title=_title(name), options=state.options, gather=state.gather, hints=state.orders if last else {}
    )  # fmt: skip
    found = read_table(table, asked)
    if found.kind:
        state.orders.setdefault(found.kind, set()).update(found.orders)
    _account(item, name, table, found, state)


def _account(item: Item, name: str, table: Table, found: TableRead, state: _State) -> None:
    outcome = found.outcome
    if outcome.remarks:
        outcome.notes.append(f"{outcome.remarks} comment lines among the data were passed over")
    if strange := strange_words(outcome, user_words(state.options.quality_words)):
        outcome.notes.append(strange)
    outcome.rejects.sort(key=lambda reject: reject[0])
    if outcome.unlisted:
        outcome.rejects.append((0, "", "", "more refused readings, counted but not listed", outcome.unlisted))
    state.files.append(
        FileReport(
            path=name, sha256=item.sha256, bytes=item.size, dialect=f"{found.layout}; {table.words}",
            rows=outcome.rows, used=outcome.used, refused=outcome.refused, tags=len(outcome.tags),
            first=outcome.first, last=outcome.last, lines=outcome.lines, data_line=found.data_line,
            remarks=outcome.remarks, notes=tuple(outcome.notes), shown=found.shown,
        )
    )  # fmt: skip
    state.refused.extend((name, *reject) for reject in outcome.rejects)
    state.decisions.extend(found.decisions)
    for key, met in outcome.words.items():
        state.words[key] = state.words[key].and_then(met) if key in state.words else replace(met, file=name)
