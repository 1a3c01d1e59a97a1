"""What one row of a calibration log says: its cells to facts."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from excursions.errors import ExcursionsError, InputFileError
from excursions.read.logs.actions import (
    action_of,
    is_against_sample,
    is_of_test,
    phase_in,
    phase_of,
    says_sample,
)
from excursions.read.logs.cells import Row
from excursions.read.logs.electrodes import of_another, of_ph
from excursions.read.logs.facts import OF_NUMBERS, READS_IN, Facts, Part, Slot
from excursions.read.logs.figures import (
    air_pressure_kpa,
    altitude_m,
    degc,
    figure_of,
    salinity_of,
    unit_of_column,
)
from excursions.read.logs.headers import Meaning, fold, is_unit, meaning_of
from excursions.read.logs.spelling import serial_of, serial_said, spelt
from excursions.read.logs.spoken import figures_in
from excursions.read.logs.standards import Standard, standard_of
from excursions.read.logs.table import LogTable, cell_at
from excursions.read.text.fold import plain
from excursions.read.text.numbers import is_nothing, number_of


@dataclass
class RowReader:
    """Reads the rows of one table; keeps what could not be read."""

    table: LogTable
    file: str
    comma: bool
    units: Mapping[int, str]
    faults: list[ExcursionsError] = field(default_factory=list)

    @cached_property
    def tested(self) -> bool:
        """Whether the columns are those of a test: "test point 1", its reading, whether it passed."""
        return any(map(is_of_test, self.table.headers))

    def facts(self, row: Row) -> Facts:
        """Everything a row says but its time."""
        table = self.table
        said = table.cell(row, "action")
        facts = Facts(
            row=row,
            point=table.cell(row, "point"),
            probe=serial_of(table.cell(row, "probe")),
            old_probe=serial_of(table.cell(row, "old_probe")),
            model=table.cell(row, "model"),
            said=said,
            action=action_of(said),
            phase=phase_of(table.cell(row, "phase")) or phase_of(said) or phase_of(table.cell(row, "model")),
            measurand=table.cell(row, "measurand"),
            comment=self._comment(row),
            other=of_another(table, row),
        )
        grab = is_against_sample(said) or says_sample(facts.comment)
        facts.remarked = "" if facts.phase else phase_in(facts.comment)
        facts.phase = facts.phase or facts.remarked
        for at, meaning in enumerate(table.meanings):
            cell = cell_at(row, at)
            if not is_nothing(cell):
                self._take(facts, at, meaning, cell)
        if grab:
            _against_sample(facts)
        if (
            facts.action == "install"
            and not facts.probe
            and (new := _NEW_SERIAL.search(f"{said} {facts.comment}"))
        ):
            facts.probe = serial_of(new[1])
        if (
            facts.action == "install"
            and not facts.old_probe
            and (old := _OLD_SERIAL.search(f"{said} {facts.comment}"))
        ):
            facts.old_probe = serial_of(old[1])
        if (
            not facts.probe
            and not facts.old_probe
            and "probe" not in self.table.above
            and not self.table.columns("probe")
        ):
            facts.probe = serial_said(f"{said} {facts.comment}")
        if _tells_more(said) or not (facts.action or phase_of(said)):
            facts.comment = "; ".join(text for text in (facts.comment, said) if text)
        if not facts.measured:
            self._spoken(facts)
        _add_up(facts)
        if not facts.action:
            facts.action = action_of(table.cell(row, "phase")) or action_of(facts.model if not said else "")
        if not facts.action and not facts.phase and self.tested:
            facts.action = "verification"
        return facts

    def _spoken(self, facts: Facts) -> None:
        """Figures in the remarks of a row that has none in columns."""
        for spoken in figures_in(facts.comment):
            unit = spoken.unit or unit_of_column(spoken.figure, "", [spoken.value])[0]
            name, value = figure_of(spoken.figure, spoken.value, unit)
            facts.part(spoken.phase or facts.phase).figures.setdefault(name, value)

    def _comment(self, row: Row) -> str:
        parts = [cell for at in self.table.columns("comment") if (cell := cell_at(row, at))]
        parts += [f"result: {cell}" for at in self.table.columns("result") if (cell := cell_at(row, at))]
        return "; ".join(parts)

    def _take(self, facts: Facts, at: int, meaning: Meaning, cell: str) -> None:
        phase = meaning.phase or facts.phase
        if meaning.kind == "standard":
            self._standard(facts, at, meaning, cell, phase)
        elif meaning.kind in OF_NUMBERS:
            number = number_of(cell, comma=self.comma)
            if number is None:
                self._fault(facts.row, at, cell, _SEVERAL if _NUMBERS.fullmatch(plain(cell)) else "a number")
            else:
                self._number(facts, at, meaning, number[0], number[1], phase)

    def _standard(self, facts: Facts, at: int, meaning: Meaning, cell: str, phase: str) -> None:
        unit = self.table.cell(facts.row, "standard_unit") or meaning.unit or self._reading_unit(facts.row)
        standard = standard_of(cell, comma=self.comma, unit=spelt(unit))
        if standard and _nameless(standard) and is_against_sample(self.table.headers[at]):
            standard = replace(standard, label="sample")
        if standard is None:
            self._fault(facts.row, at, cell, 'a standard such as "7.00", "air" or "1413 uS/cm"')
            return
        slot = facts.part(phase).slot(_slot(meaning))
        known = slot.standard.unit if slot.standard else ""
        slot.standard = replace(standard, unit=standard.unit or known)

    def _reading_unit(self, row: Row) -> str:
        """The unit beside a row's readings, where it is one of what standards are made of."""
        unit = spelt(fold(self.table.cell(row, "value_unit")).replace(" ", ""))
        return unit if unit in READS_IN else ""

    def _number(self, facts: Facts, at: int, meaning: Meaning, value: float, behind: str, phase: str) -> None:
        told = behind.replace(" ", "") if behind.strip("- ") and is_unit(behind) else ""
        unit = told or self.units.get(at, meaning.unit) or behind  # a cell may have a unit of its own
        if meaning.kind == "figure":
            own = told or self._own_unit(facts.row, meaning.figure) or unit
            guessed = own == "ph" and meaning.figure == "offset" and not meaning.unit
            if guessed and not of_ph(self.table, facts.row):
                own = behind  # the column holds zero points of pH electrodes, and this row is of another
            if not own and meaning.figure == "slope":
                own = unit_of_column("slope", "", [value])[0]
            name, value = figure_of(meaning.figure, value, own)
            facts.part(phase).figures[name] = value
        elif meaning.kind == "air_pressure":
            facts.air_pressure_kpa = air_pressure_kpa(value, unit)
        elif meaning.kind == "altitude":
            facts.altitude_m = altitude_m(value, unit)
        elif meaning.kind == "salinity":
            facts.salinity = salinity_of(value)
        elif meaning.kind == "temperature":
            facts.part(phase).slot(_slot(meaning)).temperature = degc(value, unit)
        elif meaning.kind == "deviation":
            slot = facts.part(phase).slot(_slot(meaning))
            slot.deviation, slot.raw_unit = value, spelt(unit)
        else:
            self._raw_or_value(facts, meaning, value, unit, phase)

    def _own_unit(self, row: Row, figure: str) -> str:
        """Unit of a figure that stands in a column of its own, as the headers would write it."""
        for at, meaning in enumerate(self.table.meanings):
            if meaning.kind == "figure_unit" and meaning.figure in (
                figure,
                "zero_point" if figure == "zero" else "",
            ):
                cell = cell_at(row, at)
                return fold(cell).replace(" ", "")
        return ""

    def _raw_or_value(self, facts: Facts, meaning: Meaning, value: float, unit: str, phase: str) -> None:
        unit = unit or self.table.cell(facts.row, "raw_unit") or self.table.cell(facts.row, "value_unit")
        named = meaning_of(facts.measurand) if meaning.kind == "value" else Meaning()
        if named.kind == "figure":
            name, value = figure_of(named.figure, value, named.unit or unit.casefold())
            facts.part(phase or named.phase).figures[name] = value
            return
        slot = facts.part(phase).slot(_slot(meaning))
        slot.raw, slot.raw_unit = value, spelt(unit)
        slot.standard = slot.standard or meaning.fixed

    def _fault(self, row: Row, at: int, cell: str, expected: str) -> None:
        self.faults.append(
            InputFileError(
                found=f'"{cell[:60]}"',
                expected=expected,
                mend="this cell is left out; the rest of the row is used",
                file=self.file,
                line=row.line,
                column=self.table.headers[at],
            )
        )


