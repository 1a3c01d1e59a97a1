"""Which rows of a log belong to one calibration, of which probe, at which point."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from excursions.clock import NS_PER_HOUR
from excursions.plant import Plant
from excursions.read.logs.actions import action_of
from excursions.read.text.fold import plain
from excursions.records import CalibrationEntry

PAIR_WITHIN_NS = 12 * NS_PER_HOUR  # as found and as left of one calibration belong to one shift of work (cp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Occasion:
    """Rows of one calibration: as found, further rows found after cleaning, and as left, whichever there are."""

    point: str
    probe: str
    measurand: str
    found: CalibrationEntry | None = None
    cleaned: CalibrationEntry | None = None
    left: CalibrationEntry | None = None

    @property
    def rows(self) -> tuple[CalibrationEntry, ...]:
        """The rows there are, in order."""
        return tuple(row for row in (self.found, self.cleaned, self.left) if row)

    @property
    def time(self) -> int:
        """When the calibration was finished."""
        return self.rows[-1].time

    @property
    def action(self) -> str:
        """``calibration`` when any row took parameters over, else ``verification``."""
        return "calibration" if any(row.action == "calibration" for row in self.rows) else "verification"


def occasions(entries: Sequence[CalibrationEntry], plant: Plant) -> tuple[Occasion, ...]:
    """Group the rows of all logs into occasions, by probe (or point) and time."""
    groups: dict[tuple[str, str], list[CalibrationEntry]] = {}
    for entry in sorted(entries, key=lambda e: (e.time, e.phase, e.file, e.line)):
        groups.setdefault(_owner(entry, plant), []).append(entry)
    made = [
        occasion
        for (kind, name), rows in groups.items()
        for occasion in _occasions_of(rows, plant, name if kind == "probe" else "")
    ]
    return tuple(sorted(made, key=lambda o: (o.time, o.point, o.probe)))


_BENCH = re.compile(
    r"\b(workshop|bench|lab|laboratory|werkstatt|labor|atelier|taller|officina|laboratorio)\b", re.IGNORECASE
)
_GOES_THERE = re.compile(
    r"\b(to|zur|zum|in die|ins|vers|al) (the )?(workshop|bench|lab\w*|werkstatt|atelier|taller)\b",
    re.IGNORECASE,
)
# What else is renewed in a calibration; the probe stays.
_OTHER_PARTS = re.compile(
    r"buffer|puffer|tampon|solution|losung|membran|electrolyt|elektrolyt|\bcap\b|kappe|seal|o.ring|cable|kabel"
)


def on_bench(comment: str) -> bool:
    """Whether a remark says that the work was done away from the point, not that a probe went there afterwards."""
    return bool(_BENCH.search(_GOES_THERE.sub("", comment)))


def says_fitted(comment: str) -> bool:
    """Whether a remark says that this probe was put in, and not a part of it."""
    return action_of(comment) == "install" and not _OTHER_PARTS.search(plain(comment).casefold())


def noted(entries: Sequence[CalibrationEntry], plant: Plant) -> tuple[tuple[str, int], ...]:
    """(point, ns) of every calibration the logs enter, in order; those of a probe that sits nowhere are left out."""
    made = [one for one in occasions(entries, plant) if _there(one, plant)]
    found = {(row.point, row.time) for one in made for row in one.rows if row.point}
    found |= {(one.point, one.time) for one in made if one.point}
    return tuple(sorted(found, key=lambda pair: (pair[1], pair[0])))


def _there(one: Occasion, plant: Plant) -> bool:
    """Whether the work was done at the point, as far as anybody said where the probe was then."""
    named = any(row.point == one.point for row in one.rows)
    sat = plant.stays_of(one.probe, one.time, one.time + 1)
    return named or not one.point or any(row.point == one.point for row in sat)


def _owner(entry: CalibrationEntry, plant: Plant) -> tuple[str, str]:
    probe = plant.probe_of(entry)
    return ("probe", probe) if probe else ("point", entry.point)


def _occasions_of(rows: Sequence[CalibrationEntry], plant: Plant, probe: str) -> list[Occasion]:
    bundles: list[list[CalibrationEntry]] = []
    for row in rows:
        if bundles and _continues(bundles[-1], row):
            bundles[-1].append(row)
        else:
            bundles.append([row])
    return [_occasion(bundle, plant, probe) for bundle in bundles]


def _continues(bundle: Sequence[CalibrationEntry], row: CalibrationEntry) -> bool:
    """A row joins the one before it unless that one was as left already, or lies too far back; two were found at the most."""
    last = bundle[-1]
    near = row.time - bundle[0].time <= PAIR_WITHIN_NS
    room = len(bundle) < 2 or row.phase != "as_found"
    return near and row.point == last.point and last.phase == "as_found" and room


def _occasion(bundle: Sequence[CalibrationEntry], plant: Plant, probe: str) -> Occasion:
    found = [row for row in bundle if row.phase == "as_found"]
    left = [row for row in bundle if row.phase != "as_found"]
    point = next((row.point for row in bundle if row.point), "")
    if plant.point(point) is None:  # none named, or a bench
        point = _point_of(probe, bundle[0].time, plant) or point
    return Occasion(
        point=point,
        probe=probe,
        measurand=_measurand(point, probe, plant, bundle),
        found=found[0] if found else None,
        cleaned=found[-1] if len(found) > 1 else None,
        left=left[-1] if left else None,
    )


def _point_of(probe: str, when: int, plant: Plant) -> str:
    """Where the probe sat at `when`, else where it sat last before, else where it was put in next; empty when nobody said."""
    stays = [row for row in plant.installations if row.probe == probe]
    for row in stays:
        if (row.start is None or row.start <= when) and (row.end is None or when < row.end):
            return row.point
    earlier = [row for row in stays if row.end is not None and row.end <= when]
    if earlier:
        return max(earlier, key=lambda row: row.end or 0).point
    later = [row for row in stays if row.start is not None and row.start > when]
    return min(later, key=lambda row: row.start or 0).point if later else ""


def _measurand(point: str, probe: str, plant: Plant, bundle: Sequence[CalibrationEntry]) -> str:
    """Measurand by point, then probe, then by what the entry looks like."""
    place, thing = plant.point(point), plant.probe(probe)
    for owner in (place, thing):
        if owner and owner.measurand != "other":
            return owner.measurand
    return by_look(bundle)


def by_look(bundle: Sequence[CalibrationEntry]) -> str:
    """Measurand by the units and names of standards and figures; ``other`` where they say nothing."""
    figures = {name for row in bundle for name in row.figures}
    standards = [s for row in bundle for s in row.standards]
    units = {s.standard_unit for s in standards}
    if "cell_constant" in figures or units & {"uS/cm", "mS/cm", "S/m", "mS/m"}:
        return "conductivity"
    if units & {"NTU", "FNU"}:
        return "turbidity"
    if "pH" in units or "zero_point" in figures:
        return "ph"
    if units & {"mg/L", "%sat"} or any(s.label == "air" for s in standards):
        return "oxygen_saturation" if "%sat" in units else "oxygen"
    if units & {"mV"} or any(s.label in ("zobell", "light") for s in standards):
        return "redox"
    return "other"


def air_pressure(rows: Sequence[CalibrationEntry], plant: Plant) -> float:
    """Air pressure as entered, else the plant's [kPa]."""
    return next(
        (row.air_pressure_kpa for row in rows if math.isfinite(row.air_pressure_kpa)), plant.air_pressure_kpa
    )
