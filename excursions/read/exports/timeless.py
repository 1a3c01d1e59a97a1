"""Lines whose time cannot be used: comments, other tables, and what is listed with the reason."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from excursions.read.exports.cells.refusals import missing_hour, unread_time
from excursions.read.exports.cells.sections import continues, is_certain, is_section
from excursions.read.exports.cells.table import Batch
from excursions.read.exports.clocked import Clocked
from excursions.read.exports.layouts.naming import names_other_units
from excursions.read.exports.layouts.plan import Plan
from excursions.read.exports.outcome import Outcome
from excursions.read.exports.upright.stacked import Stacked, begins_block, other_columns

_REMARK_MARKS = ("#", "//", "%%", ";;", "\x1a")  # the last: an old mark for the end of a file


def refuse_lines(
    batch: Batch,
    plan: Plan,
    outcome: Outcome,
    clocks: Mapping[tuple[int, ...], Clocked],
    unread: Mapping[int, int],
) -> None:
    """Lines whose time cannot be used; comments among them are passed over, lines without any reading listed.

    Parameters
    ----------
    clocks : by columns of the time
    unread : how many readings of each row have no time that can be used

    Raises
    ------
    Stacked
        If one of them begins another table or section.
    """
    nowhere = ~np.logical_or.reduce([clock.ok for clock in clocks.values()])
    if not unread and not nowhere.any():
        return
    rows = np.union1d(np.array(sorted(unread), np.int64), np.flatnonzero(nowhere))
    for row, (line, text) in zip(rows.tolist(), batch.texts(rows), strict=True):
        cells = ["" if cell is None else str(cell) for cell in batch.frame.row(row)]
        if _begins_section(plan, row, cells, clocks):
            raise Stacked
        if cells[0].lstrip().startswith(_REMARK_MARKS):
            outcome.remarks += 1
        elif _begins_block(plan, cells):
            raise Stacked
        else:
            columns = _unread_columns(row, cells, clocks)
            why = _why_unread(plan, row, cells, columns, clocks[columns])
            outcome.refuse(line, plan.header(columns[0]), text, why, unread.get(row, 0))


def _begins_block(plan: Plan, cells: list[str]) -> bool:
    """Whether a row without a time begins another table; the rows of a long one name their tags themselves."""
    if plan.layout == "long":
        return other_columns(cells, plan.headers)
    return begins_block(cells, plan.headers) or names_other_units(cells, plan.streams)


def _begins_section(
    plan: Plan, row: int, cells: list[str], clocks: Mapping[tuple[int, ...], Clocked]
) -> bool:
    """Whether a line marks a name as the one above the table does, and the times begin anew below it."""
    if not is_section(cells, plan.section):
        return False
    clock = next(iter(clocks.values()))
    before, after = clock.time[:row][clock.ok[:row]], clock.time[row:][clock.ok[row:]]
    if not before.size or not after.size:
        return is_certain(plan.section)
    return not continues(int(before[0]), int(before[-1]), int(after[0]))


def _unread_columns(row: int, cells: list[str], clocks: Mapping[tuple[int, ...], Clocked]) -> tuple[int, ...]:
    """The time that cannot be used; of several the first that is written at all."""
    unread = [columns for columns, clock in clocks.items() if not clock.ok[row]]
    return next((columns for columns in unread if cells[columns[0]].strip()), unread[0])


def _why_unread(plan: Plan, row: int, cells: list[str], columns: tuple[int, ...], clock: Clocked) -> str:
    if clock.gone is not None and clock.gone[row]:
        return missing_hour(" ".join(cells[index].strip() for index in columns), plan.zone)
    return unread_time(cells, columns, plan.times[columns], plan.headers)
