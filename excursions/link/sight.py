"""One point as its audit looks at it: entries, traces, what each entry belongs to, and what could hide a trace."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from excursions.clock import NS_PER_MINUTE
from excursions.conclusions import AuditFinding, Levels
from excursions.digits import written
from excursions.link.traces import Traces
from excursions.plant import Plant, Point
from excursions.records import Calibration, Sampling

_DEAD_PERCENT = 30.0  # of a new probe's slope (cp)
_COARSE_S = 300.0  # sampling slower than this may miss a plateau of a few minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one point is judged by.

    matched : calibration id -> index of its piece of work; kept : ids of adjustments that the reading does not show; coarse :
    sampled too slowly for a missing trace to say anything; on_change : a value that stands still is not recorded
    """

    point: Point
    plant: Plant
    mine: Sequence[Calibration]
    traces: Traces
    matched: Mapping[str, int]
    line: Levels
    hides: tuple[str, ...]
    coarse: bool
    on_change: bool
    tz: ZoneInfo
    kept: frozenset[str] = field(default_factory=frozenset)

    def finding(
        self,
        kind: str,
        of: Calibration,
        sentence: str,
        *,
        span: tuple[int, int] | None = None,
        hides: tuple[str, ...],
    ) -> AuditFinding:
        """A finding of the audit about a calibration; `span` [ns] is its own moment where none is given."""
        start, end = span or (of.time, of.time)
        return AuditFinding(
            point=self.point.name, probe=of.probe, kind=kind, start=start, end=end, sentence=sentence,
            could_hide=hides, calibration=of.id,
        )  # fmt: skip


def tells_nothing(calibration: Calibration) -> bool:
    """Whether a probe was found without a slope to speak of: broken glass reads the same in every standard."""
    slope = calibration.as_found.get("slope")
    return slope is not None and slope.unit == "%" and slope.value < _DEAD_PERCENT


def coarse(value: Sampling | None) -> bool:
    """Whether an export is too sparse to hold a missing trace against an entry: the stated limit of this audit."""
    return value is not None and (value.moving_s > _COARSE_S or value.kind in ("averages", "interpolated"))


def could_hide(point: Point, sampling: Mapping[str, Sampling]) -> tuple[str, ...]:
    """What could hide a trace in this export."""
    value = sampling.get("value")
    made = []
    if value is not None and value.moving_s > _COARSE_S:
        made.append(
            f"a sample every {value.moving_s / (NS_PER_MINUTE / 1e9):.0f} min can miss a short plateau"
        )
    if value is not None and value.kind in ("averages", "interpolated"):
        made.append(
            f"the export holds {value.kind.replace('interpolated', 'interpolated values')}, which smooth plateaus"
        )
    if value is not None and value.deadband > 0:
        made.append(
            f"changes below {written(value.deadband)} {point.quantity.unit} were not recorded".rstrip()
        )
    if not point.temperature or "temperature" not in sampling:
        made.append("no temperature signal, so the walk to ambient does not show")
    made.append("a frozen output (hold) during the work, or a calibration in the workshop")
    return tuple(made)
