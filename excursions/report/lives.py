"""The life of a probe: its history follows the serial number from point to point and to the bench.

Everything is what this record shows; what a probe went through before it, or on the bench, is not in it and is said so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from excursions.clock import NS_PER_HOUR
from excursions.conclusions import Due
from excursions.measurands import MEASURANDS
from excursions.plant import Installation, Plant, Ratings
from excursions.records import CLEANING, WASHING, Calibration
from excursions.report.exposures import HeatExposure, heat_exposures
from excursions.report.result import PointFindings, ScanResult
from excursions.report.stretch import between, dose_above, hours_by_edges, peak_of
from excursions.report.tracks import Track, tracks_of, worn_out

FIXED_EDGES_DEGC = (40.0, 60.0, 80.0, 100.0, 120.0, 130.0, 140.0)  # as tallied in detect/heat/tally.py
LEAST_STAY = NS_PER_HOUR  # a shorter one between two logged stays is the swap itself
ORIGINS = {"stated": "as stated", "recognised": "recognised from the calibrations", "": "probe not known"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A probe at a point inside the record [start, end) ns; basis: a key of `ORIGINS`.

    hours: inside the record; bands: hours below the continuous rating, up to the sterilisation rating, above it;
    fixed: hours between `FIXED_EDGES_DEGC`; dose_h: hours at the continuous rating, counted above it only; all_dose_h: the
    same counted at every temperature.  NaN where no temperature is known.
    """

    point: str
    start: int
    end: int
    basis: str
    ratings: Ratings
    hours: float
    hours_with_temperature: float
    bands: tuple[float, float, float]
    fixed: tuple[float, ...]
    dose_h: float
    all_dose_h: float
    maximum_degc: float
    maximum_time: int | None
    cleanings: int
    washes: int
    open_start: bool
    open_end: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeLife:
    """One probe over the whole record, wherever it sat.

    probe: serial number, empty when not known; name: the same, or the point in angle brackets.
    """

    probe: str
    name: str
    measurand: str
    label: str
    model: str
    in_service_since: int | None
    stays: tuple[Stay, ...]
    exposures: tuple[HeatExposure, ...]
    calibrations: tuple[Calibration, ...]
    tracks: tuple[Track, ...]
    due: Due | None
    worn_out: str

    @property
    def points(self) -> tuple[str, ...]:
        """Points it sat at, in order, each once."""
        return tuple(dict.fromkeys(stay.point for stay in self.stays))

    @property
    def hours(self) -> float:
        """Hours in an installation inside the record: operating hours."""
        return math.fsum(stay.hours for stay in self.stays)

    @property
    def bands(self) -> tuple[float, float, float]:
        """Hours below the continuous rating, up to the sterilisation rating, above it."""
        low, middle, high = (known_total(s.bands[i] for s in self.stays) for i in range(3))
        return low, middle, high

    @property
    def fixed(self) -> tuple[float, ...]:
        """Hours between the fixed edges."""
        return tuple(known_total(s.fixed[i] for s in self.stays) for i in range(len(FIXED_EDGES_DEGC) + 1))

    @property
    def dose_h(self) -> float:
        """Ageing dose above the continuous rating [h at the rating]."""
        return known_total(stay.dose_h for stay in self.stays)

    @property
    def all_dose_h(self) -> float:
        """Ageing dose at all temperatures [h at the rating]."""
        return known_total(stay.all_dose_h for stay in self.stays)

    @property
    def hottest(self) -> Stay | None:
        """The stay with the highest temperature."""
        known = [s for s in self.stays if math.isfinite(s.maximum_degc)]
        return max(known, key=lambda s: s.maximum_degc, default=None)

    @property
    def over(self) -> tuple[HeatExposure, ...]:
        """Exposures above a rating, and thermal shocks."""
        return tuple(e for e in self.exposures if e.kind not in ("sterilisation", "hidden_heat"))

    @property
    def sterilisations(self) -> int:
        """Steam cycles up to the sterilisation rating, those that lasted too long included."""
        return sum(
            e.kind == "sterilisation"
            or (e.minutes_above_110 > 0 and e.peak_degc <= e.rating_sterilisation_degc)
            for e in self.exposures
        )


def known_total(values: Iterable[float]) -> float:
    """Sum of what is known; NaN when nothing is."""
    known = [v for v in values if math.isfinite(v)]
    return math.fsum(known) if known else math.nan


def probe_lives(result: ScanResult) -> tuple[ProbeLife, ...]:
    """One life for each probe that sat at a point, was calibrated or stands in the register; most heat first.

    References
    ----------
    ASTM F1980, accelerated ageing factor Q10^((T - T_ref) / 10) with Q10 = 2: the dose; a general rule, no maker's promise.
    """
    stays = _stays(result)
    exposures: dict[str, list[HeatExposure]] = {}
    for row in heat_exposures(result):
        exposures.setdefault(row.probe or unknown(row.point), []).append(row)
    calibrations: dict[str, list[Calibration]] = {}
    for c in result.calibrations:
        calibrations.setdefault(_probe_of(c, result.plant), []).append(c)
    names = dict.fromkeys(
        [*stays, *(p.serial for p in result.plant.probes), *(n for n in calibrations if n), *exposures]
    )
    lives = [_life(result, n, stays.get(n, []), exposures.get(n, []), calibrations.get(n, [])) for n in names]
    return tuple(sorted(lives, key=_heat_order))


def unknown(point: str) -> str:
    """What a probe is called that nobody named."""
    return f"<{point}>"


def is_unknown(name: str) -> bool:
    """Whether that is what stands for a name."""
    return name.startswith("<")


