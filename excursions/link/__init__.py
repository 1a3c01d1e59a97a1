"""From events to calibration shifts and back, and which readings to doubt since when and by how much.

In: shifts, events, levels.  Out: links, outcomes and doubt windows.  Promises: the probabilities of one shift
sum to one; a corrected reading never replaces the original.  Never: opens files or looks at samples.
"""

from excursions.link.attribute import attribute
from excursions.link.doubt import corrected, doubt_windows, error_at
from excursions.link.outcome import outcome

__all__ = ["attribute", "corrected", "doubt_windows", "error_at", "outcome"]
