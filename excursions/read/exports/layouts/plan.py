"""What a layout makes of a sheet: streams of readings, each from a time, a value and perhaps a quality column."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.cells.table import Wanted
from excursions.read.exports.times.timeplan import TimePlan
from excursions.read.model import ReadOptions
from excursions.read.text.quality import QualityPlan
from excursions.records import Decision


class NoReadingsError(InputFileError):
    """A table without times and readings: a cover sheet, a list of names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """One stream of readings.

    time : columns of the time: one, or date and time of day
    value, quality : columns; quality None when there is none
    flags : further columns that say a reading is bad or doubtful; the worst of all holds
    tag : name, where the stream is one tag
    tag_columns : columns that name the tag in each row, outermost first, where it is not
    ending : what goes behind the names of `tag_columns`: the column, where a row holds several readings of one place
    factor, offset : what the numbers are to be multiplied by, and what is then to be added, as the file states
    unit, description : as the file states them; unit_column, description_column : where each row does
    """

    time: tuple[int, ...]
    value: int
    quality: int | None = None
    flags: tuple[int, ...] = ()
    tag: str = ""
    tag_columns: tuple[int, ...] = ()
    ending: str = ""
    factor: float = 1.0
    offset: float = 0.0
    unit: str = ""
    unit_column: int | None = None
    description: str = ""
    description_column: int | None = None

    @property
    def one_a_row(self) -> bool:
        """Whether each row is one reading, so that an empty cell is a reading that failed."""
        return bool(self.tag_columns) and not self.ending

    @property
    def columns(self) -> frozenset[int]:
        """Every column the stream reads."""
        others = (self.value, self.quality, self.unit_column, self.description_column)
        return frozenset(
            (*self.time, *self.tag_columns, *self.flags, *(index for index in others if index is not None))
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A layout's proposal: which columns are what, before times and numbers are understood.

    constants : columns of places that name but one in the first rows, and that one; the tags do without them
    kinds : the column that says whether a row is a reading or a message, None where all are readings
    """

    layout: str
    streams: tuple[Stream, ...]
    decisions: tuple[Decision, ...] = ()
    constants: Mapping[int, str] = field(default_factory=dict)
    kinds: int | None = None


# Gives the texts of these columns from the whole table, a batch at a time.
Texts = Callable[[tuple[int, ...]], Iterator[pl.DataFrame]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Planning:
    """What a plan is made from, and what was decided on the way."""

    sheet: Sheet
    options: ReadOptions
    subject: str
    texts: Texts
    decisions: list[Decision] = field(default_factory=list)

    def say(self, what: str, *, why: str, option: str) -> None:
        """Note a decision about this table."""
        self.decisions.append(Decision(subject=self.subject, what=what, why=why, option=option))


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything needed to run over a table.

    width : number of columns; first_line : line of the first data row
    times : by the time columns of the streams; qualities : by column; decimal : mark of the values, others : of columns
        that have another one
    zone : IANA name for wall times; own : the user's quality words, folded
    stated_zone : the zone that the file states, where the option names another one, or empty
    kept : what says that the readings are averages, or empty; kinds : as in :class:`Draft`
    section : how a line between the rows would mark the name of another signal, empty where none may
    """

    layout: str
    streams: tuple[Stream, ...]
    width: int
    first_line: int
    times: Mapping[tuple[int, ...], TimePlan]
    qualities: Mapping[int, QualityPlan]
    decimal: str
    numbers: frozenset[int]
    zone: str
    headers: tuple[str, ...] = ()
    labels: frozenset[int] = frozenset()
    many_labels: bool = False
    others: Mapping[int, str] = field(default_factory=dict)
    constants: Mapping[int, str] = field(default_factory=dict)
    kinds: int | None = None
    own: Mapping[str, int] = field(default_factory=dict)
    kept: str = ""
    stated_zone: str = ""
    section: str = ""
    decisions: tuple[Decision, ...] = field(default=())

    @property
    def readings_a_row(self) -> int:
        """How many readings a row stands for."""
        return 1 if self.streams[0].one_a_row else len(self.streams)

    def header(self, column: int) -> str:
        """The name of a column, or its place where it has none."""
        name = self.headers[column] if column < len(self.headers) else ""
        return name or f"no. {column + 1}"

    def decimal_of(self, column: int) -> str:
        """The decimal mark of a column of values."""
        return self.others.get(column, self.decimal)

    @property
    def wanted(self) -> Wanted:
        """How the table is to hand on its rows."""
        return Wanted(
            width=self.width,
            first_line=self.first_line,
            numbers=self.numbers - self.others.keys(),
            labels=self.labels,
            many_labels=self.many_labels,
            decimal=self.decimal,
        )
