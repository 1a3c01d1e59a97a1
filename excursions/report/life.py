"""The life of every probe inside the record: hours, heat, steam cycles, cleanings, calibrations."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import polars as pl

from excursions.plant import Installation, Plant
from excursions.records import CLEANING, WASHING, Event
from excursions.report.result import PointFindings, ScanResult
from excursions.report.tables import COLUMNS

HEAT_KINDS = ("over_temperature", "sterilisation")


def stays(plant: Plant, findings: PointFindings) -> list[Installation]:
    """Installations at a point, or one nameless stay over the whole record."""
    logged = [row for row in plant.installations if row.point == findings.point.name]
    return logged or [Installation(probe="", point=findings.point.name)]


def probes_table(result: ScanResult) -> pl.DataFrame:
    """One row an installation: the probe's life at that point, as far as this record goes."""
    rows = [
        _life(result, findings, stay) for findings in result.points for stay in stays(result.plant, findings)
    ]
    return pl.DataFrame(
        [row for row in rows if row is not None],
        schema={name: kind for name, (kind, _) in COLUMNS["probes"].items()},
        orient="row",
    )


def _life(result: ScanResult, findings: PointFindings, stay: Installation) -> dict[str, object] | None:
    start = max(findings.start, stay.start) if stay.start is not None else findings.start
    end = min(findings.end, stay.end) if stay.end is not None else findings.end
    if end <= start:
        return None
    ratings = result.plant.ratings(findings.point, start)
    events = [event for event in findings.events if start <= event.start < end]
    heat = [event for event in events if event.kind in HEAT_KINDS]
    peak, when = _maximum(findings, start, end)
    calibrations = [
        c.time for c in result.calibrations if _same_probe(c.probe, c.point, stay) and start <= c.time <= end
    ]
    return {
        "probe": stay.probe or f"<{findings.point.name}>",
        "point": findings.point.name,
        "measurand": findings.point.quantity.label,
        "installed": start,
        "removed": end,
        "ratings_assumed": ratings.assumed,
        "rating_continuous_degc": ratings.continuous_degc,
        "rating_sterilisation_degc": ratings.sterilisation_degc,
        "hours": (end - start) / 3.6e12,
        "maximum_degc": peak,
        "maximum_time": when,
        "sterilisations": sum(event.kind == "sterilisation" for event in heat),
        "over_temperatures": sum(event.kind == "over_temperature" for event in heat),
        "minutes_above_rating_min": _total(heat, "minutes_above_rating_min"),
        "f0_min": _total(heat, "f0_min"),
        "dose_h": _total(heat, "dose_h"),
        "cleanings": int(
            np.sum(
                np.isin(findings.states.code, (WASHING, CLEANING))
                & (findings.states.start >= start)
                & (findings.states.start < end)
            )
        ),
        "calibrations": len(calibrations),
        "last_calibration": max(calibrations, default=None),
        "probe_events": sum(event.origin == "probe" for event in events),
    }


def _same_probe(probe: str, point: str, stay: Installation) -> bool:
    return probe == stay.probe if probe and stay.probe else point == stay.point


def _total(events: Iterable[Event], name: str) -> float:
    return float(sum(event.details.get(name, 0.0) for event in events))


def _maximum(findings: PointFindings, start: int, end: int) -> tuple[float | None, int | None]:
    trace = findings.traces.get("temperature")
    if trace is None:
        return None, None
    inside = (trace.time >= start) & (trace.time < end) & np.isfinite(trace.value)
    if not inside.any():
        return None, None
    index = int(np.argmax(np.where(inside, trace.value, -np.inf)))
    return float(trace.value[index]), int(trace.time[index])
