"""In which zone wall times are: as an option says, as the file says, else UTC and said so."""

from __future__ import annotations

import re
from collections.abc import Mapping

from excursions.clock import zone
from excursions.errors import InputFileError, UsageError
from excursions.read.exports.cells.sheet import Sheet
from excursions.read.exports.layouts.plan import Planning
from excursions.read.exports.times.numbertimes import WALL_KINDS
from excursions.read.exports.times.timeplan import TimePlan
from excursions.read.exports.times.timeshapes import shape_of, zone_offset

TAKEN_AS_UTC = "times without a zone are taken as UTC"

_ZONE_KEY = re.compile(r"time ?zone|zeitzone|\btz\b|zona horaria|fuseau|utc offset|timezone")
_MOST_HOURS = 14  # from UTC: no zone of the Etc area (IANA time zone data base) is further
_ZONE_NAME = re.compile(
    r"\b(?:Africa|America|Antarctica|Arctic|Asia|Atlantic|Australia|Europe|Indian|Pacific|Etc)/[A-Za-z_/+\-0-9]+"
)


# "Time (UTC)", "time_utc", "UTCTime", "DateTimeUtc"
_UTC_WORD = re.compile(
    r"(?<![A-Za-z0-9])(?i:utc|gmt|zulu)(?![A-Za-z0-9])(?!\s*[+-])|(?<![A-Za-z0-9])UTC(?=[A-Z][a-z])|(?<=[a-z])U[Tt][Cc](?![A-Za-z0-9])(?!\s*[+-])"
)


def decide_zone(planning: Planning, times: Mapping[tuple[int, ...], TimePlan], stated: str) -> str:
    """The zone of wall times; `stated` is what :func:`stated_zone` finds in the file."""
    sheet, options = planning.sheet, planning.options
    naive = _naive(sheet, times)
    if options.tz:
        zone(options.tz)
        if stated not in ("", options.tz):
            said = f"times are read in {options.tz} and not in {stated}, which the file states"
            planning.say(said, why="--tz says so", option="leave --tz out")
        return options.tz
    if not naive:
        return "UTC"
    if stated:
        planning.say(f"times are in {stated}", why="the file says so", option="--tz")
        return stated
    if options.plant_zone:
        zone(options.plant_zone)
        return options.plant_zone
    _refuse_unnamed_offset(sheet, naive)
    planning.say(TAKEN_AS_UTC, why="neither the file nor an option names their zone", option="--tz")
    return "UTC"


def _naive(sheet: Sheet, times: Mapping[tuple[int, ...], TimePlan]) -> list[tuple[int, ...]]:
    return [columns for columns, plan in times.items() if _has_wall_times(sheet, columns, plan)]


def stated_zone(sheet: Sheet, times: Mapping[tuple[int, ...], TimePlan]) -> str:
    """The zone that the file states of times without one, or empty."""
    naive = _naive(sheet, times)
    return _stated_zone(sheet, naive) if naive else ""


def _refuse_unnamed_offset(sheet: Sheet, naive: list[tuple[int, ...]]) -> None:
    """A zone that the file states and nobody can name: an offset that none keeps all year, a word for several."""
    headers = [sheet.columns[index].header for columns in naive for index in columns]
    if word := next((match[1] for text in headers if (match := _SEVERAL.search(text))), ""):
        raise InputFileError(
            found=f'times in "{word}", which is the name of several zones', expected="a zone that is one only",
            mend="pass the zone of the place, for example --tz America/Chicago or --tz Asia/Shanghai", line=sheet.header_line or None,
        )  # fmt: skip
    for text in (*headers, *(text for key, text in sheet.preamble.items() if _ZONE_KEY.search(key))):
        if (match := _OFFSET.search(text)) and _minutes(match) and not zone_in(text, named=False):
            raise InputFileError(
                found=f'times at "{match[0]}"', expected="an offset of whole hours, or the zone by its name",
                mend="pass the zone of the place, for example --tz America/St_Johns", line=sheet.header_line or None,
            )  # fmt: skip


