"""The life of every probe as tables: a row an installation, a row a probe, a row a heat exposure."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import fields
from zoneinfo import ZoneInfo

import polars as pl

from excursions import clock
from excursions.digits import number
from excursions.plant import Installation
from excursions.records import CLEANING, WASHING
from excursions.report.columns import COLUMNS
from excursions.report.exposures import HeatExposure
from excursions.report.frame import frame_of
from excursions.report.life_columns import EXPOSURES, FIXED_BANDS, LIVES
from excursions.report.lives import ProbeLife, clipped, known_total, probe_lives, stays_at, unknown
from excursions.report.result import PointFindings, ScanResult
from excursions.report.stretch import between, dose_above, peak_of
from excursions.report.wording import day, quantity

COUNTED = ("over_temperature", "sterilisation")  # heat told as one exposure each


def probes_table(result: ScanResult) -> pl.DataFrame:
    """One row an installation: the probe's life at that point, as far as this record goes."""
    rows = [
        _installation(result, findings, stay)
        for findings in result.points
        for stay in stays_at(result.plant, findings)
    ]
    return frame_of(COLUMNS["probes"], [row for row in rows if row is not None])


def lives_table(result: ScanResult, lives: tuple[ProbeLife, ...] | None = None) -> pl.DataFrame:
    """One row a probe, most heat first."""
    tz = clock.zone(result.plant.zone)
    rows = []
    for life in probe_lives(result) if lives is None else lives:
        rows.append(
            _life_row(life) | {"sentence": life_sentence(life, tz), "replacement": replacement(life, tz)}
        )
    return frame_of(LIVES, rows)


def exposures_table(result: ScanResult, lives: tuple[ProbeLife, ...] | None = None) -> pl.DataFrame:
    """One row a heat exposure, hottest first."""
    rows = [e for life in (probe_lives(result) if lives is None else lives) for e in life.exposures]
    return frame_of(
        EXPOSURES, [{f.name: getattr(e, f.name) for f in fields(e)} for e in sorted(rows, key=hottest_first)]
    )


def hottest_first(exposure: HeatExposure) -> tuple[float, str, int]:
    """Order of exposures."""
    return (
        -exposure.peak_degc if math.isfinite(exposure.peak_degc) else math.inf,
        exposure.point,
        exposure.start,
    )


# --- one installation ----------------------------------------------------------------------------


def _installation(
    result: ScanResult, findings: PointFindings, stay: Installation
) -> dict[str, object] | None:
    start, end = clipped(findings, stay)
    if end <= start:
        return None
    ratings = result.plant.ratings(findings.point, start)
    events = [event for event in findings.events if start <= event.start < end]
    heat = [event for event in events if event.kind in COUNTED]
    tally = between(findings.heat, start, end + (end == findings.end))
    maximum, maximum_time = peak_of(tally)
    calibrations = [
        c.time for c in result.calibrations if _same_probe(c.probe, c.point, stay) and start <= c.time <= end
    ]
    states = findings.states
    cleaned = (
        (states.start >= start)
        & (states.start < end)
        & ((states.code == WASHING) | (states.code == CLEANING))
    )
    return {
        "probe": stay.probe or unknown(findings.point.name),
        "point": findings.point.name,
        "measurand": findings.point.quantity.label,
        "installed": start,
        "removed": end,
        "ratings_assumed": ratings.assumed,
        "rating_continuous_degc": ratings.continuous_degc,
        "rating_sterilisation_degc": ratings.sterilisation_degc,
        "hours": (end - start) / clock.NS_PER_HOUR,
        "maximum_degc": maximum,
        "maximum_time": maximum_time,
        "sterilisations": sum(event.kind == "sterilisation" for event in heat),
        "over_temperatures": sum(event.kind == "over_temperature" for event in heat),
        "minutes_above_rating_min": _total(e.details.get("minutes_above_rating_min", 0.0) for e in heat),
        "f0_min": _total(e.details.get("f0_min", 0.0) for e in heat),
        "dose_h": dose_above(tally, ratings.continuous_degc),
        "cleanings": int(cleaned.sum()),
        "calibrations": len(calibrations),
        "last_calibration": max(calibrations, default=None),
        "probe_events": sum(event.origin == "probe" for event in events),
    }


def _same_probe(probe: str, point: str, stay: Installation) -> bool:
    return probe == stay.probe if probe and stay.probe else point == stay.point


def _total(values: Iterable[float]) -> float:
    return math.fsum(v for v in values if math.isfinite(v))


# --- one probe -----------------------------------------------------------------------------------


