"""Times of day as the names of columns, or the hours of a day as plain numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence

from excursions.read.exports.times.timeshapes import clock_shape_of

_HOUR = re.compile(r"(?i)(?:h|hr|hour|hora|heure|stunde|std|ora)?[ ._]?0?(\d{1,2}) ?(?:h|hr|uhr)?")
_SPAN = re.compile(r"(\d{1,2})(?::00)? ?(?:-|–|bis|to|a) ?(\d{1,2})(?::00)? ?(?:h|hr|uhr)?", re.IGNORECASE)
_DAY_HOURS = 24


def clocks_across(headers: Sequence[str]) -> tuple[int, list[str]]:
    """The column where times of day as names begin, and these; no times where there are none.

    Plain numbers count where they are the 24 hours of a day: from 0 on the hour begins there, from 1 on it ends there.
    """
    clocked = [clock_shape_of(header) is not None for header in headers]
    if sum(clocked) >= 2:
        first = clocked.index(True)
        found = [header for header, here in zip(headers[first:], clocked[first:], strict=True) if here]
        return (first, found) if all(clocked[first : first + len(found)]) else (0, [])
    for first in range(1, len(headers) - _DAY_HOURS + 1):
        names = [header.strip() for header in headers[first : first + _DAY_HOURS]]
        spans = [_SPAN.fullmatch(name) for name in names]
        hours = [
            int((span or _HOUR.fullmatch(name) or ("", -2))[1])
            for span, name in zip(spans, names, strict=True)
        ]
        if hours in (list(range(24)), list(range(1, 25))) and (all(spans) or not any(spans)):
            return first, [f"{hour:02d}:00" for hour in hours]
    return 0, []


_NAME_AND_CLOCK = re.compile(
    r"(?P<name>\S.*?)\s*[\s@_(\-]\s*(?P<clock>\d{1,2}[:.h]\d{2}(?:[:.]\d{2})?(?:\s?[AaPp]\.?[Mm]\.?)?)\)?"
)
_CLOCK_AND_NAME = re.compile(
    r"(?P<clock>\d{1,2}[:h]\d{2}(?::\d{2})?(?:\s?[AaPp]\.?[Mm]\.?)?)\s*[\s_\-]\s*(?P<name>\S.*)"
)


def name_and_clock(header: str) -> tuple[str, str] | None:
    """A signal and a time of day that one name holds, ``AT-1 06:00`` or ``06:00 AT-1``; None where it does not."""
    match = _NAME_AND_CLOCK.fullmatch(header.strip()) or _CLOCK_AND_NAME.fullmatch(header.strip())
    if match is None or clock_shape_of(match["clock"]) is None or clock_shape_of(match["name"]) is not None:
        return None
    return match["name"].strip(), match["clock"]