def _heat_order(life: ProbeLife) -> tuple[float, float, str]:
    """Most dose above the rating first, then the hottest, then by name."""
    hot = life.hottest
    dose = life.dose_h if math.isfinite(life.dose_h) else -1.0
    return -dose, -(hot.maximum_degc if hot else -math.inf), life.name


def _probe_of(calibration: Calibration, plant: Plant) -> str:
    probe = plant.probe_of(calibration)
    return probe if probe or not calibration.point else unknown(calibration.point)


# --- stays ---------------------------------------------------------------------------------------


def stays_at(plant: Plant, findings: PointFindings) -> list[Installation]:
    """Installations at a point, with a nameless stay wherever the record runs on and nobody said who sat there."""
    point = findings.point.name
    logged = sorted(
        (r for r in plant.installations if r.point == point), key=lambda r: (r.start or 0, r.probe)
    )
    made: list[Installation] = []
    told = findings.start
    for row in logged:
        if row.start is not None and row.start - told > LEAST_STAY:
            made.append(Installation(probe="", point=point, start=told if made else None, end=row.start))
        made.append(row)
        told = max(told, findings.end if row.end is None else row.end)
    if findings.end - told > LEAST_STAY or not made:
        made.append(Installation(probe="", point=point, start=told if made else None))
    return made


def clipped(findings: PointFindings, stay: Installation) -> tuple[int, int]:
    """The part of an installation that lies in the record of its point (empty when end <= start)."""
    start = findings.start if stay.start is None else max(findings.start, stay.start)
    return start, findings.end if stay.end is None else min(findings.end, stay.end)


def _stays(result: ScanResult) -> dict[str, list[Stay]]:
    found: dict[str, list[Stay]] = {}
    for findings in result.points:
        for row in stays_at(result.plant, findings):
            start, end = clipped(findings, row)
            if end > start:
                name = row.probe or unknown(row.point)
                found.setdefault(name, []).append(_stay(result.plant, findings, row, start, end))
    return {name: sorted(rows, key=lambda s: (s.start, s.point)) for name, rows in found.items()}


def _stay(plant: Plant, findings: PointFindings, row: Installation, start: int, end: int) -> Stay:
    ratings = plant.ratings(findings.point, start)
    heat = between(findings.heat, start, end + (end == findings.end))  # with the last sample
    maximum, maximum_time = peak_of(heat)
    states = findings.states
    inside = (states.start >= start) & (states.start < end)
    edges = (ratings.continuous_degc, ratings.sterilisation_degc)
    below, middle, above = hours_by_edges(heat, edges)
    return Stay(
        point=findings.point.name,
        start=start,
        end=end,
        basis=_basis(row),
        ratings=ratings,
        hours=(end - start) / NS_PER_HOUR,
        hours_with_temperature=float(heat.hours.sum()) if heat.start.size else math.nan,
        bands=(below, middle, above),
        fixed=hours_by_edges(heat, FIXED_EDGES_DEGC),
        dose_h=dose_above(heat, ratings.continuous_degc),
        all_dose_h=dose_above(heat, ratings.continuous_degc, every=True),
        maximum_degc=maximum,
        maximum_time=maximum_time,
        cleanings=int(np.sum(inside & (states.code == CLEANING))),
        washes=int(np.sum(inside & (states.code == WASHING))),
        open_start=row.start is None or row.start < findings.start,
        open_end=row.end is None or row.end > findings.end,
    )


def _basis(row: Installation) -> str:
    if not row.probe:
        return ""
    return "recognised" if ", probe " in row.probe else "stated"


# --- one life ------------------------------------------------------------------------------------


def _life(
    result: ScanResult,
    name: str,
    stays: Sequence[Stay],
    exposures: Sequence[HeatExposure],
    calibrations: Sequence[Calibration],
) -> ProbeLife:
    probe = result.plant.probe(name)
    point = result.plant.point(stays[0].point) if stays else None
    measurand = probe.measurand if probe else point.measurand if point else _measurand(calibrations)
    known = "" if is_unknown(name) and probe is None else name
    tracks = tracks_of(calibrations)
    quantity = point.quantity if point and point.measurand == measurand else None
    return ProbeLife(
        probe=known,
        name=name,
        measurand=measurand,
        label=quantity.label if quantity else _label(measurand),
        model=probe.model if probe else "",
        in_service_since=probe.in_service_since if probe else None,
        stays=tuple(stays),
        exposures=_with_dose(exposures),
        calibrations=tuple(sorted(calibrations, key=lambda c: c.time)),
        tracks=tracks,
        due=_due(result, known, stays),
        worn_out=worn_out(tracks),
    )


def _measurand(calibrations: Sequence[Calibration]) -> str:
    return calibrations[0].measurand if calibrations else "other"


def _label(measurand: str) -> str:
    return MEASURANDS[measurand].label if measurand in MEASURANDS else measurand


def _with_dose(exposures: Sequence[HeatExposure]) -> tuple[HeatExposure, ...]:
    """Write on each exposure the dose of those before it."""
    made, before = [], 0.0
    for row in sorted(exposures, key=lambda e: (e.start, e.point)):
        made.append(replace(row, dose_before_h=before))
        before += row.dose_h if math.isfinite(row.dose_h) else 0.0
    return tuple(made)


def _due(result: ScanResult, probe: str, stays: Sequence[Stay]) -> Due | None:
    """The newest answer about when this probe is due."""
    here = {stay.point for stay in stays}
    rows = [
        d for d in result.due if (d.probe == probe if d.probe and probe else not probe and d.point in here)
    ]
    return max(rows, key=lambda d: d.last, default=None)
