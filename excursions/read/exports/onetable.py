"""One table read whole: planned, run, planned again where the data contradict, taken apart where it is several."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import polars as pl

from excursions.ahead import in_order
from excursions.errors import InputFileError
from excursions.read.exports.cells.sheet import Sheet, look_at
from excursions.read.exports.cells.table import Table, Wanted
from excursions.read.exports.execute import Executor
from excursions.read.exports.gather.gather import Gather
from excursions.read.exports.layouts.plan import NoReadingsError, Plan, Texts
from excursions.read.exports.outcome import Outcome, Replan, findings, texts_only
from excursions.read.exports.planner import make_plan
from excursions.read.exports.shown import first_rows
from excursions.read.exports.upright.besides import without_besides
from excursions.read.exports.upright.cards import records_below
from excursions.read.exports.upright.clockdays import named_day, named_year
from excursions.read.exports.upright.counted import counted
from excursions.read.exports.upright.damage import known_damage
from excursions.read.exports.upright.dittos import without_dittos
from excursions.read.exports.upright.leaning import written_out
from excursions.read.exports.upright.monthsacross import year_of_months
from excursions.read.exports.upright.stacked import (
    Stacked,
    previews_blocks,
    previews_other_columns,
    take_apart,
)
from excursions.read.model import ReadOptions, ShownRow
from excursions.records import Decision, short_id

_MOST_REPLANS = 4
STACKED = "tables one below the other"


@dataclass(slots=True, kw_only=True)
class TableRead:
    """A table as it was read.

    layout : words; data_line : line of the first data row
    kind : the headers, which tables of the same export share; orders : date orders that were decided
    """

    layout: str
    data_line: int
    outcome: Outcome
    kind: str = ""
    orders: set[str] = field(default_factory=set)
    decisions: list[Decision] = field(default_factory=list)
    shown: tuple[ShownRow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a table is read with: its name for reports, the file's name without endings, options, readings so far.

    title : the name of the sheet or the file as it stands, dates included
    hints : date orders of tables of the same kind, by kind
    sections : whether lines between the rows may name other signals; not once a file has been taken apart at them
    """

    name: str
    stem: str
    options: ReadOptions
    gather: Gather
    title: str = ""
    hints: dict[str, set[str]] = field(default_factory=dict)
    sections: bool = True


def read_table(table: Table, asked: Asked) -> TableRead:
    """Read a table; its readings go to `asked.gather`.

    Raises
    ------
    InputFileError
        If it cannot be understood or holds nothing that can be used; `asked.gather` is then as before.
    """
    mark = asked.gather.mark()
    if table.starts_in_1904 and not asked.options.date_system:
        asked = replace(asked, options=replace(asked.options, date_system="1904"))
    try:
        return _plain(table, asked)
    except Stacked:
        asked.gather.rollback(mark)
        try:
            return _blocks(table, asked)
        except BaseException:
            asked.gather.rollback(mark)
            raise
    except BaseException:
        asked.gather.rollback(mark)
        raise


def _plain(table: Table, asked: Asked) -> TableRead:
    told: list[Decision] = []
    if (repeated := without_dittos(table, asked.name)) is not None:
        table = repeated[0]
        told.append(repeated[1])
    sheet = look_at(table.preview, asked.stem)
    order = asked.options.date_order
    if sheet is not None:
        sheet, beside = without_besides(sheet, asked.name)
        told.extend(beside)
    whole = written_out(table, sheet, asked.name) or counted(table, sheet, asked.name, order)
    if whole is None and sheet is None:
        whole = (
            named_day(table, asked.name, asked.title, order)
            or named_year(table, asked.name, asked.title)
            or records_below(table, asked.name)
            or year_of_months(table, asked.name)
        )
    encoded = _encoded(table, asked.name)
    if whole is not None:
        table = whole[0]
        told.append(whole[1])
        sheet = look_at(table.preview, asked.stem)
    if sheet is None:
        raise _no_data(table)
    if not asked.sections:
        sheet = replace(sheet, section="")
    stacked = previews_blocks(
        table.preview, sheet.first_line, [column.header for column in sheet.columns], sheet.section
    )
    if sheet.fault is not None:
        if stacked:
            raise Stacked
        raise sheet.fault
    mark = asked.gather.mark()
    try:
        plan, outcome = _run(table, sheet, asked, stacked)
        if plan.stated_zone and outcome.missing_hour:
            told.append(_zone_shown(asked, plan, outcome.missing_hour))
            asked.gather.rollback(mark)
            asked = replace(asked, options=replace(asked.options, tz=plan.stated_zone))
            plan, outcome = _run(table, sheet, asked, stacked)
    except NoReadingsError as error:
        raise known_damage(table) or error from None
    if not outcome.used:
        raise _nothing_used(sheet, outcome)
    if outcome.used == texts_only(outcome):
        raise _no_numbers(outcome)
    return TableRead(
        layout=f"{plan.layout}, rows completed" if whole is not None else plan.layout, data_line=plan.first_line, outcome=outcome, kind=_kind(sheet),
        orders={time.order for time in plan.times.values() if time.order},
        decisions=[*encoded, *told, *plan.decisions, *findings(asked.name, plan, outcome)],
        shown=first_rows(table, plan, asked.options.show_rows),
    )  # fmt: skip


