"""Findings to bytes and back, without running anything that the bytes say: only known records, arrays and plain values."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import zstandard

from excursions import conclusions, plant, records
from excursions.pipeline import point, slow, windows
from excursions.report import result

# Every record of the rooms whose records findings are made of.
_KNOWN = {
    kind.__name__: kind
    for room in (records, conclusions, plant, result, point, windows, slow)
    for kind in vars(room).values()
    if isinstance(kind, type) and is_dataclass(kind)
}
_DTYPES = ("int64", "float64", "uint8", "bool")
_MAGIC = b"excursions findings 2\n"


class DamagedError(Exception):
    """Bytes that are not what was written."""


def encode(value: object) -> bytes:
    """Write records, arrays, tuples, lists, mappings and plain values as bytes with a checksum."""
    arrays: list[bytes | memoryview] = []
    tree = json.dumps(_tree(value, arrays), ensure_ascii=False).encode("utf-8", errors="surrogatepass")
    body = b"".join((len(tree).to_bytes(8, "big"), tree, *arrays))
    packed = zstandard.ZstdCompressor(level=1).compress(body)
    return _MAGIC + hashlib.blake2b(packed, digest_size=16).digest() + packed


def decode(content: bytes) -> Any:
    """Read back what :func:`encode` wrote.

    Raises
    ------
    DamagedError
        If the bytes are not what was written.
    """
    head = len(_MAGIC)
    packed = content[head + 16 :]
    if (
        content[:head] != _MAGIC
        or hashlib.blake2b(packed, digest_size=16).digest() != content[head : head + 16]
    ):
        raise DamagedError
    body = zstandard.ZstdDecompressor().decompress(packed)
    length = int.from_bytes(body[:8], "big")
    tree = json.loads(body[8 : 8 + length].decode("utf-8", errors="surrogatepass"))
    return _value(tree, memoryview(body)[8 + length :])


def _tree(value: object, arrays: list[bytes | memoryview]) -> object:
    if isinstance(value, np.ndarray):
        if value.dtype.name not in _DTYPES:
            raise TypeError(f"an array of {value.dtype} has no place in findings")
        arrays.append(_flat(value))
        return {"array": value.dtype.name, "shape": list(value.shape)}
    if isinstance(value, np.generic):
        return _tree(value.item(), arrays)
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    if isinstance(value, (tuple, list)):
        return {"tuple" if isinstance(value, tuple) else "list": [_tree(item, arrays) for item in value]}
    if isinstance(value, dict):
        return {"dict": [[_tree(k, arrays), _tree(v, arrays)] for k, v in value.items()]}
    if is_dataclass(value) and type(value).__name__ in _KNOWN:
        held = {item.name: _tree(getattr(value, item.name), arrays) for item in fields(value)}
        return {"record": type(value).__name__, "fields": held}
    raise TypeError(f"a {type(value).__name__} has no place in findings")


def _flat(array: np.ndarray[Any, Any]) -> bytes | memoryview:
    """The bytes of an array; whole numbers as their steps, because those of times are nearly all alike."""
    if not array.size:
        return b""
    flat = np.ascontiguousarray(array).ravel()
    if flat.dtype == np.int64:
        flat = np.diff(flat, prepend=0)
    return flat.data.cast("B")


def _value(tree: Any, arrays: memoryview) -> Any:
    value, rest = _read(tree, arrays)
    if len(rest):
        raise DamagedError
    return value


def _read(tree: Any, arrays: memoryview) -> tuple[Any, memoryview]:
    if not isinstance(tree, dict):
        return tree, arrays
    if "array" in tree:
        dtype = np.dtype(_DTYPES[_DTYPES.index(tree["array"])])
        size = dtype.itemsize * int(np.prod(tree["shape"], dtype=np.int64))
        array = np.frombuffer(arrays[:size], dtype=dtype)
        array = np.cumsum(array) if dtype == np.int64 else array
        return array.reshape(tree["shape"]), arrays[size:]
    if "record" in tree:
        held = {}
        for name, part in tree["fields"].items():
            held[name], arrays = _read(part, arrays)
        return _KNOWN[tree["record"]](**held), arrays
    if "dict" in tree:
        made = {}
        for key, part in tree["dict"]:
            key, arrays = _read(key, arrays)
            made[key], arrays = _read(part, arrays)
        return made, arrays
    items = []
    for part in tree["tuple"] if "tuple" in tree else tree["list"]:
        item, arrays = _read(part, arrays)
        items.append(item)
    return (tuple(items) if "tuple" in tree else items), arrays
