"""Written dates and times of small tables to instants, the order of day and month decided from the whole column."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

from excursions.clock import to_datetime, to_ns, zone
from excursions.errors import InputFileError
from excursions.read.model import Beside, ReadOptions
from excursions.read.text.fold import plain
from excursions.records import Decision

NOON = 12  # an entry that only names its day is put at noon: half a day is then the largest error

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janner janvier janv enero ene janeiro",
            "feb february februar fevrier fevr fev febrero fevereiro",
            "mar march marz maerz mrz mars marzo marco",
            "apr april avril avr abril abr",
            "may mai mayo maio",
            "jun june juni juin junio junho",
            "jul july juli juillet juil julio julho",
            "aug august aout agosto ago",
            "sep sept september septembre septiembre setembro set",
            "oct october oktober okt octobre octubre outubro out",
            "nov november novembre noviembre novembro",
            "dec december dezember dez decembre diciembre dic dezembro",
        ),
        start=1,
    )
    for name in names.split()
}
_DATE = re.compile(r"(\d{1,4})\s*([./\-])\s*(\d{1,2})\s*[./\-]\s*(\d{1,4})")
_WORDS = re.compile(r"(\d{1,2})\.?[\s\-./]*(?:de\s+)?([a-z]{3,12})\.?,?[\s\-./]*(?:de\s+)?(\d{2,4})\b")
_WORDS_US = re.compile(r"\b([a-z]{3,12})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})\b")
_TIME = re.compile(
    r"(?<![\d:])(\d{1,2})\s*[:h]\s*(\d{2})(?:\s*:\s*(\d{2})(?:[.,](\d{1,9}))?)?\s*([ap])?\.?\s?m?\.?"
)
# Behind a date: "28.10.2025 09.45".
_DOTTED_CLOCK = re.compile(r"[\s,]+(?:[01]?\d|2[0-4])\.[0-5]\d(?:\.[0-5]\d)?(?:\s*uhr)?")
_OFFSET = re.compile(r"(z|[+-]\d{2}:?\d{2}|\butc\b|\bgmt\b)\s*$")
_NUMBER = re.compile(r"\d{4,19}(?:[.,]\d+)?")


def is_month(text: str) -> bool:
    """The name of a month, by itself or with a year."""
    return re.sub(r"[\W\d]+", " ", plain(text).casefold()).strip() in _MONTHS


# A time of day by itself.
CLOCK = r"(?:[01]?\d|2[0-4])[:.h][0-5]\d(?::[0-5]\d)?(?: ?[aApP]\.?[mM]\.?| ?(?:Uhr|h))?"


@dataclass(frozen=True, slots=True)
class _Parts:
    """A written moment taken apart: three numbers in written order, seconds of the day, offset."""

    numbers: tuple[int, int, int] | None = None
    dotted: bool = False
    fixed: datetime | None = None
    seconds: float | None = None
    offset: timezone | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Instants of a column (None where none could be read), the decisions taken, and a fault of the whole column.

    day_only: texts that named a day without a time.  marks: by row, a remark on a time that the clock showed twice
    or never.
    """

    time: tuple[int | None, ...]
    decisions: tuple[Decision, ...] = ()
    problem: InputFileError | None = None
    day_only: int = 0
    notes: tuple[str, ...] = field(default=())
    marks: Mapping[int, str] = field(default_factory=dict)