def _has_wall_times(sheet: Sheet, columns: tuple[int, ...], plan: TimePlan) -> bool:
    if plan.kind in WALL_KINDS:
        return True
    if plan.kind != "text":
        return False
    if "zone" in plan.parts:
        return not all(sheet.columns[columns[-1]].cells)
    shapes = [shape_of(cell) for cell in sheet.columns[columns[0]].cells]
    return any(shape is not None and not shape.zoned for shape in shapes)


def _stated_zone(sheet: Sheet, naive: list[tuple[int, ...]]) -> str:
    """A zone in the header of the time, or in the lines above the table."""
    for columns in naive:
        for index in columns:
            found = zone_in(sheet.columns[index].header, named=True)
            if found:
                return found
    for key, text in sheet.preamble.items():
        found = (zone_in(text, named=True) or _offset_alone(key, text)) if _ZONE_KEY.search(key) else ""
        if found:
            return found
    for line in sheet.preamble_lines:
        if re.search(r"(?i)\btimes?\b|zeit|zone", line) and (found := zone_in(line, named=False)):
            return found
    return ""


def zone_in(text: str, *, named: bool) -> str:
    """The zone a text states, as an IANA name; empty when it states none.

    named : the text is known to be about zones, so that offsets and abbreviations count too
    """
    if match := _ZONE_NAME.search(text):
        try:
            zone(match[0])
        except UsageError:
            return ""
        return match[0]
    match = _OFFSET.search(text) or (_BARE_OFFSET.search(text) if named else None)
    if match:
        return _fixed(match[1], int(match[2]), _minutes(match))
    if _UTC_WORD.search(text):
        return "UTC"
    for word in re.findall(r"\b[A-Z]{2,5}\b", text) if named else ():
        offset = zone_offset(word)
        if offset:
            return _fixed(offset[0], int(offset[1:3]), int(offset[4:6]))
    return ""


# American and Chinese, Indian, Irish and Israeli, British and Bangladeshi, Atlantic and Arabian (IANA time zone data base)
_SEVERAL = re.compile(r"[\[(,/ ](CST|IST|BST|AST)[\])]?\s*$")
# "UTC +5:30", "GMT+0530", "UTC +5.5", "UTC+5,75"; and "+05:30" alone
_OFFSET = re.compile(r"(?i)\b(?:utc|gmt)\s*([+-])\s*(\d{1,2})(?::?(\d{2})|[.,](\d{1,2}))?(?![.,]?\d)")
_BARE_OFFSET = re.compile(r"(?<![\d:])([+-])(\d{2}):?(\d{2})()\b")


def _minutes(match: re.Match[str]) -> int:
    """Minutes behind the hours: written out, or as a part of an hour; "5.30" is half past, for no offset is 5.3 hours."""
    if part := match[4]:
        return int(part) if part in ("00", "15", "30", "45") else round(0.6 * int(part.ljust(2, "0")))
    return int(match[3] or 0)


def _offset_alone(key: str, text: str) -> str:
    """The zone of a number beside "UTC offset": hours, or minutes where it says so or is more than any offset has hours."""
    match = re.fullmatch(r"\s*([+-]?)\s*(\d{1,3})\s*(min|h)?\w*\s*", text)
    if not match or "offset" not in key:
        return ""
    count = int(match[2])
    in_minutes = match[3] == "min" or "min" in key or count > _MOST_HOURS
    hours, minutes = divmod(count, 60) if in_minutes else (count, 0)
    return _fixed(match[1] or "+", hours, minutes)


# Zones of no whole hours that have kept their offset since 1990 or longer (IANA time zone data base); the Etc area has none.
_PARTS_OF_HOURS = {
    "+4:30": "Asia/Kabul", "+5:30": "Asia/Kolkata", "+5:45": "Asia/Kathmandu", "+6:30": "Asia/Yangon",
    "+9:30": "Australia/Darwin", "-9:30": "Pacific/Marquesas",
}  # fmt: skip


def _fixed(sign: str, hours: int, minutes: int) -> str:
    """A zone of fixed offset; the names of the Etc area have the opposite sign (IANA time zone data base, `etcetera`)."""
    if minutes:
        return _PARTS_OF_HOURS.get(f"{sign}{hours}:{minutes:02d}", "")
    if hours > _MOST_HOURS:
        return ""
    return "UTC" if not hours else f"Etc/GMT{'-' if sign == '+' else '+'}{hours}"
