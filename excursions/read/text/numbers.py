"""Numbers as people write them into tables: decimal commas, units behind, comparison marks, words for nothing."""

from __future__ import annotations

import re
from collections.abc import Iterable

from excursions.read.text.fold import plain
from excursions.read.text.vocabulary import words

NOTHING = words("- -- --- / n/a na nan n.a. none null nil nd n.d. x ? . k.a. s/o s.o. s/d entf entfallt")

# What stands before a reading: beyond, about, or in doubt.
MARKS = "<>≤≥~≈=?*!"
_NUMBER = re.compile(r"^([<>~]=?|=?)\s*([+-]?[\d.,'\s]*\d(?:[.,](?!\d))?(?:e[+-]?\d+)?)\s*(.*)$")
GIVE_OR_TAKE = re.compile(r"(?:±|\+/-)\s*(?:\d[\d.,]*|[.,]\d+)")  # "7,25 ± 0,05": how sure the number is


def without_give_or_take(rest: str) -> str:
    """What stands behind a number, without how sure it is."""
    match = GIVE_OR_TAKE.match(rest)
    return rest[match.end() :].strip() if match else rest.strip()


def decimal_comma(texts: Iterable[str], separator: str, stated: str) -> bool:
    """Whether this file writes a decimal comma.

    A point followed by one or two digits (or more than three) anywhere decides for the point; otherwise the
    comma, if any number holds one.  ``1,413`` alone decides nothing unless cells are cut at semicolons.
    """
    if stated:
        return stated == ","
    points = commas = unclear = 0
    for text in texts:
        said = text.strip()
        if not said or not (said[0].isdigit() or said[0] in "+-<>~"):
            continue
        if re.match(r"^[<>~]?\s*[+-]?\d+\.\d+(\.|/)", said):
            continue  # a date
        points += bool(re.match(r"^[<>~]?\s*[+-]?(?:0\.\d+|\d+\.(?:\d{1,2}|\d{4,}))(?!\d)", said))
        commas += bool(re.match(r"^[<>~]?\s*[+-]?\d+,(\d{1,2}|\d{4,})(?!\d)", said))
        unclear += bool(re.match(r"^[<>~]?\s*[+-]?\d+,\d{3}(?!\d)", said))
    if commas > points:
        return True
    return bool(unclear and not points and separator == ";")


# No thousands: "6,0", "7,0512"; typed by hand in a file of decimal points.
_COMMA_AFTER_ALL = re.compile(r"[+-]?(?:\d+,(?:\d{1,2}|\d{4,})|0,\d{3}|\d{4,},\d{3})")


def number_of(text: str, *, comma: bool) -> tuple[float, str] | None:
    """Value and unit of a cell; None when it holds no number.

    ``< 0.1`` counts as 0.1: the mark is kept by the caller as text where it matters.
    """
    match = _NUMBER.match(plain(text).strip().casefold())
    if not match or re.match(r"(?:[+\-*/]|[-=–]*>+|→|»)\s*\d", match[3]):
        return None  # no number, a sum that nobody has worked out, or two numbers
    digits = re.sub(r"[\s']", "", match[2])
    thousands = comma and bool(re.fullmatch(r"[+-]?[1-9]\d{0,2}(\.\d{3})+", digits))
    if comma and ("," in digits or thousands):
        digits = digits.replace(".", "").replace(",", ".")
    elif _COMMA_AFTER_ALL.fullmatch(digits):
        digits = digits.replace(",", ".")
    else:
        digits = _with_points(digits)
    try:
        return float(digits), without_give_or_take(match[3])
    except ValueError:
        return None


def _with_points(digits: str) -> str:
    """Drop thousands separators: commas before three digits, and points that stand more than once."""
    digits = digits.replace(",", "")
    return digits.replace(".", "") if digits.count(".") > 1 else digits


def is_nothing(text: str) -> bool:
    """Whether a cell says that there is no value."""
    return not text.strip() or text.strip().casefold() in NOTHING
