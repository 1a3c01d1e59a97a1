"""From events to calibration shifts and back, and which readings to doubt since when and by how much.

In: shifts, events, calibrations, levels.  Out: links whose probabilities sum to one for each shift, windows of doubt,
what became of each event.  Promises: the same input gives the same output.  Never: drops an event silently.
"""

from excursions.link.attribute import attribute, weigh
from excursions.link.audit import audit
from excursions.link.correct import band_at, corrected, error_at
from excursions.link.course import with_course
from excursions.link.doubt import doubt_windows
from excursions.link.drawn import laid_to_export
from excursions.link.due import next_due
from excursions.link.exchanged import exchange_doubts, told_once
from excursions.link.lessons import fleet_heat
from excursions.link.named import with_misread
from excursions.link.outcome import outcome
from excursions.link.parted import weighed_in_pairs
from excursions.link.together import laid_to_process
from excursions.link.unsaid import with_shown

__all__ = [
    "attribute",
    "audit",
    "band_at",
    "corrected",
    "doubt_windows",
    "error_at",
    "exchange_doubts",
    "fleet_heat",
    "laid_to_export",
    "laid_to_process",
    "next_due",
    "outcome",
    "told_once",
    "weigh",
    "weighed_in_pairs",
    "with_course",
    "with_misread",
    "with_shown",
]
