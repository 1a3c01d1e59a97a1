"""Lines that name the signal of the rows below them: ``[AT-101]``, ``*** AT-101 ***``, ``AT-101:``, or the bare name.

Only what stands right above the first table tells how such lines are written in a file.  A line written so further down
begins another signal only where the times begin anew below it: "Pump started" among readings is a remark.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import polars as pl

from excursions.read.exports.cells.columns import clean, is_time_text
from excursions.read.exports.cells.refusals import is_limit, is_total
from excursions.read.exports.cells.values import looks_numeric
from excursions.read.exports.times.numbertimes import as_number_time
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeshapes import clock_shape_of
from excursions.read.text.units import is_unit
from excursions.read.text.words import ROLES, fold, is_status_text

# How a name is marked, from the outside in: the first that fits.
_FORMS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("brackets", re.compile(r"\[\s*([^\[\]]+?)\s*\]:?")),
    ("angles", re.compile(r"<\s*([^<>/!?][^<>]*?)\s*>:?")),
    ("drawn", re.compile(r"[*=~#\-_+]{2,}\s*(.+?)\s*[*=~#\-_+]{2,}")),
    ("remark", re.compile(r"(?:#|//|%%)+\s*(.+?)")),
    ("colon", re.compile(r"(.+?)\s*:")),
    ("bare", re.compile(r"(.+)")),
)
PAIR = "pair"  # a name, and a unit or a description beside it
_CERTAIN = frozenset(("brackets", "angles", "drawn", "colon"))
_KEYS = re.compile(
    r"(?i)(?:tag|tag ?name|signal|point|item|channel|kanal|messstelle|section|trend)\s*[:=]?\s+(?=\S)"
)
_COLUMN_WORDS = frozenset().union(*ROLES.values())
_LONGEST = 100


def section_of(cells: Sequence[str]) -> tuple[str, str]:
    """How a line of one text marks a name, and the name; both empty where it names none."""
    filled = [said for cell in cells if (said := clean(cell))]
    text = " ".join(filled)
    if not filled or len(text) > _LONGEST:
        return "", ""
    form, match = next((form, match) for form, pattern in _FORMS if (match := pattern.fullmatch(text)))
    if len(filled) > 1 and form not in ("brackets", "angles", "drawn", "remark"):
        return "", ""
    name = _KEYS.sub("", match[1], count=1)
    return (form, name) if is_name(name) else ("", "")


def pair_of(cells: Sequence[str]) -> tuple[str, str]:
    """A name and what stands beside it, a unit or a description; both empty where a line holds something else."""
    filled = [said for cell in cells if (said := clean(cell))]
    if len(filled) != 2 or not cells[0].strip() or not is_name(filled[0]):
        return "", ""
    return (filled[0], filled[1]) if is_unit(filled[1]) or is_name(filled[1]) else ("", "")


def lines_of(cells: Sequence[str], form: str, block: str) -> tuple[str, ...]:
    """What such a line says, a key and a text each; empty where it is none of this form."""
    name, beside = pair_of(cells) if form == PAIR else ("", "")
    if not name:
        found, name = section_of(cells)
        if not form or found != form:
            return ()
    key = "Unit" if is_unit(beside) else "Description"
    return (f"Tag: {name}", f"{block}: {name}", *([f"{key}: {beside}"] if beside else []))


def is_section(cells: Sequence[str], form: str) -> bool:
    """Whether a line marks a name in this way; never where no way is given."""
    return bool(form) and bool(lines_of(cells, form, "block"))


@lru_cache(maxsize=4_096)
def is_name(text: str) -> bool:
    """A text with a letter that is no time, number, total, limit, unit, status or word for a column."""
    if not any(char.isalpha() for char in text) or is_time_text(text) or clock_shape_of(text):
        return False
    if (
        looks_numeric(text)
        or is_unit(text)
        or is_status_text(text)
        or (folded := fold(text)) in _COLUMN_WORDS
    ):
        return False
    return (
        bool(folded)
        and not is_total((text,))
        and not is_limit((text, "0"))
        and not re.search(r":\s|=|[:=].*\d{1,2}[:.]\d\d", text)
    )


def is_certain(form: str) -> bool:
    """Whether marks say that a line is a name, so that it counts where the rows around it are not at hand."""
    return form in _CERTAIN


def names_by_itself(form: str, name: str) -> bool:
    """Whether such a line names its rows even where it is the only one: a word with a digit, or a name in brackets with one.

    A title such as "[Data]" or "Report:" stands above many files, whose signals it would make one.
    """
    numbered = any(char.isdigit() for char in name)
    return numbered and (form in ("brackets", "angles") or (form in (*_CERTAIN, "bare") and " " not in name))


def begins_anew(before: Sequence[Sequence[str]], after: Sequence[Sequence[str]]) -> bool:
    """Whether the times of rows do not go on from those before them; also where they cannot be compared, if there are any."""
    first, last, following = (_moment(rows) for rows in (before, before[::-1], after))
    if first is None or last is None or following is None:
        return any(sum(bool(cell.strip()) for cell in cells) > 1 for cells in after)
    return not continues(first, last, following)


def continues(first: int, last: int, following: int) -> bool:
    """Whether a time goes on in the direction of those before it."""
    return last != first and following != last and (following > last) == (last > first)


def _moment(rows: Sequence[Sequence[str]]) -> int | None:
    """The first time in these rows as a number to compare, or None."""
    for cells in rows:
        said = [cell.strip() for cell in cells]
        days = [cell for cell in said if is_time_text(cell)]
        clocks = [cell for cell in said if clock_shape_of(cell)]
        if days:
            text = " ".join([days[0], *clocks[:1]])
            for written in (text, days[0]):
                for order in ("day-first", "month-first"):
                    found = parse_distinct(pl.Series([written]), order)
                    if found.ok[0]:
                        return int(found.time[0])
        number = next((cell for cell in said if as_number_time(cell)), None)
        if number is not None:
            return int(float(number.replace(",", ".")) * 1e6)
    return None
