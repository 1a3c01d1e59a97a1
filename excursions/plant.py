"""The plant as the register describes it: points, probes, installations, plan.  Plain frozen facts.

A *point* is a place with signals; a *probe* is the serialised thing that wears.  Installations join them.
``assumed`` and ``inferred`` name the fields that nobody stated, so that every page can say so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from excursions.measurands import MEASURANDS, Measurand


class Dated(Protocol):
    """What was done to a probe, at a point, at an instant [ns]: an entry of a log, a calibration."""

    @property
    def probe(self) -> str: ...
    @property
    def point(self) -> str: ...
    @property
    def time(self) -> int: ...


_UNKNOWN_SHARE = 0.02  # of the reading, where nobody knows what error matters (cp)
_LEAST = 1e-9  # so that a reading of nothing at all is not doubted for the last digit of a sum


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A measuring point and the tags of its signals.

    Attributes
    ----------
    name, description : str
    measurand : str
        Key of :data:`excursions.measurands.MEASURANDS`.
    value, temperature, hold, wash, pressure, status : str
        Tags; empty when there is none.  `pressure` is the absolute line pressure in kPa unless
        `pressure_unit` says otherwise (``kPa``, ``bar``, ``bar_g``, ``psi``, ``psi_g``).
    unit, temperature_unit : str
        Unit as exported; empty means the unit in the file or else the canonical one.
    range : (low, high) or None
        Range the transmitter's output is scaled to, canonical unit.
    tolerance : float or None
        Reading error that matters, canonical unit; None takes the measurand's default.
    neighbours : tuple of str
        Names of redundant or related points.
    plan_days : float or None
        Days between planned calibrations.
    inferred : mapping field -> reason
        Fields that were worked out from the export rather than stated.
    """

    name: str
    measurand: str = "other"
    description: str = ""
    value: str = ""
    temperature: str = ""
    hold: str = ""
    wash: str = ""
    pressure: str = ""
    pressure_unit: str = "kPa"
    status: str = ""
    unit: str = ""
    temperature_unit: str = ""
    range: tuple[float, float] | None = None
    tolerance: float | None = None
    neighbours: tuple[str, ...] = ()
    plan_days: float | None = None
    rating_continuous_degc: float | None = None
    rating_sterilisation_degc: float | None = None
    rating_sterilisation_min: float | None = None
    inferred: dict[str, str] = field(default_factory=dict)

    @property
    def quantity(self) -> Measurand:
        """The row of the measurand table."""
        return MEASURANDS[self.measurand]

    @property
    def tags(self) -> dict[str, str]:
        """Tags by role, empty ones left out."""
        roles = ("value", "temperature", "hold", "wash", "pressure", "status")
        return {role: getattr(self, role) for role in roles if getattr(self, role)}

    def measurand_of(self, role: str) -> str:
        """What the signal in one of these roles measures; ``other`` for what is only compared with itself."""
        return {"value": self.measurand, "temperature": "temperature"}.get(role, "other")

    def unit_of(self, role: str) -> str:
        """Unit that the register states for the signal in a role; empty where it states none."""
        stated = {"value": self.unit, "temperature": self.temperature_unit, "pressure": self.pressure_unit}
        return stated.get(role, "")

    def tolerance_at(self, level: float) -> float:
        """Reading error that matters at this level, canonical unit."""
        if self.tolerance is not None:
            return self.tolerance
        return max(self.quantity.tolerance, self.quantity.tolerance_relative * abs(level))

    def tolerances_at(self, levels: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same at many levels (n,); where a level is NaN, that of small ones."""
        if self.tolerance is not None:
            return np.full(levels.size, self.tolerance)
        return np.fmax(self.quantity.tolerance, self.quantity.tolerance_relative * np.abs(levels))

    def fine_at(self, level: float) -> float:
        """To what a reading at this level is written, canonical unit: a tenth of the error that matters (cp)."""
        return self.tolerance_at(level) / 10

    def doubted_at(self, level: float) -> float:
        """Reading error from which a reading is doubted, canonical unit: the tolerance; where none is known a share of the reading."""
        return float(self.doubted_at_each(np.array([level]))[0])

    def doubted_at_each(self, levels: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same at many levels (n,)."""
        known = self.tolerances_at(levels)
        return np.where(known > 0, known, np.fmax(_UNKNOWN_SHARE * np.abs(levels), _LEAST))


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A serialised probe, its model and its ratings (None: class default of its measurand, called assumed)."""

    serial: str
    measurand: str = "other"
    model: str = ""
    part_number: str = ""
    rating_continuous_degc: float | None = None
    rating_sterilisation_degc: float | None = None
    rating_sterilisation_min: float | None = None
    in_service_since: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """Probe `probe` sat at point `point` in the half-open span [start, end) (ns UTC; None is open).

    at_latest : nobody logged the exchange; `start` is the latest it can have been
    """

    probe: str
    point: str
    start: int | None = None
    end: int | None = None
    at_latest: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratings:
    """Heat limits that hold for a point at a time, and whether anybody stated them.

    continuous_degc : above this the clock of the ageing dose runs
    sterilisation_degc, sterilisation_min : what a sterilisation may reach, and for how long
    assumed : True when they are class defaults, all or in part
    continuous_stated, sterilisation_stated : these limits are not
    """

    continuous_degc: float
    sterilisation_degc: float
    sterilisation_min: float
    assumed: bool
    continuous_stated: bool = False
    sterilisation_stated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """Everything the register states, plus what was inferred where it is silent.

    ignore: patterns (``*`` and ``?``) of tags that become no point of their own.
    noted, cleaned: (point, ns) of every calibration and of every cleaning the logs enter; where to look closer for its
    trace.
    detectors: settings of detectors that hold in place of their defaults, by detector and name.
    """

    name: str = ""
    zone: str = "UTC"
    air_pressure_kpa: float = 101.325
    points: tuple[Point, ...] = ()
    probes: tuple[Probe, ...] = ()
    installations: tuple[Installation, ...] = ()
    quality_words: dict[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    noted: tuple[tuple[str, int], ...] = ()
    cleaned: tuple[tuple[str, int], ...] = ()
    detectors: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def point(self, name: str) -> Point | None:
        """The point of this name, or None."""
        return next((p for p in self.points if p.name == name), None)

    def noted_at(self, point: str) -> tuple[int, ...]:
        """When the logs enter a calibration at this point (ns UTC)."""
        return tuple(when for name, when in self.noted if name == point)

    def cleaned_at(self, point: str) -> tuple[int, ...]:
        """When the logs enter a cleaning at this point (ns UTC)."""
        return tuple(when for name, when in self.cleaned if name == point)

    def probe(self, serial: str) -> Probe | None:
        """The probe of this serial number, or None."""
        return next((p for p in self.probes if p.serial == serial), None)

    def probe_at(self, point: str, when: int) -> str | None:
        """Serial number of the probe that sat at `point` at `when`, or None when nobody said."""
        for row in self.installations:
            if (
                row.point == point
                and (row.start is None or row.start <= when)
                and (row.end is None or when < row.end)
            ):
                return row.probe
        return None

    def probe_of(self, row: Dated) -> str:
        """Serial number as a row names it, else of the probe that sat at its point then; empty when nobody said."""
        return row.probe or self.probe_at(row.point, row.time) or ""

    def seat_of(self, probe: str) -> str | None:
        """The point a probe sits at now: empty when it was taken out, None when nobody said where it ever sat."""
        rows = [row for row in self.installations if probe and row.probe == probe]
        return next((row.point for row in rows if row.end is None), "") if rows else None

    def stays_of(self, probe: str, start: int, end: int) -> tuple[Installation, ...]:
        """Where a probe sat between two instants (ns), in time order, each stay cut to them; none when nobody said."""
        cut = [
            Installation(
                probe=probe,
                point=row.point,
                start=start if row.start is None else max(row.start, start),
                end=end if row.end is None else min(row.end, end),
            )
            for row in self.installations
            if probe and row.probe == probe
        ]
        kept = [row for row in cut if (row.start or 0) < (row.end or 0)]
        return tuple(sorted(kept, key=lambda row: (row.start or 0, row.point)))

    def ratings(self, point: Point, when: int) -> Ratings:
        """Heat limits at `point` at `when`: probe first, then point, then the class default."""
        probe = self.probe(self.probe_at(point.name, when) or "")
        quantity = point.quantity
        stated: dict[str, float] = {}
        for key in ("rating_continuous_degc", "rating_sterilisation_degc", "rating_sterilisation_min"):
            for owner in (probe, point):
                given = getattr(owner, key, None) if owner else None
                if given is not None:
                    stated.setdefault(key, given)
        continuous = stated.get("rating_continuous_degc", quantity.rating_continuous_degc)
        return Ratings(
            continuous_degc=continuous,
            sterilisation_degc=stated.get(
                "rating_sterilisation_degc",
                max(continuous, quantity.rating_sterilisation_degc),
            ),
            sterilisation_min=stated.get("rating_sterilisation_min", quantity.rating_sterilisation_min),
            assumed=not {"rating_continuous_degc", "rating_sterilisation_degc"} <= set(stated),
            continuous_stated="rating_continuous_degc" in stated,
            sterilisation_stated="rating_sterilisation_degc" in stated,
        )
