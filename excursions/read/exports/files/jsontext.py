"""JSON as a table: a row an object, in an array or a line each; objects and arrays inside are laid out beside them."""

from __future__ import annotations

import json
import re
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.files.content import Content, Opened
from excursions.read.exports.files.frametable import FrameTable
from excursions.read.exports.files.grids import grid_table
from excursions.read.exports.files.jsonshapes import is_odd, records_of, rows_of
from excursions.read.exports.files.nested import refuse_other_lengths
from excursions.read.exports.files.sound import sound
from excursions.read.exports.layouts.naming import unique
from excursions.read.exports.upright.counted import START
from excursions.read.model import ReadOptions
from excursions.read.text.quality import is_quality_text
from excursions.read.text.words import fold, roles_of

_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:\{\s*\"|\[\s*\{|\[\s*\[\s*[\"\d])")
_LINES = re.compile(rb"\s*\{[^\n]*\}\s*\n\s*\{")
_DEEPEST = 12
_LARGEST_WALKED = 200_000_000  # bytes of a file that is walked through object by object
_CUT = "the JSON file is cut off in its last line; what came before was used"


def is_json(start: bytes) -> bool:
    """Whether bytes begin as an object or an array of objects do."""
    return _START.match(start) is not None


def json_table(content: Content, options: ReadOptions) -> Opened:
    """The file as one table; row n is its n-th object.

    Raises
    ------
    InputFileError
        If it is no sound JSON, or holds arrays of different lengths side by side.
    """
    data, lost = _without_nan(content.whole().removeprefix(b"\xef\xbb\xbf")), b""
    words = f"JSON, {content.packing}" if content.packing else "JSON"
    grid = rows_of(data)
    if grid is not None:
        yield content.name, grid_table(grid, words)
        return
    shaped = is_odd(content.start) and not _LINES.match(data) and len(data) < _LARGEST_WALKED
    odd = records_of(data, options.date_order) if shaped else None
    if odd is not None:
        yield content.name, FrameTable(frame=odd.lazy(), words=words, height=odd.height)
        return
    with sound("JSON file"):
        if _LINES.match(data):
            whole = data.rfind(b"\n") + 1
            if not data.rstrip().endswith(b"}"):
                data, lost = data[:whole], data[whole:]
            frame = pl.read_ndjson(BytesIO(data), infer_schema_length=None)
        else:
            frame = pl.read_json(BytesIO(data), infer_schema_length=None)
        frame = _flat(frame)
    if not frame.width or not frame.height:
        raise InputFileError(
            found="a JSON file without objects", expected="objects with a time and readings", mend="export it again"
        )  # fmt: skip
    yield content.name, FrameTable(
        frame=frame.lazy(), words=words, height=frame.height, notes=(_CUT,) if lost else (), lost=lost.decode(errors="replace"),
    )  # fmt: skip


_NAN = re.compile(rb"-?\b(?:NaN|nan|Infinity|inf)\b")


def _without_nan(data: bytes) -> bytes:
    """JSON knows no NaN, but many programs write it for a reading that is none: null in its place."""
    if not any(word in data for word in (b"NaN", b"nan", b"Infinity", b"inf")) or b"\0" in data:
        return data
    # Every second part is a text, in which such a word may stand.
    parts = re.split(rb'("(?:[^"\\]|\\.)*")', data)
    parts[::2] = re.split(b"\0", _NAN.sub(b"null", b"\0".join(parts[::2])))
    return b"".join(parts)


_TOPIC = re.compile(
    r"(?:(?P<received>\d{4}-\d\d-\d\d[T ]\d\d:\d\d\S*|\d{9,19}(?:\.\d+)?)[\s:]+)?(?P<topic>[^\s{}\"]+)[\s:]+(?P<said>\{.*\})\s*"
)
_TOPIC_LINES, _LOOKED_AT = 5, 16 * 2**10


def is_topics(start: bytes) -> bool:
    """Whether the first lines are a name and an object each, perhaps behind a time: what a subscriber to messages writes down."""
    lines = [
        line
        for line in start[:_LOOKED_AT].decode("utf-8", errors="replace").splitlines()[:-1]
        if line.strip()
    ]
    return bool(lines) and all(_TOPIC.fullmatch(line.strip()) for line in lines[:_TOPIC_LINES])


