"""Files in, tag series out: the only room that opens data files.

In: paths as the user gave them.  Out: one :class:`TagSeries` a tag, calibration entries, laboratory
samples, refused rows and decisions.  Promises: rows in = rows used + refused; every refusal has a line
and a reason.  Never: sorts, deduplicates, converts units or judges a value.
"""

from excursions.read.exports.reader import read_exports
from excursions.read.model import FileReport, Reading, ReadOptions

__all__ = ["FileReport", "ReadOptions", "Reading", "read_exports"]
