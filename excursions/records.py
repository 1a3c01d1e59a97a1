"""What crosses the rooms: tag series, signals, states, events, calibrations, shifts, links, doubt.

Plain frozen dataclasses over numpy arrays.  Times are int64 nanoseconds UTC; values are float64 in the
canonical unit of their measurand (temperature in degC), NaN where missing; spans are half-open.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from excursions.clock import TimeArray
from excursions.kinds import SEVERITIES
from excursions.once import Once
from excursions.plant import Plant, Point

FloatArray = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
IndexArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

GOOD, UNCERTAIN, BAD = 0, 1, 2

SEVERITY_RANK = {severity: rank for rank, severity in enumerate(SEVERITIES)}

# --- read -> condition ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class TagSeries:
    """One tag as it stood in the files: file order, not sorted, not deduplicated, unit as written.

    time (n,) int64 ns UTC; value (n,) float64, NaN where no number; quality (n,) uint8 (0 good,
    1 uncertain, 2 bad); unit, description as found in the files or empty.
    """

    tag: str
    time: TimeArray
    value: FloatArray
    quality: ByteArray
    unit: str = ""
    description: str = ""
    files: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Something that was inferred or assumed, in words a user can check and overrule.

    subject: file, tag or point; what: the decision; why: the evidence; option: what would change it.
    """

    subject: str
    what: str
    why: str
    option: str = ""


# --- condition -> detect -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """How a signal was recorded, measured from the record itself.

    kind : ``grid`` | ``exception`` | ``swinging`` | ``averages`` | ``interpolated`` | ``sparse``
    interval_s : median interval between samples [s]
    heartbeat_s : longest silence the recorder allows itself [s], NaN when it shows none
    gap_s : silence longer than this [s] is missing data, not quiet
    resolution : smallest step between different values, signal's unit; 0 when continuous
    deadband : change below this is not recorded, signal's unit; 0 when every sample is kept
    longest_silence_s : longest interval between samples [s]; longest_silence_at : when it begins (ns)
    shortest_s : interval that one in a hundred is shorter than [s]: how fast the recorder can be
    share_bad : share of samples of bad quality
    bridged, bridged_longest_s : how many stretches an export drew across missing data, and the longest [s]
    flat_usual_s : 99 of 100 stretches without a change are shorter than this [s]; NaN when there are none
    extreme : ``greatest`` or ``least`` where each value is that of its interval, else empty
    sure : False where the record could as well have been kept by another rule (`why` says which)
    why : what in the record shows the kind, in words
    """

    kind: str = "grid"
    interval_s: float = float("nan")
    heartbeat_s: float = float("nan")
    gap_s: float = float("nan")
    resolution: float = 0.0
    deadband: float = 0.0
    longest_silence_s: float = 0.0
    share_bad: float = 0.0
    longest_silence_at: int = 0
    shortest_s: float = float("nan")
    bridged: int = 0
    bridged_longest_s: float = 0.0
    flat_usual_s: float = float("nan")
    extreme: str = ""
    sure: bool = True
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One conditioned signal: strictly increasing times, canonical unit, bad values NaN.

    time (n,), value (n,), quality (n,); segments (k, 2) index ranges [from, to) without a gap between
    samples; bridged (b, 2) index ranges that an export drew across missing data; once: what several ask of it.
    """

    tag: str
    unit: str
    time: TimeArray
    value: FloatArray
    quality: ByteArray
    sampling: Sampling
    segments: IndexArray
    bridged: IndexArray
    once: Once = field(init=False, default_factory=Once, compare=False, repr=False)

    def __len__(self) -> int:
        return int(self.time.size)