def read_moments(
    texts: Sequence[str], options: ReadOptions, *, file: str, column: str = "", comma: bool = False
) -> Moments:
    """Turn a column of written dates into nanoseconds UTC.

    Parameters
    ----------
    texts : sequence of str
        ISO 8601, day-first or month-first with any separator, names of months (English, German, French,
        Spanish, Portuguese), AM and PM, spreadsheet day numbers, epoch seconds to nanoseconds.
    file, column : str
        What decisions and faults speak of.
    comma : bool
        Whether the table writes a decimal comma, which speaks for day-first dates.
    """
    subject = f"{file}, {column}" if column else file
    parts = [_take_apart(text) for text in texts]
    order, why, problem = _order(parts, options, comma=comma)
    tz = zone(options.tz or options.plant_zone or "UTC")
    local = [_local(part, order) for part in parts]
    time, marks = _instants(local, parts, tz)
    dated = [part for part, moment in zip(parts, local, strict=True) if moment is not None]
    decisions = (
        [Decision(subject=subject, what=f"dates are {order}", why=why, option="--date-order")] if why else []
    )
    decisions += _zone_decisions(dated, options, subject)
    day_only = sum(part.seconds is None and part.fixed is None for part in dated)
    if day_only:
        decisions.append(
            Decision(
                subject=subject,
                what=f"{day_only} of {len(dated)} dates stand at noon",
                why="they name a day and no time",
                option="write the time of day into the log",
            )
        )
    decisions += _mark_decisions(marks, subject, tz)
    problem = replace(problem, file=file, column=column) if problem else None
    return Moments(time=time, decisions=tuple(decisions), problem=problem, day_only=day_only, marks=marks)


_SECOND = "the clock showed this time twice; taken as the second pass, by the order of the rows"
_FIRST = "the clock showed this time twice; taken as the first pass"
_NEVER = "the clock never showed this time; taken an hour later"


def _instants(
    local: Sequence[datetime | None], parts: Sequence[_Parts], tz: ZoneInfo
) -> tuple[tuple[int | None, ...], dict[int, str]]:
    """Instants of wall times, and a mark where the zone's clock showed one twice or never.

    Of two times in the same doubled hour the one that goes back in a list that otherwise goes on is the second pass.
    """
    found: list[int | None] = []
    marks: dict[int, str] = {}
    before: datetime | None = None
    begun: date | None = None
    forward = _goes_on(local)
    for at, (moment, part) in enumerate(zip(local, parts, strict=True)):
        if moment is None or moment.tzinfo is not None or part.offset or part.seconds is None:
            found.append(_instant(moment, part, tz) if moment is not None else None)
            continue
        early, late = moment.replace(tzinfo=tz, fold=0), moment.replace(tzinfo=tz, fold=1)
        chosen = early
        if early.utcoffset() != late.utcoffset():
            gone = early.astimezone(UTC).astimezone(tz).replace(tzinfo=None) != moment
            passed = moment.date() == begun or (
                before is not None and before.date() == moment.date() and moment < before
            )
            back = forward and passed
            chosen = late if back and not gone else early
            marks[at] = _NEVER if gone else _SECOND if back else _FIRST
        found.append(to_ns(chosen))
        begun = moment.date() if marks.get(at) == _SECOND else begun
        before = moment
    return tuple(found), marks


def _goes_on(local: Sequence[datetime | None]) -> bool:
    """Whether most steps of a list lead forward."""
    plain = [moment.replace(tzinfo=None) for moment in local if moment is not None]
    ahead = sum(later >= earlier for earlier, later in pairwise(plain))
    return 2 * ahead >= len(plain) - 1


def _mark_decisions(marks: Mapping[int, str], subject: str, tz: ZoneInfo) -> list[Decision]:
    return [
        Decision(
            subject=subject,
            what=f"{sum(said == mark for said in marks.values())} entries are marked: {mark}",
            why=f"times carry no offset, and {tz.key} changes its clock there",
            option="write the offset behind the time, for example +01:00",
        )
        for mark in (_FIRST, _SECOND, _NEVER)
        if mark in marks.values()
    ]


def _zone_decisions(dated: Sequence[_Parts], options: ReadOptions, subject: str) -> list[Decision]:
    if options.tz or options.plant_zone or all(part.offset for part in dated):
        return []
    why = "the times carry no zone and none is stated"
    return [
        Decision(
            subject=subject, what="times are read as UTC", why=why, option="--tz, or zone in the register"
        )
    ]


