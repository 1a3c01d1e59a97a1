"""What one portion of a table comes to under a plan.  Pure: portions are worked on side by side."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from excursions.clock import TimeArray
from excursions.measurands import converted
from excursions.read.exports.cells.cellunits import units_beside, units_of_cells
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.cells.grouping import grouped
from excursions.read.exports.cells.journal import are_messages
from excursions.read.exports.cells.refusals import (
    MESSAGE,
    NO_TAG,
    surplus_cells,
    unread_value,
)
from excursions.read.exports.cells.table import MORE, Batch, Portion
from excursions.read.exports.cells.values import Values, parse_values
from excursions.read.exports.clocked import Clocked, clocked
from excursions.read.exports.layouts.plan import Plan, Stream
from excursions.read.exports.outcome import Outcome, Replan
from excursions.read.exports.timeless import refuse_lines
from excursions.read.text.quality import parse_quality
from excursions.read.text.units import is_unit
from excursions.records import BAD, BoolArray, ByteArray, FloatArray, IndexArray

_BETWEEN = "\x1f"  # between a tag and its unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings of one tag in file order (n,); quality None is good throughout.

    unit : as stated for these readings, or empty
    twice, wall, shift : rows in a doubled hour, wall times and what a second pass adds; None where there are no such rows
    """

    tag: str
    time: TimeArray
    value: FloatArray
    quality: ByteArray | None
    unit: str = ""
    twice: BoolArray | None = None
    wall: TimeArray | None = None
    shift: TimeArray | None = None


@dataclass(slots=True)
class Piece:
    """A portion worked through; lines count from 1 at its start.

    described : tag, unit, description; codes : distinct quality texts by column
    """

    lines: int = 0
    outcome: Outcome = field(default_factory=Outcome)
    readings: list[Readings] = field(default_factory=list)
    described: list[tuple[str, str, str]] = field(default_factory=list)
    codes: dict[int, frozenset[str]] = field(default_factory=dict)


def work_on(portion: Portion, plan: Plan) -> Piece:
    """Every row of a portion among the readings or among the refused."""
    piece = Piece(lines=portion.lines)
    piece.outcome.notes.extend(portion.notes)
    for line, text, reason in portion.lost:
        piece.outcome.refuse(line, "", text, reason, 1)
    for batch in portion.batches:
        _Batch(batch, plan, piece).run()
    return piece