def _zone_shown(asked: Asked, plan: Plan, count: int) -> Decision:
    """That the zone of the file holds after all, because its times fill an hour that the zone of the option leaves out."""
    return Decision(
        subject=asked.name, what=f"times are read in {plan.stated_zone}, which the file states, and not in {asked.options.tz}",
        why=f"{count} of them stand in an hour that {asked.options.tz} leaves out when summer time begins", option="correct the name of the time column, or --tz",
    )  # fmt: skip


def _encoded(table: Table, name: str) -> list[Decision]:
    """That the encoding of a text was chosen, where nothing states it."""
    if not table.preview.guessed:
        return []
    why = "its bytes are no UTF-8; of the usual encodings this one fits its words and letters"
    return [
        Decision(
            subject=name, what=f"the text is read as {table.preview.guessed}", why=why, option="--encoding"
        )
    ]


def _kind(sheet: Sheet) -> str:
    """A short name for the headers: files of the same export share it."""
    return short_id("headers", *(column.header for column in sheet.columns))


def _run(table: Table, sheet: Sheet, asked: Asked, stacked: bool) -> tuple[Plan, Outcome]:
    """Plan and run; where the data contradict the plan, plan again with what they showed."""
    codes: dict[int, frozenset[str]] = {}
    known = asked.hints.get(_kind(sheet), set())
    hint = next(iter(known)) if len(known) == 1 else ""
    mark = asked.gather.mark()
    for _ in range(_MOST_REPLANS):
        try:
            plan = make_plan(sheet, asked.options, asked.name, _texts(table, sheet), codes, hint)
        except NoReadingsError:
            if stacked:
                raise Stacked from None
            raise
        if stacked and (
            plan.layout != "long" or previews_other_columns(table.preview, sheet.first_line, plan.headers)
        ):
            raise Stacked
        outcome = Outcome()
        try:
            convert = asked.options.mixed_units != "apart"
            Executor(plan, asked.gather, outcome, asked.name, convert=convert).run(table)
        except Replan as found:
            codes[found.column] = codes.get(found.column, frozenset()) | found.texts
            asked.gather.rollback(mark)
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


def _blocks(table: Table, asked: Asked) -> TableRead:
    """Each block as a table of its own; what cannot be read of them is refused line by line."""
    sheet = look_at(table.preview, asked.stem)
    found = TableRead(layout=STACKED, data_line=1, outcome=Outcome(), decisions=_encoded(table, asked.name))
    blocks = take_apart(table, len(sheet.columns) if sheet else 2, sheet.section if sheet else "")
    problems: list[InputFileError] = []
    for number, block in enumerate(blocks):
        stem = asked.stem if len(blocks) == 1 else f"{asked.stem} {number + 1}"
        mark = asked.gather.mark()
        try:
            read = _plain(block, replace(asked, stem=stem, sections=False))
        except Stacked:
            raise InputFileError(
                found="tables one below the other that cannot be told apart", expected="one table a file",
                mend="export one file a tag, or one long table", line=int(block.lines[0]),
            ) from None  # fmt: skip
        except InputFileError as error:
            asked.gather.rollback(mark)
            problems.append(error)
            for line in block.lines.tolist():
                found.outcome.refuse(line, "", "", f"in a block that cannot be read: {error.found}", 1)
            continue
        if not found.outcome.used:
            found.data_line, found.shown = read.data_line, read.shown
        found.outcome.absorb(read.outcome, 0)
        found.outcome.lines = max(found.outcome.lines, read.outcome.lines)
        found.decisions.extend(read.decisions)
    if not found.outcome.used:
        raise problems[0] if problems else _no_data(table)
    found.decisions.append(_stacked_decision(asked.name, len(blocks), len(found.outcome.tags)))
    return found


def _stacked_decision(name: str, blocks: int, tags: int) -> Decision:
    return Decision(
        subject=name, what=f"{blocks} tables one below the other were read one by one ({tags} tags)",
        why="rows among the data name other tags or columns", option="export one long table",
    )  # fmt: skip


def _no_data(table: Table) -> InputFileError:
    rows = table.preview.rows
    if not rows:
        return NoReadingsError(
            found="no rows at all",
            expected="a header and rows that each hold a time and a reading",
            mend="export again",
        )
    if special := known_damage(table):
        return special
    first = " ".join(rows[0].cells)[:80]
    only_header = len(rows) <= 2
    return NoReadingsError(
        found=f'a header and no readings under it ("{first}")' if only_header else f'{len(rows)} rows and no time in them (the first: "{first}")',
        expected="a header and rows that each hold a time and a reading",
        mend="export a time span that holds data" if only_header else "export with a time column, best as ISO 8601 (2024-03-01 14:05:00)",
        line=rows[0].line,
    )  # fmt: skip


def _no_numbers(outcome: Outcome) -> InputFileError:
    (tag, word), met = next(iter(outcome.words.items()))
    return NoReadingsError(
        found=f'no number among {outcome.used} readings; the first: "{word}" ({tag})', expected="numbers",
        mend="export the values themselves, each in a cell of its own", line=met.line or None,
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