def _take_apart(text: str) -> _Parts:
    said = plain(text).strip().casefold()
    if not said:
        return _Parts()
    if _NUMBER.fullmatch(said):
        return _from_number(said)
    date = _date_in(said)
    if date is None:
        return _Parts()
    numbers, dotted, end = date
    rest = said[end:]
    if _DOTTED_CLOCK.fullmatch(rest):
        rest = rest.replace(".", ":")
    seconds = _seconds_in(rest)
    try:
        offset = _offset_in(rest)
    except ValueError:
        return _Parts()  # no clock is a day and more ahead: what stands there is no time
    if seconds == 0.0 and re.fullmatch(r"[\st]*00:00(:00)?(\.0*)?", rest):
        seconds = None  # spreadsheets write midnight behind every plain date
    return _Parts(numbers=numbers, dotted=dotted, seconds=seconds, offset=offset)


def _date_in(said: str) -> tuple[tuple[int, int, int], bool, int] | None:
    if match := _DATE.search(said):
        return (int(match[1]), int(match[3]), int(match[4])), match[2] == ".", match.end()
    for pattern, day, month in ((_WORDS, 1, 2), (_WORDS_US, 2, 1)):
        if (match := pattern.search(said)) and match[month] in _MONTHS:
            year = _full_year(int(match[3]))
            return (year, _MONTHS[match[month]], int(match[day])), False, match.end()
    if match := re.match(r"(\d{4})(\d{2})(\d{2})(?=\D|$)", said):
        return (int(match[1]), int(match[2]), int(match[3])), False, match.end()
    return None


def _seconds_in(rest: str) -> float | None:
    match = _TIME.search(rest)
    if not match:
        return None
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[5]:
        hour = hour % 12 + (12 if match[5] == "p" else 0)
    if hour > 24 or minute > 59 or second > 60:
        return None
    return hour * 3600 + minute * 60 + second + float(f"0.{match[4]}" if match[4] else 0)


def _offset_in(rest: str) -> timezone | None:
    match = _OFFSET.search(rest)
    if not match or not _TIME.search(rest):
        return None
    if match[1] in ("z", "utc", "gmt"):
        return UTC
    digits = match[1].replace(":", "")
    shift = timedelta(hours=int(digits[1:3]), minutes=int(digits[3:5]))
    return timezone(-shift if digits[0] == "-" else shift)


def _from_number(said: str) -> _Parts:
    """Spreadsheet day number, epoch in s, ms, us or ns, or YYYYMMDD."""
    if re.fullmatch(r"(19|20)\d{6}", said):
        return _Parts(numbers=(int(said[:4]), int(said[4:6]), int(said[6:])))
    number = float(said.replace(",", "."))
    if 20_000 <= number < 80_000:
        day = datetime(1899, 12, 30) + timedelta(days=int(number))
        share = number - int(number)
        return _Parts(
            numbers=(day.year, day.month, day.day), seconds=round(share * 86_400, 3) if share else None
        )
    for unit in (1.0, 1e3, 1e6, 1e9):
        if 3e8 <= number / unit < 5e9:
            moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=number / unit)
            return _Parts(fixed=moment, offset=UTC)
    return _Parts()


def _order(
    parts: Sequence[_Parts], options: ReadOptions, *, comma: bool
) -> tuple[str, str, InputFileError | None]:
    """Order of the numbers, the reason (empty when nothing had to be decided), and the fault if it cannot be told."""
    open_ = [part.numbers for part in parts if part.numbers and part.numbers[0] < 32]
    if options.date_order:
        return options.date_order, "", None
    if not open_:
        return "year-first", "", None
    first, second = max(n[0] for n in open_), max(n[1] for n in open_)
    if first > 12 >= second:
        return "day-first", f"a first number of {first} is no month", None
    if second > 12 >= first:
        return "month-first", f"a second number of {second} is no month", None
    if first > 12 and second > 12:
        return "day-first", "", None  # both occur: what does not fit is refused row by row
    if any(part.dotted for part in parts if part.numbers and part.numbers[0] < 32):
        return "day-first", "dates with dots are written day first", None
    if order := _rising_order(open_):
        return order, "only so do the dates follow one another", None
    if comma:
        return "day-first", "numbers have a decimal comma, and who writes one writes the day first", None
    if all(n[0] == n[1] for n in open_):
        return "day-first", "", None
    order, why = _order_by_exports(open_, options.beside)
    if order:
        return order, why, None
    return (
        "",
        "",
        InputFileError(
            found="dates that can be read day-first and month-first",
            expected="at least one day after the 12th",
            mend="say which with --date-order day-first or --date-order month-first",
        ),
    )


