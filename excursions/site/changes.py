"""What a night has to tell: one change a row, under a handful of headings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from excursions.clock import NS_PER_HOUR
from excursions.records import SEVERITY_RANK

WITHDRAWN = "withdrawn"  # of an event: the record as it is now shows nothing of it
REPORTED_ORIGINS = ("probe", "undecided")
MOVED_NS = NS_PER_HOUR  # an onset that moves further, and by more than a tenth of what lasts, is told
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


@dataclass(slots=True, kw_only=True)
class Telling:
    """What a night compares with what was told, and the changes it finds."""

    number: int
    tz: ZoneInfo
    report_from: str
    outcomes: Mapping[str, tuple[str, str]]
    changes: list[Change] = field(default_factory=list)

    def reported(self, origin: str, severity: str) -> bool:
        """Whether the digest tells of an event of this origin and severity."""
        return origin in REPORTED_ORIGINS and SEVERITY_RANK[severity] >= SEVERITY_RANK[self.report_from]
