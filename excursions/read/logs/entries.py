"""Rows of a calibration log to facts, and facts of neighbouring rows to one entry."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from excursions.clock import NS_PER_HOUR
from excursions.errors import ExcursionsError, InputFileError
from excursions.physics.oxygen import air_pressure_kpa as air_at_altitude_kpa
from excursions.read.logs.actions import (
    CLEANED,
    action_of,
    is_against_sample,
    is_of_test,
    phase_in,
    phase_of,
    says_sample,
)
from excursions.read.logs.cells import Row
from excursions.read.logs.electrodes import of_ph
from excursions.read.logs.facts import Facts, Part, Slot
from excursions.read.logs.figures import (
    air_pressure_kpa,
    altitude_m,
    degc,
    figure_of,
    salinity_of,
    unit_of_column,
)
from excursions.read.logs.headers import FOUND, LEFT, Meaning, fold, is_unit, meaning_of
from excursions.read.logs.spelling import serial_of, spelt
from excursions.read.logs.spoken import figures_in
from excursions.read.logs.standards import Standard, standard_of
from excursions.read.logs.table import LogTable
from excursions.read.text.numbers import is_nothing, number_of
from excursions.records import CalibrationEntry, StandardReading

_ONE_CALIBRATION = 2 * NS_PER_HOUR  # rows of one standard each, further apart than this, are two calibrations
_OWN_UNIT_WITHIN = 1.5  # a reading this near its pH buffer is a pH, not a voltage


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
        )
        grab = is_against_sample(said) or says_sample(facts.comment)
        facts.remarked = "" if facts.phase else phase_in(facts.comment)
        facts.phase = facts.phase or facts.remarked
        for at, meaning in enumerate(table.meanings):
            cell = row.cells[at] if at < len(row.cells) else ""
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
        if _tells_more(said):
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
        parts = [
            row.cells[at] for at in self.table.columns("comment") if at < len(row.cells) and row.cells[at]
        ]
        parts += [
            f"result: {row.cells[at]}"
            for at in self.table.columns("result")
            if at < len(row.cells) and row.cells[at]
        ]
        return "; ".join(parts)

    def _take(self, facts: Facts, at: int, meaning: Meaning, cell: str) -> None:
        phase = meaning.phase or facts.phase
        if meaning.kind == "standard":
            self._standard(facts, at, meaning, cell, phase)
        elif meaning.kind in (
            "figure",
            "raw",
            "temperature",
            "air_pressure",
            "altitude",
            "salinity",
            "value",
            "deviation",
        ):
            number = number_of(cell, comma=self.comma)
            if number is None:
                self._fault(facts.row, at, cell, "a number")
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
        return unit if unit in _READINGS else ""

    def _number(self, facts: Facts, at: int, meaning: Meaning, value: float, behind: str, phase: str) -> None:
        told = behind.replace(" ", "") if behind.strip("- ") and is_unit(behind) else ""
        unit = told or self.units.get(at, meaning.unit) or behind  # a cell may have a unit of its own
        if meaning.kind == "figure":
            own = told or self._own_unit(facts.row, meaning.figure) or unit
            guessed = own == "ph" and meaning.figure == "offset" and not meaning.unit
            if guessed and not of_ph(self.table, facts.row):
                own = (
                    behind  # the column holds zero points of pH electrodes, and this row is of another probe
                )
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
                cell = row.cells[at] if at < len(row.cells) else ""
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
            if math.isfinite(slot.deviation) and standard is not None and math.isfinite(standard.value):
                slot.raw, slot.standard = round(standard.value + slot.deviation, 9), standard
                slot.raw_unit = slot.raw_unit or standard.unit


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


def merge(rows: Sequence[Facts]) -> list[Facts]:
    """Join neighbouring rows that each hold one standard or one figure of the same calibration."""
    joined: list[Facts] = []
    kinds: list[str] = []
    count = 0
    for facts in rows:
        kind = facts.row_kind
        if joined and kind == kinds[-1] == "part" and _belongs(joined[-1], facts):
            count += 1
            _join(joined[-1], facts, count)
        else:
            joined.append(facts)
            kinds.append(kind)
    return joined


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


def _belongs(first: Facts, facts: Facts) -> bool:
    """Whether a row goes on with the calibration of the rows before: same names, soon after, nothing said twice."""
    same = ("point", "probe", "action", "phase")
    if any(getattr(first, key) != getattr(facts, key) for key in same) or set(first.parts) != set(
        facts.parts
    ):
        return False
    if first.time is None or facts.time is None or not 0 <= facts.time - first.time <= _ONE_CALIBRATION:
        return False
    return all(_adds(first.parts[phase], part) for phase, part in facts.parts.items())


def _adds(first: Part, part: Part) -> bool:
    return first.figures.keys().isdisjoint(part.figures) and _standards(first).isdisjoint(_standards(part))


def _standards(part: Part) -> set[tuple[str, str, str]]:
    slots = [slot.standard for slot in part.slots.values() if slot.standard]
    return {(f"{standard.value:g}", standard.unit, standard.label) for standard in slots}


def _join(first: Facts, facts: Facts, count: int) -> None:
    for phase, part in facts.parts.items():
        mine = first.part(phase)
        mine.figures |= {name: value for name, value in part.figures.items() if name not in mine.figures}
        for name, slot in part.slots.items():
            mine.slots[f"{name}+{count}"] = slot
    if facts.comment and facts.comment not in first.comment:
        first.comment = "; ".join(text for text in (first.comment, facts.comment) if text)


def _air_kpa(facts: Facts) -> float:
    """Air pressure as entered, else the mean one of the altitude entered; NaN without either."""
    mean = air_at_altitude_kpa(facts.altitude_m) if math.isfinite(facts.altitude_m) else math.nan
    return facts.air_pressure_kpa if math.isfinite(facts.air_pressure_kpa) else mean


def entries_of(facts: Facts, file: str) -> list[CalibrationEntry]:
    """One entry a phase; found again after cleaning is as found too.

    What a row says of no phase belongs to as left; standards and temperatures named once belong to each phase.  What the
    reading was when a sample was taken, it was before it was set to the laboratory's value.
    """
    if facts.time is None:
        return []
    action = "verification" if facts.action == "verification" else "calibration"
    parts = dict(facts.parts)
    shared = parts.pop("", Part())
    said = {facts.phase, *parts}
    if not parts or shared.filled:
        if not facts.phase and _left_too(shared, parts):
            parts = {FOUND: Part(slots=shared.slots)} | parts
            kept = {name: replace(slot, raw=math.nan) for name, slot in shared.slots.items()}
            shared = Part(figures=shared.figures, slots=kept)
        taken = {slot.standard.label for slot in shared.slots.values() if slot.standard} == {"sample"}
        default = facts.phase or ("as_found" if action == "verification" or taken else LEFT)
        parts = {default: Part()} | parts
        parts[default] = _over(parts[default], shared)
    base = CalibrationEntry(
        time=facts.time,
        file=file,
        line=facts.row.line,
        point=facts.point,
        probe=facts.probe,
        action=action,
        air_pressure_kpa=_air_kpa(facts),
        salinity=facts.salinity,
        comment=facts.comment,
    )
    made = [
        replace(
            base,
            phase=FOUND if phase == CLEANED else phase,
            phase_said=phase in said,
            figures=dict(part.figures),
            standards=_readings(part, shared),
        )
        for phase, part in sorted(parts.items())
    ]
    filled = [entry for entry in made if entry.figures or entry.standards]
    return filled or made[:1]


def _left_too(shared: Part, parts: Mapping[str, Part]) -> bool:
    """Whether a reading of no phase stands beside one as left of the same standard: then it is what was found."""
    read = {name for name, slot in shared.slots.items() if math.isfinite(slot.raw)}
    left = {name for name, slot in parts.get(LEFT, Part()).slots.items() if math.isfinite(slot.raw)}
    return bool(read & left) and FOUND not in parts


def _over(part: Part, shared: Part) -> Part:
    return Part(figures=shared.figures | part.figures, slots={**shared.slots, **part.slots})


def _readings(part: Part, shared: Part) -> tuple[StandardReading, ...]:
    """Standards with their raw values; nominal value and temperature come from the shared part where missing."""
    common = _common_temperature(part, shared)
    slots: list[Slot] = []
    for name, slot in part.slots.items():
        if math.isnan(slot.raw):
            continue
        twin = shared.slots.get(name, Slot())
        temperature = next(
            (t for t in (slot.temperature, twin.temperature, common) if math.isfinite(t)), math.nan
        )
        slots.append(replace(slot, standard=slot.standard or twin.standard, temperature=temperature))
    own = _in_own_unit(slots)
    return tuple(_reading(slot, own=own) for slot in slots if slot.standard)


def _common_temperature(part: Part, shared: Part) -> float:
    """One temperature column for all standards."""
    for source in (part, shared):
        slot = source.slots.get("#0")
        if slot and math.isnan(slot.raw) and math.isfinite(slot.temperature):
            return slot.temperature
    return math.nan


def _in_own_unit(slots: Sequence[Slot]) -> bool:
    """Whether raw values without a unit are readings in pH: each lies near its own buffer."""
    return all(
        slot.standard is not None and abs(slot.raw - slot.standard.value) <= _OWN_UNIT_WITHIN
        for slot in slots
    )


_READINGS = ("uS/cm", "mS/cm", "S/m", "NTU", "FNU", "mg/L", "%sat", "mV", "ntu")


def _reading(slot: Slot, *, own: bool) -> StandardReading:
    standard = slot.standard
    assert standard is not None
    unit, raw_unit = standard.unit, slot.raw_unit
    acid = unit in ("", "pH") and 0.0 <= standard.value <= 14.0 and standard.label not in ("zero", "air")
    if acid and (raw_unit in ("mV", "pH") or not raw_unit):
        unit, raw_unit = "pH", raw_unit or ("pH" if own else "mV")
    if not raw_unit and unit in _READINGS:
        raw_unit = unit  # a reading that nobody gave a unit stands in the unit of its standard
    return StandardReading(
        standard=standard.value,
        raw=slot.raw,
        standard_unit=unit,
        raw_unit=raw_unit,
        temperature_degc=slot.temperature,
        label=standard.label,
    )
