"""The first rows of a table beside what the plan makes of them: for people who check how a file is understood."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.read.exports.cells.table import Batch, Portion, Table
from excursions.read.exports.cells.values import STATE_OFF
from excursions.read.exports.layouts.plan import Plan
from excursions.read.exports.work import Readings, work_on
from excursions.read.model import ShownReading, ShownRow
from excursions.records import BAD

_READINGS = 4  # of a wide row that are shown; the rest are counted


def first_rows(table: Table, plan: Plan, count: int) -> tuple[ShownRow, ...]:
    """The first `count` rows and what was understood of each; times in an hour that comes twice are its first pass."""
    if not count:
        return ()
    portion = next((job() for job in table.portions(plan.wanted)), Portion(batches=(), lines=0))
    found: list[ShownRow] = []
    for batch in portion.batches:
        for row in range(min(batch.height, count - len(found))):
            found.append(_shown(batch.keep(np.array([row], np.int64)), plan))
    return tuple(found)


def _shown(batch: Batch, plan: Plan) -> ShownRow:
    """One row through the plan; its lines count from the first row of the table."""
    ((line, text),) = batch.texts(np.array([0], np.int64))
    piece = work_on(Portion(batches=(batch,), lines=1), plan)
    read = [_reading(readings) for readings in piece.readings]
    why = piece.outcome.rejects[0][3] if piece.outcome.rejects else ""
    return ShownRow(
        line=line + plan.first_line - 1,
        text=text.rstrip("\r"),
        readings=tuple(read[:_READINGS]),
        count=len(read),
        refused=why if not read else "",
    )


def _reading(readings: Readings) -> ShownReading:
    quality = 0 if readings.quality is None else int(readings.quality[0])
    shown = ShownReading(
        tag=readings.tag,
        time=int(readings.time[0]),
        value=float(readings.value[0]),
        quality=min(quality, BAD),
        unit=readings.unit,
    )
    return replace(shown, quality=0, value=float(quality - STATE_OFF)) if quality >= STATE_OFF else shown
