"""Tables that carry their own types: Parquet and Arrow files, results of a data base, sheets of a workbook."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.table import Batch, Preview, Row, Tally

_ROWS = 500_000
_HEAD = 1_000


@dataclass(kw_only=True)
class FrameTable:
    """A lazy frame as a table; line n is its n-th row."""

    frame: pl.LazyFrame
    words: str
    height: int
    tally: Tally = field(default_factory=Tally)

    @property
    def preview(self) -> Preview:
        """First rows and some from the middle and the end, as text."""
        schema = self.frame.collect_schema()
        head = self.frame.head(_HEAD).collect()
        middle = self.frame.slice(self.height // 2, 100).collect()
        tail = self.frame.slice(max(0, self.height - 100), 100).collect()
        return Preview(
            rows=_rows(head),
            late=(*_rows(middle), *_rows(tail)),
            dtypes=tuple(schema.dtypes()),
            header=tuple(schema.names()),
        )

    def batches(self, width: int, first_line: int, numbers: frozenset[int], decimal: str) -> Iterator[Batch]:
        """All rows, typed as they are."""
        names = {name: str(index) for index, name in enumerate(self.frame.collect_schema().names())}
        for start in range(0, self.height, _ROWS):
            frame = self.frame.slice(start, _ROWS).collect().rename(names)
            self.tally.lines = start + frame.height
            yield Batch(_plain(frame), start + 1)


def _plain(frame: pl.DataFrame) -> pl.DataFrame:
    """Categories and the like as text, empty texts as missing."""
    texts = [name for name, dtype in frame.schema.items() if isinstance(dtype, (pl.Categorical, pl.Enum))]
    frame = frame.with_columns(pl.col(texts).cast(pl.String)) if texts else frame
    return (
        frame.with_columns(pl.when(pl.col(pl.String) != "").then(pl.col(pl.String)))
        if pl.String in frame.dtypes
        else frame
    )


def _rows(frame: pl.DataFrame) -> tuple[Row, ...]:
    columns = [_as_text(column) for column in frame.get_columns()]
    return tuple(Row(line, cells) for line, cells in enumerate(zip(*columns, strict=True), start=1))


def _as_text(column: pl.Series) -> list[str]:
    if isinstance(column.dtype, pl.Datetime):
        column = column.dt.to_string("%Y-%m-%dT%H:%M:%S" + ("%:z" if column.dtype.time_zone else ""))
    elif column.dtype == pl.Float64 or column.dtype == pl.Float32:
        return ["" if value is None else repr(value) for value in column.to_list()]
    elif column.dtype != pl.String:
        column = column.cast(pl.String, strict=False)
    return [text or "" for text in column.to_list()]


def parquet_table(path: Path) -> FrameTable:
    """A Parquet file."""
    try:
        frame = pl.scan_parquet(path)
        height = int(frame.select(pl.len()).collect().item())
    except (pl.exceptions.PolarsError, OSError) as error:
        raise InputFileError(
            found=f"a Parquet file that cannot be read ({str(error).splitlines()[0][:120]})",
            expected="a sound Parquet file",
            mend="export it again",
        ) from error
    return FrameTable(frame=frame, words="Parquet", height=height)