AFTER_RECORD = timedelta(days=31)  # a log may go on for a while after the export was made (cp)


def _order_by_exports(numbers: Sequence[tuple[int, int, int]], beside: Beside) -> tuple[str, str]:
    """The order that the exports of the same run settle, and why: by the end of their record, else by their own dates."""
    if beside.until is not None:
        end = (to_datetime(beside.until) + AFTER_RECORD).date()
        latest = (end.year, end.month, end.day)
        fits = [
            name
            for name, dates in (
                ("day-first", [(_full_year(c), b, a) for a, b, c in numbers]),
                ("month-first", [(_full_year(c), a, b) for a, b, c in numbers]),
            )
            if max(dates) <= latest
        ]
        if len(fits) == 1:
            return fits[0], "only so do they lie before the end of the exported record"
    told = [order for order in beside.orders if order != "year-first"]
    if len(told) == 1:
        return told[0], "the exports beside it are written so"
    return "", ""


def _rising_order(numbers: Sequence[tuple[int, int, int]]) -> str:
    """The order in which at least four different dates rise or fall steadily, when the other order does not."""
    day_first = [(_full_year(c), b, a) for a, b, c in numbers]
    month_first = [(_full_year(c), a, b) for a, b, c in numbers]
    if len(set(day_first)) < 4:
        return ""
    steady = [dates in (sorted(dates), sorted(dates, reverse=True)) for dates in (day_first, month_first)]
    return {(True, False): "day-first", (False, True): "month-first"}.get((steady[0], steady[1]), "")


def _full_year(year: int) -> int:
    if year >= 100:
        return year
    return 2000 + year if year < 70 else 1900 + year


def _local(part: _Parts, order: str) -> datetime | None:
    if part.fixed is not None:
        return part.fixed
    if part.numbers is None:
        return None
    a, b, c = part.numbers
    if a < 32 and not order:
        return None
    if a >= 32:
        year, month, day = a, b, c
    else:
        year, month, day = (c, a, b) if order == "month-first" else (c, b, a)
        if order == "year-first":
            year, month, day = a, b, c
    try:
        start = datetime(_full_year(year), month, day)
    except ValueError:
        return None
    if start.year < 1970 or start.year > 2200:
        return None
    return start + (timedelta(seconds=part.seconds) if part.seconds is not None else timedelta(hours=NOON))


def _instant(moment: datetime, part: _Parts, tz: ZoneInfo) -> int:
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=part.offset or tz)
    return to_ns(moment)


def time_of_day(text: str) -> str:
    """The time of day in a cell of its own, ready to stand behind a date; empty when there is none."""
    said = plain(text).strip().casefold()
    if match := re.fullmatch(r"(?:1899|1900|1904)-\d\d-\d\d[ t](\d\d:\d\d:\d\d).*", said):
        return match[1]
    if re.fullmatch(r"0?[.,]\d+", said):
        seconds = round(float(said.replace(",", ".")) * 86_400)
        return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    if match := re.fullmatch(r"(\d{1,2})[.](\d{2})(?:\s*uhr)?", said):
        return f"{match[1]}:{match[2]}"
    if match := re.fullmatch(r"(\d{2})(\d{2})", said):
        return f"{match[1]}:{match[2]}"
    return text if _TIME.search(said) else ""
