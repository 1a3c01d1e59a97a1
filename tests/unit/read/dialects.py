"""Writes a table of readings in any dialect the reader must understand.  Independent of the reader's own code."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import zstandard

Rows = Sequence[tuple[str, int, float]]  # tag, ns UTC, value

NS = 1_000_000_000

# How a time is written, and the finest step it can hold in ns.
TIME_FORMATS: Mapping[str, int] = {
    "iso_z": NS,
    "iso_ms_z": 1_000_000,
    "iso_ns_z": 1,
    "iso_blank": NS,
    "iso_offset": NS,
    "german": NS,
    "british": NS,
    "american": NS,
    "american_12h": NS,
    "german_short_year": NS,
    "month_name": NS,
    "compact": NS,
    "comma_fraction": 1_000_000,
    "epoch_s": NS,
    "epoch_ms": 1_000_000,
    "epoch_us": 1_000,
    "epoch_ns": 1,
    "serial": 60 * NS,
    "c_library": NS,
    "east_asian": NS,
    "uhr": NS,
    "filetime": 100,
    "clock_first": NS,
    "week_date": NS,
    "day_of_year": NS,
    "polish": NS,
    "czech": NS,
    "korean": NS,
    "interval": NS,
    "apostrophe": NS,
    "offset_hours": NS,
    "full_width": NS,
    "devanagari": NS,
}
ORDERS = {
    "german": "day-first",
    "british": "day-first",
    "american": "month-first",
    "american_12h": "month-first",
    "german_short_year": "day-first",
    "uhr": "day-first",
}
POLISH = [
    "stycznia",
    "lutego",
    "marca",
    "kwietnia",
    "maja",
    "czerwca",
    "lipca",
    "sierpnia",
    "września",
    "października",
    "listopada",
    "grudnia",
]
CZECH = [
    "ledna",
    "února",
    "března",
    "dubna",
    "května",
    "června",
    "července",
    "srpna",
    "září",
    "října",
    "listopadu",
    "prosince",
]
MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """One way to write an export."""

    layout: str = "long"
    separator: str = ","
    quote_all: bool = False
    decimal: str = "."
    thousands: str = ""
    time: str = "iso_z"
    line_end: str = "\n"
    encoding: str = "utf-8"
    mark: bool = False
    packing: str = ""
    trailing: bool = False
    index: bool = False
    preamble: bool = False
    header: tuple[str, str, str] = ("tag", "time", "value")
    last_end: bool = True


def write(rows: Rows, dialect: Dialect) -> bytes:
    """The table as the bytes of a file."""
    lines = _long(rows, dialect) if dialect.layout == "long" else _wide(rows, dialect)
    other = {
        "groups": _groups,
        "across": _across,
        "tag_lines": _tag_lines,
        "merged": _merged,
        "calendar": _calendar,
    }
    if dialect.layout in other:
        lines = other[dialect.layout](rows, dialect)
    if dialect.index:
        lines = [["" if number == 0 else str(number), *cells] for number, cells in enumerate(lines)]
    if dialect.trailing:
        lines = [[*cells, ""] for cells in lines]
    texts = [dialect.separator.join(_cell(cell, dialect) for cell in cells) for cells in lines]
    if dialect.preamble:
        texts = ["Export of made-up readings", "", *texts]
    text = dialect.line_end.join(texts) + (dialect.line_end if dialect.last_end else "")
    return _packed(
        ("\ufeff" if dialect.mark else "").encode(dialect.encoding) + text.encode(dialect.encoding),
        dialect.packing,
    )


def _packed(data: bytes, packing: str) -> bytes:
    if packing == "gzip":
        return gzip.compress(data, mtime=0)
    if packing == "bzip2":
        return bz2.compress(data)
    if packing == "zip":
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("made.csv", data)
        return packed.getvalue()
    if packing == "zstd":
        return zstandard.ZstdCompressor().compress(data)
    return lzma.compress(data) if packing == "xz" else data


def _long(rows: Rows, dialect: Dialect) -> list[list[str]]:
    return [
        list(dialect.header),
        *([tag, write_time(time, dialect.time), _number(value, dialect)] for tag, time, value in rows),
    ]


def _wide(rows: Rows, dialect: Dialect) -> list[list[str]]:
    tags = list(dict.fromkeys(tag for tag, _, _ in rows))
    times = list(dict.fromkeys(time for _, time, _ in rows))
    cells = {(time, tag): _number(value, dialect) for tag, time, value in rows}
    return [
        [dialect.header[1], *tags],
        *([write_time(time, dialect.time), *(cells.get((time, tag), "") for tag in tags)] for time in times),
    ]


def _groups(rows: Rows, dialect: Dialect) -> list[list[str]]:
    tags = list(dict.fromkeys(tag for tag, _, _ in rows))
    series = [
        [(write_time(t, dialect.time), _number(v, dialect)) for name, t, v in rows if name == tag]
        for tag in tags
    ]
    lines = [
        [cell for tag in tags for cell in (tag, "")],
        [cell for _ in tags for cell in (dialect.header[1], dialect.header[2])],
    ]
    for number in range(max(len(each) for each in series)):
        lines.append([cell for each in series for cell in (each[number] if number < len(each) else ("", ""))])
    return lines


def _by_tag(rows: Rows) -> dict[str, list[tuple[int, float]]]:
    found: dict[str, list[tuple[int, float]]] = {}
    for tag, time, value in rows:
        found.setdefault(tag, []).append((time, value))
    return found


def _across(rows: Rows, dialect: Dialect) -> list[list[str]]:
    """A row a tag, a column a time."""
    times = list(dict.fromkeys(time for _, time, _ in rows))
    lines = [[dialect.header[0], *(write_time(time, dialect.time) for time in times)]]
    for tag, found in _by_tag(rows).items():
        cells = dict(found)
        lines.append([tag, *(_number(cells[time], dialect) if time in cells else "" for time in times)])
    return lines


def _tag_lines(rows: Rows, dialect: Dialect) -> list[list[str]]:
    """Each tag on a line of its own above its rows."""
    lines = [[dialect.header[1], dialect.header[2]]]
    for tag, found in _by_tag(rows).items():
        lines.append([tag, ""])
        lines += [[write_time(time, dialect.time), _number(value, dialect)] for time, value in found]
    return lines


def _merged(rows: Rows, dialect: Dialect) -> list[list[str]]:
    """Long, each tag in the first row of its run only."""
    lines = [list(dialect.header)]
    for tag, found in _by_tag(rows).items():
        lines += [
            [tag if number == 0 else "", write_time(time, dialect.time), _number(value, dialect)]
            for number, (time, value) in enumerate(found)
        ]
    return lines


def _calendar(rows: Rows, dialect: Dialect) -> list[list[str]]:
    """Wide, with year to second in columns of their own."""
    wide = _wide(rows, dialect)
    moments = [
        datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=time // NS)
        for time in dict.fromkeys(t for _, t, _ in rows)
    ]
    clocks = [[str(part) for part in moment.timetuple()[:6]] for moment in moments]
    return [
        ["Year", "Month", "Day", "Hour", "Minute", "Second", *wide[0][1:]],
        *([*clock, *cells[1:]] for clock, cells in zip(clocks, wide[1:], strict=True)),
    ]


def _number(value: float, dialect: Dialect) -> str:
    text = repr(value)
    if dialect.thousands and "e" not in text:
        whole, _, part = text.lstrip("-").partition(".")
        text = ("-" if value < 0 else "") + f"{int(whole):,}".replace(",", "\0") + f".{part}"
    return text.replace(".", dialect.decimal).replace("\0", dialect.thousands)


def _cell(text: str, dialect: Dialect) -> str:
    if dialect.quote_all or dialect.separator in text or '"' in text or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def write_time(time: int, name: str) -> str:
    """An instant in one of TIME_FORMATS."""
    seconds, part = divmod(time, NS)
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    if name.startswith("epoch"):
        unit = {"epoch_s": NS, "epoch_ms": 1_000_000, "epoch_us": 1_000, "epoch_ns": 1}[name]
        return str(time // unit)
    if name == "serial":
        return f"{(time // NS + 25_569 * 86_400) / 86_400:.10f}"
    if name == "iso_offset":
        return moment.astimezone(timezone(timedelta(hours=5, minutes=30))).isoformat()
    if name == "month_name":
        return f"{moment.day:02d}-{MONTHS.split()[moment.month - 1]}-{moment:%Y %H:%M:%S}"
    if name == "american_12h":
        return f"{moment.month}/{moment.day}/{moment:%Y} {moment.hour % 12 or 12}:{moment:%M:%S} {'AM' if moment.hour < 12 else 'PM'}"
    if name == "filetime":
        return str(time // 100 + 116_444_736_000_000_000)
    if name == "c_library":
        day = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"][moment.weekday()]
        return f"{day} {MONTHS.split()[moment.month - 1]} {moment.day:02d} {moment:%H:%M:%S %Y}"
    if name == "east_asian":
        return f"{moment.year}年{moment.month}月{moment.day}日 {moment.hour}時{moment.minute:02d}分{moment.second:02d}秒"
    if name in ("polish", "czech"):
        names, point = (POLISH, "") if name == "polish" else (CZECH, ".")
        return f"{moment.day}{point} {names[moment.month - 1]} {moment:%Y %H:%M:%S}"
    if name == "korean":
        half = "오전" if moment.hour < 12 else "오후"
        return (
            f"{moment.year}년 {moment.month}월 {moment.day}일 {half} {moment.hour % 12 or 12}:{moment:%M:%S}"
        )
    if name == "week_date":
        year, week, day = moment.isocalendar()
        return f"{year}-W{week:02d}-{day}T{moment:%H:%M:%S}Z"
    if name == "interval":
        return f"{moment:%Y-%m-%d %H:%M:%S} - {moment + timedelta(minutes=5):%Y-%m-%d %H:%M:%S}"
    if name in ("full_width", "devanagari"):
        zero = "０" if name == "full_width" else "०"
        return "".join(chr(ord(zero) + int(c)) if c.isdecimal() else c for c in f"{moment:%Y-%m-%d %H:%M:%S}")
    written = {
        "day_of_year": "%Y-%jT%H:%M:%SZ", "apostrophe": "'%Y-%m-%d %H:%M:%S", "offset_hours": "%Y-%m-%dT%H:%M:%S+00",
        "iso_z": "%Y-%m-%dT%H:%M:%SZ", "iso_blank": "%Y-%m-%d %H:%M:%S", "german": "%d.%m.%Y %H:%M:%S", "british": "%d/%m/%Y %H:%M:%S",
        "american": "%m/%d/%Y %H:%M:%S", "german_short_year": "%d.%m.%y %H:%M:%S", "compact": "%Y%m%d%H%M%S",
        "uhr": "%d.%m.%Y %H:%M:%S Uhr", "clock_first": "%H:%M:%S %Y-%m-%d",
        "iso_ms_z": f"%Y-%m-%dT%H:%M:%S.{part // 1_000_000:03d}Z", "iso_ns_z": f"%Y-%m-%dT%H:%M:%S.{part:09d}Z",
        "comma_fraction": f"%Y-%m-%d %H:%M:%S,{part // 1_000_000:03d}",
    }[name]  # fmt: skip
    return moment.strftime(written)
