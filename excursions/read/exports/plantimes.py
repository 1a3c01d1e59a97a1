"""How the times of a table are written: as numbers or texts, in which order of day and month, with which flags."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.plan import Planning
from excursions.read.exports.layouts.timecolumns import time_parts
from excursions.read.exports.times.dateorder import OrderEvidence
from excursions.read.exports.times.numbertimes import (
    SERIAL,
    SERIAL_1904,
    as_number_time,
    kind_of,
    refuse_other_readings,
)
from excursions.read.exports.times.timeplan import ORDERS, TimePlan
from excursions.read.exports.times.times import fast_pattern
from excursions.read.exports.times.timeshapes import SUMMER_FLAGS, is_year_day, shape_of


def time_plan(planning: Planning, columns: tuple[int, ...], hint: str) -> TimePlan:
    """How the times in some columns are to be understood; `hint` is the order of dates of files of the same kind."""
    sheet, options = planning.sheet, planning.options
    parts = time_parts(sheet, columns)
    cells = [cell for cell in sheet.columns[columns[0]].cells if cell]
    name = sheet.columns[columns[0]].header
    kinds = Counter(as_number_time(cell) for cell in cells)
    kind = kinds.most_common(1)[0][0] if kinds else None
    example = _example(sheet, columns)
    if kind is not None and not sheet.columns[columns[0]].is_time:
        kind = kind_of(name, kind)
        try:
            refuse_other_readings(cells, kind, stated=bool(options.date_system))
        except InputFileError as error:
            raise error.at(line=sheet.first_line, column=name) from None
        return replace(
            _number_plan(planning, kind, name),
            example=next((cell for cell in cells if as_number_time(cell) == kind), "")[:60],
        )
    shapes = Counter(shape for shape in map(shape_of, cells) if shape is not None)
    flagged = _is_flagged(planning, columns, parts)
    if not shapes:
        days = bool(cells) and all(map(is_year_day, cells))
        fast, example = ("%Y%j", cells[0]) if days else ("", example)
        return TimePlan(parts=parts, fast=fast, flagged=flagged, example=example)
    order = ""
    if any(shape.date == "abc" for shape in shapes):
        order = _order(planning, columns, hint)
    shape = shapes.most_common(1)[0][0]
    return TimePlan(
        parts=parts, fast=fast_pattern(shape, order), zoned=shape.zoned, flagged=flagged, order=order, example=example
    )  # fmt: skip


def _is_flagged(planning: Planning, columns: tuple[int, ...], parts: tuple[str, ...]) -> bool:
    """Whether a flag beside the clock says that summer time holds; no zone is named by it."""
    cells = [cell for cell in planning.sheet.columns[columns[-1]].cells if cell]
    flags = {cell.casefold() for cell in cells}
    if "zone" not in parts:
        found = (re.search(r"[\d:]\s?([SW])$", cell) for cell in cells)
        flags = {match[1].casefold() if match else "" for match in found}
    if not flags or not flags <= SUMMER_FLAGS.keys():
        return False
    shown = ", ".join(sorted(flag.upper() for flag in flags))
    zone = planning.options.tz or planning.options.plant_zone or "UTC"
    planning.say(
        "a flag behind the time says whether summer time holds: an hour is taken off there",
        why=f"it is one of {shown}; the standard time is taken as that of {zone}",
        option="--tz",
    )
    return True


def _example(sheet: Sheet, columns: tuple[int, ...]) -> str:
    """A time of the sample that is understood, to show what is expected."""
    readable = (cell for cell in sheet.columns[columns[0]].cells if shape_of(cell) is not None)
    first = next(readable, "")
    whole = next((cells for cells in _cells(sheet, columns) if first and cells.startswith(first)), first)
    return whole[:60]


def _number_plan(planning: Planning, kind: str, name: str) -> TimePlan:
    shift = SERIAL_1904 if kind == SERIAL and planning.options.date_system == "1904" else 0
    told = kind.replace("1899-12-30", "1904-01-01") if shift else kind
    planning.say(
        f'numbers in column "{name}" are read as {told}',
        why="of their size",
        option="--date-system 1904" if kind == SERIAL else "",
    )
    return TimePlan(kind=kind, shift=shift)


def _order(planning: Planning, columns: tuple[int, ...], hint: str) -> str:
    """Which number of a date is the day: as stated, as some date shows, else as in files of the same kind."""
    if planning.options.date_order:
        return planning.options.date_order
    sheet = planning.sheet
    evidence = OrderEvidence()
    evidence.add(pl.Series(_cells(sheet, columns), dtype=pl.String))
    if len(evidence.possible()) > 1:
        for frame in planning.texts(columns):
            joined = frame.select(pl.concat_str(pl.all().cast(pl.String), separator=" ")).to_series()
            evidence.add(joined)
            if len(evidence.possible()) <= 1:
                break
    order, why = evidence.decide()
    if order:
        planning.say(f"dates are {order}", why=why, option="--date-order")
        return order
    if hint and hint in evidence.possible():
        planning.say(f"dates are {hint}", why="other files of the same kind are", option="--date-order")
        return hint
    example = next((cell for cell in _cells(sheet, columns) if shape_of(cell)), "")
    raise OrderOpenError(
        found=f'dates such as "{example}" that can be read day-first or month-first ({why})',
        expected="a date column that decides which number is the day",
        mend="pass " + " or ".join(f"--date-order {order}" for order in evidence.possible() or ORDERS[:2]),
        column=sheet.columns[columns[0]].header,
        line=sheet.first_line,
    )


class OrderOpenError(InputFileError):
    """The order of day and month is open; files of the same kind may still decide it."""


def _cells(sheet: Sheet, columns: tuple[int, ...]) -> list[str]:
    """The sample of a time; date and time of day together."""
    parts = [sheet.columns[index].cells for index in columns]
    return [" ".join(cells).strip() for cells in zip(*parts, strict=False) if all(cells)]
