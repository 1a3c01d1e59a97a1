"""The calibration parameters of a probe over time, and whether they say that it has had its day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from excursions.measurands import MEASURANDS, Accepted
from excursions.records import Calibration, Parameter
from excursions.report.wording import quantity

_ORDER = {"slope": 0, "zero_point": 1, "offset": 1, "zero": 2, "cell_constant": 0, "gain": 0, "span": 1}


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackPoint:
    """A parameter as one calibration left or found it."""

    time: int
    point: str
    phase: str
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One calibration parameter of a probe over time, with the limits it is accepted in (None: none in use)."""

    parameter: str
    unit: str
    limits: Accepted | None
    points: tuple[TrackPoint, ...]


def tracks_of(calibrations: Sequence[Calibration]) -> tuple[Track, ...]:
    """Every parameter over time: as found, then as left, of each calibration that is no copy."""
    rows: dict[tuple[str, str, str], list[TrackPoint]] = {}
    for c in sorted((c for c in calibrations if not c.copied), key=lambda c: c.time):
        for phase, parameters in (("as found", c.as_found), ("as left", c.as_left)):
            for name, p in parameters.items():
                if p.basis != "relative":
                    rows.setdefault((c.measurand, name, p.unit), []).append(_track_point(c, phase, p))
    return tuple(
        Track(
            parameter=name,
            unit=unit,
            limits=MEASURANDS[measurand].accepted.get((name, unit)),
            points=tuple(points),
        )
        for (measurand, name, unit), points in sorted(
            rows.items(), key=lambda item: (_ORDER.get(item[0][1], 9), item[0])
        )
    )


def _track_point(calibration: Calibration, phase: str, p: Parameter) -> TrackPoint:
    return TrackPoint(
        time=calibration.time, point=calibration.point, phase=phase, value=p.value, uncertainty=p.uncertainty
    )


def worn_out(tracks: Sequence[Track]) -> str:
    """Which parameter was last left outside its limits, in words; empty when none was."""
    for track in tracks:
        limits, last = track.limits, track.points[-1]
        if limits and (last.value < limits.low or last.value > limits.high):
            return f"{track.parameter.replace('_', ' ')} {quantity(last.value, track.unit, last.uncertainty)} is outside its limits ({limits.source})"
    return ""
