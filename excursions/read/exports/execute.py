"""Runs a plan over a table: portions are worked on side by side and put together in the order of the file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from excursions.ahead import in_order
from excursions.measurands import converted
from excursions.read.exports.cells.table import Table
from excursions.read.exports.gather.gather import Gather
from excursions.read.exports.layouts.common import between_units, same_unit
from excursions.read.exports.layouts.plan import Plan
from excursions.read.exports.outcome import Outcome, Replan
from excursions.read.exports.work import Piece, Readings, work_on
from excursions.read.text.quality import scheme_of
from excursions.records import UNCERTAIN

_MOST_CODES = 500


class Executor:
    """Runs one plan over one table; readings go to `gather`, all else to `outcome`.

    convert : whether readings of a tag in a second unit are converted to its first, where both measure the same
    """

    def __init__(
        self, plan: Plan, gather: Gather, outcome: Outcome, file: str, *, convert: bool = False
    ) -> None:
        self.plan, self.gather, self.outcome, self.file, self.convert = plan, gather, outcome, file, convert
        self._scales: dict[tuple[str, str], tuple[float, float]] = {}
        self._codes: dict[int, set[str]] = {}
        self._names: dict[tuple[str, str], str] = {}

    def run(self, table: Table) -> None:
        """The whole table.

        Raises
        ------
        Replan
            If codes further down show that the quality column was misunderstood.
        """
        self.gather.kept = self.plan.kept
        for stream in self.plan.streams:
            if stream.tag:
                self.gather.describe(self._named(stream.tag, stream.unit), "", stream.description)
        line = self.plan.first_line - 1
        for piece in in_order(table.portions(self.plan.wanted), lambda job: work_on(job(), self.plan)):
            self._take(piece, line)
            line += piece.lines
            self.outcome.lines = line
            self.gather.relieve()

    def _take(self, piece: Piece, line: int) -> None:
        """Add what one portion gave; `line` lines stand before it."""
        for column, texts in piece.codes.items():
            self._check_scheme(column, texts)
        self.outcome.absorb(piece.outcome, line)
        for tag, unit, description in piece.described:
            self.gather.describe(tag, unit, description)
        slices = any(stream.tag_columns for stream in self.plan.streams)
        for readings in piece.readings:
            settled = self._settled(readings) if readings.twice is not None else readings
            name = self._named(settled.tag, settled.unit)
            self.outcome.tags.add(name)
            scale = self._scales.get((settled.tag, settled.unit))
            value = settled.value if scale is None else converted(settled.value, scale)
            self.gather.add(name, settled.time, value, settled.quality, self.file, slices=slices)

    def _named(self, tag: str, unit: str) -> str:
        """The tag, or a second one with the unit behind where its readings so far are in another unit.

        The export states the unit of each reading: what measures the same is converted to the first, and told;
        where the user says so, or it does not, the second unit is a signal of its own.
        """
        key = (tag, unit)
        if key not in self._names:
            self._refuse_other_places(tag)
            known = self.gather.unit_of(tag)
            scale = between_units(unit, known) if self.convert and unit and known else None
            if not unit or not known or same_unit(unit, known):
                self._names[key] = tag
            elif scale is not None:
                self._names[key], self._scales[key] = tag, scale
                self.outcome.converted[tag, unit] = known
            else:
                self._names[key] = f"{tag} [{unit}]"
                self.outcome.renamed[self._names[key]] = (tag, known, unit)
            self.gather.describe(self._names[key], unit, "")
        return self._names[key]

    def _refuse_other_places(self, tag: str) -> None:
        """Readings of another place under a tag of an earlier file: the tag alone would mix both."""
        if self.plan.constants and self.gather.holds_others(tag, tuple(self.plan.constants.values())):
            raise Replan(next(iter(self.plan.constants)), frozenset(("several places",)))

    def _settled(self, readings: Readings) -> Readings:
        """Doubled hours resolved; they may run on from one portion to the next."""
        if readings.twice is None or readings.wall is None or readings.shift is None:
            return readings
        time, unsure = self.outcome.doubled.settle(
            readings.tag, readings.wall, readings.time, readings.twice, readings.shift
        )
        quality = np.zeros(time.size, np.uint8) if readings.quality is None else readings.quality
        return replace(
            readings,
            time=time,
            quality=np.where(unsure & (quality == 0), UNCERTAIN, quality).astype(np.uint8),
        )

    def _check_scheme(self, column: int, texts: frozenset[str]) -> None:
        seen = self._codes.setdefault(column, set())
        if texts <= seen or len(seen) > _MOST_CODES:
            return
        seen |= texts
        plan = self.plan.qualities[column]
        header = self.plan.headers[column] if column < len(self.plan.headers) else ""
        scheme = scheme_of(sorted(seen), header, plan.usual)[0]
        if scheme not in (plan.scheme, "words") and _stronger(scheme, plan.scheme):
            raise Replan(column, frozenset(seen))


def _stronger(new: str, old: str) -> bool:
    """Whether a scheme found in more of the column overrules the one found in its first rows."""
    rank = {
        "words": 0,
        "good_is_0": 1,
        "good_is_1": 1,
        "true_is_good": 1,
        "true_is_bad": 1,
        "percent": 2,
        "doubt": 2,
        "classic": 3,
        "ua": 4,
    }
    return rank[new] > rank[old] or (rank[new] == rank[old] == 1 and new != old)
