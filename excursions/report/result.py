"""What a scan found, as plain objects: the only thing tables, terminal and pages are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from excursions.clock import TimeArray
from excursions.conclusions import AuditFinding, Due, HeatTally, Lesson, NoiseBeside
from excursions.conclusions import Levels as Levels
from excursions.plant import Plant, Point
from excursions.records import (
    Calibration,
    Decision,
    Doubt,
    Event,
    FloatArray,
    Limit,
    Link,
    Sampling,
    Shift,
    StateLine,
)
from excursions.records import (
    LabSample as LabSample,
)

VERDICTS = ("do not use", "doubt", "cannot tell", "trust")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A series thinned for a page without losing an extreme; NaN breaks the line at gaps and bad values.

    time (n,) int64 ns; value (n,) float64 in `unit`; samples: how many there were before thinning.
    """

    name: str
    unit: str
    time: TimeArray
    value: FloatArray
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PointFindings:
    """One point after condition, states and detect: small enough to send between processes.

    limits: what each detector would miss on this record; heat: hours and ageing by day and band, from every sample;
    exported_unit: of the reading, as register or export states it; empty where neither does.
    """

    point: Point
    start: int
    end: int
    samples: int
    events: tuple[Event, ...]
    states: StateLine
    sampling: dict[str, Sampling]
    traces: dict[str, Trace]
    levels: Levels
    decisions: tuple[Decision, ...] = ()
    limits: tuple[Limit, ...] = ()
    heat: HeatTally = field(default_factory=HeatTally)
    noise_beside: NoiseBeside = field(default_factory=NoiseBeside)
    exported_unit: str = ""

    @property
    def unit(self) -> str:
        """Unit of the values of this point."""
        trace = self.traces.get("value")
        return trace.unit if trace else self.point.quantity.unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer for one point: first the sentence, then since when, how wrong and what to do.

    verdict: one of VERDICTS; rank_score: larger is worse (order of the overview); since: ns or None;
    error, error_band: how wrong now, canonical unit, NaN when unknown; event: id of the leading event;
    about: since is a guess to the day, no instant that the record marks;
    worn: which calibration parameter was last left outside its limits, so that the probe is to be replaced, or empty.
    ended: end of a record that ends well before the plant's, ns, or None.
    """

    point: str
    verdict: str
    sentence: str
    since: int | None
    advice: str
    caution: str
    rank_score: float
    error: float = float("nan")
    error_band: float = float("nan")
    event: str = ""
    knowledge: str = ""
    reasons: tuple[str, ...] = ()
    worn: str = ""
    about: bool = False
    ended: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing that is different from the run before.

    change : new | worse | better | gone; what : point | verdict | error | event; event : id, kind and start [ns]
    of the event, empty and 0 for points; before, after : verdicts or errors, where there are both.
    """

    change: str
    what: str
    point: str
    event: str = ""
    kind: str = ""
    start: int = 0
    before: str = ""
    after: str = ""
    sentence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What changed since the run whose report lay in the folder; `problem` says why it could not be compared."""

    run: str
    record_end: int
    changes: tuple[Change, ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """What a person wrote on an event; act : note | close; written : ns."""

    act: str
    written: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanResult:
    """Everything one scan found.

    audit: what the calibration log says that the record does not bear out; lessons: what the plant's record
    teaches about heat and age; due: next calibrations; outcomes: event id -> (what became of it, a sentence); remarks: event
    id -> what people wrote on it, oldest first; comparison: with the
    run before in the same folder, None without one; run: the content of run.json (inputs, counts,
    settings, versions).
    """

    plant: Plant
    points: tuple[PointFindings, ...]
    verdicts: tuple[Verdict, ...]
    calibrations: tuple[Calibration, ...] = ()
    shifts: tuple[Shift, ...] = ()
    links: tuple[Link, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    samples: tuple[LabSample, ...] = ()
    audit: tuple[AuditFinding, ...] = ()
    lessons: tuple[Lesson, ...] = ()
    due: tuple[Due, ...] = ()
    decisions: tuple[Decision, ...] = ()
    outcomes: dict[str, tuple[str, str]] = field(default_factory=dict)
    remarks: Mapping[str, tuple[Remark, ...]] = field(default_factory=dict)
    comparison: Comparison | None = None
    run: dict[str, object] = field(default_factory=dict)

    @property
    def told_doubts(self) -> tuple[Doubt, ...]:
        """The windows of doubt that are large enough to matter (:mod:`excursions.report.telling`)."""
        return tuple(doubt for doubt in self.doubts if not doubt.too_small)

    @property
    def past_doubts(self) -> tuple[Doubt, ...]:
        """Those of them that are over: a calibration closed them, or the verdict trusts the reading again."""
        trusted = {verdict.point for verdict in self.verdicts if verdict.verdict == "trust"}
        return tuple(d for d in self.told_doubts if not d.open_end or d.point in trusted)