def topic_table(content: Content, options: ReadOptions) -> Opened:
    """Such lines as one table, the name of each beside what its object says."""
    lines = []
    for line in filter(str.strip, content.whole().decode("utf-8", errors="replace").splitlines()):
        match = _TOPIC.fullmatch(line.strip())
        said = _object(match["said"]) if match else None
        if match is None or said is None:
            said = {"unread": line}
        else:
            heads = {"topic": match["topic"], "received": match["received"]}
            said = {key: text for key, text in heads.items() if text and key not in said} | said
        lines.append(json.dumps(said))
    with sound("file of messages"):
        frame = _flat(pl.read_ndjson(BytesIO("\n".join(lines).encode()), infer_schema_length=None))
    words = ", ".join(part for part in ("messages with JSON", content.packing) if part)
    yield content.name, FrameTable(frame=frame.lazy(), words=words, height=frame.height)


def _object(text: str) -> dict[str, object] | None:
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Objects as columns of their own, arrays as rows, until nothing is nested."""
    for _ in range(_DEEPEST):
        frame = _keyed(_pairs(_written(frame)))
        nested = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Struct)]
        lists = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.List)]
        if nested:
            frame = _beside(frame, nested[0])
        elif lists:
            _refuse_one_time(frame, lists)
            refuse_other_lengths(frame.lazy(), lists)
            frame = frame.explode(lists)
        else:
            break
    return frame


def _written(frame: pl.DataFrame) -> pl.DataFrame:
    """Texts that are objects written as JSON, as messages carry them, as these objects."""
    for name, dtype in frame.schema.items():
        said = frame[name].drop_nulls() if dtype == pl.String else pl.Series([], dtype=pl.String)
        if not len(said) or not said.str.contains(r"^\s*\{[^\r\n]*\}\s*$").all():
            continue
        lines = "\n".join(frame[name].fill_null("{}").to_list())
        try:
            inner = pl.read_ndjson(BytesIO(lines.encode()), infer_schema_length=None)
        except pl.exceptions.PolarsError:
            continue  # texts that only look like objects stay texts, and are told as columns left out
        if inner.width and inner.height == frame.height:
            frame = frame.with_columns(inner.to_struct(name))
    return frame


def _fields(dtype: pl.DataType) -> tuple[str, ...]:
    """The fields of a column of objects, or of arrays of objects, that hold readings and their times; else none."""
    inner = dtype.inner if isinstance(dtype, pl.List) else dtype
    names = tuple(field.name for field in inner.fields) if isinstance(inner, pl.Struct) else ()
    timed = any(roles_of(name) & {"time"} or fold(name) in ("times", "timestamps") for name in names)
    read = any("value" in roles_of(name) or fold(name) == "v" for name in names) and any(
        "quality" in roles_of(name) for name in names
    )
    return names if (timed or read) and len(names) > 1 else ()


def _keyed(frame: pl.DataFrame) -> pl.DataFrame:
    """Objects of the same fields beside one another, ``{"AT-101": {"times": [], "values": []}, ...}``: a row each, the key its tag."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for name, dtype in frame.schema.items():
        if fields := _fields(dtype):
            groups.setdefault(fields, []).append(name)
    names = max(groups.values(), key=len, default=[])
    if len(names) < 2:
        return frame
    others = [pl.col(name) for name in frame.columns if name not in names and name != "tag"]
    tagged = "tag" in frame.columns
    parts = [
        frame.select(
            *others,
            (pl.concat_str(pl.col("tag"), pl.lit(name), separator=".") if tagged else pl.lit(name)).alias(
                "tag"
            ),
            pl.col(name).alias(_HELD),
        )
        for name in names
    ]
    return pl.concat(parts, how="vertical_relaxed").drop_nulls(_HELD)


_HELD = "readings of the tag"


def _refuse_one_time(frame: pl.DataFrame, lists: list[str]) -> None:
    """Readings in an array of their own, beside one time for all of them.

    Raises
    ------
    InputFileError
        If so: all of them would stand at that time.
    """
    if len(lists) > 1 or "value" not in roles_of(lists[0]) or not frame[lists[0]].dtype.inner.is_numeric():  # type: ignore[attr-defined]
        return
    timed = any(roles_of(name) & {"time", "date"} or START.fullmatch(fold(name)) for name in frame.columns)
    if timed and (frame[lists[0]].list.len() > 1).any():
        raise InputFileError(
            found=f'an array of readings ("{lists[0]}") beside one time', expected="a time for each reading, or the step between them",
            mend='export pairs of time and value, or state the start and the step ("start", "interval_s")',
        )  # fmt: skip


