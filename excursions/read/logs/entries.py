"""Facts of neighbouring rows to one entry of a calibration, and an entry a phase."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from excursions.clock import NS_PER_HOUR
from excursions.physics.oxygen import air_pressure_kpa as air_at_altitude_kpa
from excursions.read.logs.actions import CLEANED
from excursions.read.logs.facts import READS_IN, Facts, Part, Slot
from excursions.read.logs.headers import FOUND, LEFT
from excursions.records import CalibrationEntry, StandardReading

_ONE_CALIBRATION = 2 * NS_PER_HOUR  # rows of one standard each, further apart than this, are two calibrations
_MOST_ACID = 14.0  # end of the scale of pH
OWN_UNIT_WITHIN = 1.5  # a reading this near its pH buffer is a pH, not a voltage


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


def _belongs(first: Facts, facts: Facts) -> bool:
    """Whether a row goes on with the calibration of the rows before: same names, soon after, nothing said twice."""
    same = ("point", "probe", "action", "phase")
    if any(getattr(first, key) != getattr(facts, key) for key in same) or set(first.parts) != set(
        facts.parts
    ):
        return False
    if first.time is None or facts.time is None or not 0 <= facts.time - first.time <= _ONE_CALIBRATION:
        return False
    of_standard = any(part.slots for part in facts.parts.values())
    return all(_adds(first.parts[phase], part, of_standard) for phase, part in facts.parts.items())


def _adds(first: Part, part: Part, of_standard: bool) -> bool:
    """Whether a part of a row says nothing twice; on the row of each standard the same figures may stand again."""
    again = first.figures.keys() & part.figures.keys()
    repeated = of_standard and all(first.figures[name] == part.figures[name] for name in again)
    return (not again or repeated) and _standards(first).isdisjoint(_standards(part))


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
            standards=_readings(part, shared, other=facts.other),
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


def _readings(part: Part, shared: Part, *, other: bool) -> tuple[StandardReading, ...]:
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
    own, acid = _in_own_unit(slots), not other and all(map(_may_be_buffer, slots))
    return tuple(_reading(slot, own=own, acid=acid) for slot in slots if slot.standard)


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
        slot.standard is not None and abs(slot.raw - slot.standard.value) <= OWN_UNIT_WITHIN for slot in slots
    )


def _may_be_buffer(slot: Slot) -> bool:
    """Whether a standard may be a buffer; one that is none tells that those beside it, which have no unit, are none."""
    standard = slot.standard
    if standard is None:
        return True
    return standard.unit in ("", "pH") and not (standard.value < 0.0 or standard.value > _MOST_ACID)


def _reading(slot: Slot, *, own: bool, acid: bool) -> StandardReading:
    standard = slot.standard
    assert standard is not None
    unit, raw_unit = standard.unit, slot.raw_unit
    buffer = 0.0 <= standard.value <= _MOST_ACID and standard.label not in ("zero", "air")
    if buffer and (unit == "pH" or (acid and not unit)) and (raw_unit in ("mV", "pH") or not raw_unit):
        # Far from a standard whose unit nobody gave stands a voltage if that is a buffer, which the measurand will tell.
        raw_unit = raw_unit or ("pH" if own else "mV" if unit else "")
        unit = "pH"
    if not raw_unit and unit in READS_IN:
        raw_unit = unit  # a reading that nobody gave a unit stands in the unit of its standard
    return StandardReading(
        standard=standard.value,
        raw=slot.raw,
        standard_unit=unit,
        raw_unit=raw_unit,
        temperature_degc=slot.temperature,
        label=standard.label,
    )
