"""The one place for time.

Inside the house an instant is an ``int64`` of nanoseconds since 1970-01-01T00:00:00Z.  Wall time exists
where files are read and where people look; both come through here.  Spans are half-open.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from datetime import UTC, datetime
from functools import lru_cache
from typing import Protocol
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import numpy as np
from numpy.typing import NDArray

from excursions.errors import UsageError, nearest

NS_PER_S = 1_000_000_000
NS_PER_MINUTE = 60 * NS_PER_S
NS_PER_HOUR = 3_600 * NS_PER_S
NS_PER_DAY = 86_400 * NS_PER_S

TimeArray = NDArray[np.int64]


def zone(name: str) -> ZoneInfo:
    """Return the named time zone.

    Raises
    ------
    UsageError
        If `name` is not a zone of the IANA data base.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(
            found=f'time zone "{name}"',
            expected="a name of the IANA time zone data base",
            mend=_zone_meant(name),
        ) from error


def _zone_meant(name: str) -> str:
    """How to mend a name that is no zone: a fixed offset in the spelling of the data base, else the nearest name."""
    if offset := re.fullmatch(r"(?i)(?:utc|gmt)?\s*([+-])\s*0?(\d{1,2})(?::?00)?", name.strip()):
        sign = "-" if offset[1] == "+" else "+"  # the data base counts west of Greenwich as positive
        return f'write "Etc/GMT{sign}{int(offset[2])}" for that offset all year, or the name of a place such as "Europe/Vienna"'
    known = sorted(available_timezones())
    places = {zone.rpartition("/")[2]: zone for zone in reversed(known)}
    asked = "_".join(name.split())
    near = nearest(asked, known, least=0.75) or places.get(
        nearest(asked.rpartition("/")[2], places, least=0.75), ""
    )
    return f'did you mean "{near}"?' if near else 'write for example "UTC" or "Europe/Vienna"'


def to_ns(moment: datetime) -> int:
    """Convert an aware datetime to nanoseconds since the epoch (naive is taken as UTC)."""
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    delta = aware - datetime(1970, 1, 1, tzinfo=UTC)
    return (delta.days * 86_400 + delta.seconds) * NS_PER_S + delta.microseconds * 1_000


def to_datetime(instant: int, tz: ZoneInfo | None = None) -> datetime:
    """Convert nanoseconds since the epoch to an aware datetime (microsecond resolution)."""
    seconds, rest = divmod(int(instant), NS_PER_S)
    moment = datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest // 1_000)
    return moment.astimezone(tz) if tz else moment


def offsets(time: TimeArray, tz: ZoneInfo) -> TimeArray:
    """What a zone's clocks showed beyond UTC at instants (n,) [ns], in any order."""
    if not time.size:
        return np.empty(0, dtype=np.int64)
    turns, after = _turns(tz, int(time.min()) // _STRETCH, int(time.max()) // _STRETCH + 1)
    return after[np.searchsorted(turns, time, side="right")]


_STRETCH = 400 * NS_PER_DAY  # clocks are looked up for as long at once


@lru_cache
def _turns(tz: ZoneInfo, first: int, past: int) -> tuple[TimeArray, TimeArray]:
    """Instants (k,) at which the clocks of a zone change in some stretches, and what they show beyond UTC from then on (k + 1,).

    Looked for between midnights (UTC): no zone goes forth and back within a day.
    """

    def offset(instant: int) -> int:
        beyond = to_datetime(instant, tz).utcoffset()
        return 0 if beyond is None else round(beyond.total_seconds()) * NS_PER_S

    days = range(first * _STRETCH, past * _STRETCH + 1, NS_PER_DAY)
    turns, after = [], [offset(days[0])]
    for day in days[1:]:
        if (shown := offset(day)) != after[-1]:
            seconds = range(day - NS_PER_DAY, day + 1, NS_PER_S)
            turns.append(
                seconds[bisect_left(seconds, True, key=lambda instant: offset(instant) != after[-1])]
            )
            after.append(shown)
    return np.array(turns, dtype=np.int64), np.array(after, dtype=np.int64)


class Span(Protocol):
    """What has a begin and an end [ns]: an event, a doubt, a claim."""

    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int: ...


def shared(one: Span, other: Span) -> int:
    """How long two spans last both [ns]; negative by what lies between them."""
    return min(one.end, other.end) - max(one.start, other.start)


def iso(instant: int) -> str:
    """Write an instant as ISO 8601 in UTC, to the second."""
    return to_datetime(instant).strftime("%Y-%m-%dT%H:%M:%SZ")


def wall(instant: int, tz: ZoneInfo) -> str:
    """Write an instant as a person reads it in the plant's zone; with its offset where the clock showed it twice."""
    moment = to_datetime(instant, tz)
    return f"{moment:%-d %b %Y %H:%M}{which_pass(moment)}"


def which_pass(moment: datetime) -> str:
    """``" +02:00"`` for an aware moment in an hour that comes twice because the clock was put back; else empty."""
    twice = moment.replace(fold=1 - moment.fold).utcoffset() != moment.utcoffset()
    return f" {offset_text(moment)}" if twice else ""


def offset_text(moment: datetime) -> str:
    """How far an aware moment's clock is ahead of UTC: ``+02:00``."""
    return moment.isoformat()[-6:]


def turns(start: int, end: int, tz: ZoneInfo) -> list[int]:
    """The instants [ns] after `start`, up to `end`, at which the clock of a zone was put forward or back, to the second."""
    found, _ = _turns(tz, start // _STRETCH, end // _STRETCH + 1)
    return [int(instant) for instant in found if start < instant <= end]


def duration_text(seconds: float) -> str:
    """Say a duration in the two largest units a person would use: ``3 d 4 h``, ``12 min``, ``3 min 50 s``, ``40 s``."""
    total = abs(float(seconds))
    if total < 1:
        return f"{total:.2g} s"
    if total < 90 or (total < 119.5 and round(total) != 60):
        return f"{total:.0f} s"
    for size, name, below, below_name in (
        (86_400.0, "d", 3_600.0, "h"),
        (3_600.0, "h", 60.0, "min"),
    ):
        if total >= size:
            whole, rest = divmod(round(total / below), round(size / below))
            return f"{whole} {name} {rest} {below_name}" if rest and whole < 10 else f"{whole} {name}"
    whole, tens = divmod(round(total / 10), 6)
    return f"{whole} min {tens * 10} s" if tens and whole < 5 else f"{total / 60:.0f} min"


def minutes_text(minutes: float) -> str:
    """Minutes as people say a time: ``0 min``, ``33 s``, ``12 min``, ``2 d 7 h``."""
    if not math.isfinite(minutes):
        return "unknown"
    return duration_text(minutes * 60) if minutes else "0 min"
