"""Findings as tables: one row a fact, columns with their unit in the name and their meaning beside them.

Every table is sorted and typed the same way in every run.  :data:`COLUMNS` documents each column; the
same text is written next to the tables as ``columns.csv``.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from excursions.clock import NS_PER_HOUR
from excursions.records import Calibration, Event
from excursions.report.columns import COLUMNS
from excursions.report.frame import frame_of
from excursions.report.result import ScanResult
from excursions.report.telling import became, over_at
from excursions.report.unseen import limit_words
from excursions.report.wording import worst_knot


def details_text(details: Mapping[str, float]) -> str:
    """Write the further figures of an event as ``name=value`` pairs."""
    return " | ".join(f"{name}={value:.6g}" for name, value in sorted(details.items()))


def _event_row(event: Event, after: str, over: int | None) -> dict[str, object]:
    return {
        "event": event.id,
        "point": event.point,
        "probe": event.probe,
        "kind": event.kind,
        "origin": event.origin,
        "severity": event.severity,
        "start": event.start,
        "end": event.end,
        "duration_h": (event.end - event.start) / NS_PER_HOUR,
        "onset_uncertainty_s": event.onset_uncertainty_s,
        "open_start": event.open_start,
        "open_end": event.open_end,
        "over": over,
        "size": event.size,
        "size_low": event.size_low,
        "size_high": event.size_high,
        "size_unit": event.size_unit,
        "confidence": event.confidence,
        "after": after,
        "evidence": " | ".join(event.evidence),
        "details": details_text(event.details),
        "parts": " | ".join(event.parts),
    }


def events_table(result: ScanResult) -> pl.DataFrame:
    """All events of all points, by point and start."""
    known: dict[str, list[Calibration]] = {}
    for calibration in result.calibrations:
        known.setdefault(calibration.point, []).append(calibration)
    return frame_of(
        COLUMNS["events"],
        [
            _event_row(
                event,
                became(result.outcomes, event.id),
                over_at(event, known.get(findings.point.name, ()), result.outcomes),
            )
            for findings in result.points
            for event in findings.events
        ],
    )


def limits_table(result: ScanResult) -> pl.DataFrame:
    """What each detector would miss on each point."""
    return frame_of(
        COLUMNS["limits"],
        [
            {
                "point": findings.point.name,
                "kind": limit.kind,
                "limit": limit.size,
                "limit_at_once": limit.at_once,
                "unit": limit.unit,
                "lasting_h": limit.lasting_s / 3_600.0,
                "sentence": limit_words(limit, findings.events),
            }
            for findings in result.points
            for limit in findings.limits
        ],
    )


def points_table(result: ScanResult) -> pl.DataFrame:
    """One row a point, worst first."""
    found = {findings.point.name: findings for findings in result.points}
    rows = []
    for verdict in result.verdicts:
        findings = found[verdict.point]
        rows.append(
            {
                "point": verdict.point,
                "measurand": findings.point.quantity.label,
                "unit": findings.unit,
                "exported_unit": findings.exported_unit,
                "probe": result.plant.probe_at(verdict.point, findings.end) or "",
                "verdict": verdict.verdict,
                "since": verdict.since,
                "sentence": verdict.sentence,
                "error": verdict.error,
                "error_band": verdict.error_band,
                "knowledge": verdict.knowledge,
                "advice": verdict.advice,
                "caution": verdict.caution,
                "event": verdict.event,
                "record_start": findings.start,
                "record_end": findings.end,
                "samples": findings.samples,
                "events": len(findings.events),
            }
        )
    return frame_of(COLUMNS["points"], rows)


def calibrations_table(result: ScanResult) -> pl.DataFrame:
    """One row a parameter, phase and calibration."""
    rows = [
        {
            "calibration": calibration.id,
            "time": calibration.time,
            "point": calibration.point,
            "probe": calibration.probe,
            "action": calibration.action,
            "phase": phase,
            "parameter": name,
            "value": parameter.value,
            "uncertainty": parameter.uncertainty,
            "unit": parameter.unit,
            "basis": parameter.basis,
            "checks": " | ".join(calibration.checks),
        }
        for calibration in result.calibrations
        for phase, parameters in (("as_found", calibration.as_found), ("as_left", calibration.as_left))
        for name, parameter in parameters.items()
    ]
    return frame_of(COLUMNS["calibrations"], rows)


def shifts_table(result: ScanResult) -> pl.DataFrame:
    """One row a parameter and pair of calibrations."""
    names = list(COLUMNS["shifts"])[1:]
    return frame_of(
        COLUMNS["shifts"],
        [{"shift": shift.id} | {name: getattr(shift, name) for name in names} for shift in result.shifts],
    )


def links_table(result: ScanResult) -> pl.DataFrame:
    """Candidate causes of every shift, most probable first."""
    plain = [name for name in COLUMNS["links"] if name != "reasons"]
    return frame_of(
        COLUMNS["links"],
        [
            {name: getattr(link, name) for name in plain} | {"reasons": " | ".join(link.reasons)}
            for link in result.links
        ],
    )


def doubts_table(result: ScanResult) -> pl.DataFrame:
    """Windows of readings to doubt."""
    rows = [
        {
            "point": doubt.point,
            "probe": doubt.probe,
            "start": doubt.start,
            "end": doubt.end,
            "open_end": doubt.open_end,
            "error_start": doubt.knots[0][1] if doubt.knots else None,
            "error_end": doubt.knots[-1][1] if doubt.knots else None,
            "band_start": doubt.band[0] if doubt.band else None,
            "band_end": doubt.band[-1] if doubt.band else None,
            "error_most": most[0],
            "band_most": most[1],
            "hours_out_of_tolerance": doubt.hours_out_of_tolerance,
            "basis": doubt.basis,
            "event": doubt.event,
            "too_small": doubt.too_small,
            "reasons": " | ".join(doubt.reasons),
        }
        for doubt in result.doubts
        for most in [worst_knot(doubt)]
    ]
    return frame_of(COLUMNS["doubts"], rows)


def decisions_table(result: ScanResult) -> pl.DataFrame:
    """Everything that was inferred or assumed."""
    names = list(COLUMNS["decisions"])
    return frame_of(COLUMNS["decisions"], [{n: getattr(d, n) for n in names} for d in result.decisions])


def changes_table(result: ScanResult) -> pl.DataFrame:
    """What is different from the run before; empty without one, and where nothing is."""
    changes = result.comparison.changes if result.comparison else ()
    names = list(COLUMNS["changes"])
    return frame_of(
        COLUMNS["changes"],
        [{n: getattr(c, n) for n in names} | {"start": c.start if c.event else None} for c in changes],
    )
