"""Files in, tag series out: the only room that opens data files.

In: paths as the user gave them.  Out: one :class:`TagSeries` a tag, calibration entries, laboratory
samples, refused rows and decisions.  Promises: rows in = rows used + refused; every refusal has a line
and a reason.  Never: sorts, deduplicates, converts units or judges a value.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from excursions.read.model import FileReport, Reading, ReadOptions

if TYPE_CHECKING:
    from excursions.read.exports.reader import read_exports

__all__ = ["FileReport", "ReadOptions", "Reading", "read_exports"]


def __getattr__(name: str) -> Any:
    """Load the reader when it is first asked for: who only states options waits for no layout."""
    if name != "read_exports":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from excursions.read.exports.reader import read_exports

    return read_exports
