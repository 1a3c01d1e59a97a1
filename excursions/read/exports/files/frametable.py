"""Tables that carry their own types: Parquet and Arrow files, data sets, and frames from elsewhere."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from io import BytesIO
from pathlib import Path

import numpy as np
import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.cells.table import Batch, Job, Portion, Preview, Row, Wanted
from excursions.read.exports.files.nested import flat
from excursions.read.exports.files.salvage import cut_parquet, whole_messages
from excursions.read.exports.files.sound import sound
from excursions.records import FloatArray

_ROWS = 500_000
_CELLS = 20_000_000  # of a batch
_HEAD = 1_000


@dataclass(kw_only=True)
class FrameTable:
    """A lazy frame as a table; line n is its n-th row.

    notes : what is to be said of it; lost : text of a row at its end that was cut off
    typed : the frame's own column names are the header; else its first rows may hold one, and all cells are text
    """

    frame: pl.LazyFrame
    words: str
    height: int
    typed: bool = True
    starts_in_1904: bool = False
    notes: tuple[str, ...] = ()
    lost: str = ""

    @cached_property
    def names(self) -> list[str]:
        """Column names."""
        return self.frame.collect_schema().names()

    @cached_property
    def preview(self) -> Preview:
        """First rows and some from the middle and the end, as text."""
        head = _collected(self.frame.head(_HEAD))
        late: tuple[Row, ...] = ()
        if self.height > _HEAD:
            middle = _collected(self.frame.slice(self.height // 2, 100))
            late = (*_rows(middle), *_rows(_collected(self.frame.slice(self.height - 100, 100))))
        header = tuple(self.names) if self.typed else ()
        return Preview(rows=_rows(head), late=late, header=header)

    def portions(self, wanted: Wanted) -> Iterator[Job]:
        """Slices of rows, typed as they are."""
        if self.notes:
            yield partial(Portion, batches=(), lines=0, notes=self.notes)
        step = max(1_000, min(_ROWS, _CELLS // max(1, len(self.names))))
        for start in range(0 if self.typed else wanted.first_line - 1, self.height, step):
            yield partial(self._portion, start, step, wanted.width)
        if self.lost:
            lost = ((1, self.lost[:500], "the file is cut off in this line"),)
            yield partial(Portion, batches=(), lines=1, lost=lost)

    def _portion(self, start: int, step: int, width: int) -> Portion:
        rename = {name: str(index) for index, name in enumerate(self.names)}
        frame = _collected(self.frame.slice(start, step)).rename(rename)
        missing = [pl.lit(None, pl.String).alias(str(i)) for i in range(len(self.names), width)]
        return Portion(batches=(Batch(_plain(frame).with_columns(missing), 1),), lines=frame.height)


def _collected(frame: pl.LazyFrame) -> pl.DataFrame:
    with sound("table"):
        return frame.collect()


def _plain(frame: pl.DataFrame) -> pl.DataFrame:
    """Categories and the like as text, empty texts as missing, 32-bit numbers as the decimals they were."""
    changes: list[pl.Expr | pl.Series] = []
    for name, dtype in frame.schema.items():
        if isinstance(dtype, (pl.Categorical, pl.Enum)):
            changes.append(pl.col(name).cast(pl.String))
        elif dtype == pl.String:
            changes.append(pl.when(pl.col(name) != "").then(pl.col(name)).alias(name))
        elif dtype == pl.Float32:
            changes.append(pl.Series(name, shortest_decimals(frame[name].to_numpy()), nan_to_null=False))
        elif dtype == pl.Decimal:
            changes.append(pl.col(name).cast(pl.Float64))
        elif dtype == pl.Binary or dtype.is_nested() or dtype == pl.Duration:
            changes.append(pl.lit(None, pl.String).alias(name))
    found = frame.with_columns(changes) if changes else frame
    for name, dtype in frame.schema.items():
        if dtype == pl.Float32 and frame[name].null_count():
            found = found.with_columns(pl.when(frame[name].is_not_null()).then(pl.col(name)).alias(name))
    return found


def shortest_decimals(values: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> FloatArray:
    """Doubles (n,) of 32-bit numbers: the decimal of up to seven digits that gives the same number, where there is one.

    A recorder that keeps 5.81 in 32 bits holds 5.80999994; widened as it stands, its resolution would be lost.
    """
    wide = values.astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        power = np.clip(6 - np.floor(np.log10(np.abs(wide))), -22, 22)
        up, down = 10.0 ** np.maximum(power, 0), 10.0 ** np.maximum(-power, 0)
        near = np.rint(wide * up / down) / up * down
        same = near.astype(np.float32) == values
    return np.where(same, near, wide)


def _rows(frame: pl.DataFrame) -> tuple[Row, ...]:
    columns = [_as_text(column) for column in _plain(frame).get_columns()]
    return tuple(Row(line, cells) for line, cells in enumerate(zip(*columns, strict=True), start=1))


def _as_text(column: pl.Series) -> list[str]:
    if isinstance(column.dtype, pl.Datetime):
        column = column.dt.to_string("%Y-%m-%dT%H:%M:%S" + ("%:z" if column.dtype.time_zone else ""))
    elif column.dtype.is_float():
        return ["" if value is None else repr(value) for value in column.to_list()]
    elif column.dtype != pl.String:
        column = column.cast(pl.String, strict=False)
    return [text or "" for text in column.to_list()]


def ends_whole(file: Path | BytesIO) -> bool:
    """Whether a Parquet file ends as one does."""
    if isinstance(file, BytesIO):
        return file.getvalue()[-4:] in _PARQUET_ENDS
    with file.open("rb") as raw:
        raw.seek(max(0, file.stat().st_size - 4))
        return raw.read() in _PARQUET_ENDS


_PARQUET_ENDS = (b"PAR1", b"PARE")


def parquet_table(file: Path | BytesIO, packing: str = "") -> FrameTable:
    """A Parquet file."""
    if not ends_whole(file):
        raise cut_parquet()
    return _opened(lambda: pl.scan_parquet(file, glob=False), "Parquet", packing)


def dataset_table(folder: Path, parts: Sequence[Path] = ()) -> FrameTable:
    """Parquet files below a folder, partitioned by folders named ``key=value``: all, or only these of them."""
    return _opened(
        lambda: pl.scan_parquet(
            list(parts) or f"{_literal(folder)}/**/*.p*q*",
            glob=not parts,
            hive_partitioning=True,
            try_parse_hive_dates=False,
            missing_columns="insert",
            extra_columns="ignore",
        ),
        "Parquet data set",
        "",
    )


def _literal(folder: Path) -> str:
    """A folder's name with the marks of patterns taken literally."""
    return "".join(f"[{char}]" if char in "*?[" else char for char in str(folder))


