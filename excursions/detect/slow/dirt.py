"""Which way dirt moves a reading: oxygen and conductivity down, turbidity up."""

from __future__ import annotations

from excursions.detect.evidence.origin import Clue
from excursions.records import Record


def dirt_clue(record: Record, size: float) -> Clue:
    """Whether a slow change, by `size` in the reading's unit, went the way dirt does; a quantity without such a way says nothing."""
    way = record.point.quantity.fouls
    if not way:
        return Clue(odds=1.0)
    if way * size > 0:
        return Clue(odds=1.5)
    return Clue(odds=0.3, words=f"dirt moves {record.point.quantity.label} the other way")
