"""Signals as files gave them and as the house conditioned them, their states, and all that a detector sees of a point."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from excursions.clock import TimeArray
from excursions.once import Once
from excursions.plant import Plant, Point

FloatArray = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
IndexArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

GOOD, UNCERTAIN, BAD = 0, 1, 2


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

    @property
    def on_change(self) -> bool:
        """Whether a sample is kept only when the reading moved."""
        return self.kind in ("exception", "swinging")

    @property
    def moving_s(self) -> float:
        """How far apart samples stand while the reading moves [s]: what is kept on change is silent only while nothing does."""
        return self.shortest_s if self.on_change and math.isfinite(self.shortest_s) else self.interval_s


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
    none was seen in any; rests: labels of those in which only a probe far off may have been; helped (m,) float64: log odds that an entry of a log added to each span's confidence (infinite where nobody would have looked without one), or empty
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
    def unit(self) -> str:
        """Unit of the reading; empty without one."""
        return self.value.unit if self.value is not None else ""

    @property
    def change_unit(self) -> str:
        """Unit of a change of the reading: its own, ``K`` for degC; empty without a reading."""
        return "K" if self.unit == "degC" else self.unit

    def probe_at(self, time: int) -> str:
        """Serial number of the probe that sat at the point at an instant [ns]; empty where nobody says."""
        return self.plant.probe_at(self.point.name, time) or ""