def remote_table(url: str) -> FrameTable:
    """Parquet in object storage, one file or a data set, through polars; credentials are those of the environment."""
    name = url.split("?")[0].rstrip("/")
    if name.endswith(_OTHER_ENDINGS):
        raise InputFileError(
            found="an object that is no Parquet", expected="Parquet in object storage, one object or a data set",
            mend="fetch it with the storage's own tool and pass the file",
        )  # fmt: skip
    if not name.endswith((".parquet", ".pq")) and "*" not in url:
        url = url.rstrip("/") + "/**/*.parquet"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", UserWarning
            )  # on a region that is not set: nothing a reading depends on
            return _opened(lambda: pl.scan_parquet(url, hive_partitioning=True), "Parquet, remote", "")
    except InputFileError as error:
        raise _unreachable(error) from error


_OTHER_ENDINGS = (
    ".csv",
    ".txt",
    ".tsv",
    ".gz",
    ".zip",
    ".zst",
    ".xz",
    ".xlsx",
    ".xls",
    ".arrow",
    ".feather",
    ".sqlite",
    ".db",
)


def _unreachable(error: InputFileError) -> InputFileError:
    """What to do when object storage says no: nothing, no right, not found."""
    if error.__cause__ is None:
        return error
    said = (str(error.__cause__).splitlines() or [""])[0][:160]
    package = isinstance(error.__cause__, (ImportError, ModuleNotFoundError))
    return InputFileError(
        found=f"an address that cannot be read ({said})",
        expected="Parquet that can be reached from this machine",
        mend="install the package it names"
        if package
        else "check the address and the network, and give the credentials in the environment as the storage's own tools take them "
        "(key, secret and region, or account and key); or fetch the file and pass its name",
    )


def arrow_table(file: Path | BytesIO, packing: str = "") -> FrameTable:
    """An Arrow file (also called Feather) or an Arrow stream."""
    start = file.getvalue()[:6] if isinstance(file, BytesIO) else _first_bytes(file)
    if start == b"ARROW1":
        if not _ends_as_arrow(file):
            return _cut_arrow(file.getvalue() if isinstance(file, BytesIO) else file.read_bytes(), packing)
        return _opened(lambda: pl.scan_ipc(file), "Arrow", packing)
    return _opened(lambda: pl.read_ipc_stream(file).lazy(), "Arrow stream", packing)


def _cut_arrow(data: bytes, packing: str) -> FrameTable:
    whole = whole_messages(data)
    try:
        table = _opened(lambda: pl.read_ipc_stream(BytesIO(whole)).lazy(), "Arrow", packing)
    except InputFileError as error:
        raise InputFileError(
            found="an Arrow file that is cut off before the end of its first batch of rows",
            expected="a whole Arrow file",
            mend="copy or export it again",
        ) from error
    return replace(
        table,
        notes=(
            *table.notes,
            "the Arrow file is cut off; its whole batches before the cut were used",
        ),
    )


def _ends_as_arrow(file: Path | BytesIO) -> bool:
    if isinstance(file, BytesIO):
        return file.getvalue().endswith(b"ARROW1")
    with file.open("rb") as raw:
        raw.seek(max(0, file.stat().st_size - 6))
        return raw.read() == b"ARROW1"


def _first_bytes(path: Path) -> bytes:
    with path.open("rb") as raw:
        return raw.read(6)


def _opened(scan: Callable[[], pl.LazyFrame], words: str, packing: str) -> FrameTable:
    with sound(f"{words} file"):
        frame, told = flat(scan())
        height = int(frame.select(pl.len()).collect().item())
        names = frame.collect_schema().names()
    if not names or not height:
        raise InputFileError(
            found=f"a {words} file without rows",
            expected="rows with readings",
            mend="export a time span that holds data",
        )
    words = f"{words}, {packing}" if packing else words
    return FrameTable(frame=frame, words=words, height=height, notes=told)
