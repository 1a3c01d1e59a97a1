"""Days that lean on a month or a week named above the table: "March 2025" over days of the month, "week 12/2025" over weekdays.

Written out with whole dates, the table is one of hours and days, and is read as those are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from itertools import pairwise

from excursions.read.exports.cells.refusals import is_total
from excursions.read.exports.cells.table import Row
from excursions.read.exports.times.timeshapes import MONTHS, clock_shape_of
from excursions.read.exports.upright.hours import clocks_across
from excursions.read.text.fold import plain

# Monday to Sunday; two letters and more.
_WEEKDAYS: dict[str, int] = {
    name: number
    for number, names in enumerate(
        (
            "mo mon monday montag lundi lun lunes lunedi segunda segunda-feira maandag ma mandag mandag pondeli poniedzialek pon maanantai 月 月曜 月曜日 周一 星期一",
            "di tue tues tuesday dienstag mardi mar martes martedi terca terca-feira dinsdag tirsdag tisdag wtorek uterý tiistai 火 火曜 火曜日 周二 星期二",
            "mi wed wednesday mittwoch mercredi mer miercoles mercoledi quarta quarta-feira woensdag wo onsdag sroda streda keskiviikko 水 水曜 水曜日 周三 星期三",
            "do thu thur thurs thursday donnerstag jeudi jeu jueves giovedi quinta quinta-feira donderdag torsdag czwartek ctvrtek torstai 木 木曜 木曜日 周四 星期四",
            "fr fri friday freitag vendredi ven viernes venerdi sexta sexta-feira vrijdag vr fredag piatek patek perjantai 金 金曜 金曜日 周五 星期五",
            "sa sat saturday samstag sonnabend samedi sam sabado sabato zaterdag za lordag lordag sobota lauantai 土 土曜 土曜日 周六 星期六",
            "so sun sunday sonntag dimanche dim domingo domenica zondag zo sondag niedziela nedele sunnuntai 日 日曜 日曜日 周日 星期日 星期天",
        )
    )
    for name in (plain(word).casefold() for word in names.split())
}
_WEEK = re.compile(r"(?:calendar week|week|kalenderwoche|woche|kw|cw|wk|semaine|sem|semana|settimana|uke|vecka|uge|tydzien|tyden|viikko)\W*(\d{1,2})\s*(?:[/\-,. ]|of|von|de|du)+\s*(\d{4})")  # fmt: skip
_YEAR_WEEK = re.compile(r"(\d{4})\W*(?:w|kw|cw|week|woche|semaine|semana)\W*(\d{1,2})(?!\d)")
_MONTH_NAME = re.compile(r"([^\W\d]{3,12})\.?\s*(?:de |del )?(\d{4})(?!\d)")
_MONTH_NUMBER = re.compile(r"(?<![\d./-])(?:(\d{1,2})[./-](\d{4})|(\d{4})[./-](\d{1,2}))(?![\d./-])")
_DAY = re.compile(r"(\d{1,2})\.?")
_FEWEST, _DAY_HOURS = 3, 24
_HEAD_ROWS, _BODY_ROWS = 20, 400

Dated = Callable[[str], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Where a table has days and times of day: the place of its header, the days, and the texts above them.

    across : whether the days stand in the header, else before the rows
    """

    at: int
    days: tuple[str, ...]
    above: tuple[str, ...]
    across: bool

    @property
    def by_week(self) -> bool:
        """Whether all days are weekdays."""
        return all(_weekday(day) is not None for day in self.days)

    @property
    def by_month(self) -> bool:
        """Whether the days are numbers that follow one another."""
        return all(_DAY.fullmatch(day) for day in self.days) and _rising(
            [int(day.rstrip(".")) for day in self.days]
        )


def days_of(rows: Sequence[Row]) -> Days | None:
    """Weekdays or days of a month beside times of day; None where there are none."""
    for at, row in enumerate(rows[:_HEAD_ROWS]):
        cells = [cell.strip() for cell in row.cells]
        head = [cell for cell in cells[1:] if cell]
        if len(head) < 2 or at + 1 == len(rows):
            continue
        body = (each for each in rows[at + 1 : at + 1 + _BODY_ROWS] if not is_total(each.cells))
        below = [cell for each in body if (cell := each.cells[0].strip())]
        above = (*(cell for each in rows[:at] for cell in each.cells), *cells[:1])
        clocks = sum(clock_shape_of(cell) is not None for cell in head)
        found = None
        hours = len(clocks_across(cells)[1]) == _DAY_HOURS and not clock_shape_of(below[0] if below else "")
        if (clocks == len(head) or hours) and len(below) >= 2:
            found = Days(at=at, days=tuple(below), above=above, across=False)
        elif not clocks and below and all(clock_shape_of(cell) for cell in below):
            found = Days(at=at, days=tuple(head), above=above, across=True)
        if found is not None:
            return found if found.by_week or found.by_month else None
    return None


def dated(found: Days) -> tuple[Dated, str] | None:
    """What makes whole dates of these days, and what was said; None where no week or month is named above them."""
    said = [plain(text).casefold() for text in found.above if text.strip()]
    where = "columns" if found.across else "rows"
    if found.by_week:
        monday = next((day for text in said if (day := _monday(text))), None)
        if monday is None:
            return None
        return partial(
            _of_week, monday=monday
        ), f"the weekdays of the {where} are those of the week from {monday}"
    month = next((named for text in said if (named := _month(text))), None)
    if month is None:
        return None
    return partial(
        _of_month, month=month
    ), f"the numbers of the {where} are days of {month[0]}-{month[1]:02d}"


def _rising(numbers: Sequence[int]) -> bool:
    return len(numbers) >= _FEWEST and all(b == a + 1 for a, b in pairwise(numbers))


def _weekday(text: str) -> int | None:
    return _WEEKDAYS.get(plain(text).casefold().rstrip("."))


def _monday(text: str) -> date | None:
    """The Monday of the week that a text names (ISO 8601)."""
    match, other = _WEEK.search(text), _YEAR_WEEK.search(text)
    year, week = (
        (int(match[2]), int(match[1])) if match else (int(other[1]), int(other[2])) if other else (0, 0)
    )
    try:
        return date.fromisocalendar(year, week, 1) if week else None
    except ValueError:
        return None


def _month(text: str) -> tuple[int, int] | None:
    """Year and month that a text names."""
    for match in _MONTH_NAME.finditer(text):
        if match[1] in MONTHS:
            return int(match[2]), MONTHS[match[1]]
    number = _MONTH_NUMBER.search(text)
    if number is None:
        return None
    year, month = (int(number[2]), int(number[1])) if number[2] else (int(number[3]), int(number[4]))
    return (year, month) if 1 <= month <= 12 and 1900 <= year < 2200 else None


def _of_week(day: str, monday: date) -> str:
    number = _weekday(day.strip())
    return day if number is None else (monday + timedelta(days=number)).isoformat()


def _of_month(day: str, month: tuple[int, int]) -> str:
    match = _DAY.fullmatch(day.strip())
    return f"{month[0]}-{month[1]:02d}-{int(match[1]):02d}" if match else day
