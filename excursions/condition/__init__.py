"""Order, units, duplicates, gaps, bridged stretches: from what the file said to what was recorded.

In: tag series and the register's points.  Out: one :class:`Signal` each.  Promises: strictly increasing
times, canonical units, every dropped row counted.  Never: smooths, fills or invents a value.
"""

from excursions.condition.outage import share_outages
from excursions.condition.signal import Conditioned, condition

__all__ = ["Conditioned", "condition", "share_outages"]
