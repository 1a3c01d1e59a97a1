"""The archive: Parquet parts by point and month, in order, one row an instant of a tag, never changed once written.

A part is named by its content.  The ledger's table ``parts`` says which are live; live parts of one point and month
never overlap, so they are simply read one after the other.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
import polars as pl

from excursions.clock import TimeArray
from excursions.records import BAD, ByteArray, FloatArray, TagSeries
from excursions.site.layout import folder_name

MOST_PIECES = 8  # live parts of a point and month; from here on they are written together
ROW = {
    "tag": pl.String(),
    "time": pl.Datetime("ns", "UTC"),
    "value": pl.Float64(),
    "quality": pl.UInt8(),
    "file": pl.UInt32(),
}
READING = ("time", "value", "quality")
ROW_GROUP = 65_536  # who asks for a few days of a month unpacks little else


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Readings of one tag on the way into the archive, in any order.

    time, value, quality as in a :class:`TagSeries`; file (n,) uint32: which kept file each row came from.
    """

    time: TimeArray
    value: FloatArray
    quality: ByteArray
    file: np.ndarray[tuple[int], np.dtype[np.uint32]]

    @staticmethod
    def of(series: TagSeries, file: int) -> Rows:
        """All rows of one tag of one file."""
        return Rows(
            time=series.time,
            value=series.value,
            quality=series.quality,
            file=np.full(series.time.size, file, np.uint32),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One live part: where it lies (relative to the site), its checksum, and what it holds of each tag."""

    path: str
    home: str
    month: str
    sha256: str
    bytes: int
    rows: int
    first: int
    last: int
    spans: dict[str, tuple[int, int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPart:
    """A part still to be written: its row for the ledger, its bytes, and the look at it that the ledger holds."""

    part: Part
    content: bytes
    looks: bytes


def joined(pieces: Sequence[Rows]) -> Rows:
    """Rows one after the other."""
    if len(pieces) == 1:
        return pieces[0]
    return Rows(
        time=np.concatenate([piece.time for piece in pieces]),
        value=np.concatenate([piece.value for piece in pieces]),
        quality=np.concatenate([piece.quality for piece in pieces]),
        file=np.concatenate([piece.file for piece in pieces]),
    )


def resolved(rows: Rows, ranks: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Rows:
    """One row an instant: of the file that is read last, and in it the last line; in time order.

    Parameters
    ----------
    rows : Rows
        Rows of one file stand in the order of its lines.
    ranks : ndarray of int64
        Place of every file in the order of reading, by file number.
    """
    step = np.diff(rows.time)
    if not step.size or step.min() > 0:
        return rows
    order = np.lexsort((ranks[rows.file], rows.time))  # stable: lines of one file keep their order
    last = np.append(np.diff(rows.time[order]) != 0, True)
    kept = order[last]
    return Rows(
        time=rows.time[kept], value=rows.value[kept], quality=rows.quality[kept], file=rows.file[kept]
    )


def months_of(time: TimeArray) -> list[tuple[str, int, int]]:
    """UTC calendar months of strictly increasing times, as (month, from index, to index)."""
    if not time.size:
        return []
    month = time.astype("datetime64[ns]").astype("datetime64[M]")
    starts = np.flatnonzero(np.append(True, month[1:] != month[:-1]))
    ends = np.append(starts[1:], time.size)
    return [(str(month[a]), int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def cut(rows: Rows, start: int, end: int | None) -> Rows:
    """A stretch of rows."""
    return Rows(
        time=rows.time[start:end],
        value=rows.value[start:end],
        quality=rows.quality[start:end],
        file=rows.file[start:end],
    )


def new_part(home: str, month: str, tags: Mapping[str, Rows]) -> NewPart:
    """Lay out one part from resolved rows of its tags."""
    names = sorted(tag for tag, rows in tags.items() if rows.time.size)
    frame = pl.concat(
        [
            pl.DataFrame(
                {
                    "time": tags[tag].time,
                    "value": tags[tag].value,
                    "quality": tags[tag].quality,
                    "file": tags[tag].file,
                }
            ).select(
                pl.lit(tag).alias("tag"),
                pl.col("time").cast(ROW["time"]),
                pl.col("value"),
                pl.col("quality"),
                pl.col("file"),
            )
            for tag in names
        ]
    )
    buffer = BytesIO()
    frame.write_parquet(
        buffer, compression="zstd", compression_level=1, statistics=True, row_group_size=ROW_GROUP
    )
    content = buffer.getvalue()
    digest = hashlib.sha256(content).hexdigest()
    spans = {
        tag: (int(tags[tag].time[0]), int(tags[tag].time[-1]), int(tags[tag].time.size)) for tag in names
    }
    part = Part(
        path=f"archive/point={folder_name(home)}/month={month}/{digest[:20]}.parquet",
        home=home,
        month=month,
        sha256=digest,
        bytes=len(content),
        rows=frame.height,
        first=min(span[0] for span in spans.values()),
        last=max(span[1] for span in spans.values()),
        spans=spans,
    )
    return NewPart(part=part, content=content, looks=look_at({tag: tags[tag] for tag in names}))


class PartDamagedError(Exception):
    """A part is missing or is not what was written."""

    def __init__(self, part: Part) -> None:
        super().__init__(part)
        self.part = part


def frames(
    root: Path,
    part: Part,
    tags: Iterable[str] | None = None,
    *,
    columns: tuple[str, ...],
    span: tuple[int, int] | None = None,
) -> dict[str, pl.DataFrame]:
    """Read columns of one part whose checksum holds, by tag, where it has any row.

    Parameters
    ----------
    tags : names or None
        All of the part when None.
    span : (from, to) or None
        Instants [ns]; rows outside are left out, and what holds none but such rows is not unpacked.

    Raises
    ------
    PartDamagedError
        If it is missing or is not what was written.
    """
    content = _content(root, part)
    wanted = set(part.spans) if tags is None else set(tags) & set(part.spans)
    if not wanted:
        return {}
    names = sorted(part.spans)
    ends = np.cumsum([part.spans[tag][2] for tag in names])
    if span is None or (part.first >= span[0] and part.last < span[1]):
        frame = pl.read_parquet(BytesIO(content), columns=list(columns))
    else:
        first, end = (pl.lit(at).cast(ROW["time"]) for at in span)
        inside = (pl.col("time") >= first) & (pl.col("time") < end)
        rows = pl.scan_parquet(BytesIO(content), row_index_name="row")
        frame = rows.filter(inside).select("row", *columns).collect()
        ends = frame["row"].search_sorted(ends).to_numpy()
        frame = frame.drop("row")
    return {
        tag: frame.slice(start, end - start)
        for tag, start, end in zip(names, [0, *ends[:-1]], ends, strict=True)
        if tag in wanted and end > start
    }


def _content(root: Path, part: Part) -> bytes:
    try:
        content = (root / part.path).read_bytes()
    except FileNotFoundError as error:
        raise PartDamagedError(part) from error
    if len(content) != part.bytes or hashlib.sha256(content).hexdigest() != part.sha256:
        raise PartDamagedError(part)
    return content


def load(root: Path, part: Part, tags: Iterable[str] | None = None) -> dict[str, Rows]:
    """The rows of one part by tag, as :func:`frames` reads them."""
    held = frames(root, part, tags, columns=("time", "value", "quality", "file"))
    return {tag: _rows(frame) for tag, frame in held.items()}


def _rows(frame: pl.DataFrame) -> Rows:
    return Rows(
        time=frame["time"].to_physical().to_numpy(),
        value=frame["value"].to_numpy(),
        quality=frame["quality"].to_numpy(),
        file=frame["file"].to_numpy(),
    )


def load_series(
    root: Path,
    parts: Iterable[Part],
    words: Mapping[str, tuple[str, str]],
    span: tuple[int, int] | None = None,
) -> dict[str, TagSeries]:
    """Records of tags from live parts, in time order, as the reading room would hand them on; of a span, if asked.

    Parameters
    ----------
    words : mapping of tag to (unit, description)
        Which tags; those without any row are left out.
    """
    pieces: dict[str, list[pl.DataFrame]] = {}
    for part in parts:
        for tag, frame in frames(root, part, words, columns=READING, span=span).items():
            pieces.setdefault(tag, []).append(frame)
    return {
        tag: _series(tag, pieces.pop(tag), unit, description)
        for tag, (unit, description) in words.items()
        if tag in pieces
    }


def _series(tag: str, pieces: list[pl.DataFrame], unit: str, description: str) -> TagSeries:
    """Pieces of one tag that do not overlap as one series."""
    whole = pl.concat(sorted(pieces, key=lambda piece: piece["time"][0]))
    return TagSeries(
        tag=tag,
        time=whole["time"].to_physical().to_numpy(),
        value=whole["value"].to_numpy(),
        quality=whole["quality"].to_numpy(),
        unit=unit,
        description=description,
    )


def part_of_row(row: Mapping[str, object]) -> Part:
    """A row of the ledger's table ``parts``."""
    spans = {tag: (a, b, n) for tag, (a, b, n) in json.loads(str(row["spans"])).items()}
    plain = {
        name: row[name] for name in ("path", "home", "month", "sha256", "bytes", "rows", "first", "last")
    }
    return Part(**plain, spans=spans)  # type: ignore[arg-type]


# --- looks: a few rows of every part, so that the plant can be worked out without reading the archive -------------

_BUCKET = 6 * 3_600 * 1_000_000_000  # a row every quarter of a day, and the extremes of it


def look_at(tags: Mapping[str, Rows]) -> bytes:
    """The first row of every quarter of a day of each tag, and its least and greatest good value."""
    if not tags:
        return b""
    buffer = BytesIO()
    thinned(pl.concat([_frame(tag, rows) for tag, rows in tags.items()])).write_ipc(
        buffer, compression="zstd"
    )
    return buffer.getvalue()


def _frame(tag: str, rows: Rows) -> pl.DataFrame:
    frame = pl.DataFrame({"time": rows.time, "value": rows.value, "quality": rows.quality})
    return frame.with_columns(tag=pl.lit(tag))


def thinned(frame: pl.DataFrame) -> pl.DataFrame:
    """The rows that stand for their quarter of a day; the same however the record was cut before.

    Parameters
    ----------
    frame : DataFrame with tag, time (ns), value, quality
        One row an instant of a tag.
    """
    good = pl.when(pl.col("value").is_finite() & (pl.col("quality") < BAD)).then(pl.col("value"))
    marked = (
        frame.sort("tag", "time").with_columns(good=good, bucket=pl.col("time") // _BUCKET).with_row_index()
    )
    picks = marked.group_by("tag", "bucket").agg(
        pl.col("index").first().alias("first"),
        pl.col("index").gather(pl.col("good").arg_min()).first().alias("least"),
        pl.col("index").gather(pl.col("good").arg_max()).first().alias("greatest"),
    )
    wanted = pl.concat([picks[name] for name in ("first", "least", "greatest")]).drop_nulls().unique().sort()
    return marked[wanted].select("tag", "time", "value", "quality")


def tags_of_shared_looks(parts: Iterable[Part]) -> set[str]:
    """Tags of which two parts look at the same quarter of a day: put together, those looks want thinning again."""
    seen: set[tuple[str, int]] = set()
    shared: set[str] = set()
    for part in parts:
        for tag, (first, last, _) in part.spans.items():
            ends = {(tag, first // _BUCKET), (tag, last // _BUCKET)}
            if ends & seen:
                shared.add(tag)
            seen |= ends
    return shared
