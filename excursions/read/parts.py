"""A long Parquet data set read tag by tag, as a worker does that has the data at hand and answers with little.

What a tag's series is here is what reading the whole gives for it: the first rows of the whole say how the rows are
to be understood, and rows keep their order.  Where a data set holds anything out of the ordinary (refused rows,
status texts, doubled hours), the account of it is made by reading the whole once, in one worker.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from excursions.errors import ExcursionsError, InputFileError, UsageError
from excursions.read.exports.cells.columns import clean
from excursions.read.exports.cells.table import Preview
from excursions.read.exports.files.containers import open_item
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.files.sources import Item, digest_of_set, find_items
from excursions.read.exports.gather.gather import Gather
from excursions.read.exports.onetable import Asked, TableRead, read_table
from excursions.read.exports.outcome import Outcome
from excursions.read.exports.reader import read_exports
from excursions.read.model import FileReport, Reading, ReadOptions
from excursions.records import Decision, TagSeries

_MEND = (
    "scan it here (--engine local), or write it as a Parquet data set with one row a sample: tag, time, value"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One Parquet file or data set of a long table.

    seen : the first rows of the whole and some later ones; column : the one that names the tag
    tags : rows by tag as written there; by_folder : the files of each tag, where folders are named by it
    dtype : of the tag column, so that a part of the files is understood like all of them; nameless : rows without a tag
    """

    path: Path
    name: str
    kind: str
    stem: str
    size: int
    parts: tuple[Path, ...]
    options: ReadOptions
    seen: Preview
    words: str
    height: int
    column: str
    dtype: pl.DataType
    tags: dict[object, int]
    nameless: int
    by_folder: dict[object, tuple[Path, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """What reading some tags of one source came to: counts that add up, and whether anything was out of the ordinary."""

    rows: int
    used: int
    tags: frozenset[str]
    first: int | None
    last: int | None
    layout: str
    data_line: int
    decisions: tuple[Decision, ...]
    odd: bool


def find_sources(paths: Sequence[Path], options: ReadOptions) -> tuple[list[Source], list[ExcursionsError]]:
    """Understand each input as a long Parquet table.

    Raises
    ------
    UsageError
        If one is something else: text, a workbook, a wide table.
    """
    problems: list[ExcursionsError] = []
    sources = []
    for item in find_items(paths, problems, []):
        try:
            tables = [table for _, table in open_item(item, options)]
        except InputFileError as error:
            problems.append(error.at(file=item.name))
            continue
        table = tables[0] if len(tables) == 1 else None
        if not isinstance(table, FrameTable) or not table.words.startswith("Parquet") or "(" in table.words:
            raise _no_parts(
                item, f"{table.words if isinstance(table, FrameTable) else 'a file'} that is no Parquet"
            )
        sources.append(_source(item, table, options))
    return sources, problems


def _no_parts(item: Item, found: str) -> UsageError:
    return UsageError(
        found=found, expected="a Parquet data set with one row a sample", mend=_MEND, file=item.name
    )


def _source(item: Item, table: FrameTable, options: ReadOptions) -> Source:
    column = _tag_column(item, table, options)
    counts = table.frame.group_by(column).agg(pl.len().alias("rows")).collect().sort(column)
    tags = {tag: rows for tag, rows in counts.iter_rows() if tag not in (None, "")}
    return Source(
        path=item.path, name=item.name, kind=item.kind, stem=item.stem(item.name), size=_size(item), parts=item.parts,
        options=options, seen=table.preview, words=table.words, height=table.height, column=column,
        dtype=table.frame.collect_schema()[column], tags=tags, nameless=table.height - sum(tags.values()),
        by_folder=_folders(item, column, tags),
    )  # fmt: skip


def _size(item: Item) -> int:
    return item.path.stat().st_size if item.kind == "file" else item.size


def _tag_column(item: Item, table: FrameTable, options: ReadOptions) -> str:
    """The column whose texts hold the tags that reading the first rows gives."""
    head = table.frame.head(len(table.preview.rows)).collect()
    seen = FrameTable(frame=head.lazy(), words=table.words, height=head.height)
    gather = Gather(options.spill_bytes)
    found = read_table(seen, Asked(name=item.name, stem=item.stem(item.name), options=options, gather=gather))
    raw = {tag.split(" [")[0] for tag in found.outcome.tags}
    for name in head.columns if found.layout == "long" else ():
        texts = {clean(str(tag)) for tag in head[name].unique().to_list() if tag not in (None, "")}
        if raw and raw <= {text.split(" [")[0] for text in texts}:
            return name
    raise _no_parts(item, "a table that is not long with the tag in one column")


def _folders(item: Item, column: str, tags: Iterable[object]) -> dict[object, tuple[Path, ...]]:
    """Files by tag of a data set whose folders are named by the tag; empty where they are not, or not plainly."""
    found: dict[str, list[Path]] = {}
    for part in item.parts:
        steps = [step for step in part.relative_to(item.path).parts[:-1] if step.startswith(f"{column}=")]
        found.setdefault(steps[0].partition("=")[2] if len(steps) == 1 else "", []).append(part)
    if not item.parts or set(found) != {str(tag) for tag in tags}:
        return {}
    return {tag: tuple(found[str(tag)]) for tag in tags}


def read_tags(
    sources: Sequence[Source], wanted: Sequence[Sequence[object]], spill_bytes: int
) -> tuple[dict[str, TagSeries], list[Account]]:
    """Series of some tags over all sources, and what reading each source came to.

    Parameters
    ----------
    wanted : for each source, tags as its column holds them
    """
    gather = Gather(spill_bytes)
    accounts = [
        _read_some(source, tags, gather) for source, tags in zip(sources, wanted, strict=True) if tags
    ]
    return gather.series(), accounts


def _read_some(source: Source, tags: Sequence[object], gather: Gather) -> Account:
    frame = _frame(source, tags).filter(pl.col(source.column).is_in(list(tags))).collect()
    table = _PartTable(frame=frame.lazy(), words=source.words, height=frame.height, seen=source.seen)
    asked = Asked(name=source.name, stem=source.stem, options=source.options, gather=gather)
    try:
        return _account(read_table(table, asked))
    except InputFileError:  # not one usable row among them: the whole may still have some
        return Account(
            rows=frame.height, used=0, tags=frozenset(), first=None, last=None, layout="", data_line=1, decisions=(),
            odd=True,
        )  # fmt: skip


@dataclass(kw_only=True)
class _PartTable(FrameTable):
    """Some rows of a table, understood by the first rows of the whole."""

    seen: Preview

    @property
    def preview(self) -> Preview:
        """First rows of the whole."""
        return self.seen


def _frame(source: Source, tags: Sequence[object]) -> pl.LazyFrame:
    if source.kind == "remote":
        return pl.scan_parquet(source.name if _is_one(source.name) else f"{source.name.rstrip('/')}/**/*.parquet",
                               hive_partitioning=True)  # fmt: skip
    if source.kind == "file":
        return pl.scan_parquet(source.path, glob=False)
    paths = (
        [path for tag in tags for path in source.by_folder[tag]] if source.by_folder else list(source.parts)
    )
    hive = {source.column: source.dtype} if source.by_folder else None
    return pl.scan_parquet(
        sorted(paths), hive_partitioning=True, hive_schema=hive, try_parse_hive_dates=False, missing_columns="insert",
        extra_columns="ignore", glob=False,
    )  # fmt: skip


def _is_one(url: str) -> bool:
    return url.split("?")[0].rstrip("/").endswith((".parquet", ".pq")) or "*" in url


def _account(found: TableRead) -> Account:
    outcome = found.outcome
    return Account(
        rows=outcome.rows, used=outcome.used, tags=frozenset(outcome.tags), first=outcome.first, last=outcome.last,
        layout=found.layout, data_line=found.data_line, decisions=tuple(found.decisions), odd=_is_odd(outcome),
    )  # fmt: skip


def _is_odd(outcome: Outcome) -> bool:
    """Whether there is anything to tell of single rows."""
    return bool(
        outcome.refused or outcome.words or outcome.marks or outcome.renamed or outcome.doubled.rows
        or outcome.missing_hour or outcome.remarks or outcome.notes
    )  # fmt: skip


def whole_account(paths: Sequence[Path], options: ReadOptions) -> Reading:
    """The account of reading everything, without the series."""
    return replace(read_exports(paths, options), series={})


def digest(path: Path) -> str:
    """SHA-256 of one file."""
    with path.open("rb") as raw:
        return hashlib.file_digest(raw, "sha256").hexdigest()


def digest_of(source: Source, parts: Sequence[str]) -> str:
    """SHA-256 of a source from those of its parts, as reading it here would give it."""
    if source.kind != "dataset":
        return parts[0] if parts else ""
    return digest_of_set(source.path, list(zip(source.parts, parts, strict=True)))


def plain_account(
    source: Source, accounts: Sequence[Account], sha256: str
) -> tuple[FileReport, tuple[Decision, ...]]:
    """The report of a source that holds nothing out of the ordinary, from the accounts of its tags."""
    firsts = [one.first for one in accounts if one.first is not None]
    lasts = [one.last for one in accounts if one.last is not None]
    report = FileReport(
        path=source.name, sha256=sha256, bytes=source.size, dialect=f"{accounts[0].layout}; {source.words}",
        rows=sum(one.rows for one in accounts), used=sum(one.used for one in accounts), refused=0,
        tags=len(frozenset[str]().union(*(one.tags for one in accounts))), first=min(firsts, default=None),
        last=max(lasts, default=None), lines=source.height, data_line=accounts[0].data_line,
    )  # fmt: skip
    return report, accounts[0].decisions
