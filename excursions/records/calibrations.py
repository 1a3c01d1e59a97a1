"""What people wrote down of calibrations and samples, and what was worked out of it: parameters, shifts, their causes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from excursions.records.events import short_id


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardReading:
    """One buffer, standard, air or sample as the calibration saw it.

    standard: its true value as entered (nominal, at 25 degC for buffers), unit `standard_unit`;
    raw: what the probe gave, unit `raw_unit` (``mV``, ``nA``, ``uS``, ``deg``, or the reading's own unit);
    temperature_degc: NaN when not entered.
    """

    standard: float
    raw: float
    standard_unit: str = ""
    raw_unit: str = ""
    temperature_degc: float = float("nan")
    label: str = ""


# Units in which figures of a log are entered where their name states none; others are in the reading's unit, offset in mV.
FIGURE_UNITS = {"slope": "%", "second_slope": "%", "zero_point": "pH", "cell_constant": "1/cm", "gain": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationEntry:
    """One row (or pair of rows) of a calibration log, as entered.

    phase: ``as_found`` or ``as_left``; phase_said: whether the log says so, else it is taken; action: ``calibration`` (parameters taken over), ``verification``, or
    ``cleaning`` (a row of its own without values);
    figures: parameters as entered, by the names of the measurand table (slope in %, zero_point in pH,
    offset in mV, cell_constant in 1/cm, zero and span in the reading's unit, gain as a ratio).
    """

    time: int
    file: str
    line: int
    point: str = ""
    probe: str = ""
    phase: str = "as_left"
    phase_said: bool = False
    action: str = "calibration"
    standards: tuple[StandardReading, ...] = ()
    figures: dict[str, float] = field(default_factory=dict)
    air_pressure_kpa: float = float("nan")
    salinity: float = 0.0
    comment: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabSample:
    """One laboratory (grab) sample.

    As read: point or tag and unit as written.  After the pipeline has placed it: name of the point, value in
    its canonical unit.  line: of the file it was read from, 0 where it was not.
    """

    point: str
    time: int
    value: float
    unit: str = ""
    comment: str = ""
    line: int = 0


# Basis of a parameter as found that nobody entered: the reading moved as it does where it was what was left.
SHOWN = "shown by the reading"


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """One calibration parameter: value and standard uncertainty in `unit`, and where it came from (`computed`, `entered`)."""

    value: float
    uncertainty: float
    unit: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """One calibration of one probe: parameters before any adjustment and after it, and what its checks say.

    found_clean: found again after a cleaning and before any adjustment, where somebody looked;
    copied: the entry repeats the one before it to the last digit, so it is no evidence of a measurement;
    standards: as entered, of the first row that has any.
    """

    time: int
    point: str
    probe: str
    measurand: str
    action: str
    as_found: dict[str, Parameter] = field(default_factory=dict)
    as_left: dict[str, Parameter] = field(default_factory=dict)
    found_clean: dict[str, Parameter] = field(default_factory=dict)
    checks: tuple[str, ...] = ()
    comment: str = ""
    copied: bool = False
    standards: tuple[StandardReading, ...] = ()

    @property
    def id(self) -> str:
        """Short stable identity."""
        return short_id("calibration", self.point, self.probe, self.time)

    @property
    def left_only(self) -> bool:
        """Whether it says what was left and nothing of what was found: it cannot tell what events before it did."""
        return not self.as_found and any(p.basis != "kept" for p in self.as_left.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What changed in one parameter between two calibrations of the same probe.

    before: as left at `start`; after: as found at `end`; change = after - before, standard uncertainty
    `uncertainty`; z = change / uncertainty; significant at the stated level; reading_error: what the
    shift does to the reading at the level the process sat at before `end`, canonical unit; taken_off: the part of it
    that a cleaning took off again, NaN where nobody looked; chosen: known only because it was large enough to show in the
    reading, so that it says nothing of how large shifts usually are.
    """

    probe: str
    point: str
    measurand: str
    parameter: str
    unit: str
    start: int
    end: int
    before: float
    after: float
    uncertainty: float
    p_value: float
    significant: bool
    reading_error: float = float("nan")
    reading_error_uncertainty: float = float("nan")
    taken_off: float = float("nan")
    chosen: bool = False

    @property
    def coated(self) -> bool:
        """Whether it was a coating for the greater part: a cleaning took it off."""
        share = self.taken_off * math.copysign(1.0, self.change)
        return self.significant and 2.0 * share >= abs(self.change)

    @property
    def change(self) -> float:
        """After minus before."""
        return self.after - self.before

    @property
    def id(self) -> str:
        """Short stable identity."""
        return short_id("shift", self.probe, self.parameter, self.start, self.end)


# Cause of a shift that the calibration at one of its ends made by itself.
MISJUDGED = "calibration"


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One candidate cause of one shift; the probabilities of a shift's links sum to one.

    cause: ``event`` | ``ageing`` | ``unrecorded`` | ``calibration`` (one at either end was itself off); event: id when the cause
    is an event, else empty.
    """

    shift: str
    cause: str
    event: str
    probability: float
    rank: int
    predicted: float
    predicted_uncertainty: float
    reasons: tuple[str, ...] = ()
