"""Which mark is the decimal one: decided from all numbers of a table, tag by tag.

A point before exactly three digits is a decimal point or a mark of thousands.  Where other numbers of the same tag have
no mark at all and three digits (950 beside 1.230), it marks thousands: the tag has come from below one thousand.  Numbers
of other tags say nothing of that, so the evidence is counted for each tag.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass

import polars as pl

from excursions.read.exports.cells.values import is_date_damage
from excursions.read.text.fold import plain, unwrapped
from excursions.read.text.numbers import MARKS

_LONGEST_NUMBER = 64


@dataclass(frozen=True, slots=True)
class DecimalEvidence:
    """How often numbers can only be read with a comma, only with a point, or either way, as decimal mark.

    either : a comma before exactly three digits; triple : of those with a point, how many have it before exactly three
    whole : numbers without a mark that stand in a tag with such ones; grouped : how many with a point before three digits
    stand in a tag with whole numbers of three digits and no other point: marks of thousands
    """

    comma: int = 0
    point: int = 0
    either: int = 0
    whole: int = 0
    triple: int = 0
    grouped: int = 0

    def __add__(self, more: DecimalEvidence) -> DecimalEvidence:
        """Both counts together."""
        return DecimalEvidence(*(a + b for a, b in zip(astuple(self), astuple(more), strict=True)))

    @property
    def settled(self) -> bool:
        """Whether a number decides by itself, so that no more of them need be looked at."""
        return bool(self.comma or self.grouped or self.point > self.triple)

    def decide(self, separator: str = "") -> tuple[str, str]:
        """The decimal mark and the reason; the mark is empty when the numbers leave it open.

        `separator` stands between the cells: who writes decimal commas seldom separates by commas too.
        """
        if self.comma and self.comma >= 10 * (self.point - self.triple):
            return ",", f"{self.comma} numbers can only be read with a decimal comma"
        if self.comma and self.point:
            return "", ""
        if self.either and not self.point:
            return self._open(separator)
        if self.triple and self.triple == self.point:
            if self.grouped and self.grouped == self.triple and separator != ",":
                return ",", (
                    f"{self.triple} numbers have a point before exactly three digits and {self.whole} of the same tags none: "
                    "the point marks thousands"
                )
            return ".", "every number has a point before exactly three digits: thousands are possible too"
        return ".", ""

    def _open(self, separator: str) -> tuple[str, str]:
        """Every comma stands before exactly three digits."""
        if separator == ",":
            return (
                ".",
                "cells are separated by commas, and every comma in a number stands before three digits",
            )
        if self.whole == 0:
            return (
                ",",
                "every number has a comma before exactly three digits and none is without: thousands are possible too",
            )
        return "", ""


_ONLY_COMMA = re.compile(
    r"[+-]?(?:\d{1,3}(?:[.' ]\d{3})+,\d+|\d*,(?:\d{1,2}|\d{4,})|0+,\d+|\d{4,},\d+|\d{1,3}(?:\.\d{3}){2,})(?:[eE][+-]?\d+)?(?:[^\d,].*)?"
)
_ONLY_POINT = re.compile(
    r"[+-]?(?:\d{1,3}(?:[,' ]\d{3})+\.\d*|\d{1,2}(?:,\d{2})+,\d{3}(?:\.\d*)?|\d+\.\d*|\.\d+|\d{1,3}(?:,\d{3}){2,})(?:[eE][+-]?\d+)?(?:\D.*)?"
)
_TRIPLE = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}(?:\D.*)?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}(?:\D.*)?")
_WHOLE = re.compile(r"[+-]?0*[1-9]\d*(?:\D.*)?")  # zero is written so in any column
_HUNDREDS = re.compile(r"[+-]?[1-9]\d{2}(?:\D.*)?")


_DAMAGED = r"^\d{1,2}[.\-/ ]*[^\W\d]{3,9}\.?$"  # dates that a spreadsheet has made of numbers
# What is counted, each text once: the first that fits.
_KINDS = {"comma": _ONLY_COMMA, "point": _ONLY_POINT, "either": _EITHER, "whole": _WHOLE}
_WITHIN = {"triple": ("point", _TRIPLE), "hundreds": ("whole", _HUNDREDS)}


def decimal_evidence(texts: Iterable[str]) -> DecimalEvidence:
    """What the numbers of one tag say about the decimal mark of their file."""
    counts = dict.fromkeys((*_KINDS, *_WITHIN), 0)
    for text in texts:
        if is_date_damage(text[:_LONGEST_NUMBER]):
            continue
        said = unwrapped(plain(text[:_LONGEST_NUMBER])).lstrip(MARKS + " ")
        kind = next((name for name, pattern in _KINDS.items() if pattern.fullmatch(said)), "")
        if kind:
            counts[kind] += 1
        for name, (within, pattern) in _WITHIN.items():
            counts[name] += kind == within and bool(pattern.fullmatch(said))
    return _evidence(counts)


def _evidence(counts: Mapping[str, int]) -> DecimalEvidence:
    """Evidence of one tag; whole numbers count only beside numbers that leave it open."""
    triple, point = counts["triple"], counts["point"]
    return DecimalEvidence(
        comma=counts["comma"], point=point, either=counts["either"], triple=triple,
        whole=counts["whole"] if counts["either"] or triple else 0,
        grouped=triple if counts["hundreds"] and triple == point else 0,
    )  # fmt: skip


class Tally:
    """Counts the same for whole columns, batch after batch; groups are told apart by their tags."""

    def __init__(self) -> None:
        self._counts: dict[tuple[object, ...], dict[str, int]] = {}

    def add(self, values: pl.Series, tags: Sequence[pl.Series], column: int) -> None:
        """Add the texts of a column (n,) and the columns (n,) that name the tag of each, if any."""
        text = values.cast(pl.String, strict=False).str.strip_chars(MARKS + " \"'")
        found = {
            name: text.str.contains(f"^(?:{pattern.pattern})$").fill_null(False)
            for name, pattern in _KINDS.items()
        }
        taken = text.str.contains(_DAMAGED).fill_null(True)
        for name in found:
            found[name] &= ~taken
            taken |= found[name]
        for name, (within, pattern) in _WITHIN.items():
            found[name] = found[within] & text.str.contains(f"^(?:{pattern.pattern})$").fill_null(False)
        keys = [tag.cast(pl.String, strict=False).alias(f"tag {at}") for at, tag in enumerate(tags)]
        frame = pl.DataFrame([*keys, *(mask.alias(name) for name, mask in found.items())])
        sums = [pl.col(name).sum() for name in found]
        totals = frame.group_by([key.name for key in keys]).agg(sums) if keys else frame.select(sums)
        for row in totals.iter_rows(named=True):
            counts = self._counts.setdefault(
                (column, *(row[key.name] for key in keys)), dict.fromkeys(found, 0)
            )
            for name in found:
                counts[name] += row[name]

    def evidence(self) -> DecimalEvidence:
        """All of it together."""
        return sum((_evidence(counts) for counts in self._counts.values()), DecimalEvidence())
