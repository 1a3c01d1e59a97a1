"""What one column of a sample shows: how many of its cells look like times, numbers, status words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from excursions.read.exports.cells.table import Row
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.times.timeshapes import (
    SUMMER_FLAGS,
    clock_shape_of,
    is_year_day,
    shape_of,
    zone_offset,
)
from excursions.read.text.aggregates import sums_up
from excursions.read.text.fold import unwrapped
from excursions.read.text.quality import is_quality_text
from excursions.read.text.words import CLOCKS_ONLY, STATE_WORDS, fold, is_status_text, roles_of

_LONGEST_WORD = 100
_ENOUGH = 0.6  # share of filled cells that must be of a kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a sheet.

    header : the name, empty when it has none; above : cells of further header rows
    roles : what the header may name
    filled, times, dates, clocks, numbers, statuses, zones : cells of the sample, and how many look like each
    distinct : different texts in the sample
    cells : the sample itself
    factor, offset : what the header says its numbers are to be multiplied by, and what is then to be added
    loose : the factor is above one and stands beside a name or a unit: whether the numbers bear it already cannot be known
    """

    index: int
    header: str
    above: tuple[str, ...]
    roles: frozenset[str]
    cells: tuple[str, ...]
    factor: float = 1.0
    offset: float = 0.0
    loose: bool = False
    filled: int
    times: int
    dates: int
    clocks: int
    numbers: int
    statuses: int
    zones: int
    distinct: int

    def mostly(self, count: int) -> bool:
        """Whether so many cells are most of the filled ones."""
        return self.filled > 0 and count >= _ENOUGH * self.filled

    @property
    def is_time(self) -> bool:
        """Dates with or without a clock."""
        return self.mostly(self.times + self.dates)

    @property
    def is_full_time(self) -> bool:
        """Dates with a clock."""
        return self.mostly(self.times)

    @property
    def is_date(self) -> bool:
        """Dates without a clock."""
        return self.is_time and not self.is_full_time

    @property
    def is_midnight(self) -> bool:
        """Dates that a spreadsheet wrote with the clock they do not have."""
        return self.is_time and all(is_midnight(cell) for cell in self.cells if is_time_text(cell))

    @property
    def is_clock(self) -> bool:
        """Times of day alone."""
        return self.mostly(self.clocks) and not self.is_time

    @property
    def is_half(self) -> bool:
        """AM and PM alone."""
        return self.filled > 0 and all(
            cell.casefold().replace(".", "") in ("am", "pm", "") for cell in self.cells
        )

    @property
    def is_zone(self) -> bool:
        """Zone words or offsets alone; a station may well be called West."""
        named = self.roles & {"place", "tag", "description", "quality", "unit", "value"}
        return self.mostly(self.zones) and not named and not self.is_half

    @property
    def is_value(self) -> bool:
        """Numbers and status words, at least one number or state."""
        other = self.is_time or self.is_clock or self.is_zone
        return self.mostly(self.numbers + self.statuses) and not other

    @property
    def is_text(self) -> bool:
        """Neither times nor values."""
        return self.filled > 0 and not (self.is_time or self.is_clock or self.is_value or self.is_zone)


def column_of(
    index: int, header: Sequence[str], extra: Sequence[tuple[str, ...]], sample: Sequence[Row]
) -> Column:
    """What one column is by its header, further header rows, and a sample of its cells."""
    name = clean(header[index]) if index < len(header) else ""
    cells = tuple(row.cells[index].strip() for row in sample if index < len(row.cells))
    filled = _without_summaries([cell for cell in cells if cell])
    clocked = fold(name) in CLOCKS_ONLY  # "08.10.00" under "Ora" is no date
    shapes = [None if clocked and clock_shape_of(cell) else shape_of(cell) for cell in filled]
    dated = "date" in roles_of(name) and bool(filled) and all(map(is_year_day, filled))
    numbers = [looks_numeric(cell) for cell in filled]
    return Column(
        index=index,
        header=name,
        above=tuple(clean(row[index]) if index < len(row) else "" for row in extra),
        roles=roles_of(name),
        cells=cells,
        filled=len(filled),
        times=sum(shape is not None and shape.has_clock for shape in shapes),
        dates=len(filled) if dated else sum(shape is not None and not shape.has_clock for shape in shapes),
        clocks=sum(
            shape is None and clock_shape_of(cell) is not None
            for shape, cell in zip(shapes, filled, strict=True)
        ),
        numbers=0
        if dated
        else sum(number and shape is None for number, shape in zip(numbers, shapes, strict=True)),
        statuses=sum(is_status(cell) for cell in filled),
        zones=sum(_is_zone(cell, name) for cell in filled),
        distinct=len(set(filled)),
    )


def _without_summaries(cells: list[str]) -> list[str]:
    """The cells of a column of times without the words of summary lines among them: ``Mean`` under dates."""
    others = [c for c in cells if not (c[0].isalpha() and len(c) < _LONGEST_WORD and sums_up(c))]
    if len(others) == len(cells):
        return cells
    timed = all(shape_of(cell) is not None or clock_shape_of(cell) is not None for cell in others)
    return others if others and timed else cells


# Names of a column that says whether summer time holds.
_SUMMER_NAMES = frozenset(
    fold(word)
    for word in ("DST", "is DST", "S/W", "W/S", "So/Wi", "summer time", "daylight saving", "Sommerzeit", "SZ", "MESZ", "heure d'été", "horario de verano")
)  # fmt: skip


def _is_zone(text: str, header: str) -> bool:
    """A zone word, or an offset with its colon or its UTC (a bare +5 is a number); a flag of summer time where the name says so."""
    if text.casefold() in SUMMER_FLAGS:
        return fold(header) in _SUMMER_NAMES
    written = text[-1:].isalpha() or ":" in text or text[:3].upper() in ("UTC", "GMT")
    return written and zone_offset(text) is not None


@lru_cache(maxsize=65_536)
def is_status(text: str) -> bool:
    """A word for a bad value, a two-state word or a quality word."""
    if len(text) > _LONGEST_WORD:
        return False
    said = text.casefold()
    return said in STATE_WORDS or is_status_text(text) or (not looks_numeric(text) and is_quality_text(text))


@lru_cache(maxsize=65_536)
def clean(text: str) -> str:
    """A name from a cell: no control characters, no blanks around, runs of white space as one blank."""
    said = unwrapped(text) if text[:2] == '="' else text
    return " ".join("".join(char if char.isprintable() else " " for char in said).split()).lstrip("\ufeff")


_MIDNIGHT = re.compile(r".*[T ](?:0?0:00(?::00(?:[.,]0+)?)?|12:00(?::00)? ?[aA][mM])$")


def is_midnight(text: str) -> bool:
    """Whether a written time is the midnight of a day."""
    return bool(_MIDNIGHT.match(text.strip()))


def is_time_text(text: str) -> bool:
    """Whether a cell is a written date, with or without a clock."""
    return bool(text) and shape_of(text) is not None
