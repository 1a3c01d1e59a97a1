"""The state time line: measuring, hold, calibrating, washing, cleaning, steaming, recovering, no data.

In: conditioned signals.  Out: one :class:`StateLine` that covers the record.  Promises: spans are
contiguous and each has its evidence.  Never: judges the probe.
"""

from excursions.states.recognise import recognise

__all__ = ["recognise"]