def _add_up(facts: Facts) -> None:
    """Readings of a row that gives their deviations: the standard and what it deviated by, reading less standard."""
    shared = facts.parts.get("", Part())
    for part in facts.parts.values():
        for name, slot in part.slots.items():
            twin = shared.slots.get(name, Slot())
            standard = (
                slot.standard
                or twin.standard
                or next((s.standard for s in shared.slots.values() if s.standard), None)
            )
            relative = slot.raw_unit == "%" and standard is not None and standard.unit != "%"
            if relative:
                continue  # per cent of what, of the standard or of the range, the log does not say
            if math.isfinite(slot.deviation) and standard is not None and math.isfinite(standard.value):
                slot.raw, slot.standard = round(standard.value + slot.deviation, 9), standard
                slot.raw_unit = slot.raw_unit or standard.unit


_NUMBERS = re.compile(r"\s*[-+]?\d+(?:[.,]\d+)?(?:\s*[/;|&]\s*[-+]?\d+(?:[.,]\d+)?)+\s*")  # "7,33 / 4,21"
_SEVERAL = 'one number a cell: readings in two standards stand in two columns, for example "as found pH 7.00" and "as found pH 4.01"'
# A serial number in running text has a digit in it.
_NEW_SERIAL = re.compile(
    r"(?:new|neue?r?|nuevo|nueva|nouveau|nouvelle|novo|by|durch|por|par)\s+(?:s/?n|serial|ser\.?|nr\.?|probe|sonde|sensor)?\W*"
    r"((?=[\w-]*\d)[A-Za-z0-9][\w-]{1,})", re.IGNORECASE,
)  # fmt: skip
_OLD_SERIAL = re.compile(
    r"(?:old|alte?r?|viejo|ancien(?:ne)?|velho)\s+(?:s/?n|serial|ser\.?|nr\.?|probe|sonde|sensor)?\W*"
    r"((?=[\w-]*\d)[A-Za-z0-9][\w-]{1,})", re.IGNORECASE,
)  # fmt: skip


def _tells_more(said: str) -> bool:
    """Whether the cell of the action says more than which action it was: a reason, a figure, a name."""
    return len(said.split()) > 3 or bool(re.search(r"\d[.,]\d|%", said))


def _slot(meaning: Meaning) -> str:
    if meaning.fixed:
        return f"={meaning.fixed.label}" if math.isnan(meaning.fixed.value) else f"={meaning.fixed.value:g}"
    return f"#{meaning.index}"


def _against_sample(facts: Facts) -> None:
    """Name the one standard of a row a sample; two standards are buffers, wherever the work was done."""
    slots = [slot for part in facts.parts.values() for slot in part.slots.values() if slot.standard]
    if len({slot.standard.value for slot in slots if slot.standard}) == 1:
        for slot in slots:
            if slot.standard and _nameless(slot.standard):
                slot.standard = replace(slot.standard, label="sample")


def _nameless(standard: Standard) -> bool:
    """Whether a standard was written as a figure alone, with no word that says what it is."""
    return not re.search(r"[^\W\d_]{2,}", standard.label)
