"""What is concluded from calibrations as tables: the audit, what the record teaches, what is due, corrected readings."""

from __future__ import annotations

import numpy as np
import polars as pl

from excursions.conclusions import AUDIT_KINDS
from excursions.link import band_at, error_at
from excursions.link.proration import rating
from excursions.records import Doubt
from excursions.report.corrected import in_vain
from excursions.report.frame import TIME, Columns, frame_of, one_of
from excursions.report.result import PointFindings, ScanResult

CONCLUDED: dict[str, Columns] = {
    "audit": {
        "audit": (pl.String, "id"),
        "point": (pl.String, "measuring point"),
        "probe": (pl.String, "serial number as the log has it, empty when not known"),
        "kind": (
            pl.String,
            one_of(AUDIT_KINDS),
        ),
        "start": (TIME, "where it was looked for or seen (UTC)"),
        "end": (TIME, "end of that (UTC)"),
        "calibration": (pl.String, "id of the calibration, empty when there is no entry"),
        "sentence": (pl.String, "what the record shows; times in the plant's zone"),
        "could_hide": (pl.String, "what could hide a trace in this export, separated by ' | '"),
    },
    "lessons": {
        "measurand": (pl.String, "kind of probe"),
        "model": (pl.String, "model as registered, empty when not known"),
        "parameter": (pl.String, "calibration parameter"),
        "unit": (pl.String, "unit of the parameter"),
        "term": (
            pl.String,
            "dose (an hour above rating) | sterilisation (one) | month; empty: not enough to say",
        ),
        "value": (pl.Float64, "change of the parameter for one unit of the term [`unit`]"),
        "low": (pl.Float64, "lower end of its 95 % interval [`unit`]"),
        "high": (pl.Float64, "upper end of its 95 % interval [`unit`]"),
        "exposed": (pl.Int64, "shifts in which the term was not zero"),
        "shifts": (pl.Int64, "shifts used"),
        "probes": (pl.Int64, "probes used; the interval rests on their number"),
        "sentence": (pl.String, "the same in words, or what is lacking"),
    },
    "due": {
        "point": (pl.String, "measuring point"),
        "probe": (pl.String, "serial number"),
        "last": (TIME, "last calibration that was no copy (UTC)"),
        "planned": (TIME, "next by the plan (UTC)"),
        "staircase": (TIME, "next by ILAC-G24 / OIML D 10, method 1 (UTC)"),
        "staircase_days": (pl.Float64, "interval of that [d]"),
        "parameter": (pl.String, "parameter that reaches its limit first"),
        "limit": (TIME, "when it does, at the mean rate (UTC)"),
        "limit_early": (TIME, "early end of the 90 % interval (UTC)"),
        "limit_late": (TIME, "late end of the 90 % interval (UTC), empty: not foreseeable"),
        "sentence": (pl.String, "the same in words"),
    },
    "corrected": {
        "time": (TIME, "instant of a plotted sample inside a window of doubt (UTC)"),
        "point": (pl.String, "measuring point"),
        "unit": (pl.String, "unit of the three values"),
        "value": (pl.Float64, "the reading as recorded; it is never changed [`unit`]"),
        "corrected": (pl.Float64, "reading less the estimated error [`unit`]"),
        "band": (pl.Float64, "half width of the 90 % band of the estimate [`unit`]"),
        "out_of_tolerance": (pl.Boolean, "the estimated error is beyond the point's tolerance"),
        "basis": (pl.String, "what the shape of the error rests on"),
        "rating": (
            pl.String,
            "class of the window's largest correction by USGS TM 1-D3; empty where it rates none",
        ),
    },
}


def audit_table(result: ScanResult) -> pl.DataFrame:
    """What the calibration log says that the record does not bear out."""
    plain = [name for name in CONCLUDED["audit"] if name not in ("audit", "could_hide")]
    return frame_of(
        CONCLUDED["audit"],
        [
            {"audit": f.id, "could_hide": " | ".join(f.could_hide)} | {n: getattr(f, n) for n in plain}
            for f in result.audit
        ],
    )


def lessons_table(result: ScanResult) -> pl.DataFrame:
    """One row a term of each kind of probe; one without a term where the record is not enough."""
    shared = ("measurand", "model", "parameter", "unit", "shifts", "probes", "sentence")
    rows: list[dict[str, object]] = []
    for lesson in result.lessons:
        base = {name: getattr(lesson, name) for name in shared}
        rows += [
            base | {n: getattr(c, n) for n in ("term", "value", "low", "high", "exposed")}
            for c in lesson.coefficients
        ] or [base | {"term": ""}]
    return frame_of(CONCLUDED["lessons"], rows)


def due_table(result: ScanResult) -> pl.DataFrame:
    """Next calibration and remaining time of each probe."""
    names = list(CONCLUDED["due"])
    rows = [{n: getattr(due, n) for n in names} for due in result.due]
    return frame_of(CONCLUDED["due"], rows)


def corrected_table(result: ScanResult) -> pl.DataFrame:
    """Corrected readings beside the original, inside the windows of doubt, but where the reading follows nothing.

    A sample in two windows takes the later one.
    """
    frames = []
    for findings in result.points:
        windows = [d for d in result.told_doubts if d.point == findings.point.name and d.knots]
        frames += [frame for doubt in windows if (frame := _corrected(findings, doubt)) is not None]
    if not frames:
        return frame_of(CONCLUDED["corrected"], [])
    every = pl.concat(frames)
    return every.unique(["point", "time"], keep="last", maintain_order=True).sort("point", "time")


def _corrected(findings: PointFindings, doubt: Doubt) -> pl.DataFrame | None:
    trace = findings.traces.get("value")
    if trace is None:
        return None
    inside = (trace.time >= doubt.start) & (trace.time < doubt.end) & np.isfinite(trace.value)
    inside &= ~in_vain(findings, trace.time)
    time, value = trace.time[inside], trace.value[inside]
    if not time.size:
        return None
    error = error_at(time, doubt)
    tolerance = findings.point.tolerances_at(value)
    return pl.DataFrame(
        {
            "time": pl.Series(time).cast(TIME),
            "point": findings.point.name,
            "unit": findings.unit,
            "value": value,
            "corrected": value - error,
            "band": band_at(time, doubt),
            "out_of_tolerance": np.abs(error) > tolerance,
            "basis": doubt.basis,
            "rating": doubt_rating(findings, doubt),
        },
        schema={name: kind for name, (kind, _) in CONCLUDED["corrected"].items()},
        strict=False,
    )


def doubt_rating(findings: PointFindings, doubt: Doubt) -> str:
    """Rating class of a window by its largest correction, in the unit of the reading and per cent of its usual level."""
    known = findings.levels.value[np.isfinite(findings.levels.value)]
    level = abs(float(np.median(known))) if known.size else float("nan")
    worst = max((abs(error) for _, error in doubt.knots), default=0.0)
    percent = 100.0 * worst / level if level > 0 else float("inf")
    return rating(findings.point.measurand, [(worst, percent)])
