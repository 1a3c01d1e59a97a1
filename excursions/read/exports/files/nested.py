"""Columns of columnar files that hold more than one thing a cell: structs, lists, durations since a start."""

from __future__ import annotations

import polars as pl

from excursions.clock import NS_PER_S
from excursions.errors import InputFileError
from excursions.read.exports.layouts.naming import unique
from excursions.read.text.words import roles_of

_DEEPEST = 8
_REPEATED = 0.5  # share of different starts below which durations beside them are counted from them


def flat(frame: pl.LazyFrame) -> tuple[pl.LazyFrame, tuple[str, ...]]:
    """The frame with one thing a cell, and what was done to it in words; as it was where its cells are so already.

    Fields of a struct become columns: under their own names where one of them is a time, or the value of the tag beside it,
    else behind the name of the struct.  Lists of one length a row become rows.  A duration beside the start it is counted from becomes a time, any
    other a number of seconds.

    Raises
    ------
    InputFileError
        If lists of one row are of different lengths: which reading has which time cannot be known.
    """
    told: list[str] = []
    for _ in range(_DEEPEST):
        schema = frame.collect_schema()
        structs = [name for name, dtype in schema.items() if isinstance(dtype, pl.Struct)]
        lists = [name for name, dtype in schema.items() if isinstance(dtype, (pl.List, pl.Array))]
        if structs:
            frame = _fields_apart(frame, structs)
            told.append(f"fields of {_named(structs)} were taken as columns")
        elif lists:
            frame = _rows_apart(frame, lists)
            told.append(f"lists of {_named(lists)} were taken as rows")
        else:
            break
    durations = [name for name, dtype in frame.collect_schema().items() if dtype == pl.Duration]
    if durations:
        frame, said = _counted(frame, durations)
        told.append(said)
    return (frame.collect().lazy() if told else frame), tuple(told)


def _named(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names[:6]) + (" and more" if len(names) > 6 else "")


def _fields_apart(frame: pl.LazyFrame, structs: list[str]) -> pl.LazyFrame:
    schema = frame.collect_schema()
    fields = {name: schema[name].fields for name in structs}  # type: ignore[attr-defined]
    taken = [name for name in schema if name not in structs]
    own = [field.name for name in structs for field in fields[name]]
    tagged = any("tag" in roles_of(name) for name in taken)
    said: list[str] = []
    for name in structs:
        timed = any(field.dtype.is_temporal() for field in fields[name])
        # Beside a column of tags it is the reading of the row, value and quality.
        read = tagged and any("value" in roles_of(field.name) for field in fields[name])
        for field in fields[name]:
            bare = (timed or read) and own.count(field.name) == 1 and field.name not in taken
            said.append(field.name if bare else f"{name}.{field.name}")
    called = iter(unique(said, taken))
    columns: list[pl.Expr] = []
    for name in schema:
        parts = [pl.col(name).struct.field(field.name).alias(next(called)) for field in fields.get(name, ())]
        columns += parts if name in structs else [pl.col(name)]
    return frame.select(columns)


def _rows_apart(frame: pl.LazyFrame, lists: list[str]) -> pl.LazyFrame:
    schema = frame.collect_schema()
    frame = frame.with_columns(
        pl.col(name).arr.to_list() for name in lists if isinstance(schema[name], pl.Array)
    )
    refuse_other_lengths(frame, lists)
    return frame.explode(lists)


def refuse_other_lengths(frame: pl.LazyFrame, lists: list[str]) -> None:
    """Refuse columns of lists that stand beside one another and are not of one length a row.

    Raises
    ------
    InputFileError
        If so: which reading has which time cannot be known.
    """
    lengths = frame.select(pl.col(name).list.len().fill_null(0) for name in lists).collect()
    first = lengths[lists[0]]
    if any((lengths[name] != first).any() for name in lists[1:]):
        raise InputFileError(
            found=f"lists of different lengths in one row ({_named(lists)})",
            expected="a time for each reading", mend="export one row a reading",
        )  # fmt: skip


def _counted(frame: pl.LazyFrame, durations: list[str]) -> tuple[pl.LazyFrame, str]:
    """Times of durations and the start beside them, or durations in seconds."""
    starts = [name for name, dtype in frame.collect_schema().items() if isinstance(dtype, pl.Datetime)]
    if len(starts) == len(durations) == 1:
        start, since = starts[0], durations[0]
        seen = frame.select(pl.col(start).n_unique().alias("starts"), pl.len().alias("rows")).collect().row(0)
        if seen[0] <= _REPEATED * seen[1]:
            whole = pl.col(start).cast(pl.Datetime("ns", _zone_of(frame, start))) + pl.col(since)
            return (
                frame.with_columns(whole.alias(start)).drop(since),
                f'durations in "{since}" were counted from the times in "{start}"',
            )
    seconds = [_seconds(pl.col(name).dt.total_nanoseconds()).alias(f"{name} [s]") for name in durations]
    return frame.with_columns(seconds).drop(
        durations
    ), f"durations of {_named(durations)} are given in seconds"


def _seconds(ns: pl.Expr) -> pl.Expr:
    """Nanoseconds in seconds; whole ones stay whole to the last digit."""
    return (ns // NS_PER_S).cast(pl.Float64) + (ns % NS_PER_S).cast(pl.Float64) / NS_PER_S


def _zone_of(frame: pl.LazyFrame, name: str) -> str | None:
    dtype = frame.collect_schema()[name]
    return dtype.time_zone if isinstance(dtype, pl.Datetime) else None