def _life_row(life: ProbeLife) -> dict[str, object]:
    stays, due = life.stays, life.due
    last = max(stays, key=lambda s: s.end, default=None)
    below, middle, above = life.bands
    return {
        "probe": life.name,
        "measurand": life.label,
        "model": life.model,
        "points": " | ".join(life.points),
        "stays": len(stays),
        "swaps_recognised": sum(s.basis == "recognised" for s in stays),
        "first": min((s.start for s in stays), default=None),
        "last": last.end if last else None,
        "installed_now": last.point if last and last.open_end else "",
        "hours": life.hours,
        "hours_with_temperature": known_total(s.hours_with_temperature for s in stays),
        "ratings_assumed": any(s.ratings.assumed for s in stays),
        "rating_continuous_degc": last.ratings.continuous_degc if last else None,
        "rating_sterilisation_degc": last.ratings.sterilisation_degc if last else None,
        "hours_to_continuous_h": below,
        "hours_continuous_to_sterilisation_h": middle,
        "hours_above_sterilisation_h": above,
        **dict(zip(FIXED_BANDS, life.fixed, strict=True)),
        "sterilisations": life.sterilisations,
        "over_temperatures": len(life.over),
        "cleanings": sum(s.cleanings for s in stays),
        "washes": sum(s.washes for s in stays),
        "f0_min": _total(e.f0_min for e in life.exposures),
        "dose_h": life.dose_h,
        "all_dose_h": life.all_dose_h,
        "calibrations": len(life.calibrations),
        "last_calibration": max((c.time for c in life.calibrations), default=None),
        **_maximum(life),
        **_parameter(life, "slope", ("slope", "cell_constant", "gain")),
        **_parameter(life, "zero", ("zero_point", "offset", "zero")),
        "limit": due.limit if due else None,
        "limit_early": due.limit_early if due else None,
        "limit_late": due.limit_late if due else None,
        "due": next_calibration(life),
    }


def next_calibration(life: ProbeLife) -> int | None:
    """By the plan, else by the staircase."""
    return (life.due.planned or life.due.staircase) if life.due else None


def _maximum(life: ProbeLife) -> dict[str, object]:
    stay = life.hottest
    if stay is None:
        return {"maximum_degc": None, "maximum_bound_degc": None, "maximum_time": None, "maximum_point": ""}
    return {
        "maximum_degc": stay.maximum_degc,
        "maximum_bound_degc": maximum_bound(life),
        "maximum_time": stay.maximum_time,
        "maximum_point": stay.point,
    }


def maximum_bound(life: ProbeLife) -> float:
    """What the sampling could hide around the highest sample; the sample itself where no exposure says more [degC]."""
    highest = life.hottest.maximum_degc if life.hottest else math.nan
    return max([highest, *(e.bound_degc for e in life.exposures if math.isfinite(e.bound_degc))])


def _parameter(life: ProbeLife, name: str, which: tuple[str, ...]) -> dict[str, object]:
    track = next((t for t in life.tracks if t.parameter in which), None)
    return {
        f"{name}_first": track.points[0].value if track else None,
        f"{name}_last": track.points[-1].value if track else None,
        f"{name}_unit": track.unit if track else "",
    }


# --- in words ------------------------------------------------------------------------------------


def life_sentence(life: ProbeLife, tz: ZoneInfo) -> str:
    """Where it was and what heat it had, in a sentence."""
    if not life.stays:
        return "Not installed at any point in this record."
    where = " then ".join(life.points)
    parts = [f"{number(life.hours, 1.0)} h at {where}"]
    if life.sterilisations:
        parts.append(f"{life.sterilisations} sterilisation{'s' if life.sterilisations > 1 else ''}")
    stay = life.hottest
    if stay is None or stay.maximum_time is None:
        return f"{', '.join(parts)}; no temperature of it was exported, so its heat is not known."
    at = f" at {stay.point}" if len(life.points) > 1 else ""
    parts.append(f"highest {quantity(stay.maximum_degc, 'degC', 1.0)} on {day(stay.maximum_time, tz)}{at}")
    if life.over:
        minutes = _total(e.minutes_above_rating for e in life.over)
        parts.append(
            f"{len(life.over)} exposure{'s' if len(life.over) > 1 else ''} above a rating, {number(minutes, 1.0)} min"
        )
    return f"{', '.join(parts)}; ageing dose {number(life.dose_h)} h at its continuous rating."


def replacement(life: ProbeLife, tz: ZoneInfo) -> str:
    """Whether it is due for replacement, in a sentence."""
    due = life.due
    if life.worn_out:
        return f"Due for replacement or regeneration: {life.worn_out}."
    if due is None or due.limit is None:
        known = [t for t in life.tracks if t.limits is not None]
        if not known:
            if not life.tracks:
                return "Cannot tell: no calibration of it with parameters was given."
            return "Cannot tell: no acceptance limit is in use for its parameters."
        sources = dict.fromkeys(t.limits.source for t in known if t.limits)
        # "USP <791>" says nothing beside "USP <791>: within 30 mV at pH 7".
        whose = " and ".join(
            one for one in sources if not any(o != one and o.startswith(one) for o in sources)
        )
        return f"Inside its limits at the last calibration ({whose}); when it reaches them cannot be told from these calibrations."
    early = f", 90 % interval from {_month(due.limit_early, tz)}" if due.limit_early is not None else ""
    late = f" to {_month(due.limit_late, tz)}" if due.limit_late is not None else " with no end foreseeable"
    return (
        f"Not due yet: {due.parameter.replace('_', ' ')} reaches its limit about {_month(due.limit, tz)}"
        f"{early}{late if early else ''}."
    )


def _month(instant: int, tz: ZoneInfo) -> str:
    return clock.to_datetime(instant, tz).strftime("%b %Y")
