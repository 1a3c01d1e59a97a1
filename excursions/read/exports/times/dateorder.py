"""Which of two short numbers is the day: decided from a whole column of dates, or left open.

Two kinds of evidence.  A number above 12 can only be a day (above 31 only a year).  And readings run on
through midnight: under the right order one day follows another within hours, under the wrong one it lies
weeks away.  Dates that are days apart anyway prove nothing of the second kind.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from excursions.clock import NS_PER_HOUR
from excursions.read.exports.times.textparts import parse_distinct
from excursions.read.exports.times.timeplan import ORDERS
from excursions.records import IndexArray

# Two columns of numbers, and the year's, at the start of a text (a weekday may stand before them).
_PARTS = r"^\D*?(?P<a>\d{1,2})[-/. ](?P<b>\d{1,2})[-/. ](?P<c>\d{4}|\d{2})(?:\D|$)"
_DOTTED = r"^\D*?\d{1,2}\. ?\d{1,2}\. ?\d{2,4}"
_SMOOTH = 6 * NS_PER_HOUR  # a step over midnight within this is "running on"
_ENOUGH_STEPS = 1


@dataclass(slots=True)
class OrderEvidence:
    """What the dates seen so far say; :meth:`add` more, then :meth:`decide`."""

    highest: IndexArray = field(default_factory=lambda: np.zeros(3, np.int64))
    alike: bool = True
    short_year: bool = False
    seen: int = 0
    changes: int = 0
    moves: IndexArray = field(default_factory=lambda: np.zeros(3, np.int64))
    dotted: bool = True
    smooth: dict[str, int] = field(default_factory=lambda: dict.fromkeys(ORDERS, 0))

    def add(self, texts: pl.Series) -> None:
        """Take in written times in file order."""
        parts = texts.drop_nulls().str.extract_groups(_PARTS).struct.unnest().drop_nulls()
        numbers = parts.select(pl.all().cast(pl.Int64, strict=False))
        plain = numbers.select(pl.all_horizontal(pl.all().is_not_null())).to_series()
        parts, numbers = (
            parts.filter(plain),
            numbers.filter(plain),
        )  # digits of another script are no numbers here
        if not parts.height:
            return
        self.seen += parts.height
        self.highest = np.maximum(self.highest, numbers.max().to_numpy()[0])
        # A word below the table, or a heading repeated on each page, says nothing of its dates.
        dates = texts.filter(texts.str.contains(_PARTS).fill_null(False))
        self.dotted &= bool(dates.str.contains(_DOTTED).all())
        self.moves += np.array([int((numbers[name].diff() != 0).sum()) for name in "abc"])
        self.alike &= bool((numbers["a"] == numbers["b"]).all())
        self.short_year |= bool((parts["c"].str.len_chars() == 2).any())
        if len(self.possible()) > 1:
            self._count_steps(dates, parts)

    def _count_steps(self, texts: pl.Series, parts: pl.DataFrame) -> None:
        if parts.height != len(texts):
            return
        days = parts.select(pl.concat_str("a", "b", "c", separator="/")).to_series()
        changed = np.flatnonzero((days != days.shift(1)).fill_null(False).to_numpy())[:2_000]
        if not changed.size:
            return
        self.changes += int(changed.size)
        pairs = texts.gather(np.concatenate([changed - 1, changed]))
        for order in self.possible():
            times = parse_distinct(pairs, order)
            step = np.abs(np.diff(times.time.reshape(2, -1), axis=0))[0]
            good = times.ok.reshape(2, -1).all(axis=0) & (step <= _SMOOTH) & (step > 0)
            self.smooth[order] += int(good.sum())

    def possible(self) -> list[str]:
        """Orders that every date seen allows."""
        first, second, third = (int(number) for number in self.highest)
        found = []
        if first <= 31 and second <= 12:
            found.append("day-first")
        if first <= 12 and second <= 31:
            found.append("month-first")
        # The year changes least often, and years of two digits with points between are never put first.
        if (
            self.short_year
            and second <= 12
            and third <= 31
            and not self.dotted
            and self.moves[0] <= self.moves[2]
        ):
            found.append("year-first")
        if len(found) > 1 and self.short_year and self.moves[2] > self.moves[0] > 0:
            found = [order for order in found if order == "year-first"] or found
        return found

    def decide(self) -> tuple[str, str]:
        """The order and the reason, or an empty order and why it is open."""
        possible = self.possible()
        first, second, third = (int(number) for number in self.highest)
        if not possible:
            return (
                "",
                f"the first number goes up to {first} and the second up to {second}: no order fits all dates",
            )
        if len(possible) == 1:
            return (
                possible[0],
                f"in these dates the first number goes up to {first}, the second to {second}, the third to {third}",
            )
        if self.alike and "year-first" not in possible:
            return possible[0], "day and month are the same number in every date"
        if self.dotted and "day-first" in possible and not self._runs_otherwise():
            return (
                "day-first",
                "dates with points between their numbers are written day first (common practice)",
            )
        best = max(possible, key=lambda order: self.smooth[order])
        others = max(self.smooth[order] for order in possible if order != best)
        if (
            self.smooth[best] >= _ENOUGH_STEPS
            and self.smooth[best] >= 0.5 * self.changes
            and others <= 0.1 * self.smooth[best]
        ):
            return (
                best,
                f"read so, {self.smooth[best]} of {self.changes} changes of date run on through midnight; otherwise {others} do",
            )
        return (
            "",
            f"neither number goes above {max(first, second)}, and the dates do not run on through midnight in one order only",
        )

    def _runs_otherwise(self) -> bool:
        """Whether readings run on through midnight when read month-first, and not day-first."""
        return self.smooth["month-first"] > self.smooth["day-first"]