class _Batch:
    """One batch on its way; results go into `piece`."""

    def __init__(self, batch: Batch, plan: Plan, piece: Piece) -> None:
        self.batch, self.plan, self.piece, self.outcome = batch, plan, piece, piece.outcome

    def run(self) -> None:
        """All streams of the plan."""
        if MORE in self.batch.frame.columns:
            self._refuse_long_rows()
        self._drop_blank_rows()
        if self.plan.kinds is not None:
            self._refuse_messages(self.plan.kinds)
        if not self.batch.height:
            return
        self._check_constants()
        clocks = {
            columns: clocked(self.batch, self.plan, self.outcome, columns) for columns in self.plan.times
        }
        unread: dict[int, int] = {}
        for stream in self.plan.streams:
            self._stream(stream, clocks[stream.time], unread)
        refuse_lines(self.batch, self.plan, self.outcome, clocks, unread)

    def _refuse_messages(self, column: int) -> None:
        """Rows that a column calls alarms or messages."""
        messages = are_messages(self.batch.frame[str(column)])
        for line, text in self.batch.texts(np.flatnonzero(messages)):
            self.outcome.refuse(line, self.plan.header(column), text, MESSAGE, 1)
        self.batch = self.batch.keep(np.flatnonzero(~messages)) if messages.any() else self.batch

    def _check_constants(self) -> None:
        """Another place further down: the tag alone would mix the readings of both."""
        for index, text in self.plan.constants.items():
            cells = self.batch.frame[str(index)].cast(pl.String, strict=False).str.strip_chars()
            if (cells.fill_null(text) != text).any():
                raise Replan(index, frozenset(("several places",)))

    def _refuse_long_rows(self) -> None:
        """Rows with more cells than columns: which cell is which cannot be known."""
        long = self.batch.frame[MORE].is_not_null().to_numpy()
        for line, text in self.batch.texts(np.flatnonzero(long)):
            self.outcome.refuse(line, "", text, surplus_cells(self.plan.width), self.plan.readings_a_row)
        kept = self.batch.keep(np.flatnonzero(~long))
        self.batch = replace(kept, frame=kept.frame.drop(MORE))

    def _drop_blank_rows(self) -> None:
        first = self.batch.frame.get_columns()[0]
        if first.null_count():
            blank = self.batch.frame.select(pl.all_horizontal(pl.all().is_null())).to_series().to_numpy()
            if blank.any():
                self._refuse_hidden(np.flatnonzero(blank))
                self.batch = self.batch.keep(np.flatnonzero(~blank))

    def _refuse_hidden(self, blank: IndexArray) -> None:
        """Rows that look empty because all they hold stands behind the last column."""
        for line, text in self.batch.texts(blank) if self.batch.raw else ():
            if re.search(r"\w", text):
                self.outcome.refuse(line, "", text, surplus_cells(self.plan.width), self.plan.readings_a_row)

    def _stream(self, stream: Stream, clock: Clocked, unread: dict[int, int]) -> None:
        values = parse_values(
            self.batch.frame[str(stream.value)], self.plan.decimal_of(stream.value), self.plan.own
        )
        if stream.factor != 1.0 or stream.offset:
            values = replace(values, value=converted(values.value, (stream.factor, stream.offset)))
        quality, says_bad = self._quality(stream, values)
        tags = self._tags(stream) if stream.tag_columns else None
        # In a wide table an empty cell is no reading, unless its own quality column says that one failed.
        present = np.ones(self.batch.height, np.bool_) if stream.one_a_row else ~values.empty | says_bad
        for row in np.flatnonzero(present & ~clock.ok).tolist():
            unread[row] = unread.get(row, 0) + 1
        timed = present & clock.ok
        use = timed & values.ok
        if tags is not None and tags.null_count():
            named = tags.is_not_null().to_numpy()
            for line, text in self.batch.texts(np.flatnonzero(timed & ~named)):
                self.outcome.refuse(line, self.plan.header(stream.tag_columns[0]), text, NO_TAG, 1)
            timed, use = timed & named, use & named
        self._refuse_cells(stream, timed & ~values.ok)
        self._count_words(stream, values, tags, use)
        beside = (
            self.batch.frame[str(stream.unit_column)]
            if stream.unit_column is not None and tags is None
            else None
        )
        for unit, rows in units_of_cells(values, tags) if beside is None else units_beside(beside):
            of_unit = use if rows is None else use & rows
            if tags is None:
                self._one_tag(replace(stream, unit=unit or stream.unit), clock, values, quality, of_unit)
            else:
                self._by_tag(stream, tags, clock, values, quality, of_unit, unit)

    def _quality(self, stream: Stream, values: Values) -> tuple[ByteArray, BoolArray]:
        """Quality (n,) of the readings, and where the quality column itself says bad."""
        if stream.quality is None:
            return values.quality, np.zeros(self.batch.height, np.bool_)
        codes = self._codes(stream, stream.quality)
        for flag in stream.flags:
            codes = np.maximum(codes, self._codes(stream, flag))
        says_bad: BoolArray = codes == BAD
        if not values.quality.any():
            return codes, says_bad
        worse = np.maximum(codes, values.quality)
        return np.where((values.quality > BAD) & says_bad, BAD, worse).astype(np.uint8), says_bad

    def _codes(self, stream: Stream, index: int) -> ByteArray:
        """Quality (n,) that one column states."""
        column = self.batch.frame[str(index)]
        codes, table = parse_quality(column, self.plan.qualities[index])
        seen = self.piece.codes.get(index, frozenset())
        self.piece.codes[index] = seen | (frozenset(table) - {""})
        self._count_codes(stream, column, table)
        return codes

    def _count_codes(self, stream: Stream, column: pl.Series, table: dict[str, tuple[int, bool]]) -> None:
        """List the codes that are not good, or not known."""
        odd = {text: meant for text, meant in table.items() if text and (meant[0] or not meant[1])}
        if not odd:
            return
        counts = dict(column.cast(pl.String, strict=False).fill_null("").value_counts().iter_rows())
        for text, (quality, known) in odd.items():
            name = text if known else f"{text} (not known, taken as uncertain)"
            first = (column.cast(pl.String, strict=False) == text).arg_max() or 0
            self.outcome.codes.add(clean(name)[:80])
            self.outcome.word(stream.tag, name, quality, counts.get(text, 0), self._line(first))

    def _tags(self, stream: Stream) -> pl.Series:
        columns = [self.batch.frame[str(index)] for index in stream.tag_columns]
        if len(columns) == 1 and columns[0].dtype == pl.Categorical and not stream.ending:
            return columns[0]
        texts = [column.cast(pl.String, strict=False).alias(str(i)) for i, column in enumerate(columns)]
        if len(texts) == 1 and not stream.ending:
            return texts[0]
        joined = pl.concat_str(*texts, separator="/", ignore_nulls=True)
        if stream.ending:  # a row that names no place keeps no name: it is refused, not mixed into others
            named = pl.any_horizontal(text.is_not_null() for text in texts)
            joined = pl.when(named).then(pl.concat_str(joined, pl.lit(stream.ending), separator="/"))
        return pl.select(joined).to_series()

    def _refuse_cells(self, stream: Stream, bad: BoolArray) -> None:
        if not bad.any():
            return
        rows = np.flatnonzero(bad)
        cells = [str(cell) for cell in self.batch.frame[str(stream.value)].gather(rows).to_list()]
        name = self.plan.header(stream.value)
        for (line, text), cell in zip(self.batch.texts(rows), cells, strict=True):
            shown = text if stream.one_a_row else cell
            self.outcome.refuse(line, name, shown, unread_value(cell, self.plan.decimal_of(stream.value)), 1)

    def _count_words(self, stream: Stream, values: Values, tags: pl.Series | None, use: BoolArray) -> None:
        for _, meant, rows in values.odd:
            kept = rows[use[rows]]
            if meant is None or not kept.size:
                continue
            if meant.mark:
                self.outcome.marks[meant.mark] = self.outcome.marks.get(meant.mark, 0) + int(kept.size)
            for tag, count, first in self._owners(stream, tags, kept):
                if meant.word:
                    self.outcome.word(tag, meant.word, meant.quality, count, self._line(first))
                if meant.unit and not is_unit(meant.unit):
                    self.piece.described.append((tag, meant.unit, ""))
        if tags is not None and stream.one_a_row and values.empty.any():
            for tag, count, first in self._owners(stream, tags, np.flatnonzero(values.empty & use)):
                self.outcome.word(tag, "(empty)", BAD, count, self._line(first))

    def _line(self, row: int) -> int:
        """Line of one row of the batch."""
        return int(self.batch.line_of(np.array([row], np.int64))[0])

    @staticmethod
    def _owners(stream: Stream, tags: pl.Series | None, rows: IndexArray) -> list[tuple[str, int, int]]:
        """Whose these rows are, how many, and the first of them."""
        if not rows.size:
            return []
        if tags is None:
            return [(stream.tag, int(rows.size), int(rows[0]))]
        owned = pl.DataFrame({"tag": tags.gather(rows).cast(pl.String), "row": rows})
        counted = owned.group_by("tag", maintain_order=True).agg(
            pl.len(), pl.col("row").first().alias("first")
        )
        return [(clean(tag), count, first) for tag, count, first in counted.iter_rows()]

    def _one_tag(
        self, stream: Stream, clock: Clocked, values: Values, quality: ByteArray, use: BoolArray
    ) -> None:
        if not use.any():
            return
        rows = None if use.all() else np.flatnonzero(use)
        if rows is None:  # the same times for all columns of a wide table: they are kept once
            time, value, codes = clock.time, values.value, quality
        else:
            time, value, codes = clock.time[rows], values.value[rows], quality[rows]
        self.outcome.use(time)
        self._add((stream.tag, stream.unit), clock, time, value, codes if codes.any() else None, rows)

    def _by_tag(
        self, stream: Stream, tags: pl.Series, clock: Clocked, values: Values, quality: ByteArray, use: BoolArray, stated: str
    ) -> None:  # fmt: skip
        """Readings of rows that name their tags; `stated` is the unit their cells give, empty where they give none."""
        if not use.any():
            return
        owners, units = (tags, {}) if stated else self._owners_with_units(stream, tags)
        rows = None if use.all() else np.flatnonzero(use)
        order, names, bounds = grouped(owners if rows is None else owners.gather(rows))
        order = order if rows is None else rows[order]
        time, value = clock.time[order], values.value[order]
        codes = quality[order] if quality.any() else None
        self.outcome.use(time)
        for name, start, stop in zip(names, bounds[:-1], bounds[1:], strict=True):
            tag, _, unit = name.partition(_BETWEEN)
            owner = (clean(tag), stated or clean(unit) or units.get(tag, stream.unit))
            part = None if codes is None else codes[start:stop]
            self._add(owner, clock, time[start:stop], value[start:stop], part, order[start:stop])
        self._describe(stream, tags)

    def _owners_with_units(self, stream: Stream, tags: pl.Series) -> tuple[pl.Series, dict[str, str]]:
        """The tags, with the unit behind where one tag comes in several; and the unit of each tag otherwise."""
        if stream.unit_column is None:
            return tags, {}
        unit = self.batch.frame[str(stream.unit_column)].cast(pl.String, strict=False).fill_null("")
        texts = tags.cast(pl.String)
        pairs = pl.DataFrame({"tag": texts, "unit": unit}).unique(maintain_order=True).drop_nulls("tag")
        stated = pairs.filter(pl.col("unit") != "")
        if stated["tag"].n_unique() == stated.height:
            return tags, {tag: clean(text) for tag, text in stated.iter_rows()}
        joined = pl.select(
            pl.concat_str(texts.alias("tag"), unit.alias("unit"), separator=_BETWEEN)
        ).to_series()
        return joined, {}

    def _add(
        self, owner: tuple[str, str], clock: Clocked, time: TimeArray, value: FloatArray, quality: ByteArray | None,
        rows: IndexArray | None,
    ) -> None:  # fmt: skip
        """Note readings of a tag in a unit; `rows` are their rows in the batch, None for all."""
        found = Readings(tag=owner[0], unit=owner[1], time=time, value=value, quality=quality)
        twice = clock.twice if rows is None or clock.twice is None else clock.twice[rows]
        if twice is not None and clock.shift is not None and twice.any():
            wall, shift = (array if rows is None else array[rows] for array in (clock.wall, clock.shift))
            found = replace(found, twice=twice, wall=wall, shift=shift)
        self.piece.readings.append(found)

    def _describe(self, stream: Stream, tags: pl.Series) -> None:
        """Descriptions that stand in each row."""
        if stream.description_column is None:
            return
        text = self.batch.frame[str(stream.description_column)].cast(pl.String, strict=False)
        frame = (
            pl.DataFrame({"tag": tags.cast(pl.String), "text": text}).unique(maintain_order=True).drop_nulls()
        )
        self.piece.described.extend((clean(tag), "", clean(said)) for tag, said in frame.iter_rows())
