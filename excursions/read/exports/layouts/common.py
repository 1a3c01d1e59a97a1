"""What all layouts need: the time columns, the columns that hold nothing of use, and units in headers."""

from __future__ import annotations

import itertools
import re
from functools import lru_cache

from excursions.measurands import MEASURANDS, to_canonical
from excursions.read.exports.cells.columns import Column
from excursions.read.text.fold import plain
from excursions.read.text.quality import base_of, fold_word, is_quality_text, scheme_of
from excursions.read.text.units import is_unit, table_unit, tidy
from excursions.read.text.words import STATE_WORDS, fold

# What may stand between a name and its unit; a blank, a line or a point also stand within names.
_BETWEEN = re.compile(
    r"(?P<bracket>\s*[\[({]\s*)|\s+in\s+|\s*[,;/:]\s*|(?P<within>[\s._\-]+(?![\s._\-\[({]))"
)


@lru_cache(maxsize=4_096)
def same_unit(one: str, other: str) -> bool:
    """Whether two spellings mean one unit: alike without case, or the same step of some measurand."""
    if plain(one).casefold() == plain(other).casefold():
        return True
    first, second = table_unit(one), table_unit(other)
    steps = ((to_canonical(key, first), to_canonical(key, second)) for key in MEASURANDS if key != "other")
    return any(step is not None and step == further for step, further in steps)


def between_units(unit: str, other: str) -> tuple[float, float] | None:
    """Factor and offset that take `unit` to `other`, where some quantity knows both; None where none does."""
    for key in MEASURANDS:
        one, two = to_canonical(key, table_unit(unit)), to_canonical(key, table_unit(other))
        if key != "other" and one is not None and two is not None:
            return one[0] / two[0], (one[1] - two[1]) / two[0]
    return None


def split_unit(name: str) -> tuple[str, str]:
    """A header without its unit, and the unit as it is written; the unit is empty when there is none that is known.

    The longest end that is a unit is it.  Behind what stands within names too it must be a quotient, which none does.
    """
    for place in _BETWEEN.finditer(name):
        said = name[place.end() :].strip()
        if not name[: place.start()].strip(" ._,:;/-") or not said:
            continue
        if place["bracket"]:
            said = said[:-1].rstrip() if said[-1] in "])}" else said
        if is_unit(said, letter=bool(place["bracket"])) and not (said == "-" and not place["bracket"]):
            if place["within"] and not re.search(r"[/·⁻]|\w-1$", said):
                return name, ""
            return name[: place.start()].rstrip("" if place["bracket"] else " ._,:;/-"), said
    return name, ""


# Rather words of a name than its unit.
_WORDS_TOO = frozenset(("na", "pa", "ua", "au", "bar", "bool", "counts", "us", "ms"))


def unit_behind(name: str) -> str:
    """The unit that stands behind a name and a blank, ``TT-1 °F``, and may be part of the name; empty where none does."""
    ends = (name[place.end() :] for place in re.finditer(r"(?<=\S)\s+", name.strip()))
    return next((end for end in ends if is_unit(end) and tidy(end) not in _WORDS_TOO), "")


def is_quality(column: Column) -> bool:
    """Whether a column holds quality words or codes: by its name and cells, or by its cells alone."""
    filled = [cell for cell in column.cells if cell]
    if not filled or column.is_time:
        return False
    if all(cell.casefold() in TRUTH for cell in filled) and "quality" not in column.roles:
        return False  # true and false say something else under any other name ("annotated")
    if "quality" in column.roles and (base_of(set(filled)) != 10 or says_by_truth(column)):
        return True
    words = sum(is_quality_text(cell) for cell in filled)
    if words >= 0.8 * len(filled):
        return True
    if _are_opc_codes(filled):
        return True
    codes = sum(
        cell.lstrip("-").rstrip(" %").isdecimal() or cell.casefold().startswith("0x") for cell in filled
    )
    return ("quality" in column.roles and (codes + words) >= 0.8 * len(filled)) or (
        "quality" in column.roles and column.is_text
    )


_FLAG_NAMES = re.compile(
    r"(?:is )?(?:bad|invalid|questionable|suspect|doubtful|substituted|ungultig|fraglich|ersatzwert)"
)


def is_flag(column: Column) -> bool:
    """Whether a column says by true and false, or 1 and 0, that a reading is bad or doubtful."""
    said = {cell.casefold() for cell in column.cells if cell}
    return bool(said) and all(map(is_truth, said)) and bool(_FLAG_NAMES.fullmatch(fold(column.header)))


def is_truth(cell: str) -> bool:
    """Yes or no, true or false, 1 or 0."""
    return cell in ("0", "1") or fold_word(cell) in STATE_WORDS


def says_by_truth(column: Column) -> bool:
    """Whether a column says yes or no of what its header names: good, valid, bad, invalid."""
    filled = {cell for cell in column.cells if cell}
    return bool(filled) and scheme_of(filled, column.header)[0] in ("true_is_good", "true_is_bad")


TRUTH = frozenset(("true", "false"))
_CLASSIC_CODES = frozenset(
    str(code + limit)
    for code in (0, 4, 8, 12, 16, 20, 24, 28, 32, 64, 68, 80, 84, 88, 192, 216)
    for limit in range(4)
)
_GOOD_CODES = frozenset(("192", "216"))


def _are_opc_codes(cells: list[str]) -> bool:
    """A column of OPC classic codes only, the common good ones among them."""
    distinct = set(cells)
    return len(distinct) <= 12 and distinct <= _CLASSIC_CODES and bool(distinct & _GOOD_CODES)


_MOST_DIGITS = 19


def is_counter(column: Column) -> bool:
    """Whether a column counts the rows (or is named as an index)."""
    numbers = [int(cell) for cell in column.cells if cell.isdecimal() and len(cell) < _MOST_DIGITS]
    if len(numbers) < column.filled or column.filled < 2:
        return False
    steady = all(later - earlier == 1 for earlier, later in itertools.pairwise(numbers))
    rising = all(later > earlier for earlier, later in itertools.pairwise(numbers))
    return (
        ("index" in column.roles and rising)
        or (column.index == 0 and not any(map(str.isalnum, column.header)) and steady)  # no name, or "#"
        or ("index" in column.roles and steady)
    )
