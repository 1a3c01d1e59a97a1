"""What a night has to tell: one change a row, under a handful of headings."""

from __future__ import annotations

from dataclasses import dataclass

WITHDRAWN = "withdrawn"  # of an event: the record as it is now shows nothing of it
# What the digest has a heading for, in its order.
HEADINGS = ("new", "worse", "silent", "resolved", "verified", "doubted", "audit", "overdue", "changed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing that is different since the last conclusion; event is empty for points and calibrations."""

    what: str
    point: str
    event: str = ""
    severity: str = "note"
    before: str = ""
    after: str = ""
    sentence: str = ""
    told: bool = False
