"""A moment as a tired person types it: ``2026-06-26 14:05``, ``26 Jun 14:05``, or just ``14:05``."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.errors import UsageError

YEARLESS = ("%d %b %H:%M", "%d %B %H:%M", "%d.%m. %H:%M", "%d %b", "%d %B", "%d.%m.")
WHOLE = (
    "%d %b %Y %H:%M",
    "%d %b %Y, %H:%M",
    "%d %B %Y %H:%M",
    "%d.%m.%Y %H:%M",
    "%d.%m.%Y %H:%M:%S",
    "%d %b %Y",
    "%d %B %Y",
    "%d.%m.%Y",
)


def moment(text: str, tz: ZoneInfo, last: int) -> int:
    """The instant [ns UTC] that a person means.

    Parameters
    ----------
    text : str
        With a zone or an offset it is taken as it stands; else it is the plant's wall clock.  Without a year,
        or without a day, it is the newest such moment that is not after the end of the record.
    tz : ZoneInfo
    last : int
        End of the record [ns].

    Raises
    ------
    UsageError
        If no moment can be read from it, or the wall clock showed it twice or never.
    """
    asked = text.strip()
    read = _iso(asked) or _written(asked, clock.to_datetime(last, tz))
    if read is None:
        raise UsageError(
            found=f'"{text}" as a moment',
            expected='a date and time such as "2026-06-26 14:05", "26 Jun 14:05", "26 Jun" or "14:05"',
            mend="write it so, in quotation marks; add an offset such as +02:00 where it is not the plant's clock",
        )
    return clock.to_ns(read if read.tzinfo else _local(read, tz, text))


def until(text: str, tz: ZoneInfo, last: int) -> int:
    """The end [ns UTC] of a range that goes up to `text`: of a day alone, the end of that day; see :func:`moment`."""
    instant = moment(text, tz, last)
    if ":" in text or clock.to_datetime(instant, tz).time() != datetime.min.time():
        return instant
    return clock.to_ns(
        clock.to_datetime(instant, tz) + timedelta(days=1)
    )  # on the wall: days are 23 to 25 hours long


def _written(text: str, last: datetime) -> datetime | None:
    """Forms people write; the newest one up to `last` where year or day are left out."""
    for form in WHOLE:
        found = _try(text, form)
        if found:
            return found
    naive = last.replace(tzinfo=None)
    for form in YEARLESS:
        # A leap year, so that 29 Feb can be read at all.
        found = _try(f"2024 {text}", f"%Y {form}")
        if found:
            return _newest(found, naive)
    found = _try(text, "%H:%M")
    if found:
        today = naive.replace(hour=found.hour, minute=found.minute, second=0, microsecond=0)
        return today if today <= naive else today - timedelta(days=1)
    return None


def _newest(found: datetime, last: datetime) -> datetime | None:
    for year in range(last.year, last.year - 9, -1):
        try:
            candidate = found.replace(year=year)
        except ValueError:  # 29 Feb of a common year
            continue
        if candidate <= last:
            return candidate
    return None


def _iso(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _try(text: str, form: str) -> datetime | None:
    try:
        return datetime.strptime(text, form)
    except ValueError:
        return None


def _local(read: datetime, tz: ZoneInfo, text: str) -> datetime:
    early, late = read.replace(tzinfo=tz, fold=0), read.replace(tzinfo=tz, fold=1)
    if early.astimezone(UTC).astimezone(tz).replace(tzinfo=None) != read:
        what = "which the clock never showed (it was put forward)"
    elif early.utcoffset() != late.utcoffset():
        what = "which the clock showed twice (it was put back)"
    else:
        return early
    raise UsageError(
        found=f'"{text}" in {tz.key}, {what}',
        expected="a moment that happened once",
        mend=f"add the offset, for example {read.isoformat()}{early.strftime('%z')[:3]}:00",
    )