_FIRST_INSTANT = 1e8  # s since 1970: smaller numbers of a pair are its reading


def _is_pairs(column: pl.Series) -> bool:
    """Whether a column holds lists of two, a time and a reading in this order or the other, or of three with a code behind them."""
    if not isinstance(column.dtype, pl.List) or not isinstance(column.dtype.inner, pl.List):
        return False
    inner = column.explode().drop_nulls()
    if not len(inner) or isinstance(inner.dtype.inner, (pl.List, pl.Struct)):  # type: ignore[attr-defined]
        return False
    lengths = inner.list.len().unique().to_list()
    if lengths == [3] and not _is_code(inner.list.get(2)):
        return False
    return lengths in ([2], [3]) and any(_is_instant(inner.list.get(place)) for place in (0, 1))


_MOST_CODES = 8


def _is_code(column: pl.Series) -> bool:
    """Whether what stands behind time and reading is a quality: a few whole numbers, or words for one."""
    known = column.drop_nulls().unique()
    if not 0 < len(known) <= _MOST_CODES:
        return False
    if known.dtype == pl.String:
        numbers = known.cast(pl.Float64, strict=False)
        said = known.filter(numbers.is_null()).to_list()
        return all(map(is_quality_text, said)) and bool((numbers.drop_nulls() % 1 == 0).all())
    return known.dtype.is_numeric() and bool((known % 1 == 0).all())


def _pairs(frame: pl.DataFrame) -> pl.DataFrame:
    """Lists of time and reading as a row each; where they are several beside one another, the key of each is its tag."""
    names = [name for name in frame.columns if _is_pairs(frame[name])]
    if not names:
        return frame
    if len(names) > 1:
        others = [name for name in frame.columns if name not in names]
        frame = frame.unpivot(names, index=others, variable_name="tag", value_name="pairs").explode("pairs")
        names = ["pairs"]
    else:
        frame = frame.explode(names[0])
    both = [frame[names[0]].list.get(place, null_on_oob=True) for place in (0, 1)]
    at = int(_is_instant(both[1]) and not _is_instant(both[0]))
    code = frame[names[0]].list.get(2, null_on_oob=True)
    coded = [
        code.cast(pl.Int64, strict=False).alias("quality")
        if code.dtype.is_numeric()
        else code.alias("quality")
    ]
    return frame.drop(names[0]).with_columns(
        both[at].alias("time"), both[1 - at].alias("value"), *(coded if code.is_not_null().any() else [])
    )


def _is_instant(column: pl.Series) -> bool:
    known = column.drop_nulls()
    if known.dtype == pl.String:
        number = known.cast(pl.Float64, strict=False)
        return bool(len(known)) and bool((number.is_null() | (number >= _FIRST_INSTANT)).all())
    return known.dtype.is_numeric() and bool(len(known)) and bool((known >= _FIRST_INSTANT).all())


def _same_fields(dtype: pl.DataType, names: list[str]) -> bool:
    return isinstance(dtype, pl.Struct) and {field.name for field in dtype.fields} == set(names)


def _beside(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    """The fields of one column of objects as columns in its place; where a name is taken, the outer one goes before it."""
    inner = frame[name].struct.unnest()
    taken = others = set(frame.columns) - {name}
    alike = all(any(other.endswith(f".{field}") for other in others) for field in inner.columns)
    if alike or any(_same_fields(frame.schema[other], inner.columns) for other in others):
        # The same fields under another key: without its own, the first would pass for both.
        taken = others | set(inner.columns)
    called = unique([f"{name}.{field}" if field in taken else field for field in inner.columns], others)
    fields = [column.alias(own) for column, own in zip(inner.get_columns(), called, strict=True)]
    at = frame.columns.index(name)
    return pl.DataFrame([*frame.get_columns()[:at], *fields, *frame.get_columns()[at + 1 :]])
