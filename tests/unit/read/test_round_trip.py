"""Any table written in any supported dialect comes back equal, to the nanosecond and the last digit."""

from __future__ import annotations

import contextlib
import math
import os
import sqlite3
import tempfile
from pathlib import Path

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from excursions.read import Reading, ReadOptions, read_exports
from tests.unit.read.dialects import NS, ORDERS, TIME_FORMATS, Dialect, write

FIRST, LAST = 1_262_304_000, 2_051_222_400  # 2010 to 2035
LETTERS = st.characters(whitelist_categories=("Lu", "Ll", "Lo"), whitelist_characters="/.-_#:<>'\"&;,| ")
# A name that cannot be taken for a time, a number, a unit or a word of the trade: it begins like a tag.
NAMES = st.text(LETTERS, max_size=12).map(lambda text: f"ZQ1{text}X".strip())
VALUES = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False, width=64),
    st.floats(min_value=-100, max_value=2000, allow_nan=False).map(lambda value: round(value, 3)),
)


@st.composite
def dialects(draw: st.DrawFn) -> Dialect:
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","]))
    time = draw(st.sampled_from(sorted(TIME_FORMATS)))
    layout = draw(st.sampled_from(["long", "wide", "groups", "across", "tag_lines", "merged", "calendar"]))
    numbers = time.startswith("epoch") or time in ("serial", "filetime", "compact")
    if layout == "calendar" or (
        layout in ("across", "tag_lines") and numbers
    ):  # numbers at the heads are no times
        time = "iso_blank"
    names = draw(
        st.sampled_from(
            [
                ("tag", "time", "value"),
                ("Tag Name", "Timestamp", "Value"),
                ("Messstelle", "Zeitstempel", "Messwert"),
                ("point", "Date Time", "reading"),
            ]
        )
    )
    return Dialect(
        layout=layout, separator=separator, decimal=decimal, time=time, header=names,
        quote_all=draw(st.booleans()),
        thousands=draw(st.sampled_from(["", "'", " ", "." if decimal == "," else ","])),
        line_end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8", "utf-16-le", "utf-16-be"])),
        mark=draw(st.booleans()),
        packing=draw(st.sampled_from(["", "", "gzip", "zstd", "xz", "bzip2", "zip"])),
        trailing=draw(st.booleans()), index=draw(st.booleans()) and layout in ("long", "wide"), preamble=draw(st.booleans()),
        last_end=draw(st.booleans()),
    )  # fmt: skip


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[tuple[str, int, float]], Dialect]:
    dialect = draw(dialects())
    step = TIME_FORMATS[dialect.time]
    tags = draw(st.lists(NAMES, min_size=2, max_size=4, unique=True))
    ticks = draw(
        st.lists(st.integers(FIRST * NS // step, LAST * NS // step), min_size=3, max_size=8, unique=True)
    )
    rows = [(tag, tick * step, draw(VALUES)) for tick in ticks for tag in tags]
    return rows, dialect


def read(data: bytes, dialect: Dialect) -> Reading:
    # The mark and the order are given: a table of few numbers need not decide them.
    options = ReadOptions(date_order=ORDERS.get(dialect.time, ""), decimal_mark=dialect.decimal)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.csv"
        path.write_bytes(data)
        return read_exports([path], options)


# More cases on demand: EXCURSIONS_EXAMPLES=5000 pytest tests/unit/read/test_round_trip.py
EXAMPLES = int(os.environ.get("EXCURSIONS_EXAMPLES", "150"))


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(tables())
def test_round_trip(made: tuple[list[tuple[str, int, float]], Dialect]) -> None:
    rows, dialect = made
    reading = read(write(rows, dialect), dialect)
    found = {
        tag: list(zip(series.time.tolist(), series.value.tolist(), strict=True))
        for tag, series in reading.series.items()
    }
    expected: dict[str, list[tuple[int, float]]] = {}
    for tag, time, value in rows:
        expected.setdefault(" ".join(tag.split()), []).append((time, value))
    assert found == expected
    assert all(not series.quality.any() for series in reading.series.values())
    assert reading.files[0].rows == reading.files[0].used == len(rows)
    assert reading.refused.is_empty()
    assert all(math.isfinite(value) for series in reading.series.values() for value in series.value.tolist())


def parquet(frame: pl.DataFrame, path: Path) -> None:
    frame.write_parquet(path)


def arrow(frame: pl.DataFrame, path: Path) -> None:
    frame.write_ipc(path)


def arrow_stream(frame: pl.DataFrame, path: Path) -> None:
    frame.write_ipc_stream(path)


def sqlite_file(frame: pl.DataFrame, path: Path) -> None:
    names = ", ".join('"' + name.replace('"', '""') + '"' for name in frame.columns)
    marks = ", ".join("?" * frame.width)
    texts = frame.with_columns(pl.col(frame.columns[0]).dt.to_string("%Y-%m-%dT%H:%M:%S%.9fZ"))
    with contextlib.closing(sqlite3.connect(path)) as base, base:
        base.execute(f"CREATE TABLE readings ({names})")
        base.executemany(f"INSERT INTO readings VALUES ({marks})", texts.iter_rows())


def fixed_width(frame: pl.DataFrame, path: Path) -> None:
    stamps = frame[frame.columns[0]].dt.to_string("%Y-%m-%dT%H:%M:%S%.9fZ").to_list()
    others = [[repr(value) for value in column.to_list()] for column in frame.get_columns()[1:]]
    names = [f"ZQ{number}" for number in range(len(others))]
    rows = [["time", *names], *([stamp, *cells] for stamp, *cells in zip(stamps, *others, strict=True))]
    path.write_text("\n".join("".join(f"{cell:>32}" for cell in row) for row in rows) + "\n")


WRITERS = {
    "parquet": parquet,
    "arrow": arrow,
    "arrow_stream": arrow_stream,
    "sqlite": sqlite_file,
    "fixed": fixed_width,
}


@settings(
    max_examples=EXAMPLES, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
@given(
    st.sampled_from(sorted(WRITERS)),
    st.lists(st.integers(FIRST * NS, LAST * NS), min_size=3, max_size=12, unique=True),
    st.lists(
        NAMES.map(str.strip), min_size=2, max_size=4, unique_by=lambda name: " ".join(name.split()).casefold()
    ),
    st.data(),
)
def test_round_trip_of_tables_with_types(
    kind: str, ticks: list[int], names: list[str], data: st.DataObject
) -> None:
    columns = {
        name: data.draw(st.lists(VALUES, min_size=len(ticks), max_size=len(ticks)), label=name)
        for name in names
    }
    stamps = pl.Series("time", ticks).cast(pl.Datetime("ns", "UTC"))
    frame = pl.DataFrame([stamps, *(pl.Series(name, values) for name, values in columns.items())])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.dat"
        WRITERS[kind](frame, path)
        reading = read_exports([path], ReadOptions())
    expected = (
        {f"ZQ{number}": values for number, values in enumerate(columns.values())}
        if kind == "fixed"
        else {" ".join(name.split()): values for name, values in columns.items()}
    )
    assert {tag: series.value.tolist() for tag, series in reading.series.items()} == expected
    assert all(series.time.tolist() == ticks for series in reading.series.values())
    assert reading.files[0].rows == reading.files[0].used == len(ticks) * len(names)
