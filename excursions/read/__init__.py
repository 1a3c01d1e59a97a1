"""Files in, tag series out: the only room that opens data files.

In: paths as the user gave them.  Out: one :class:`TagSeries` a tag, calibration entries, laboratory
samples, refused rows and decisions.  Promises: rows in = rows used + refused; every refusal has a line
and a reason.  Never: sorts, deduplicates, converts units or judges a value.
"""
