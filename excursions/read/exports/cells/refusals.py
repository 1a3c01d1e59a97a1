"""Why a row was refused, in words that say what was expected there and how to mend it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from excursions.errors import InputFileError
from excursions.read.exports.cells.columns import clean, is_time_text
from excursions.read.exports.cells.values import is_date_damage, looks_numeric
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.exports.times.timeplan import TimePlan
from excursions.read.exports.times.timeshapes import clock_shape_of
from excursions.read.text.aggregates import sums_up
from excursions.read.text.words import fold

_SHOWN = 60
_LIMITS = re.compile(
    r"(?i)(?:lo?w?|lo?lo?|ll|hi?(?:gh)?|hi?hi?|hh|low low|high high|alarm|warning|limit|set ?point|range|span|zero|"
    r"unter(?:e|er)? ?\w*|ober(?:e|er)? ?\w*|grenzwert|sollwert|seuil ?\w*|limite ?\w*|consigne)(?: (?:limit|alarm|range|warning))?"
)
_COUNTED = re.compile(
    r"(?i)\(?\d[\d.,' ]*\s*(?:rows?|records?|lines?|values?|zeilen|datens[aä]tze|lignes|filas|registros)\b.*"
)


def unread_time(cells: Sequence[str], at: Sequence[int], plan: TimePlan, headers: Sequence[str]) -> str:
    """Why the time of a row cannot be used.

    Parameters
    ----------
    cells : of the row
    at : columns of the time
    plan : how the times of the column are written
    """
    if is_header_again(cells, headers):
        return "the header again, in the middle of the table (files put together?): no reading is lost"
    if is_limit(cells):
        return "a line of limits, not a reading: nothing needs mending"
    if is_total(cells):
        return "a line of totals or counts, not a reading: nothing needs mending"
    said = " ".join(cells[index].strip() for index in at if index < len(cells)).strip()
    wanted = f'expected a time like "{plan.example}"' if plan.example else "expected a time"
    if not said:
        return f"the time is missing; {wanted}: fill it in, or export again with a time in every row"
    found = f'"{said[:_SHOWN]}" is no time'
    if plan.kind not in ("text", "typed") and (is_time_text(said) or as_number_time(said)):
        return f"{found} of the kind of this column; {wanted}: export all times in one form"
    if plan.order and is_time_text(said):
        return f"{found} that exists when read {plan.order}; {wanted}: correct it, or state another order with --date-order"
    if is_time_text(said):
        return f"{found} that exists on a calendar and a clock; {wanted}: correct it"
    if clock_shape_of(said):
        return f"{found} with a date; {wanted}: write the date before it"
    return f"{found}; {wanted}: correct it, or take the line out"


def without_zone() -> InputFileError:
    """Hours marked as passes of the doubled hour, of times that would be read in a zone that has none."""
    return InputFileError(
        found="hours marked A and B, the two passes of the hour that comes twice when summer time ends",
        expected="the zone of these times; read as UTC they would be wrong", mend="pass it, for example --tz Europe/Vienna",
    )  # fmt: skip


def missing_hour(said: str, zone: str) -> str:
    """Why a wall time inside the hour that a clock put forward leaves out is refused."""
    return (
        f'"{said[:_SHOWN]}" does not exist in {zone}, where the clock goes forward over it; expected UTC or another zone: '
        "if the recorder keeps winter time all year, pass its fixed zone with --tz, for example Etc/GMT-1 for UTC+1"
    )


def surplus_cells(width: int) -> str:
    """Why a row with more cells than columns is refused."""
    return (
        f"more cells than the {width} columns of the header, so which is which cannot be known: "
        "put a cell that holds the separator (a decimal comma, a name) in quotes, or export with another separator"
    )


MESSAGE = "an alarm or a message, not a reading: nothing needs mending"
NO_TAG = "the row names no tag; expected the name of a signal: fill it in"


def unread_value(text: str, decimal: str) -> str:
    """Why a text in a value column is refused."""
    if is_date_damage(text):
        return (
            f'"{text[:_SHOWN]}" is a number that a spreadsheet has turned into a date; expected a number: '
            "use the file as it was exported, before a spreadsheet opened it"
        )
    if text.strip().startswith("("):
        return (
            f'"{text[:_SHOWN]}" is a number in brackets, which may mean that it is negative or that it is doubtful; '
            "expected a plain number: export without brackets"
        )
    mark = "comma" if decimal == "," else "point"
    return (
        f'"{text[:_SHOWN]}" is no number with a decimal {mark} and no status text: correct it, or state another mark with '
        "--decimal-mark, or what the text means under [quality_words] in the register"
    )


def is_header_again(cells: Sequence[str], headers: Sequence[str]) -> bool:
    """Whether a row repeats the header of its table."""
    said = [clean(cell).casefold() for cell in cells]
    own = [clean(header).casefold() for header in headers]
    pairs = [(a, b) for a, b in zip(said, own, strict=False) if a or b]
    return (
        len(pairs) > 1
        and sum(a == b for a, b in pairs) >= 0.6 * len(pairs)
        and any(a and a == b for a, b in pairs)
    )


def is_limit(cells: Sequence[str]) -> bool:
    """Whether a row without a time gives limits: a word for them, and otherwise numbers."""
    filled = [clean(cell) for cell in cells if cell.strip()]
    return (
        len(filled) > 1 and bool(_LIMITS.fullmatch(fold(filled[0]))) and all(map(looks_numeric, filled[1:]))
    )


def is_total(cells: Sequence[str]) -> bool:
    """Whether a row without a time sums up the others: a word for it, and otherwise numbers."""
    filled = [clean(cell).strip(" :*=-") for cell in cells if cell.strip(" :*=-")]
    if not filled:
        return False
    if _COUNTED.fullmatch(filled[0]):
        return len(filled) <= 2
    return sums_up(filled[0]) and all(looks_numeric(cell) for cell in filled[1:])