STATES = ("measuring", "hold", "calibrating", "washing", "cleaning", "steaming", "recovering", "no_data")
MEASURING, HOLD, CALIBRATING, WASHING, CLEANING, STEAMING, RECOVERING, NO_DATA = range(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class StateLine:
    """The state time line of a point: contiguous half-open spans that cover its record.

    start, end (m,) int64 ns; code (m,) uint8, index into STATES; confidence (m,) float64 in 0..1;
    evidence: one short fact for each span; standards: labels of the standards seen in each span, or empty where
    none was seen in any; rests: labels of those in which only a probe far off may have been; helped (m,) float64: log odds that an entry of a log added to each span's confidence, or empty
    where none did; stood (m,) float64: temperature [degC] at which the probe came to rest out of the line, NaN where it did not, or
    empty where it did in no span.
    """

    start: TimeArray
    end: TimeArray
    code: ByteArray
    confidence: FloatArray
    evidence: tuple[str, ...]
    standards: tuple[tuple[str, ...], ...] = ()
    rests: tuple[tuple[str, ...], ...] = ()
    helped: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))
    stood: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))

    def stood_at(self, span: int) -> float:
        """Temperature [degC] at which the probe came to rest out of the line in one span; NaN where it did not."""
        return float(self.stood[span]) if self.stood.size else math.nan

    def helped_in(self, span: int) -> float:
        """Log odds that an entry of a log added to the confidence of one span."""
        return float(self.helped[span]) if self.helped.size else 0.0

    def standards_in(self, span: int) -> tuple[str, ...]:
        """Labels of the standards seen in one span."""
        return self.standards[span] if self.standards else ()

    def rests_in(self, span: int) -> tuple[str, ...]:
        """Labels of the standards in which a probe far off may have been in one span."""
        return self.rests[span] if self.rests else ()

    def at(self, time: TimeArray) -> ByteArray:
        """State code at each instant (NO_DATA outside the line)."""
        if self.start.size == 0:
            return np.full(time.shape, NO_DATA, dtype=np.uint8)
        index = np.searchsorted(self.start, time, side="right") - 1
        inside = (index >= 0) & (time < self.end[np.maximum(index, 0)])
        return np.where(inside, self.code[np.maximum(index, 0)], NO_DATA).astype(np.uint8)

    def mask(self, time: TimeArray, *codes: int) -> BoolArray:
        """Whether each instant of an ordered record (n,) lies in one of these states."""
        inside = np.zeros(time.size, dtype=np.bool_)
        for first, past in np.searchsorted(time, self.spans(*codes)):
            inside[first:past] = True
        return inside

    def spans(self, *codes: int) -> TimeArray:
        """Spans (k, 2) of these states, in time order."""
        wanted = np.zeros(len(STATES), dtype=np.bool_)
        wanted[list(codes)] = True
        keep = wanted[self.code]
        return np.column_stack([self.start[keep], self.end[keep]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """All that is known of one point, conditioned: what every detector sees.

    neighbours: value signals of related points, by point name; samples: laboratory samples (time ns,
    value in the canonical unit); ratings are looked up per instant through `plant`.
    """

    point: Point
    plant: Plant
    value: Signal | None
    temperature: Signal | None
    states: StateLine
    hold: Signal | None = None
    wash: Signal | None = None
    pressure: Signal | None = None
    neighbours: dict[str, Signal] = field(default_factory=dict)
    sample_time: TimeArray = field(default_factory=lambda: np.empty(0, np.int64))
    sample_value: FloatArray = field(default_factory=lambda: np.empty(0, np.float64))

    @property
    def change_unit(self) -> str:
        """Unit of a change of the reading: its own, ``K`` for degC; empty without a reading."""
        unit = self.value.unit if self.value is not None else ""
        return "K" if unit == "degC" else unit


# --- detect -> link -> report --------------------------------------------------------------------


RETURNED = "returned_after_s"  # detail of a change of level that went back by itself


# What became of an event after a calibration of which only what it left was entered, and the reading did not come back.
NOT_PUT_RIGHT = "not seen put right"


MOVED_TOO, MOVED_NOT, SHOWED_IT = "moved too", "did not move", "showed the error"
LABORATORY, TEMPERATURE = "laboratory samples", "the temperature"


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """What another source than the reading itself says of an event, weighed where the event began.

    source : a point's name, `TEMPERATURE` or `LABORATORY`; said : `MOVED_TOO`, `MOVED_NOT` or `SHOWED_IT`; words : the
    same as a fact of the event's evidence.
    """

    source: str
    said: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened, seen in one signal of one point.

    size (with size_low, size_high as its interval) in size_unit, meaning as the kind's row says;
    confidence: probability that kind and origin are right; severity: what it does to the reading;
    details: further figures by name with the unit in the name (``minutes_above_rating_min``);
    parts: ids of detections merged into this one; witnesses: which of the evidence another source gave.
    """

    point: str
    kind: str
    start: int
    end: int
    size: float
    size_unit: str
    confidence: float
    origin: str = "probe"
    severity: str = "check"
    probe: str = ""
    size_low: float = float("nan")
    size_high: float = float("nan")
    onset_uncertainty_s: float = 0.0
    open_start: bool = False
    open_end: bool = False
    evidence: tuple[str, ...] = ()
    details: dict[str, float] = field(default_factory=dict)
    parts: tuple[str, ...] = ()
    witnesses: tuple[Witness, ...] = ()

    @property
    def id(self) -> str:
        """Short stable identity: point, kind and onset; the same in every run over the same record."""
        return short_id(self.point, self.kind, self.start)

    @property
    def back_at(self) -> int | None:
        """When the reading was back by itself where it had been [ns]; None when it did not go back."""
        after = self.details.get(RETURNED)
        return None if after is None else self.start + round(after * 1e9)

    @property
    def went_back(self) -> bool:
        """Whether the reading was back by itself where it had been, so that nothing is left of it."""
        return RETURNED in self.details


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Smallest event of one kind that is found on this record with some certainty (about 98 in 100).

    size: in `unit`, measured as the kind says (ratios of noise: 2 is twice, 0.5 half as much), NaN where the
    record cannot show it; lasting_s: how long it must last for that [s], 0 when the length is the size or
    does not matter (stuck: the same limit for a reading that flickers or creeps); sentence: the same in words;
    at_once: smallest size where it comes from one sample to the next, NaN where that makes no difference.
    """

    kind: str
    size: float
    unit: str
    lasting_s: float
    sentence: str
    at_once: float = math.nan

    @property
    def is_stated(self) -> bool:
        """Whether this record can show the kind at all."""
        return math.isfinite(self.size) or math.isfinite(self.at_once)


def short_id(*parts: object) -> str:
    """Ten hexadecimal digits that depend on the parts alone."""
    text = "\x1f".join(str(part) for part in parts)
    return hashlib.blake2b(text.encode(), digest_size=5).hexdigest()


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
    shift does to the reading at the level the process sat at before `end`, canonical unit.
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

    @property
    def change(self) -> float:
        """After minus before."""
        return self.after - self.before

    @property
    def id(self) -> str:
        """Short stable identity."""
        return short_id("shift", self.probe, self.parameter, self.start, self.end)


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One candidate cause of one shift; the probabilities of a shift's links sum to one.

    cause: ``event`` | ``ageing`` | ``unrecorded``; event: id when the cause is an event, else empty.
    """

    shift: str
    cause: str
    event: str
    probability: float
    rank: int
    predicted: float
    predicted_uncertainty: float
    reasons: tuple[str, ...] = ()


# Basis of a window whose calibration found an error that no event in the record explains: spread evenly.
PRORATION = "linear proration (USGS TM 1-D3)"
# What a reason of such a window says where ordinary ageing is the likeliest cause.
AGED = "ordinary ageing explains it best"
# Basis of a window that rests on several events nobody verified, none of which leads.
UNVERIFIED = "events that nobody verified"
# Basis of a window that begins with an adjustment the reading never showed: it went on with the parameters before.
KEPT_BEFORE = "an adjustment that the reading does not show"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A window of readings not to be taken at face value.

    error(t) runs piecewise linearly through `knots` (k, 2): time ns, error in the canonical unit
    (reading minus truth); band is the half width of the 90 % band at each knot.  about: the start is where a
    gradual error is thought to have left the tolerance, to the hour, and no instant that the record marks.
    share: error at the end over the reading, where the error grows with the reading and the readings spread; else NaN.
    too_small: why nobody is told of it (`report.telling` decides), empty where it is told.
    """

    point: str
    probe: str
    start: int
    end: int
    open_end: bool
    knots: tuple[tuple[int, float], ...]
    band: tuple[float, ...]
    basis: str
    hours_out_of_tolerance: float
    event: str = ""
    reasons: tuple[str, ...] = ()
    about: bool = False
    share: float = math.nan
    too_small: str = ""
