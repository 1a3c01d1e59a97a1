"""What one row of a calibration log says, before rows are put together to entries."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from excursions.read.logs.cells import Row
from excursions.read.logs.standards import Standard

# Kinds of columns whose cells are numbers.
OF_NUMBERS = ("figure", "raw", "temperature", "air_pressure", "altitude", "salinity", "value", "deviation")
# Units that a reading of a standard may stand in, and take from the standard where nobody says.
READS_IN = ("uS/cm", "mS/cm", "S/m", "NTU", "FNU", "mg/L", "%sat", "mV", "ntu")


@dataclass(slots=True)
class Slot:
    """What a row says of one standard."""

    standard: Standard | None = None
    raw: float = math.nan
    raw_unit: str = ""
    temperature: float = math.nan
    deviation: float = math.nan


@dataclass(slots=True)
class Part:
    """What a row says of one phase (as found, as left, or neither): figures and standards by slot."""

    figures: dict[str, float] = field(default_factory=dict)
    slots: dict[str, Slot] = field(default_factory=dict)

    def slot(self, name: str) -> Slot:
        """The slot of a standard, made at the first asking."""
        return self.slots.setdefault(name, Slot())

    @property
    def filled(self) -> bool:
        """Whether it holds a figure or a raw value."""
        return bool(self.figures) or any(math.isfinite(slot.raw) for slot in self.slots.values())


@dataclass(slots=True)
class Facts:
    """One row of a log, understood; `parts` by phase, the empty phase where the row names none; `remarked`: the phase
    a remark says; `other`: whether the row names a quantity that is not pH."""

    row: Row
    time: int | None = None
    point: str = ""
    probe: str = ""
    old_probe: str = ""
    model: str = ""
    action: str = ""
    said: str = ""
    phase: str = ""
    remarked: str = ""
    measurand: str = ""
    comment: str = ""
    air_pressure_kpa: float = math.nan
    altitude_m: float = math.nan
    salinity: float = 0.0
    other: bool = False
    parts: dict[str, Part] = field(default_factory=dict)

    def part(self, phase: str) -> Part:
        """The part of a phase, made at the first asking."""
        return self.parts.setdefault(phase, Part())

    @property
    def row_kind(self) -> str:
        """``part`` for a row with one standard, perhaps beside the figures of all, or with one figure: several make a calibration."""
        of_standard = any(part.slots for part in self.parts.values())
        whole = any(
            set(part.slots) - {"#0"} or (len(part.figures) > 1 and not of_standard)
            for part in self.parts.values()
        )
        return "" if whole or not self.measured else "part"

    @property
    def deviates(self) -> bool:
        """Whether the row gives a deviation and no standard that it is from."""
        slots = [slot for part in self.parts.values() for slot in part.slots.values()]
        return any(math.isfinite(slot.deviation) and math.isnan(slot.raw) for slot in slots)

    @property
    def in_per_cent(self) -> bool:
        """Whether its deviations are in per cent and one of them stands beside a standard."""
        slots = [slot for part in self.parts.values() for slot in part.slots.values()]
        return any(slot.standard for slot in slots) and any(
            slot.raw_unit == "%" and math.isfinite(slot.deviation) for slot in slots
        )

    @property
    def unplaced(self) -> int:
        """How many readings of the row stand beside no standard, so that nobody knows what they should have been."""
        shared = self.parts.get("", Part()).slots
        return sum(
            math.isfinite(slot.raw) and slot.standard is None and shared.get(name, Slot()).standard is None
            for part in self.parts.values() for name, slot in part.slots.items()
        )  # fmt: skip

    @property
    def nowhere(self) -> bool:
        """Whether readings beside no standard are all that the row holds."""
        read = sum(math.isfinite(slot.raw) for part in self.parts.values() for slot in part.slots.values())
        return 0 < read == self.unplaced and not any(part.figures for part in self.parts.values())

    @property
    def measured(self) -> bool:
        """Whether any figure or raw value stands in the row."""
        return any(part.filled for part in self.parts.values())
