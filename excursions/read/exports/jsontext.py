"""JSON as a table: a row an object, in an array or a line each; objects and arrays inside are laid out beside them."""

from __future__ import annotations

import re
from io import BytesIO

import polars as pl

from excursions.errors import InputFileError
from excursions.read.exports.content import Content, Opened
from excursions.read.exports.frametable import FrameTable
from excursions.read.exports.sound import sound
from excursions.read.model import ReadOptions

_START = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:\{\s*\"|\[\s*\{)")
_LINES = re.compile(rb"\s*\{[^\n]*\}\s*\n\s*\{")
_DEEPEST = 12
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
    data, lost = content.whole().removeprefix(b"\xef\xbb\xbf"), b""
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
    words = f"JSON, {content.packing}" if content.packing else "JSON"
    yield content.name, FrameTable(
        frame=frame.lazy(), words=words, height=frame.height, notes=(_CUT,) if lost else (), lost=lost.decode(errors="replace"),
    )  # fmt: skip


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Objects as columns of their own, arrays as rows, until nothing is nested."""
    for _ in range(_DEEPEST):
        nested = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Struct)]
        lists = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.List)]
        if nested:
            frame = _beside(frame, nested[0])
        elif lists:
            frame = frame.explode(lists)
        else:
            break
    return frame


def _beside(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    """The fields of one column of objects as columns in its place; where a name is taken, the outer one goes before it."""
    inner = frame[name].struct.unnest()
    taken = set(frame.columns) - {name}
    fields = [
        column.alias(f"{name}.{column.name}" if column.name in taken else column.name)
        for column in inner.get_columns()
    ]
    at = frame.columns.index(name)
    return pl.DataFrame([*frame.get_columns()[:at], *fields, *frame.get_columns()[at + 1 :]])
