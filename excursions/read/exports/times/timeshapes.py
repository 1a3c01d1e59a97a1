"""What a written time looks like: its date, its clock, its offset, and how to take them apart.

One text is enough to know its *shape* (order of the parts, marks between them).  A shape knows a fast way
where the common formats allow one (a strptime pattern) and always a general one (a regular expression with
named groups).  Which of two numbers is the day is not a matter of one text; the column decides it.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from excursions.read.text.fold import plain, unwrapped

FIRST_YEAR = 1700  # int64 nanoseconds reach back to 1677; public records of rivers and weather to the 1700s

MONTHS: dict[str, int] = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janner jaen jan. janvier janv enero ene janeiro gennaio gen januari stycznia sty ledna января янв "
            "tammikuuta ocak ianuarie i",
            "feb february februar fevrier fevr fev febrero fevereiro febbraio februari lutego lut unora февраля фев helmikuuta subat "
            "februarie febr ii",
            "mar march marz maerz mrz mars marzo marco maart mrt marca marts brezna марта мар maaliskuuta mart marcius martie marc iii",
            "apr april avril avr abril abr aprile kwietnia kwi dubna апреля апр huhtikuuta nisan aprilis aprilie iv",
            "may mai mayo maio maggio mag mei maj maja kvetna мая май маи toukokuuta mayis majus v",
            "jun june juni juin junio junho giugno giu czerwca cze cervna июня июн kesakuuta haziran junius iunie vi",
            "jul july juli juillet juil julio julho luglio lug lipca lip cervence июля июл heinakuuta temmuz julius iulie vii",
            "aug august aout agosto ago augustus augusti sierpnia sie srpna августа авг elokuuta agustos augusztus viii",
            "sep sept september septembre septiembre setembro set settembre wrzesnia wrz zari сентября сен syyskuuta eylul "
            "szeptember septembrie szept ix",
            "oct october oktober okt octobre octubre outubro out ottobre ott pazdziernika paz rijna октября окт lokakuuta ekim "
            "octombrie x",
            "nov november novembre noviembre novembro listopada listopadu ноября ноя marraskuuta kasim noiembrie xi",
            "dec december dezember dez decembre diciembre dic dezembro dicembre desember des grudnia gru prosince декабря дек "
            "joulukuuta aralik decembrie xii",
        ),
        start=1,
    )
    for name in names.split()
}
# Abbreviations that mean one offset only.  Those that mean several (CST, IST, BST...) are not guessed.
ZONE_WORDS: dict[str, str] = {
    "z": "+00:00", "utc": "+00:00", "gmt": "+00:00", "ut": "+00:00", "wet": "+00:00", "west": "+01:00", "cet": "+01:00",
    "cest": "+02:00", "mez": "+01:00", "mesz": "+02:00", "eet": "+02:00", "eest": "+03:00", "msk": "+03:00",
    "est": "-05:00", "edt": "-04:00", "cdt": "-05:00", "mst": "-07:00", "mdt": "-06:00",
    "pst": "-08:00", "pdt": "-07:00", "akst": "-09:00", "akdt": "-08:00", "hst": "-10:00",
    "jst": "+09:00", "kst": "+09:00", "aest": "+10:00", "aedt": "+11:00", "awst": "+08:00", "acst": "+09:30", "acdt": "+10:30",
    "hkt": "+08:00", "pkt": "+05:00", "wib": "+07:00", "wita": "+08:00", "sast": "+02:00", "nzst": "+12:00", "nzdt": "+13:00",
}  # fmt: skip

# A flag of summer time beside a wall clock: hours ahead of the standard time of its zone, whichever that is.
SUMMER_FLAGS: dict[str, str] = {
    "s": "+01:00", "w": "+00:00", "dst": "+01:00", "std": "+00:00", "1": "+01:00", "0": "+00:00", "true": "+01:00",
    "false": "+00:00",
}  # fmt: skip

_MARK = r"(?P<mark>[-/.]| |\. )"
_DATES = (
    ("ymd", r"(?P<y>\d{4})" + _MARK + r"(?P<m>\d{1,2})(?P=mark)(?P<d>\d{1,2})\.?"),
    ("abc", r"(?P<a>\d{1,2})" + _MARK + r"(?P<b>\d{1,2})(?P=mark)(?P<c>\d{4}|\d{2})\.?"),
    ("ymd", r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"),
    ("dNy", r"(?P<d>\d{1,2})(?:st|nd|rd|th|er|\.)?[-/. ]?\s*(?:de )?(?P<N>[^\W\d]{3,12})\.?,?[-/. ]?\s*(?:de )?(?P<y>\d{4}|\d{2})"),
    ("dNy", r"(?P<d>\d{1,2})[-/. ](?P<N>[IVX]{1,4})[-/. ](?P<y>\d{4})"),
    ("Ndy", r"(?P<N>[^\W\d]{3,12})\.?[-/ ]\s*(?P<d>\d{1,2})(?:st|nd|rd|th)?,?[-/ ]\s*(?P<y>\d{4})"),
    ("yNd", r"(?P<y>\d{4})(?:[-/. ]|\. )(?P<N>[^\W\d]{3,12})\.?[-/. ](?P<d>\d{1,2})\.?"),
    ("yWd", r"(?P<y>\d{4})-?W(?P<w>\d{2})-?(?P<e>[1-7])"),
    ("yj", r"(?P<y>\d{4})[-/.:]?(?P<j>\d{3})"),
)  # fmt: skip
_FRACTION = r"(?:(?P<point>[.,:])(?P<f>\d{1,9}))?"
_HALF = r"\s*(?P<half>[aApP]\.?\s?[mM]\.?)?(?:\s?(?:[Uu]hr|hrs?\.?|hours|uur))?"
_CLOCKS = (
    r"(?P<H>\d{1,2})(?P<colon>[:.])(?P<M>\d{2})(?:(?P=colon)(?P<S>\d{2})" + _FRACTION + ")?" + _HALF,
    r"(?P<H>\d{1,2})\s?h\s?(?P<M>\d{2})(?:\s?(?:m|min)\s?(?P<S>\d{2})s?)?",
    r"(?P<H>\d{1,2})\s?h",
    r"(?P<H>\d{1,2})(?P<half>\s*[aApP]\.?[mM]\.?)",
    r"(?P<H>\d{2})(?P<M>\d{2})(?:(?P<S>\d{2})(?:(?P<point>[.,])(?P<f>\d{1,9}))?)?",
    r"(?P<H>\d{2})-(?P<M>\d{2})-(?P<S>\d{2})",
    r"(?P<H>\d{1,2}):(?P<M>\d{1,2})(?::(?P<S>\d{1,2}))?" + _HALF,
)
_ZONE = r"\s*(?:(?P<zone>[zZ]|(?:UTC|GMT)?[+-]\d{2}(?::?\d{2})?(?::?00)?|(?:UTC|GMT)[+-]\d{1,2}|\(?[A-Za-z]{2,5}\)?|[SWsw])(?:\s?\[(?P<region>[A-Za-z_]+(?:/[A-Za-z_]+)*)\])?)?"
_WEEKDAY = r"(?:[^\W\d]{2,10}\.?,?\s+)?"
# Between a date and a clock; some languages put a word there: "17.3.2025 klo 8.00", "17 mars 2025 à 08:00".
_GAP = r"(?:[Tt,;_]\s?|\s+|:|-|\s-\s|,\s| T |,?\s(?:klo|kl\.?|at|a|a las|as|alle|alle ore|ore|om|um|o|o godz\.?|v|ob)\s)"


def _all_patterns() -> tuple[tuple[str, bool, re.Pattern[str]], ...]:
    found: list[tuple[str, bool, re.Pattern[str]]] = []
    for key, date in _DATES:
        compact = date.startswith(r"(?P<y>\d{4})(")
        for clock in _CLOCKS:
            gap = f"(?:{_GAP})?" if compact and clock is _CLOCKS[4] else _GAP
            found.append((key, True, re.compile(_WEEKDAY + date + gap + clock + _ZONE)))
        if key == "Ndy":  # "Fri Mar 01 08:00:00 2024", as the C library writes it
            month_day = date[: date.index(",?[-/ ]")]
            found.append(
                (
                    key,
                    True,
                    re.compile(_WEEKDAY + month_day + r"\s+" + _CLOCKS[0] + _ZONE + r"\s+(?P<y>\d{4})"),
                )
            )
        if key in ("ymd", "abc") and "mark" in date:
            found.append((key, True, re.compile(_WEEKDAY + date + r"[Tt\s](?P<H>\d{2})" + _ZONE)))
        if key == "yj":  # without a clock it is rather the number of a batch
            continue
        found.append((key, False, re.compile(_WEEKDAY + date)))
        found.append((key, True, re.compile(_CLOCKS[0] + r"[\s,]+" + date + _ZONE)))
    return tuple(found)


_PATTERNS = _all_patterns()
# Alone, "16.45" is a number and no time of day; with a second, or a colon, it is one.
_CLOCK_ONLY = tuple(
    re.compile(clock + _ZONE)
    for clock in (
        _CLOCKS[0].replace("[:.]", ":"),
        r"(?P<H>\d{1,2})(?P<colon>[.])(?P<M>\d{2})(?P=colon)(?P<S>\d{2})" + _HALF,
        *_CLOCKS[1:4],
    )
)
_COULD_BE_TIME = re.compile(r"\d.*[-/.:\shT].*\d|\d{8}|\d{12}|\d{14}", re.S)


# East Asian marks between the parts of a date and a clock, and the halves of the day, as the marks used elsewhere.
_EAST_ASIAN: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), put)
    for pattern, put in (
        (r"(\d)\s?[年년]\s?(\d{1,2})\s?[月월]\s?(\d{1,2})\s?[日号일]\s*", r"\1-\2-\3 "),
        (r"\([日月火水木金土一二三四五六]\)\s*|(?:星期|周|礼拜)[一二三四五六日天]\s*", ""),
        (r"(\d)\s?[時时点]\s?(\d{1,2})\s?分(?:\s?(\d{1,2})\s?秒)?", r"\1:\2:\3"),
        (r"(\d)\s?[時时]", r"\1:00"),
        (r"(?:午前|上午|凌晨|早上|오전)\s*([\d:.]+)", r"\1 AM"),
        (r"(?:午後|下午|晚上|오후)\s*([\d:.]+)", r"\1 PM"),
        (r"(?<!\d)(\d)(?=:\d)", r"0\1"),
        (r":(\d)(?=:|\s|$)", r":0\1"),
        (r":(?=\s|$)", ""),
    )
)


# Halves of the day and words for "year" and "hour" as some regions write them, accents and case of letters taken off.
_LOCAL: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), put)
    for pattern, put in (
        (r"(\d)\s*(?:π\.?\s?[uμ]\.?|ص|OO)$", r"\1 AM"),
        (r"(\d)\s*(?:[uμ]\.?\s?[uμ]\.?|م|OS)$", r"\1 PM"),
        (r"(\d)\s?г\.?", r"\1"),
        (r"(\d)\s?ч\.?$", r"\1"),
    )
)


@lru_cache(maxsize=100_000)
def spoken(text: str) -> str:
    """A written time with plain letters and digits, and the marks of East Asian dates put as those used elsewhere."""
    if len(text) > _LONGEST:
        return text
    said = _PASS.sub(r"\1", unwrapped(plain(text)))
    if len(said) > _SHORTEST_INTERVAL and (
        interval := _INTERVAL.fullmatch(said) or _TO_A_CLOCK.fullmatch(said)
    ):
        return interval[1]
    if not text.isascii():
        for pattern, put in _LOCAL:
            said = pattern.sub(put, said)
    if said.isascii():
        return said
    said = unicodedata.normalize("NFC", _JAPANESE_ERA.sub(_common_year, said))
    for pattern, put in _EAST_ASIAN:
        said = pattern.sub(put, said)
    return said.strip()


# "02A:30" and "02B:30" are the first and the second pass of the hour that comes twice; their order says which is which.
_PASS = re.compile(r"(?<!\d)(\d{2})[AB](?=:\d{2})")
_LONGEST = 100  # longer texts are no times
_SHORTEST_INTERVAL = 18
# From one date to another in one cell: the readings of an interval stand at its start, as those of two columns do.
_INTERVAL = re.compile(
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,]\S.*?\d[zZ]?)\s*(?:-|/|~|>|->|to|bis|until|au|hasta|al?)\s*(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,].*|P[\dTDHMS]+)"
)
# "02.03.2025 00:00 - 00:10"; without the blank behind it the hyphen would be the sign of an offset.
_TO_A_CLOCK = re.compile(
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,]+\d{1,2}[:.]\d{2}(?:[:.]\d{2})?)\s*(?:-|/|~|>|->|to|bis|until|au|hasta|al?)\s+\d{1,2}[:.]\d{2}(?:[:.]\d{2})?"
)
# 令和7年 is 2025: the first year of each era, less one.
_JAPANESE_ERA = re.compile(r"(令和|平成|昭和)\s?(元|\d{1,2})\s?年")
_ERA_ZERO = {"令和": 2018, "平成": 1988, "昭和": 1925}


def _common_year(match: re.Match[str]) -> str:
    return f"{_ERA_ZERO[match[1]] + (1 if match[2] == '元' else int(match[2]))}年"


@dataclass(frozen=True, slots=True)
class TimeShape:
    """One way to write a time.

    date : ``ymd``, ``abc`` (two short numbers and a year: the column decides), ``dNy``, ``Ndy``, ``yNd`` or empty
    has_clock : whether a time of day is written
    regex : takes the text apart: y m d (or a b c, N), H M S f half, zone
    fast : strptime pattern, with ``{A}{B}{C}`` for the undecided parts; empty where there is none
    zoned : whether an offset is written
    fraction : digits behind the second, 0 when there are none
    long_year : whether the year has four digits
    """

    date: str
    has_clock: bool
    regex: str
    fast: str
    zoned: bool
    fraction: int
    long_year: bool


_YEAR_DAY = re.compile(r"(?:19|20)\d{2}(?!000)(?:[0-2]\d{2}|3[0-5]\d|36[0-6])")


def is_year_day(text: str) -> bool:
    """Whether digits can be a year and the day of it; a date only where the column is named as one, or a clock is beside it."""
    return _YEAR_DAY.fullmatch(text) is not None


@lru_cache(maxsize=100_000)
def shape_of(text: str) -> TimeShape | None:
    """The shape of a written time, or None when the text is none."""
    said = spoken(text)
    if len(said) > 64 or not _COULD_BE_TIME.search(said):
        return None
    for date, has_clock, pattern in _PATTERNS:
        match = pattern.fullmatch(said)
        if match and _sensible(match.groupdict()):
            return _shape(date, has_clock, pattern, match)
    return None


@lru_cache(maxsize=10_000)
def clock_shape_of(text: str) -> TimeShape | None:
    """The shape of a time of day written alone, or None."""
    said = spoken(text)
    for pattern in _CLOCK_ONLY:
        match = pattern.fullmatch(said)
        if match and _sensible(match.groupdict()):
            return _shape("", True, pattern, match)
    return None


def _sensible(parts: dict[str, str | None]) -> bool:
    """Whether the numbers taken apart can be a date and a time at all."""
    hour, minute, second = (int(parts.get(key) or 0) for key in ("H", "M", "S"))
    if hour > 24 or minute > 59 or second > 60 or (parts.get("half") and not 1 <= hour <= 12):
        return False
    if (name := parts.get("N")) and name.casefold() not in MONTHS:
        return False
    if int(parts.get("j") or 1) > 366:
        return False
    if (zone := parts.get("zone")) and zone_offset(zone) is None:
        return False
    if parts.get("a"):
        numbers = [int(parts[key] or 0) for key in "abc"]
        short = len(parts["c"] or "") == 2
        return min(numbers[:2]) >= 1 and (
            short or (max(numbers[:2]) <= 31 and FIRST_YEAR <= numbers[2] < 2200)
        )
    year, month, day = int(parts.get("y") or 2000), int(parts.get("m") or 1), int(parts.get("d") or 1)
    return (year < 100 or FIRST_YEAR <= year < 2200) and 1 <= month <= 12 and 1 <= day <= 31


def zone_offset(text: str) -> str | None:
    """A written offset or zone word as ``+HH:MM``, or None when it does not name one offset."""
    said = text.strip("() \t").casefold()
    if known := ZONE_WORDS.get(said) or SUMMER_FLAGS.get(said):
        return known
    match = re.fullmatch(r"(?:utc|gmt)?([+-])(\d{1,2})(?::?(\d{2}))?(?::?00)?", said)
    if not match or int(match[2]) > 14 or int(match[3] or 0) > 59:
        return None
    return f"{match[1]}{int(match[2]):02d}:{int(match[3] or 0):02d}"


def _shape(date: str, has_clock: bool, pattern: re.Pattern[str], match: re.Match[str]) -> TimeShape:
    parts = match.groupdict()
    regex = pattern.pattern
    for name, group in (
        ("mark", _MARK),
        ("colon", "(?P<colon>[:.])"),
        ("colon", "(?P<colon>:)"),
        ("colon", "(?P<colon>[.])"),
    ):
        literal = re.escape(parts.get(name) or "")
        regex = regex.replace(group, literal).replace(f"(?P={name})", literal)
    return TimeShape(
        date=date,
        has_clock=has_clock,
        regex=f"^(?:{regex})$",
        fast=_fast(date, has_clock, match) if not parts.get("region") else "",
        zoned=bool(parts.get("zone")),
        fraction=len(parts.get("f") or ""),
        long_year=len(parts.get("c") or parts.get("y") or "") == 4,
    )


def _fast(date: str, has_clock: bool, match: re.Match[str]) -> str:
    """The strptime pattern that reads exactly this writing, or empty."""
    parts = match.groupdict()
    heads = {"ymd": "ymd", "abc": "abc"}.get(date, "")
    if (
        not heads
        or match.start(heads[0]) != match.start()
        or (has_clock and match.start("H") < match.start(heads[0]))
    ):
        return ""
    mark = parts.get("mark") or ""
    if date == "ymd":
        written = mark.join(("%Y", "%m", "%d"))
    else:
        written = mark.join(("{A}", "{B}", "{C}"))
    if not has_clock:
        return written if match.end(heads[2]) == match.end() else ""
    gap = match.string[match.end(heads[2]) : match.start("H")]
    if parts.get("colon") != ":" or len(gap) != 1 or parts.get("point") in (",", ":"):
        return ""
    return written + gap + _fast_clock(match) if _fast_clock(match) else ""


def _fast_clock(match: re.Match[str]) -> str:
    parts = match.groupdict()
    written = ("%I" if parts.get("half") else "%H") + ":%M" + (":%S" if parts.get("S") else "")
    written += "%.f" if parts.get("f") else ""
    half, zone = parts.get("half"), parts.get("zone")
    if half:
        if half[-2:].upper() not in ("AM", "PM"):
            return ""
        ended = max(match.end("M"), match.end("S"), match.end("f"))
        written += match.string[ended : match.start("half")] + ("%p" if half.isupper() else "%P")
        written = written if half == half.strip() else ""
    if not zone or not written:
        return written
    glued = match.string[match.start("zone") - 1].isdecimal()
    if not glued:
        return ""
    if zone in ("Z",):
        return written + "Z"
    return written + "%z" if re.fullmatch(r"[+-]\d{2}:?\d{2}", zone) else ""
