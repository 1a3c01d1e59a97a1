"""What later rooms conclude from events and calibrations, as plain values that tables and pages can show."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from excursions.clock import NS_PER_DAY, TimeArray
from excursions.records import FloatArray, short_id

# What an audit may find: kind -> (one, several); what it cannot tell is counted nowhere.
AUDIT_KINDS = {
    "no trace": ("calibration without a trace", "calibrations without a trace"),
    "no entry": ("trace of a calibration without an entry", "traces of calibrations without an entry"),
    "other plateaus": (
        "entry with other standards than the record shows",
        "entries with other standards than the record shows",
    ),
    "not taken over": (
        "adjustment that the reading does not show",
        "adjustments that the reading does not show",
    ),
    "other temperature": (
        "entry with its standards at another temperature than the record shows",
        "entries with their standards at another temperature than the record shows",
    ),
    "other clock": ("point whose log follows another clock", "points whose logs follow another clock"),
    "copied": ("entry with copied figures", "entries with copied figures"),
    "overdue": ("calibration overdue", "calibrations overdue"),
    "cannot tell": ("", ""),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Hourly medians of the measuring state: where the process sat.  value, temperature NaN where unknown."""

    time: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    value: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    temperature: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))


BESIDE = NS_PER_DAY  # before and after heat, in which reading and noise are looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseBeside:
    """Median noise in the day before and the day after begins and ends of what got hot (unit of the point, NaN where unknown).

    time (n,) strictly increasing instants ns; before, after (n,).
    """

    time: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    before: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    after: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))

    def around(self, start: int, end: int) -> tuple[float, float]:
        """Noise before `start` and after `end` [ns]; NaN for an instant beside which none was looked for."""
        return self._at(self.before, start), self._at(self.after, end)

    def _at(self, noise: FloatArray, instant: int) -> float:
        place = int(np.searchsorted(self.time, instant))
        return float(noise[place]) if place < self.time.size and self.time[place] == instant else math.nan


DOSE_REFERENCE_DEGC = 100.0  # ageing is kept as hours at this temperature; a dose at a rating follows from it


def _none() -> FloatArray:
    return np.empty((0, 0), np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatTally:
    """Heat of a point by UTC day (a day of a logged swap in two rows) and band, from every sample of the record.

    start, end (n,) ns, inside the record; edges_degc (k,) between bands: the ratings that hold here and fixed ones; hours (n, k + 1) in
    each band; ageing_h (n, k + 1) hours at `DOSE_REFERENCE_DEGC` by Q10 = 2; peak_degc, peak_time (n,) highest sample.
    """

    start: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    end: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    edges_degc: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    hours: FloatArray = field(default_factory=_none)
    ageing_h: FloatArray = field(default_factory=_none)
    peak_degc: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    peak_time: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFinding:
    """One thing in the calibration history that the record does not bear out.

    kind : one of `AUDIT_KINDS`; start, end : where it was looked for or seen (ns); sentence : what the record shows;
    could_hide : what could hide a trace in this export; calibration : id, empty when there is no entry.
    """

    point: str
    probe: str
    kind: str
    start: int
    end: int
    sentence: str
    could_hide: tuple[str, ...] = ()
    calibration: str = ""

    @property
    def id(self) -> str:
        """Short stable identity."""
        return short_id("audit", self.point, self.kind, self.start)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficient:
    """Change of the parameter for one unit of a term, with its confidence interval, in the parameter's unit."""

    term: str
    value: float
    low: float
    high: float
    error: float
    exposed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """What the record teaches of one kind; without coefficients when it is not enough, and then says why."""

    measurand: str
    parameter: str
    unit: str
    model: str
    shifts: int
    probes: int
    coefficients: tuple[Coefficient, ...] = ()
    sentence: str = ""

    @property
    def enough(self) -> bool:
        """Whether anything could be estimated."""
        return bool(self.coefficients)


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Dates for one probe (ns UTC; None where there is no telling).

    last : last calibration that was no copy; planned : by the plan; staircase : by the last results;
    limit, limit_early, limit_late : when the parameter that ends first reaches its limit, with a 90 % interval (None for
    late: not foreseeable); parameter : that parameter; sentence : the answer in words.
    """

    point: str
    probe: str
    last: int
    planned: int | None
    staircase: int | None
    staircase_days: float
    limit: int | None
    limit_early: int | None
    limit_late: int | None
    parameter: str
    sentence: str
