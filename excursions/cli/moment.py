"""A moment as a tired person types it: ``2026-06-26 14:05``, ``26 Jun 14:05``, ``Tuesday 14:05``, or just ``14:05``."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from excursions import clock
from excursions.errors import UsageError

CLOCKS = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p", "%I %p")
DAYS = ("%d %b %Y", "%d %B %Y", "%d.%m.%Y", "%b %d %Y", "%B %d %Y")
YEARLESS = ("%d %b", "%d %B", "%d.%m.", "%b %d", "%B %d")
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
SLASHED = ("%d/%m/%Y", "%m/%d/%Y")  # some write the day first, some the month: the record may tell


def moment(text: str, tz: ZoneInfo, last: int, first: int | None = None) -> int:
    """The instant [ns UTC] that a person means.

    Parameters
    ----------
    text : str
        With a zone or an offset it is taken as it stands; else it is the plant's wall clock.  Without a year,
        without a day, or with a day of the week, it is the newest such moment that is not after the end of the record.
    tz : ZoneInfo
    last : int
        End of the record [ns].
    first : int or None
        Start of it: a date that can be read in two ways is the one that lies in the record.

    Raises
    ------
    UsageError
        If no moment can be read from it, or the wall clock showed it twice or never.
    """
    asked = text.strip()
    begun = clock.to_datetime(first, tz).replace(tzinfo=None) if first is not None else datetime.min
    read = _iso(asked) or _written(asked, clock.to_datetime(last, tz), begun)
    if read is None:
        raise UsageError(
            found=f'"{text}" as a moment',
            expected='a date and time such as "2026-06-26 14:05", "26 Jun 14:05", "26 Jun", "Tuesday 14:05" or "14:05"',
            mend="write it so, in quotation marks; add an offset such as +02:00 where it is not the plant's clock",
        )
    return clock.to_ns(read if read.tzinfo else _local(read, tz, text))


def until(text: str, tz: ZoneInfo, last: int, first: int | None = None) -> int:
    """The end [ns UTC] of a range that goes up to `text`: of a day alone, the end of that day; see :func:`moment`."""
    instant = moment(text, tz, last, first)
    if ":" in text or clock.to_datetime(instant, tz).time() != datetime.min.time():
        return instant
    return clock.to_ns(
        clock.to_datetime(instant, tz) + timedelta(days=1)
    )  # on the wall: days are 23 to 25 hours long


def _written(text: str, last: datetime, begun: datetime) -> datetime | None:
    """Forms people write; the newest one up to `last` where year or day are left out."""
    plain = " ".join(text.replace(",", " ").split())
    found = _first(plain, DAYS) or _slashed(plain, begun, last.replace(tzinfo=None))
    if found:
        return found
    naive = last.replace(tzinfo=None)
    # A leap year, so that 29 Feb can be read at all.
    found = _first(f"2024 {plain}", [f"%Y {day}" for day in YEARLESS])
    if found:
        return _newest(found, naive)
    weekday, clock_text = _weekday(plain)
    found = next(filter(None, (_try(clock_text, clock_form) for clock_form in CLOCKS)), None)
    if weekday is not None and not clock_text:
        found = datetime.min
    if found is None:
        return None
    back = 0 if weekday is None else (naive.weekday() - weekday) % len(WEEKDAYS)
    newest = datetime.combine(naive.date() - timedelta(days=back), found.time())
    every = timedelta(days=1 if weekday is None else len(WEEKDAYS))
    return newest if newest <= naive else newest - every


def _weekday(text: str) -> tuple[int | None, str]:
    """The day of the week (0 is Monday) that a text begins with, whole or by its first three letters, and what follows it."""
    word, _, rest = (text[5:] if text.casefold().startswith("last ") else text).partition(" ")
    name = word.casefold()
    known = (number for number, day in enumerate(WEEKDAYS) if name in (day, day[:3]))
    number = next(known, None)
    return (None, text) if number is None else (number, rest)


def names_weekday(text: str) -> bool:
    """Whether a moment is written with a day of the week, so that which one is meant is to be said."""
    return _weekday(" ".join(text.replace(",", " ").split()))[0] is not None


def _slashed(text: str, begun: datetime, last: datetime) -> datetime | None:
    """A date with strokes, read both ways: the one way it can be read, else the one that lies in the record.

    Where neither does, the one that is not after it: people ask about what was, and a day beside it may be meant.
    """
    ways = {found for form in SLASHED if (found := _first(text, [form]))}
    past = {way for way in ways if way <= last + timedelta(days=1)}
    inside = {way for way in past if way.date() >= begun.date()}
    left = inside or past or ways
    if len(left) > 1:
        early, late = (f"{way:%d %b %Y}" for way in sorted(left))
        raise UsageError(
            found=f'"{text}", which is {early} or {late}',
            expected="a date that can be read in one way",
            mend=f'write the month as a word, for example "{late}"',
        )
    return next(iter(left), None)


def _first(text: str, days: Sequence[str]) -> datetime | None:
    """A text by the first of some forms of a day, alone or with a time behind it, that fits it."""
    forms = (form for day in days for form in (day, *(f"{day} {clock_form}" for clock_form in CLOCKS)))
    return next(filter(None, (_try(text, form) for form in forms)), None)


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
