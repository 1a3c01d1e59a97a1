"""Files in, tag series out: the only room that opens data files.

In: paths as the user gave them.  Out: one :class:`TagSeries` a tag, calibration entries, laboratory
samples, refused rows and decisions.  Promises: rows in = rows used + refused; every refusal has a line
and a reason.  Never: sorts, deduplicates, converts units or judges a value.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from excursions.read.options import ReadOptions

if TYPE_CHECKING:
    from excursions.read.exports.reader import read_exports
    from excursions.read.model import FileReport, Reading

__all__ = ["FileReport", "ReadOptions", "Reading", "read_exports"]


def __getattr__(name: str) -> Any:
    """Load what reads, and the library of frames with it, when it is first asked for: who only states options waits for neither."""
    if name == "read_exports":
        from excursions.read.exports.reader import read_exports

        return read_exports
    if name in ("FileReport", "Reading"):
        from excursions.read import model

        return getattr(model, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
