"""Runs a plan over the batches of a table: every row ends up among the readings or among the refused."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import polars as pl

from excursions.clock import TimeArray
from excursions.read.exports.gather import Gather
from excursions.read.exports.outcome import Outcome, Replan
from excursions.read.exports.plan import Plan, Stream
from excursions.read.exports.quality import QualityPlan, parse_quality, scheme_of
from excursions.read.exports.sheet import clean
from excursions.read.exports.table import MORE, Batch
from excursions.read.exports.times import parse_times
from excursions.read.exports.values import Values, parse_values
from excursions.read.exports.zones import to_utc
from excursions.records import BAD, UNCERTAIN, BoolArray, ByteArray, FloatArray, IndexArray

_LONGEST = 500
_REMARK_MARKS = ("#", "//", "%%", ";;")


@dataclass(frozen=True, slots=True)
class _Clocked:
    """Times of a batch: UTC; ok (n,); doubled-hour rows and their shift where there are any."""

    time: TimeArray
    ok: BoolArray
    wall: TimeArray
    twice: BoolArray | None
    shift: TimeArray | None
    why: str


class Executor:
    """Runs one plan over one table."""

    def __init__(self, plan: Plan, gather: Gather, outcome: Outcome, file: str) -> None:
        self.plan, self.gather, self.outcome, self.file = plan, gather, outcome, file
        self._schemes: dict[int, set[str]] = {}

    def run(self, batches: Iterable[Batch]) -> None:
        """All batches in order.

        Raises
        ------
        Replan
            If codes further down show that the quality column was misunderstood.
        """
        for stream in self.plan.streams:
            if stream.tag:
                self.gather.describe(stream.tag, stream.unit, stream.description)
        for batch in batches:
            self._batch(batch)
            self.gather.relieve()

    def _batch(self, batch: Batch) -> None:
        if MORE in batch.frame.columns:
            batch = self._refuse_long_rows(batch)
        batch = self._without_blank_rows(batch)
        if not batch.height:
            return
        clocks = {columns: self._times(batch, columns) for columns in self.plan.times}
        bad_lines: dict[int, int] = {}
        for stream in self.plan.streams:
            self._stream(batch, stream, clocks[stream.time], bad_lines)
        self._refuse_lines(batch, bad_lines, clocks)

    def _refuse_long_rows(self, batch: Batch) -> Batch:
        """Rows with more cells than columns: which cell is which cannot be known."""
        long = batch.frame[MORE].is_not_null().to_numpy()
        rows = np.flatnonzero(long)
        count = max(1, len(self.plan.streams)) if not self.plan.streams[0].tag_columns else 1
        for row, line in zip(rows.tolist(), batch.line_of(rows).tolist(), strict=True):
            self.outcome.refuse(
                line, "", _row_text(batch, row), "more cells than the header has columns", count
            )
        keep = np.flatnonzero(~long)
        return Batch(batch.frame.drop(MORE)[keep], batch.line_of(keep))

    @staticmethod
    def _without_blank_rows(batch: Batch) -> Batch:
        first = batch.frame.get_columns()[0] if batch.frame.width else None
        if first is None or first.null_count() == 0:
            return batch
        blank = batch.frame.select(pl.all_horizontal(pl.all().is_null())).to_series().to_numpy()
        if not blank.any():
            return batch
        keep = np.flatnonzero(~blank)
        return Batch(batch.frame[keep], batch.line_of(keep))

    def _times(self, batch: Batch, columns: tuple[int, ...]) -> _Clocked:
        frame = batch.frame
        clock = frame[str(columns[1])] if len(columns) > 1 else None
        found = parse_times(frame[str(columns[0])], self.plan.times[columns], clock)
        if found.zoned.all() or self.plan.zone == "UTC":
            return _Clocked(found.time, found.ok, found.time, None, None, "the time cannot be understood")
        use = found.ok & ~found.zoned
        wall = np.where(use, found.time, found.time[use][0] if use.any() else 0)
        resolved = to_utc(wall, self.plan.zone)
        time = np.where(use, resolved.time, found.time)
        ok = found.ok
        if resolved.missing is not None:
            gone = resolved.missing & use
            self.outcome.missing_hour += int(gone.sum())
            ok = ok & ~gone
        twice = resolved.twice & use if resolved.twice is not None else None
        return _Clocked(
            time,
            ok,
            wall,
            twice,
            resolved.shift,
            "the time cannot be understood, or does not exist in the zone",
        )

    def _stream(self, batch: Batch, stream: Stream, clock: _Clocked, bad_lines: dict[int, int]) -> None:
        values = parse_values(batch.frame[str(stream.value)], self.plan.decimal)
        present = np.ones(batch.height, np.bool_) if stream.tag_columns else ~values.empty
        quality = self._quality(batch, stream, values)
        if not stream.tag_columns and stream.quality is not None:
            present |= self._says_bad(batch, stream, quality)
        good_row = present & clock.ok & values.ok
        tags = self._tags(batch, stream) if stream.tag_columns else None
        if tags is not None:
            named = tags.is_not_null().to_numpy()
            good_row &= named
        for row in np.flatnonzero(present & ~clock.ok).tolist():
            bad_lines[row] = bad_lines.get(row, 0) + 1
        self._refuse_cells(batch, stream, values, present & clock.ok, tags)
        self._count_words(stream, values, tags, good_row)
        if tags is None:
            self._keep(stream.tag, clock, values, quality, good_row)
        else:
            self._keep_by_tag(batch, stream, tags, clock, values, quality, good_row)

    @staticmethod
    def _says_bad(batch: Batch, stream: Stream, quality: ByteArray) -> BoolArray:
        """An empty cell whose own quality column says bad is a reading that failed, not the lack of one."""
        said = batch.frame[str(stream.quality)].is_not_null().to_numpy()
        empty_but_bad: BoolArray = said & (quality == BAD)
        return empty_but_bad

    def _quality(self, batch: Batch, stream: Stream, values: Values) -> ByteArray:
        if stream.quality is None:
            return values.quality
        plan = self.plan.qualities[stream.quality]
        codes, table = parse_quality(batch.frame[str(stream.quality)], plan)
        self._check_scheme(stream.quality, plan, table)
        column = batch.frame[str(stream.quality)]
        counts: dict[str, int] = {}
        if any(quality or not known for quality, known in table.values()):
            frame = column.cast(pl.String, strict=False).fill_null("").value_counts(sort=False)
            counts = dict(frame.iter_rows())
        for text, (quality, known) in table.items():
            if (quality or not known) and text:
                name = text if known else f"{text} (not known, taken as uncertain)"
                self.outcome.word(stream.tag, name, quality, counts.get(text, 0))
        return np.where(
            values.quality > BAD,
            np.where(codes == BAD, codes, values.quality),
            np.maximum(codes, values.quality),
        ).astype(np.uint8)

    def _check_scheme(self, column: int, plan: QualityPlan, table: dict[str, tuple[int, bool]]) -> None:
        seen = self._schemes.setdefault(column, set())
        new = set(table) - seen - {""}
        if not new or len(seen) > 500:
            return
        seen |= new
        scheme = scheme_of(
            sorted(seen), self.plan.headers[column] if column < len(self.plan.headers) else ""
        )[0]
        if scheme not in (plan.scheme, "words") and _stronger(scheme, plan.scheme):
            raise Replan(column, frozenset(seen))

    def _tags(self, batch: Batch, stream: Stream) -> pl.Series:
        columns = [batch.frame[str(index)].cast(pl.String, strict=False) for index in stream.tag_columns]
        if len(columns) == 1:
            return columns[0]
        named = [column.alias(str(i)) for i, column in enumerate(columns)]
        return pl.select(pl.concat_str(*named, separator="/", ignore_nulls=True)).to_series()

    def _refuse_cells(
        self, batch: Batch, stream: Stream, values: Values, candidate: BoolArray, tags: pl.Series | None
    ) -> None:
        bad = candidate & ~values.ok
        if tags is not None:
            unnamed = candidate & tags.is_null().to_numpy()
            for row in np.flatnonzero(unnamed).tolist():
                self.outcome.refuse(
                    int(batch.line_of(np.array([row]))[0]),
                    "",
                    _row_text(batch, row),
                    "the row names no tag",
                    1,
                )
            bad &= ~unnamed
        if not bad.any():
            return
        rows = np.flatnonzero(bad)
        texts = batch.frame[str(stream.value)].gather(rows).to_list()
        name = self.plan.headers[stream.value] if stream.value < len(self.plan.headers) else ""
        for row, line, text in zip(rows.tolist(), batch.line_of(rows).tolist(), texts, strict=True):
            shown = _row_text(batch, row) if stream.tag_columns else str(text)
            self.outcome.refuse(line, name, shown, f'"{str(text)[:60]}" is no number and no status text', 1)

    def _refuse_lines(
        self, batch: Batch, bad_lines: dict[int, int], clocks: dict[tuple[int, ...], _Clocked]
    ) -> None:
        if not bad_lines:
            return
        why = next(iter(clocks.values())).why
        rows = np.array(sorted(bad_lines), np.int64)
        first = batch.frame.get_columns()[0]
        for row, line in zip(rows.tolist(), batch.line_of(rows).tolist(), strict=True):
            if str(first[row] or "").lstrip().startswith(_REMARK_MARKS):
                self.outcome.remarks += 1
            else:
                self.outcome.refuse(line, "", _row_text(batch, row), why, bad_lines[row])

    def _count_words(
        self, stream: Stream, values: Values, tags: pl.Series | None, good_row: BoolArray
    ) -> None:
        for _, meant, rows in values.odd:
            kept = rows[good_row[rows]]
            if meant is None or not kept.size:
                continue
            if meant.mark:
                self.outcome.marks[meant.mark] = self.outcome.marks.get(meant.mark, 0) + int(kept.size)
            owners = (
                {stream.tag: int(kept.size)}
                if tags is None
                else dict(tags.gather(kept).value_counts().iter_rows())
            )
            for tag, count in owners.items():
                if meant.word:
                    self.outcome.word(clean(str(tag)), meant.word, meant.quality, count)
                if meant.unit:
                    self.gather.describe(clean(str(tag)), meant.unit, "")
        if tags is not None:
            empty = np.flatnonzero(values.empty & good_row)
            if empty.size:
                for tag, count in tags.gather(empty).value_counts().iter_rows():
                    self.outcome.word(clean(str(tag)), "(empty)", BAD, count)

    def _keep(
        self, tag: str, clock: _Clocked, values: Values, quality: ByteArray, good_row: BoolArray
    ) -> None:
        time, value, codes = clock.time, values.value, quality
        if clock.twice is not None:
            assert clock.shift is not None
            time, unsure = self.outcome.doubled.settle(
                tag, clock.wall, time, clock.twice & good_row, clock.shift
            )
            codes = np.where(unsure & (codes == 0), UNCERTAIN, codes).astype(np.uint8)
        if not good_row.all():
            rows = np.flatnonzero(good_row)
            time, value, codes = time[rows], value[rows], codes[rows]
        self._add(tag, time, value, codes)

    def _add(self, tag: str, time: TimeArray, value: FloatArray, quality: ByteArray) -> None:
        if not time.size:
            return
        self.outcome.use(tag, int(time.size), int(time.min()), int(time.max()))
        self.gather.add(tag, time, value, quality if quality.any() else None, self.file)

    def _keep_by_tag(
        self,
        batch: Batch,
        stream: Stream,
        tags: pl.Series,
        clock: _Clocked,
        values: Values,
        quality: ByteArray,
        good_row: BoolArray,
    ) -> None:
        rows: IndexArray | None = None if good_row.all() else np.flatnonzero(good_row)
        codes = tags if rows is None else tags.gather(rows)
        if not len(codes):
            return
        order, names, bounds = grouped(codes)
        if rows is not None:
            order = rows[order]
        time, value, sorted_quality = clock.time[order], values.value[order], quality[order]
        twice = clock.twice[order] if clock.twice is not None else None
        for name, start, stop in zip(names, bounds[:-1], bounds[1:], strict=True):
            tag, span = clean(name), slice(start, stop)
            part, marks = time[span], sorted_quality[span]
            if twice is not None and clock.shift is not None and twice[span].any():
                index = order[span]
                part, unsure = self.outcome.doubled.settle(
                    tag, clock.wall[index], part, twice[span], clock.shift[index]
                )
                marks = np.where(unsure & (marks == 0), UNCERTAIN, marks).astype(np.uint8)
            self._add(tag, part, value[span], marks)
        self._describe(batch, stream, tags)

    def _describe(self, batch: Batch, stream: Stream, tags: pl.Series) -> None:
        """Units and descriptions that stand in each row: the first of each tag."""
        columns = [index for index in (stream.unit_column, stream.description_column) if index is not None]
        if not columns:
            return
        frame = pl.DataFrame(
            {"tag": tags, **{str(i): batch.frame[str(i)].cast(pl.String, strict=False) for i in columns}}
        )
        for row in frame.unique(maintain_order=True).drop_nulls("tag").iter_rows(named=True):
            tag = clean(row["tag"])
            unit = clean(row.get(str(stream.unit_column)) or "") if stream.unit_column is not None else ""
            text = (
                clean(row.get(str(stream.description_column)) or "")
                if stream.description_column is not None
                else ""
            )
            self.gather.describe(tag, unit, text)
            if unit:
                self.outcome.units_seen.setdefault(tag, set()).add(unit)


def _stronger(new: str, old: str) -> bool:
    """Whether a scheme found in more of the column overrules the one found in its first rows."""
    rank = {"words": 0, "good_is_0": 1, "good_is_1": 1, "percent": 2, "classic": 3, "ua": 4}
    return rank[new] > rank[old] or (rank[new] == rank[old] == 1 and new != old)


def grouped(tags: pl.Series) -> tuple[IndexArray, list[str], list[int]]:
    """Order (n,) that brings equal tags together and keeps the order within; their names; bounds (k + 1,)."""
    codes = tags.cast(pl.Categorical).to_physical().to_numpy()
    counts = np.bincount(codes)
    present = np.flatnonzero(counts)
    if counts.size > 2**16:  # codes are shared by all files of a run; few of them are in this batch
        table = np.zeros(counts.size, np.uint32)
        table[present] = np.arange(present.size)
        codes, counts = table[codes], counts[present]
    # Radix sort, which numpy uses for small whole numbers, is several times faster than any other here.
    small = codes.astype(
        np.uint8 if counts.size <= 2**8 else np.uint16 if counts.size <= 2**16 else np.uint32
    )
    order = np.argsort(small, kind="stable")
    bounds = [0, *np.cumsum(counts[counts > 0]).tolist()]
    names = tags.gather(order[bounds[:-1]]).to_list()
    return order, names, bounds


def _row_text(batch: Batch, row: int) -> str:
    return ",".join("" if cell is None else str(cell) for cell in batch.frame.row(row))[:_LONGEST]
