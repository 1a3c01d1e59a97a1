"""Arrays small enough for a page, without changing a single value.

Plotly reads base64 arrays, but a time axis in milliseconds needs eight bytes a sample there.  Here times
become whole seconds from the first one and readings become whole multiples of their last decimal: four
bytes or two, decoded by the page's script to exactly the numbers that went in.
"""

from __future__ import annotations

import base64

import numpy as np

from dashboards.figures.spec import Spec
from excursions.records import FloatArray

MISSING = {"i2": -(2**15), "i4": -(2**31)}
MOST_DECIMALS = 7
FIRST = 64  # values that already refuse most scales


def pack_array(values: np.ndarray) -> dict[str, object]:
    """Describe an array of wall-clock datetimes or of floats.

    Returns
    -------
    dict
        ``type`` (``i2``, ``i4``, ``f8``, little endian), ``data`` (base64), and what undoes it:
        number = integer / `divide` + `add`; the lowest integer stands for missing.
    """
    if np.issubdtype(values.dtype, np.datetime64):
        return _pack_times(values.astype("datetime64[ms]").astype(np.int64))
    floats = values.astype(np.float64)
    for decimals in range(MOST_DECIMALS + 1):
        if _as_whole(floats[:FIRST], 10.0**decimals) is None:
            continue
        whole = _as_whole(floats, 10.0**decimals)
        if whole is not None:
            return _integers(whole, divide=10**decimals)
    return _described("f8", floats.astype("<f8"), divide=1, add=0)


def _pack_times(milliseconds: np.ndarray) -> dict[str, object]:
    if milliseconds.size == 0:
        return _described("f8", milliseconds.astype("<f8"), divide=1, add=0)
    first = int(milliseconds[0])
    seconds, rest = np.divmod(milliseconds - first, 1000)
    if rest.any() or np.abs(seconds).max() >= 2**31 - 1:
        return _described("f8", milliseconds.astype("<f8"), divide=1, add=0)
    return _described("i4", seconds.astype("<i4"), divide=0.001, add=first)


def _as_whole(values: FloatArray, scale: float) -> np.ndarray | None:
    """The integers that stand for `values` at this scale, or None when one of them would change."""
    finite = np.isfinite(values)
    with np.errstate(over="ignore"):  # what overflows is refused just below
        whole = np.round(np.where(finite, values, 0.0) * scale)
    if np.abs(whole).max(initial=0.0) >= 2**31 - 1 or not np.array_equal(
        (whole / scale)[finite], values[finite]
    ):
        return None
    return np.where(finite, whole, np.nan)


def _integers(whole: FloatArray, *, divide: float) -> dict[str, object]:
    kind = "i2" if np.nanmax(np.abs(whole), initial=0.0) < 2**15 - 1 else "i4"
    filled = np.where(np.isnan(whole), MISSING[kind], whole).astype(f"<{kind}")
    return _described(kind, filled, divide=divide, add=0)


def _described(kind: str, array: np.ndarray, *, divide: float, add: int) -> dict[str, object]:
    return {"type": kind, "data": base64.b64encode(array.tobytes()).decode(), "divide": divide, "add": add}


def unpack_array(packed: dict[str, object]) -> FloatArray:
    """The twin of the script's decoder: numbers as they were (times in milliseconds)."""
    kind = str(packed["type"])
    raw = np.frombuffer(base64.b64decode(str(packed["data"])), dtype=f"<{kind}")
    numbers = raw.astype(np.float64) / float(str(packed["divide"])) + float(str(packed["add"]))
    return np.where(raw == MISSING[kind], np.nan, numbers) if kind in MISSING else numbers


def pack_spec(spec: Spec) -> Spec:
    """A figure description with every array of its traces packed; lists stay as they are."""
    return {
        **spec,
        "data": [
            {key: pack_array(item) if isinstance(item, np.ndarray) else item for key, item in trace.items()}
            for trace in spec["data"]
        ],
    }
